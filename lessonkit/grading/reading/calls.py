"""Calls to the operating system that computing an answer never needs, as a filter that the kernel applies.

Limits on a process leave gaps: a segment of shared memory, an empty file or a link with a long target counts
against none of them, and a process that makes a namespace of its own is its root. So a confined process may
make no files, links, processes, shared memory and namespaces at all. libseccomp, which most systems have,
knows the numbers of the calls on each kind of machine and writes the filter; bubblewrap hands it to the
kernel (`bwrap --seccomp`). Where libseccomp is missing there is no filter, and the other layers stand alone.
"""

from __future__ import annotations

import ctypes
import errno
import os

__all__ = ["call_filter"]

_ALLOW, _ERRNO = 0x7FFF0000, 0x00050000
_MASKED_EQUAL = 7
_CLONE_THREAD, _O_CREAT, _O_TMPFILE = 0x10000, os.O_CREAT, 0o20000000

_REFUSED = (
    *("unshare", "setns", "mount", "umount", "umount2", "pivot_root", "chroot"),
    *("fsopen", "fsmount", "open_tree", "move_mount", "mount_setattr"),
    *("fork", "vfork", "ptrace", "process_vm_readv", "process_vm_writev", "kcmp", "bpf", "perf_event_open"),
    *("userfaultfd", "io_uring_setup", "io_uring_enter", "io_uring_register"),
    *("add_key", "request_key", "keyctl"),
    *("shmget", "shmat", "shmctl", "msgget", "semget", "mq_open", "memfd_create", "memfd_secret"),
    *("creat", "mkdir", "mkdirat", "mknod", "mknodat", "link", "linkat", "symlink", "symlinkat"),
    *("inotify_init", "inotify_init1", "fanotify_init"),
)
# As if the kernel did not know them: then the C library falls back to calls whose arguments can be seen.
_UNKNOWN = ("clone3", "openat2")


class _Compare(ctypes.Structure):
    _fields_ = (
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("mask", ctypes.c_uint64),
        ("value", ctypes.c_uint64),
    )


def call_filter() -> bytes:
    """Return the filter as the kernel takes it, or nothing where libseccomp is missing."""
    try:
        library = ctypes.CDLL("libseccomp.so.2")
    except OSError:
        return b""
    library.seccomp_init.restype = ctypes.c_void_p
    rules = ctypes.c_void_p(library.seccomp_init(ctypes.c_uint32(_ALLOW)))

    def refuse(name: str, error: int, *only: tuple[int, int, int]) -> None:
        number = library.seccomp_syscall_resolve_name(name.encode())
        if number >= 0:  # else this kind of machine has no such call
            parts = [_Compare(at, _MASKED_EQUAL, mask, wanted) for at, mask, wanted in only]
            compared = (_Compare * len(parts))(*parts)
            action = ctypes.c_uint32(_ERRNO | error)
            library.seccomp_rule_add_array(rules, action, number, ctypes.c_uint(len(only)), compared)

    for name in _REFUSED:
        refuse(name, errno.EPERM)
    for name in _UNKNOWN:
        refuse(name, errno.ENOSYS)
    refuse("clone", errno.EPERM, (0, _CLONE_THREAD, 0))  # threads are the process's own; it is limited as one
    for name, at in (("open", 1), ("openat", 2)):
        refuse(name, errno.EACCES, (at, _O_CREAT, _O_CREAT))
        refuse(name, errno.EACCES, (at, _O_TMPFILE, _O_TMPFILE))
    read, write = os.pipe()
    try:
        failed = library.seccomp_export_bpf(rules, write)
    finally:
        os.close(write)
        library.seccomp_release(rules)
        with os.fdopen(read, "rb") as pipe:
            program = pipe.read()
    return b"" if failed else program
