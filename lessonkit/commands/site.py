"""The command `site`: the series as a folder that any web server can give out, with nothing to install.

    lessonkit site OUT
    lessonkit site OUT --roster ROSTER.csv --seed S
    lessonkit site OUT --only 20 --roster ROSTER.csv --seed S
    lessonkit site OUT --serve 8000

Progress goes to standard error and only to a terminal.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from lessonkit.commands.words import class_seed, many
from lessonkit.errors import LessonError

if TYPE_CHECKING:
    from lessonkit.site import ClassSite

__all__ = ["add_arguments", "run"]


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text) <= 65_535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; give a number from 0 (any free one) to 65535")
    return int(text)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("out", type=Path, metavar="OUT", help="a new folder, or an older site to make anew")
    parser.add_argument(
        "--mirror", type=Path, help="a folder with the files of the runtime; no registry is asked"
    )
    parser.add_argument("--roster", type=Path, help="a CSV file with a column name: a site for that class")
    parser.add_argument("--seed", type=class_seed, help="the class seed that `grade` gets as well")
    parser.add_argument(
        "--links", type=Path, help="the file for each student's link (default: OUT-links.csv beside OUT)"
    )
    parser.add_argument(
        "--links-only", action="store_true", help="let nobody in by typing a name: only by their link"
    )
    parser.add_argument(
        "--only",
        action="append",
        metavar="NUMBER",
        help="this workbook only, such as 03, or 20 for the concept test; may be given several times",
    )
    parser.add_argument("--serve", type=_port, metavar="PORT", help="give the site out from this computer")
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        help="the address to serve on; 0.0.0.0 lets the room in (default: none)",
    )


def run(options: argparse.Namespace) -> int:
    """Build the site, and serve it if asked."""
    from lessonkit.site import build_site

    room = _class_site(options)
    only = tuple(options.only or ())
    built = build_site(options.out, mirror=options.mirror, room=room, only=only, say=_say())
    size = f"{built.size / 1e6:.1f} MB in {built.files} files"
    print(f"{options.out}: {many(len(built.workbooks), 'workbook')}, {size}, build {built.digest[:16]}")
    if room is not None:
        links = options.links or options.out.with_name(f"{options.out.name}-links.csv")
        _write_links(links, room)
        who = many(len(room.roll.students), "student")
        print(f"{who}; each one's link ends as in {links}, which is yours alone.")
    if options.serve is not None:
        return _serve(options)
    return 0


def _say() -> Callable[[str], None]:
    if not sys.stderr.isatty():
        return lambda text: None
    return lambda text: print(f"{text} ...", file=sys.stderr)


def _class_site(options: argparse.Namespace) -> ClassSite | None:
    if options.roster is None:
        if options.seed or options.links or options.links_only:
            raise LessonError("--seed, --links and --links-only are for a class site; give its --roster too.")
        return None
    if options.seed is None:
        raise LessonError("a class site needs the class seed too: give --seed.")
    from lessonkit.grading.roster import assign, read_names
    from lessonkit.grading.school import load_school
    from lessonkit.site import ClassSite

    school = load_school(None, options.only or ())
    roll = assign(school, read_names(options.roster), options.seed)
    return ClassSite(school, roll, options.seed, links_only=options.links_only)


def _write_links(path: Path, room: ClassSite) -> None:
    from lessonkit.grading.tables import write_table

    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(write_table(("name", "link"), list(room.links().items())))


def _serve(options: argparse.Namespace) -> int:
    from lessonkit.site import serve_site

    server = serve_site(options.out, options.serve, options.host)
    print(f"http://{options.host}:{server.server_address[1]}/ until Ctrl-C", flush=True)
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        print()
    finally:
        server.server_close()
    return 0
