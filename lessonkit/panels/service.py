"""What a hand does at the equipment: the disconnect, the fuse, the weather, the test pins."""

from __future__ import annotations

import ipywidgets as widgets

from lessonkit.panels.desk import Desk
from lessonkit.panels.keys import key, press, row
from lessonkit.state import State

__all__ = ["ServicePart"]


class ServicePart:
    """Keys for power, fuse and test pins, and the outdoor air."""

    def __init__(self, desk: Desk) -> None:
        bench = desk.bench
        self._desk = desk
        self.power = key("power", lambda: desk.do(lambda: bench.set_power(not bench.powered)), toggle=True)
        self.fuse = key("replace the fuse", lambda: desk.do(bench.replace_fuse))
        self.skip = key(
            "skip the delay",
            lambda: desk.do(bench.skip_delay),
            tip="test pins: skip the delay of the compressor",
        )
        self.defrost = key(
            "force a defrost", lambda: desk.do(bench.force_defrost), tip="test pins: force a defrost"
        )
        # A box to type in: its name reaches screen readers, which that of a slider doesn't.
        self.outdoor = widgets.BoundedIntText(
            value=round(bench.outdoor_c),
            min=-40,
            max=55,
            description="outdoor air, °C:",
            layout=widgets.Layout(width="220px"),
        )
        self.outdoor.observe(self._set_outdoor, "value")
        self.box = row(
            self.power, self.fuse, self.skip, self.defrost, self.outdoor, label="At the equipment:"
        )
        desk.watch(self._show)

    def _set_outdoor(self, change: dict[str, float]) -> None:
        if change["new"] != round(self._desk.bench.outdoor_c):
            self._desk.do(lambda: self._desk.bench.set_outdoor_c(change["new"]))

    def _show(self, state: State) -> None:
        press(
            self.power,
            state.powered,
            "power on" if state.powered else "disconnect open",
            "power on: open the disconnect" if state.powered else "disconnect open: close it",
            icon="plug",
        )
        self.fuse.disabled = state.fuse == "whole"
