"""From a click to new pixels, in a real page: `python tests/speed/panel_clicks.py`.

A JupyterLab server, a headless Chromium and the bench panel. Every click is timed in the page, from the click
event to the frame after the one in which the last change of its answer was drawn: wiring, table, links, meter
and scope together. Beside it stand what does not depend on what else the machine does: messages and kilobytes
that come to the page, and the processor time of each program. With `--beside` another checkout is measured in
turn with this one. The aim for two-run with its scope is a median under 45 ms and a 95th percentile under
80 ms on two quiet cores; the nearest known limit of what a person takes for instantaneous is 100 ms (Nielsen,
Usability Engineering, 1993). With `--least` a button that changes one digit is timed in the same way: that is
what the page, its kernel and this timing cost whatever a panel does. `page.js` is the one installed in this
environment, whichever checkout is measured.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
from functools import partial
from pathlib import Path
from typing import Any

import psutil

TESTS = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(TESTS / "browser"))

from labpage import browser_page, lab_server, run_all, shared, write_notebook  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

CELLS = (
    "import lessonkit as lk\nfrom IPython.display import display",
    "panel = lk.bench_panel({job!r}, scope={scope})\ndisplay(panel)",
)

#: A panel that does as little as one can.
LEAST = """
import ipywidgets
said = ipywidgets.HTML("0")
def say(button):
    said.value = str(1 - int(said.value))
button = ipywidgets.Button(description="go")
button.on_click(say)
panel = ipywidgets.VBox([button, ipywidgets.Box([said])])
panel.add_class("lk-panel")
panel.add_class("lk-ready")
panel.children[1].add_class("lk-picture")
display(panel)
"""

# The answer to a click comes as several messages, and the kernel is idle after the last. A change is on the
# screen two animation frames after it was made. What is only told to screen readers is no pixel.
TIMED_CLICK = """
async key => {
  const panel = key.closest('.lk-panel');
  const picture = panel.querySelector('.lk-top .lk-living, .lk-picture');
  const kernel = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
  const frame = () => new Promise(done => requestAnimationFrame(done));
  let first = 0, last = 0, open = 0;
  const watch = new MutationObserver(async changes => {
    const seen = changes.filter(one => !(one.target.closest ?? (() => null)).call(one.target, '.lk-told'));
    if (!seen.length) return;
    open += 1;
    await frame(); await frame();
    last = performance.now();
    if (!first && seen.some(one => picture.contains(one.target))) first = last;
    open -= 1;
  });
  watch.observe(panel, {childList: true, subtree: true, characterData: true, attributes: true,
    attributeFilter: ['class']});
  const idle = new Promise(done => {
    let busy = false;
    const heard = (_, status) => {
      busy = busy || status === 'busy';
      if (busy && status === 'idle') { kernel.statusChanged.disconnect(heard); done(); }
    };
    kernel.statusChanged.connect(heard);
  });
  const start = performance.now();
  key.click();
  await idle;
  do { await frame(); await frame(); await frame(); } while (open);
  watch.disconnect();
  return [first - start, last - start];
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


def least_clicks(page: Any, rounds: int) -> tuple[list[float], list[float]]:
    """Click the button that does least, as often as `clicks` clicks a panel, and return the same."""
    button, times = page.locator('.lk-panel button:text-is("go")').last, []
    for _ in range(32 * rounds):
        times.append(button.evaluate(TIMED_CLICK))
        page.wait_for_timeout(60)
    first, everything = zip(*times, strict=True)
    return list(first), list(everything)


def _links(job: str) -> tuple[str, ...]:
    from lessonkit.job.toml import demo_job

    return tuple(f"{run}-SIG" for run in demo_job(job).links)


def measure(tree: Path, chromium: str, job: str, rounds: int, scope: bool) -> dict[str, list[float]]:
    """Return the milliseconds of each click, and what one click costs, for the lessonkit of a checkout."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "notebooks").mkdir()
        env = shared.make_private_env(root / "env")
        env["PYTHONPATH"] = os.pathsep.join([str(tree), env.get("PYTHONPATH", "")])
        cells = (CELLS[0], LEAST) if job == "least" else (c.format(job=job, scope=scope) for c in CELLS)
        write_notebook(root / "notebooks" / "a.ipynb", *cells)
        with (
            lab_server(root / "notebooks", env, root / "log.txt") as server,
            sync_playwright() as tools,
            browser_page(tools, chromium) as page,
        ):
            sizes: list[int] = []
            page.on("websocket", lambda socket: socket.on("framereceived", lambda f: sizes.append(len(f))))
            run_all(page, server, "a.ipynb", "cell-1")
            page.locator(".lk-panel.lk-ready").wait_for()
            page.wait_for_timeout(1000)
            click = (
                partial(least_clicks, page) if job == "least" else partial(clicks, page, links=_links(job))
            )
            click(1)
            before = _processor_s()
            sizes.clear()
            picture, everything = click(rounds)
            found = {"picture ms": picture, "everything ms": everything}
            count = len(everything)
            found["messages"], found["kilobytes"] = [len(sizes) / count], [sum(sizes) / count / 1000]
            for name, seconds in _processor_s().items():
                found[f"{name} cpu ms"] = [1000 * (seconds - before.get(name, 0.0)) / count]
            return found


def _processor_s() -> dict[str, float]:
    """Return the processor seconds of kernel, server and browser page so far."""
    spent = dict.fromkeys(("kernel", "server", "page"), 0.0)
    for child in psutil.Process().children(recursive=True):
        words = " ".join(child.cmdline())
        marks = {"ipykernel": "kernel", "jupyterlab": "server", "--type=renderer": "page"}
        name = next((name for mark, name in marks.items() if mark in words), None)
        if name:
            times = child.cpu_times()
            spent[name] += times.user + times.system
    return spent


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=2, help="clicks through all keys, a run")
    options.add_argument("--runs", type=int, default=1, help="runs of each checkout, in turn")
    options.add_argument("--jobs", nargs="+", default=["two-run", "full-cable"])
    options.add_argument("--no-scope", action="store_true")
    options.add_argument("--least", action="store_true", help="time the least possible click, too")
    options.add_argument("--beside", type=Path, help="another checkout, measured in turn with this one")
    chosen = options.parse_args()
    chromium = shared.find_chromium()
    if not chromium:
        sys.exit("no Chromium on this machine")
    trees = [tree for tree in (chosen.beside, TESTS.parent) if tree]
    for job in [*chosen.jobs, *(["least"] if chosen.least else [])]:
        found: dict[Path, list[dict[str, list[float]]]] = {tree: [] for tree in trees}
        for _ in range(chosen.runs):
            for tree in trees:
                found[tree].append(measure(tree, chromium, job, chosen.rounds, not chosen.no_scope))
        for tree, runs in found.items():
            for name in runs[0]:
                values = [value for run in runs for value in run[name]]
                told = f"{statistics.median(values):.1f}"
                if name.endswith(" ms") and "cpu" not in name:
                    p95 = statistics.quantiles(values, n=20)[-1]
                    told = f"{len(values)} clicks, median {told}, 95 % {p95:.0f}, longest {max(values):.0f}"
                print(f"{tree.name:8} {job:12} {name:14} {told}", flush=True)


if __name__ == "__main__":
    main()
