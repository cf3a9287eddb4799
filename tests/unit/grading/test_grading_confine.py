"""The confined process: what a student's own code can do in it, and what it can't.

Each attack runs for real. Where the machine can't confine, no student code may run at all, which is tested
everywhere.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.grading.children import Talk
from lessonkit.grading.reading import confine, inside, read
from lessonkit.grading.reading.confine import Confinement, compute_answers, confinement
from lessonkit.grading.reading.slices import Plan

GIVENS = {"91.1": '{"d": [["length_m", 50]]}'}


def compute(*cells: str, fetch: tuple[str, ...] = ("x",)) -> dict[str, tuple[str, str]]:
    """Run cells in the box and return what each name holds at the end."""
    plan = Plan(tuple(enumerate(cells)), tuple((name, name, len(cells)) for name in fetch))
    return compute_answers(confinement(), plan, "orchard_a", 3, GIVENS)


@pytest.fixture(autouse=True)
def _needs_a_box(request: pytest.FixtureRequest) -> None:
    if request.node.get_closest_marker("confined") and not confinement().safe:
        pytest.skip(confinement().why)


@pytest.mark.confined
@pytest.mark.parametrize(
    ("source", "wire"),
    [
        ("x = sum(n for n in range(5))", "10"),
        ("import numpy as np\nx = np.hypot(3, 4)", "5.0"),
        ("import lessonkit as lk\nx = lk.open_workbook('orchard_a').givens('91.1')['length_m']", "50"),
        ("print('loud')\ndisplay(1)\nx = 'quiet'", '"quiet"'),
        ("x = ...", ""),
    ],
)
def test_honest_code_gives_its_value(source: str, wire: str) -> None:
    """Arithmetic, libraries and the workbook's givens work in the box."""
    assert compute(source) == {"x": ("given", wire) if wire else ("unanswered", "")}


@pytest.mark.confined
def test_bench_can_be_computed_with_in_the_box() -> None:
    """An answer read off the bench, as the lessons teach it, is computed; `off` leaves Y1 without a call."""
    source = "import lessonkit as lk\nbench = lk.Bench(lk.demo_job('full-cable'))\nx = bench.state.call"
    assert compute(source) == {"x": ("given", '"off"')}


@pytest.mark.confined
@pytest.mark.parametrize(
    "source",
    [
        "import os\nx = os.fork()",
        "import subprocess\nx = subprocess.run(['/usr/bin/true']).returncode",
        "import threading\nt = threading.Thread(target=print)\nt.start()\nx = 1 if t.join() else 2",
        "x = len(bytearray(10**10))",
        "x = len([0] * 10**10)",
        "import os\nx = os._exit(0)",
        "import ctypes\nx = ctypes.string_at(0)",
        "import os, signal\nx = os.kill(os.getpid(), signal.SIGKILL)",
        "import os\nx = os.kill(os.getppid(), 9)",
        "x = len(open('/etc/passwd').read())",
        "x = len(open('/proc/1/environ').read())",
        "import os\nx = len(os.listdir('/home'))",
        "import os\nos.remove(os.__file__)\nx = 1",
        "import lessonkit, pathlib\nx = pathlib.Path(lessonkit.__file__).write_text('')",
        "import lessonkit.grading.judging.judge\nx = 1",
        "from lessonkit.exercises.core import solution\nx = 1",
        "import resource\nx = resource.setrlimit(resource.RLIMIT_NPROC, (99, 99))",
        "import os\nos.setuid(0)\nx = 1",
        "def f():\n    return f()\nx = f()",
        "import sys\nsys.setrecursionlimit(10**5)\ndef f():\n    return max(map(f, [0]))\nx = f()",
        "x = []\nx.append(x)",
        "class X(dict):\n    def items(self):\n        raise SystemExit\nx = X()",
    ],
)
def test_attack_gives_no_value(source: str) -> None:
    """Processes, memory, files, other processes and the judge are out of reach."""
    cells = source.rsplit("\nx = ", 1)
    whole = source if len(cells) == 1 or cells[1] != "1" else cells[0] + "\nx = 1"
    state, _ = compute(whole)["x"]
    assert state == "broken"


@pytest.mark.confined
def test_nothing_can_be_written_outside(tmp_path: Path) -> None:
    """A file that a student's code writes exists nowhere afterwards."""
    inside = tmp_path / "inside"
    for path in (orchard.OUTSIDE, inside):
        compute(f"open({str(path)!r}, 'w').write('here')\nx = 1")
        assert not path.exists()


@pytest.mark.confined
def test_loopback_is_not_this_machine_s() -> None:
    """A server that listens here hears nothing from the box."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.5)
        port = server.getsockname()[1]
        assert compute(f"import socket\nx = socket.create_connection(('127.0.0.1', {port}), 1).fileno()")[
            "x"
        ][0] == ("broken")
        with pytest.raises(TimeoutError):
            server.accept()


@pytest.mark.confined
def test_environment_of_the_grader_is_not_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the school's own environment holds stays outside."""
    monkeypatch.setenv("SCHOOL_SECRET", "orchard")
    assert compute("import os\nx = os.environ.get('SCHOOL_SECRET', 'nothing')")["x"] == ("given", '"nothing"')


