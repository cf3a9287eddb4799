"""Keys and rows: the small things that panels are put together from.

A box that is typed into tells the kernel of it when it is left or Enter is hit, never letter by letter: an
answer to the first letter could come between and take the next one away.

A key that is pressed says so three times: by a tick, by its colour, and to a screen reader. All three
follow from one class, which is sent to the page only when it changed. What is known of a thing when it is
made goes to the page with it: a class added later is a message of its own, and a panel has dozens of keys.
No name is left out: the page would write "null" where a tip is missing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import ipywidgets as widgets

__all__ = ["is_pressed", "key", "named", "press", "row", "shown", "typed_box"]

TextBox = TypeVar("TextBox", widgets.Text, widgets.Textarea, widgets.Combobox)


def key(
    words: str, act: Callable[[], object], *, tip: str = "", toggle: bool = False, classes: Iterable[str] = ()
) -> widgets.Button:
    """Return a key that calls `act` when it is clicked, or Space or Enter is hit on it.

    `tip` is shown by the mouse and read out in place of the words, which it holds; `toggle` says that the key
    can stay pressed.
    """
    made = widgets.Button(
        description=words,
        tooltip=tip,
        layout=widgets.Layout(width="auto"),
        _dom_classes=("lk-key", *(("lk-toggle",) if toggle else ()), *classes),
    )
    made.on_click(lambda _: act())
    return made


def press(button: widgets.Button, on: bool) -> None:
    """Show a key as pressed or not; its name stays the same."""
    if on != is_pressed(button):
        (button.add_class if on else button.remove_class)("lk-on")


def is_pressed(button: widgets.Button) -> bool:
    """Return whether a key is shown as pressed."""
    return "lk-on" in button._dom_classes


def row(*children: Any, label: str = "", classes: Iterable[str] = ()) -> widgets.Box:
    """Return things side by side, wrapped where the page is narrow."""
    named_first = [widgets.Label(label, tooltip="")] if label else []
    return widgets.Box([*named_first, *children], _dom_classes=("lk-row", *classes))


def named(options: Sequence[Any], words: str, value: Any = None, wide: str = "auto") -> widgets.Dropdown:
    """Return a choice with its name beside it; None may not be an option, widgets take it for nothing."""
    layout = widgets.Layout(width=wide)
    chosen = {} if value is None else {"value": value}
    return widgets.Dropdown(options=options, description=words, tooltip="", layout=layout, **chosen)


def typed_box(kind: type[TextBox], words: str = "", value: str = "", **more: Any) -> TextBox:
    """Return a box to type into with its name beside it; the kernel hears of it once it is left."""
    return kind(value=value, description=words, tooltip="", continuous_update=False, **more)


def shown(value: str = "", *classes: str) -> widgets.HTML:
    """Return a place for HTML: a picture, a table, a line."""
    return widgets.HTML(value=value, tooltip="", _dom_classes=classes)
