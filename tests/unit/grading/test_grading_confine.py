"""The confined process: what a student's own code can do in it, and what it can't.

Each attack runs for real. Where the machine can't confine, no student code may run at all, which is tested
everywhere.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.grading.children import Talk
from lessonkit.grading.reading import confine, inside, read, reader
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


@pytest.mark.confined
def test_every_published_name_can_be_had_in_the_box() -> None:
    """Whatever a lesson may use as `lk.something` is there, so that an answer computed with it counts."""
    source = "import lessonkit as lk\nx = [bool(getattr(lk, name)) for name in lk.__all__]"
    state, wire = compute(source)["x"]
    assert (state, "false" in wire) == ("given", False)


@pytest.mark.confined
@pytest.mark.parametrize(
    ("source", "wire"),
    [
        ("x = lk.try_calls('two-run', 'cool-2').house_gets['cool-2']", '"cooling, stage 2"'),
        ("lk.reveal(1, 2, 'V')\nx = 1", "1"),
        ("view = lk.show_bench('two-run', 'cool-2')\nview\nx = view.state.call", '"cool-2"'),
        ("panel = lk.bench_panel('two-run')\ndisplay(panel)\npanel.keys[0].value = 1\nx = 2", "2"),
        ("workbook.ask('91.1')\nx = workbook.givens('91.1')['length_m'] * 2", "100"),
        ("workbook.question('91.1')\nx = 1", "1"),
        ("big = list(range(5000))\nhuge = 10**100\nx = len(big) + huge // 10**99", "5010"),
        ("import matplotlib.pyplot as plt\nfigure, axes = plt.subplots()\naxes.plot([1, 2])\nx = 3", "3"),
    ],
)
def test_answers_computed_as_lessons_teach_count(source: str, wire: str) -> None:
    """Trials, pictures, predictions and panels in the same cell don't stand in an answer's way."""
    opening = "import lessonkit as lk\nworkbook = lk.open_workbook('orchard_a')\n"
    assert compute(opening + source) == {"x": ("given", wire)}


HOARDS = {
    "shared memory": "import ctypes\nc = ctypes.CDLL(None)\nx = [c.shmget(0, 1 << 30, 0o1600)]",
    "a file in memory": "import os\nx = [os.memfd_create('a')]",
    "empty files": "x = [open('/tmp/a', 'x').fileno()]",
    "links": "import os\nx = [os.symlink('a' * 4000, '/tmp/a')]",
    "folders": "import os\nx = [os.mkdir('/tmp/a')]",
    "a file without a name": "import os\nx = [os.open('/tmp', os.O_TMPFILE | os.O_RDWR)]",
    "files of shared memory": "x = [open('/dev/shm/a', 'x').fileno()]",
    "a namespace": "import ctypes\nc = ctypes.CDLL(None)\nx = [c.unshare(0x10000000)]",
}


@pytest.mark.confined
@pytest.mark.parametrize("what", HOARDS)
def test_nothing_that_memory_limits_miss_can_be_made(what: str) -> None:
    """Shared memory, files without content, links and namespaces are refused by the kernel."""
    if not confinement().filter:
        pytest.skip("libseccomp is not installed here, so the kernel filters no calls")
    state, said = compute(HOARDS[what])["x"]
    assert state == "broken" or said == '{"l": [-1]}'


@pytest.mark.confined
def test_submission_has_one_budget_of_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Answers that sleep share their submission's seconds; none gets a clock of its own."""
    waited: list[float] = []
    real = Talk.line
    monkeypatch.setattr(Talk, "line", lambda talk, within_s: waited.append(within_s) or real(talk, within_s))
    cells = [(n, f"import time\ntime.sleep(99)\nx{n} = 1") for n in range(8)]
    plan = Plan(tuple(cells), tuple((f"9.{n}", f"x{n}", n) for n in range(8)))
    found = compute_answers(confinement(), plan, "orchard_a", 3, GIVENS, budget_s=2.0)
    assert {state for state, _ in found.values()} == {"broken"}
    assert waited[0] <= 2.0
    assert sum(waited) <= 2.0  # one wait used it all up, and no second run was begun


