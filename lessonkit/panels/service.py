"""What a hand does at the equipment: disconnects, fuse, transformer, the weather, the test pins."""

from __future__ import annotations

from functools import partial

import ipywidgets as widgets

from lessonkit.bench.state import State
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.panels.keys import key, press, row
from lessonkit.panels.session import Session

__all__ = ["ServicePart"]


class ServicePart:
    """Keys for power, fuse and test pins, and the outdoor air."""

    def __init__(self, session: Session) -> None:
        bench = session.bench
        self._session = session
        self.power = key(
            "power",
            lambda: session.do(lambda: bench.set_power(not bench.powered)),
            tip="power: the disconnect is closed",
            toggle=True,
        )
        self.places = {
            place: key(
                PLACE_WORDS[place],
                partial(self._switch, place),
                tip=f"{PLACE_WORDS[place]}: its disconnect is closed",
                toggle=True,
            )
            for place in bench.power
        }
        self.transformers = {
            place: key(
                f"new transformer, {PLACE_WORDS[place]}",
                partial(session.do, partial(bench.replace_transformer, place)),
            )
            for place in bench.state.transformers
        }
        self.fuse = key("replace the fuse", lambda: session.do(bench.replace_fuse))
        self.skip = key(
            "skip the delay",
            lambda: session.do(bench.skip_delay),
            tip="test pins: skip the delay of the compressor, for a test by a trained technician",
        )
        self.defrost = key(
            "force a defrost", lambda: session.do(bench.force_defrost), tip="test pins: force a defrost"
        )
        # A box to type in: its name reaches screen readers, which that of a slider doesn't.
        self.outdoor = widgets.BoundedIntText(
            value=round(bench.outdoor_c),
            min=-40,
            max=55,
            description="outdoor air, °C:",
            tooltip="",
            layout=widgets.Layout(width="auto"),
        )
        self.outdoor.observe(self._set_outdoor, "value")
        self.box = row(
            *(self.power, *self.places.values(), self.fuse, *self.transformers.values()),
            *(self.skip, self.defrost, self.outdoor),
            label="At the equipment:",
        )
        session.watch(self._show)

    def _switch(self, place: str) -> None:
        bench = self._session.bench
        self._session.do(lambda: bench.set_power(not bench.power[place], place))

    def _set_outdoor(self, change: dict[str, float]) -> None:
        if change["new"] != round(self._session.bench.outdoor_c):
            self._session.do(lambda: self._session.bench.set_outdoor_c(change["new"]))

    def _show(self, state: State) -> None:
        press(self.power, state.powered)
        for place, button in self.places.items():
            press(button, state.power[place])
        for place, button in self.transformers.items():
            button.disabled = state.transformers[place] == "whole"
        self.fuse.disabled = state.fuse == "whole"