@pytest.mark.confined
def test_answer_before_a_crash_is_kept_and_the_one_after_is_tried_alone() -> None:
    """A cell that brings the process down costs the answers that need it, and no others."""
    plan = Plan(
        ((0, "a = 1"), (1, "import os\nb = os._exit(0)"), (2, "c = 3")),
        (("a", "a", 0), ("b", "b", 1), ("c", "c", 2)),
    )
    found = compute_answers(confinement(), plan, "orchard_a", 3, GIVENS)
    assert found["a"] == ("given", "1")
    assert found["b"][0] == "broken"


@pytest.mark.confined
def test_line_that_the_student_writes_is_checked_like_any_other() -> None:
    """Speaking for itself on the grader's pipe, code can at most give its own answer, in plain data."""
    source = (
        "import os, json\n"
        "for fd in range(3, 64):\n"
        "    try:\n"
        "        os.write(fd, json.dumps({'exercise': 'x', 'wire': 'evil'}).encode() + b'\\n')\n"
        "        os.write(fd, json.dumps({'exercise': 'other', 'wire': '1'}).encode() + b'\\n')\n"
        "    except OSError:\n"
        "        pass\n"
    )
    found = compute(source)
    assert set(found) == {"x"}
    assert found["x"][0] == "broken"


@pytest.mark.confined
def test_flood_on_the_pipe_ends_the_process() -> None:
    """A gigabyte written to the grader is cut off, and what was said is void."""
    source = "\n".join(
        [
            "import os",
            "while True:",
            "    for fd in range(3, 9):",
            "        try:",
            "            os.write(fd, b'x' * 65536)",
            "        except OSError:",
            "            pass",
        ]
    )
    assert compute(source, "x = 1")["x"][0] == "broken"


@pytest.mark.confined
def test_nothing_is_left_running(monkeypatch: pytest.MonkeyPatch) -> None:
    """After a run no process of it is left, and no thread waits for one."""
    monkeypatch.setitem(inside.LIMITS, "cell_wall_s", 1)
    before = threading.active_count()
    compute("import time\nx = time.sleep(99)")
    assert threading.active_count() <= before


def test_children_side_by_side_never_hear_each_other() -> None:
    """Many short-lived children in many threads each get all their own lines, and nobody else's."""
    code = "import sys\nfor n in range(3): print(sys.argv[1], n, flush=True)"

    def one(number: int) -> list[bytes | None]:
        with Talk([sys.executable, "-I", "-S", "-c", code, str(number)], [], env={}, line_cap=10_000) as talk:
            return [talk.line(30) for _ in range(3 if number % 2 else 1)]  # the odd ones to the end

    with ThreadPoolExecutor(8) as threads:
        for number, lines in enumerate(threads.map(one, range(120))):
            assert lines == [b"%d %d" % (number, n) for n in range(3 if number % 2 else 1)]


def test_without_confinement_nothing_is_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where the machine can't confine, computed answers go to the teacher and plain ones are read."""
    monkeypatch.setattr(read, "confinement", lambda: Confinement(why="no box here"))
    monkeypatch.setattr(read, "compute_answers", lambda *_: pytest.fail("student code was run"))
    with orchard.on_path():
        folder = orchard.make_school(tmp_path / "school")
        file = orchard.to_bytes(orchard.answer_cell("answer_91_1 = [n for n in 'ab']")(2))
        found = dict(read.read_batch(str(folder), [file])[0].answers)
    assert found["91.1"].state == "teacher"
    assert "can't confine" in found["91.1"].reason
    assert {one.state for exercise, one in found.items() if exercise != "91.1"} == {"given"}


@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_other_systems_say_that_they_cannot(monkeypatch: pytest.MonkeyPatch, system: str) -> None:
    """macOS and Windows have no box that lessonkit can use, and the reason names them."""
    monkeypatch.setattr(sys, "platform", system)
    found = confine.confinement.__wrapped__()
    assert not found.safe
    assert system in found.why


def test_missing_program_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without bubblewrap the reason says how to get it."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(confine, "find_program", lambda name: None)
    assert "apt install bubblewrap" in confine.confinement.__wrapped__().why


@pytest.fixture
def _as_root() -> None:
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("this is about grading that runs as root")


@pytest.mark.confined
@pytest.mark.usefixtures("_as_root")
def test_root_turns_into_nobody() -> None:
    """Where grading runs as root, the student's code does not."""
    assert compute("import os\nx = [os.getuid(), os.geteuid()]")["x"] == ("given", '{"l": [65534, 65534]}')