@pytest.mark.confined
def test_nothing_of_the_class_is_in_the_box(tmp_path: Path) -> None:
    """Of an environment that is the class's folder no more than libraries are in the box: no roster."""
    script = (
        "import lessonkit.grading.reading.confine as c, sys\n"
        "from pathlib import Path\n"
        "sys.prefix = sys.exec_prefix = sys.argv[1]\n"
        "print(c.open_folder_above([Path(sys.argv[1], 'manifest.csv')]))\n"
        "print(c._shown())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    first, shown = done.stdout.splitlines()
    assert first == "None"
    assert str(tmp_path) not in shown


@pytest.mark.confined
def test_solutions_and_judges_are_not_in_the_box() -> None:
    """Of the exercises' floor only what lessons use is there: no exercise, no judge, no grading."""
    source = (
        "import lessonkit, os, pathlib\n"
        "package = pathlib.Path(lessonkit.__file__).parent\n"
        "x = sorted(name for room in ('exercises', 'grading') for name in os.listdir(package / room))"
    )
    state, wire = compute(source)["x"]
    assert state == "given"
    assert wire == '{"l": ["predict.py", "trials.py"]}'


def test_words_from_a_file_or_a_box_are_cleaned_at_the_border(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half characters, escape sequences and endless words reach no table, whoever said them."""
    nasty = "\ud800 \x1b[2J\u202egnp.exe " + "x" * 10_000
    record = {
        "state": "read",
        "book": "orchard_a",
        "variant": 3,
        "notes": [nasty],
        "found": {"91.1": ["broken", "", nasty, [nasty]]},
        "typed": {"91.1": nasty},
        **{"computed": [], "minutes": None, "words": []},
    }
    reading = read._finished(record)
    said = [
        *reading.notes,
        reading.answers[0][1].reason,
        read._finished({"state": "x", "reason": nasty}).trouble,
    ]
    for words in said:
        assert words.encode("utf-8").decode("utf-8").isprintable()
        assert len(words) <= 300


@pytest.fixture
def folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[str]:
    """Make a school whose machine has no box, so that reading is all that happens."""
    monkeypatch.setattr(read, "confinement", lambda: Confinement(why="no box here"))
    with orchard.on_path():
        yield str(orchard.make_school(tmp_path / "school"))


def answering(source: str) -> bytes:
    """Return a hand-in that is right, but for this answer cell."""
    return orchard.to_bytes(orchard.changed(orchard.answered("orchard_a", 2), "answer-91-1", source))


def test_five_files_in_a_row_that_bring_the_reader_down_cost_themselves_alone(
    monkeypatch: pytest.MonkeyPatch, folder: str
) -> None:
    """Each is named as unreadable, and the run goes on; a reader that is ready has started."""
    real = Talk.line
    # No line comes for a file: what a child that was killed leaves.
    monkeypatch.setattr(read, "FILE_S", 0.0)
    monkeypatch.setattr(Talk, "line", lambda talk, within_s: real(talk, within_s) if within_s else None)
    readings = read.read_batch(folder, [answering("answer_91_1 = 4")] * 5)
    assert [one.trouble[:16] for one in readings] == ["Reading the file"] * 5


def test_one_long_line_costs_no_more_than_its_length(folder: str) -> None:
    """A line of 300 kB that looks like one of Jupyter's own is read like any other."""
    source = "answer_91_1 = 4\n%time " + "?x" * 150_000
    (reading,) = read.read_batch(folder, [answering(source)])
    assert not reading.trouble
    assert dict(reading.answers)["91.1"].state == "given"


def test_spoiler_pushes_nobody_s_lines_out(monkeypatch: pytest.MonkeyPatch, folder: str) -> None:
    """The bound on what the reader says about a file is that file's own."""
    monkeypatch.setattr(read, "LINE_CAP", 4_000)
    good, bad = answering("answer_91_1 = 4"), answering(f"answer_91_1 = sum([{'1, ' * 3_000}])")
    readings = read.read_batch(folder, [bad, good, bad, good])
    assert [bool(one.trouble) for one in readings] == [True, False, True, False]


def test_worst_case_in_the_readme_is_the_one_that_is_set(checkout: Path) -> None:
    """README's figures for what one file can cost are those that the code holds to."""
    readme = (checkout / "README.md").read_text(encoding="utf-8")
    said = " ".join(readme.partition("**What one file can cost you.**")[2].split())
    assert f"{reader.FILE_CPU_S} s of processor time and {reader.MEMORY >> 30} GB to read it" in said
    assert f"and {read.FILE_S:g} s on the clock; then {confine.BUDGET_S:g} s for all" in said
    assert f"in one process of {inside.LIMITS['memory'] >> 30} GB at most" in said
