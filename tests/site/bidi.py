"""A small client of WebDriver BiDi, the W3C's protocol that browsers of several makers answer by themselves.

Firefox listens for it with no driver beside it. What is done here is what the tests need: open an address,
ask the page something, wait for something, click where a finger would.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import websocket
from labpage import free_port, shared

PREFERENCES = {
    # Whatever is not on this computer goes to a proxy that is not there.
    "network.proxy.type": 1,
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": 9,
    "network.proxy.no_proxies_on": "127.0.0.1, localhost",
    "network.dns.disabled": True,
    "app.update.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
}

START_S = 240
"""So long may a browser take to listen; a machine that is busy needs it."""

PATIENCE_S = 600
"""So long may what a test waits for take; only a failing test ever waits so long."""

SPOT = """
(() => {{
  const one = {};
  one.scrollIntoView({{ block: "center" }});
  const box = one.getBoundingClientRect();
  const spot = [Math.round(box.x + box.width / 2), Math.round(box.y + box.height / 2)];
  return one.contains(document.elementFromPoint(...spot)) ? spot : null;
}})()
"""


class Page:
    """One page of a browser that answers BiDi."""

    def __init__(self, address: str) -> None:
        self._line = websocket.create_connection(address, timeout=PATIENCE_S, suppress_origin=True)
        self._asked = 0
        self.browser = self.send("session.new", capabilities={})["capabilities"]
        self._context = self.send("browsingContext.getTree")["contexts"][0]["context"]

    def send(self, method: str, **words: Any) -> dict[str, Any]:
        """Send a command and return its result; what the browser tells meanwhile is let pass."""
        self._asked += 1
        self._line.send(json.dumps({"id": self._asked, "method": method, "params": words}))
        while True:
            answer = json.loads(self._line.recv())
            if answer.get("id") == self._asked:
                assert answer["type"] == "success", (method, answer)
                return dict(answer["result"])

    def open(self, url: str) -> None:
        """Open an address and wait until it has loaded."""
        self.send("browsingContext.navigate", context=self._context, url=url, wait="complete")

    def ask(self, expression: str) -> Any:
        """Return the value of an expression of JavaScript; a promise is waited for."""
        done = self.send(
            "script.evaluate",
            expression=f"(async () => JSON.stringify((await ({expression})) ?? null))()",
            target={"context": self._context},
            awaitPromise=True,
        )
        assert done["type"] == "success", (expression, done["exceptionDetails"]["text"])
        return json.loads(done["result"]["value"])

    def wait_for(self, condition: str) -> None:
        """Wait until an expression is true.

        Asked anew each time: a page that works hard may lose a question that stays open for long.
        """
        for _ in range(PATIENCE_S * 4):
            if self.ask(f"Boolean({condition})"):
                return
            time.sleep(0.25)
        raise RuntimeError(f"in {PATIENCE_S} s never true: {condition}")

    def click(self, element: str) -> None:
        """Press the middle of an element, given as an expression, with a pointer.

        First the element has to stay where it is for half a second, with nothing before it.
        """
        before, spot = None, self.ask(SPOT.format(element))
        while spot is None or spot != before:
            time.sleep(0.5)
            before, spot = spot, self.ask(SPOT.format(element))
        press = [
            {"type": "pointerMove", "x": spot[0], "y": spot[1]},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        source = {"type": "pointer", "id": "hand", "actions": press}
        self.send("input.performActions", context=self._context, actions=[source])

    def close(self) -> None:
        """Close the line."""
        self._line.close()


@contextlib.contextmanager
def firefox_page(firefox: str, room: Path) -> Iterator[Page]:
    """Open a page in a headless Firefox with a profile of its own under a folder."""
    profile = room / "profile"
    profile.mkdir(parents=True)
    lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items()]
    (profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
    port = free_port()
    command = [firefox, "--headless", "--no-remote", "--profile", str(profile)]
    with (room / "firefox.log").open("wb") as log:
        browser = subprocess.Popen(
            [*command, "--remote-debugging-port", str(port), "about:blank"],
            env=shared.make_private_env(room / "home"),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
        )
    try:
        page = _page_when_it_listens(f"ws://127.0.0.1:{port}/session", browser, room / "firefox.log")
        try:
            yield page
        finally:
            page.close()
    finally:
        browser.terminate()
        try:
            browser.wait(30)
        except subprocess.TimeoutExpired:
            browser.kill()
            browser.wait()


def _page_when_it_listens(address: str, browser: subprocess.Popen[bytes], log: Path) -> Page:
    for _ in range(START_S * 2):
        if browser.poll() is not None:
            break
        with contextlib.suppress(OSError, websocket.WebSocketException):
            return Page(address)
        time.sleep(0.5)
    raise RuntimeError(f"Firefox does not listen: {log.read_text(errors='replace')[-2000:]}")
