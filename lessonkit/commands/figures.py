"""`lessonkit figures`: make the pictures in figures/ again, and the glossary of a checkout.

In a checkout they go to its own figures/; elsewhere, say where with --out.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from lessonkit.errors import LessonError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `figures`."""
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="where to put them (default: figures/ of the checkout)"
    )
    parser.add_argument(
        "--only", action="append", metavar="NAME", help="make this one only; may be given several times"
    )
    parser.add_argument("--list", action="store_true", help="list the pictures and stop there")


def run(args: argparse.Namespace) -> int:
    """Run `figures`."""
    from lessonkit.draw.gallery import GALLERY, still_svg

    if args.list:
        print("\n".join(GALLERY))
        return 0
    chosen = args.only or list(GALLERY)
    for name in chosen:
        if name not in GALLERY:
            raise LessonError(f"--only is {name!r}, but the pictures are {', '.join(GALLERY)}.")
    folder = args.out or _own_folder()
    folder.mkdir(parents=True, exist_ok=True)
    for name in chosen:
        made = GALLERY[name]()
        text = made if isinstance(made, str) else still_svg(name, made)
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        print(folder / name)
    if not args.out and not args.only:
        _make_glossary(folder.parent / "notebooks")
    return 0


def _make_glossary(notebooks: Path) -> None:
    from lessonkit.exercises.glossary import GLOSSARY, glossary_notebook
    from lessonkit.exercises.notebooks import write_notebook

    (notebooks / GLOSSARY).parent.mkdir(exist_ok=True)
    write_notebook(notebooks / GLOSSARY, glossary_notebook())
    print(notebooks / GLOSSARY)


def _own_folder() -> Path:
    checkout = Path(__file__).resolve().parents[2]
    if not (checkout / "pyproject.toml").is_file():
        raise LessonError(
            "this lessonkit is installed and has no figures/ of its own; say where with --out DIR."
        )
    return checkout / "figures"
