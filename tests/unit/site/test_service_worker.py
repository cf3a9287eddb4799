"""What stands between a page and the network: it keeps files, and never gets in the way."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

WORKER = Path(__file__).resolve().parents[3] / "lessonkit" / "site" / "page" / "service-worker.js"

# A browser's half of it: listeners, shelves, the network. The `case` says what of them fails.
AROUND = """
const listeners = {};
globalThis.self = {
  location: { href: "http://a.test/series/service-worker.js" },
  addEventListener: (name, listener) => { listeners[name] = listener; },
};
const lost = () => Promise.reject(new Error("lost"));
const shelf = {
  match: () => (given.match === "fails" ? lost() : Promise.resolve(given.match && new Response(given.match))),
  put: () => { seen.put += 1; return given.put === "never" ? new Promise(() => {}) : lost(); },
};
globalThis.caches = { open: () => (given.open === "fails" ? lost() : Promise.resolve(shelf)) };
globalThis.fetch = () => {
  seen.asked += 1;
  return seen.asked <= given.lost ? lost() : Promise.resolve(new Response("fresh", { status: given.status }));
};
const seen = { asked: 0, put: 0 };
"""

ASKED = """
let answer;
const event = {
  request: new Request("http://a.test/series/build/one.js"),
  respondWith: (coming) => { answer = coming; },
  waitUntil: () => {},
};
listeners.fetch(event);
answer.then((one) => one.text()).catch((error) => error.message)
  .then((said) => { console.log(JSON.stringify([said, seen.asked, seen.put])); process.exit(0); });
"""


@pytest.fixture
def asked(node_says: Callable[..., str]) -> Callable[..., list[object]]:
    """Give what a page gets for a file, how often the network was asked, how often it was to be kept."""

    def answer(**given: object) -> list[object]:
        case = {"open": "", "match": "", "put": "fails", "lost": 0, "status": 200, **given}
        worker = WORKER.read_text(encoding="utf-8")
        found: list[object] = json.loads(
            node_says(f"const given = {json.dumps(case)};{AROUND}{worker}{ASKED}")
        )
        return found

    return answer


def test_what_is_kept_needs_no_network(asked: Callable[..., list[object]]) -> None:
    """A second visit gets what the first one kept."""
    assert asked(match="kept") == ["kept", 0, 0]


def test_page_does_not_wait_until_it_is_kept(asked: Callable[..., list[object]]) -> None:
    """What has come goes on to the page while it is still being kept."""
    assert asked(put="never") == ["fresh", 1, 1]


@pytest.mark.parametrize(
    ("given", "put"), [({"put": "fails"}, 1), ({"match": "fails"}, 1), ({"open": "fails"}, 0)]
)
def test_browser_that_keeps_nothing_still_shows_the_page(
    asked: Callable[..., list[object]], given: dict[str, str], put: int
) -> None:
    """Where the shelf is full, or can't be read or opened, the file comes from the network."""
    assert asked(**given) == ["fresh", 1, put]


def test_one_answer_may_be_lost(asked: Callable[..., list[object]]) -> None:
    """A lost answer is asked for once more; a network that is gone is no endless loop."""
    assert asked(lost=1) == ["fresh", 2, 1]
    assert asked(lost=9) == ["lost", 2, 0]


def test_what_is_not_there_is_not_kept(asked: Callable[..., list[object]]) -> None:
    """A missing file is answered as such, and looked for again next time."""
    assert asked(status=404) == ["fresh", 1, 0]
