"""From a click to new pixels, in a real page: `python tests/speed/panel_clicks.py`.

A JupyterLab server, a headless Chromium and the bench panel. Every click is timed in the page, from the click
event to the frame after the one in which the last change of its answer was drawn: wiring, table, links, meter
and scope together. The aim is a median under 60 ms and a 95th percentile under 100 ms on two cores; the
nearest known limit of what a person takes for instantaneous is 100 ms (Nielsen, Usability Engineering, 1993).
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

TESTS = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(TESTS / "browser"))

from labpage import browser_page, lab_server, run_all, shared, write_notebook  # noqa: E402

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel({job!r}, scope={scope})\ndisplay(panel)",
)

# The answer to a click comes as several messages; it is complete when the line of news, which the desk sends
# last, has changed. Two animation frames later its pixels are on the screen.
TIMED_CLICK = """
async key => {
  const panel = key.closest('.lk-panel');
  const news = panel.querySelector('.lk-news .widget-html-content');
  const first = new Promise(done => new MutationObserver((_, me) => { me.disconnect();
    requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))); })
    .observe(panel.querySelector('.lk-picture .widget-html-content'), {childList: true, subtree: true}));
  const all = new Promise(done => new MutationObserver((_, me) => { me.disconnect();
    requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))); })
    .observe(news, {childList: true, subtree: true, characterData: true}));
  const start = performance.now();
  key.click();
  return [await first - start, await all - start];
}
"""


def clicks(page: Any, rounds: int, links: tuple[str, ...]) -> tuple[list[float], list[float]]:
    """Click through calls, breaks, mends and waits, and return the milliseconds of each click."""
    panel = page.locator(".lk-panel").last

    def press(selector: str) -> None:
        first_ms, all_ms = panel.locator(selector).first.evaluate(TIMED_CLICK)
        first.append(first_ms)
        everything.append(all_ms)
        page.wait_for_timeout(60)

    first: list[float] = []
    everything: list[float] = []
    calls = (
        "cool-2",
        "off",
        "cool-1",
        "cool-2",
        "heat-1",
        "heat-2",
        "heat-aux",
        "emergency",
        "fan",
        "off",
        "cool-2",
    )
    for _ in range(rounds):
        for call in calls:
            press(f'button:text-is("{call}")')
        for part in ("outdoor-R", "outdoor-earth", "thermostat-R", *links):
            press(f".lk-break-{part}")
            press('button:text-is("10 s")')
            press(f".lk-break-{part}")
            press('button:text-is("10 s")')
        press('button:text-is("1 min")')
    return first, everything


def _links(job: str) -> tuple[str, ...]:
    from lessonkit.job.toml import demo_job

    return tuple(f"{run}-SIG" for run in demo_job(job).links)


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=2)
    options.add_argument("--jobs", nargs="+", default=["two-run", "full-cable"])
    options.add_argument("--no-scope", action="store_true")
    chosen = options.parse_args()
    chromium = shared.find_chromium()
    if not chromium:
        sys.exit("no Chromium on this machine")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "notebooks").mkdir()
        env = shared.make_private_env(root / "env")
        env["PYTHONPATH"] = os.pathsep.join([str(TESTS.parent), env.get("PYTHONPATH", "")])
        with lab_server(root / "notebooks", env, root / "log.txt") as server, browser_page(chromium) as page:
            for job in chosen.jobs:
                cells = [cell.format(job=job, scope=not chosen.no_scope) for cell in CELLS]
                write_notebook(root / "notebooks" / f"{job}.ipynb", *cells)
                run_all(page, server, f"{job}.ipynb", "cell-1")
                page.locator(".lk-panel").wait_for()
                page.wait_for_timeout(1000)
                for name, times in zip(
                    ("picture", "everything"), clicks(page, chosen.rounds, _links(job)), strict=True
                ):
                    p95 = statistics.quantiles(times, n=20)[-1]
                    print(
                        f"{job:12} {name:10} {len(times)} clicks: median {statistics.median(times):.0f} ms, "
                        f"95 % {p95:.0f} ms, longest {max(times):.0f} ms"
                    )


if __name__ == "__main__":
    main()
