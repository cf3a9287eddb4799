"""The parts of a site: fetching what is pinned, archives, lists, the server, and a class without names."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import threading
import urllib.error
import urllib.request
import zipfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import opened
from lessonkit.exercises.start_page import next_words, progress
from lessonkit.grading.handout.copies import notebook_for
from lessonkit.grading.roster import assign
from lessonkit.grading.school import BadSchool, load_school
from lessonkit.site import ClassSite, build_site, serve_site
from lessonkit.site.app import contents_files
from lessonkit.site.books import books_list
from lessonkit.site.build import workbook_files
from lessonkit.site.classroom import key_of, own_cells, place_of
from lessonkit.site.fetch import CantBeHad, Store
from lessonkit.site.pins import CARRIER, PARTS, RUNTIME, Pin
from lessonkit.site.runtime import TEST_ROOMS, package_files, packed
from lessonkit.site.serve import SiteHandler

PAGE = Path(__file__).resolve().parents[3] / "lessonkit" / "site" / "page"
SMALL = Pin("PyPI", "a-small-thing", "1", "small.txt", hashlib.sha256(b"small").hexdigest())
NAMES = ("Ana-María O'Neill", "Bo Straße", "  Цветана  Ильич ", "Con")


@cache
def books() -> dict[str, bytes]:
    """Return the notebooks of a site as everyone gets them, read once."""
    return workbook_files()


def quiet(text: str) -> None:
    """Say nothing."""


# Fetching --------------------------------------------------------------------------------------------------


def test_mirror_serves_what_is_pinned(tmp_path: Path) -> None:
    """A file of the mirror with the right digest is taken."""
    (tmp_path / "small.txt").write_bytes(b"small")
    assert Store(tmp_path, tmp_path / "cache", quiet).get(SMALL) == b"small"


def test_changed_file_is_refused_by_name(tmp_path: Path) -> None:
    """A file with another digest is never used, and the sentence names it."""
    (tmp_path / "small.txt").write_bytes(b"smell")
    with pytest.raises(CantBeHad, match=r"small.txt .* not the published file"):
        Store(tmp_path, tmp_path / "cache", quiet).get(SMALL)


def test_mirror_without_the_file_asks_nobody(tmp_path: Path) -> None:
    """With a mirror no registry is asked, and the sentence says what to put where."""
    with pytest.raises(CantBeHad, match="has no small.txt; put it there"):
        Store(tmp_path, tmp_path / "cache", quiet).get(SMALL)


def test_cache_comes_before_the_registries(tmp_path: Path) -> None:
    """What was fetched once is not fetched again."""
    store = Store(None, tmp_path / "cache", lambda text: pytest.fail(text))
    store.keep("small.txt", b"small")
    assert store.get(SMALL) == b"small"


def test_what_nobody_has_is_said_in_one_sentence(tmp_path: Path, run_lessonkit) -> None:
    """An empty mirror ends with a sentence and status 2, and writes nothing."""
    (tmp_path / "mirror").mkdir()
    done = run_lessonkit("site", "out", "--mirror", "mirror")
    assert done.returncode == 2
    assert PARTS["page"].file in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("words", [("--seed", "s"), ("--links-only",), ("--roster", "class.csv")])
def test_half_a_class_is_refused(words: tuple[str, ...], tmp_path: Path, run_lessonkit) -> None:
    """Roster and seed belong together."""
    (tmp_path / "class.csv").write_text("name\nAnn Abel\n", encoding="utf-8")
    done = run_lessonkit("site", "out", *words)
    assert done.returncode == 2
    assert "give" in done.stderr


def test_pins_are_whole() -> None:
    """Every pin has a version, a file that says it, and a digest of 64 hexadecimal digits."""
    for pin in (RUNTIME, CARRIER, *PARTS.values()):
        assert pin.version in pin.file
        assert len(bytes.fromhex(pin.sha256)) == 32


# Writing ---------------------------------------------------------------------------------------------------


def test_archive_is_the_same_whenever_made() -> None:
    """The order in which files are given, and the day, leave no trace in an archive."""
    files = {"b.txt": b"b" * 1000, "a.txt": b"a"}
    assert packed(files) == packed(dict(reversed(files.items())))


def test_page_lays_what_was_packed(node_says: Callable[..., str], tmp_path: Path) -> None:
    """Before Python lies every file of the pack: long paths, empty files, and each folder made once."""
    files = {
        "a/empty.txt": b"",
        "a/" + "long/" * 30 + "name.bin": bytes(range(256)) * 5,
        "a/block.txt": b"x" * 512,
        "top.txt": "für".encode(),
    }
    (tmp_path / "pack").write_bytes(packed(files))
    script = f"""
        import {{ readFileSync }} from "node:fs";
        import {{ gunzipSync }} from "node:zlib";
        await import({json.dumps((PAGE / "lay.js").as_uri())});
        const [laid, made] = [{{}}, []];
        layPack(
          {{
            mkdirTree: (path) => made.push(path),
            writeFile: (path, bytes, how) => {{
              laid[path] = [Buffer.from(bytes).toString("hex"), how.canOwn];
            }},
          }},
          new Uint8Array(gunzipSync(readFileSync({json.dumps(str(tmp_path / "pack"))}))),
        );
        console.log(JSON.stringify([laid, made]));
    """
    laid, made = json.loads(node_says(script))
    assert laid == {f"/lib/python3.12/{name}": [data.hex(), True] for name, data in files.items()}
    assert sorted(made) == sorted({path.rpartition("/")[0] for path in laid})


@pytest.mark.parametrize("what", ["file", "other things"])
def test_folder_with_other_things_is_left_alone(what: str, tmp_path: Path) -> None:
    """Only a new folder, an empty one or an older site is written to."""
    out = tmp_path / "out"
    if what == "file":
        out.write_text("mine", encoding="utf-8")
    else:
        out.mkdir()
        (out / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(LessonError, match="name a new folder"):
        build_site(out, mirror=tmp_path, cache=tmp_path)


def test_lists_name_every_workbook() -> None:
    """The page's lists have each workbook once, in the folder where it lies."""
    books = {"00_a.ipynb": b"{}", "classroom/show.ipynb": b"{}"}
    files = contents_files(books)
    root = json.loads(files["api/contents/all.json"])["content"]
    assert [(item["name"], item["type"]) for item in root] == [
        ("00_a.ipynb", "notebook"),
        ("classroom", "directory"),
    ]
    (show,) = json.loads(files["api/contents/classroom/all.json"])["content"]
    assert show["path"] == "classroom/show.ipynb"
    assert files["files/classroom/show.ipynb"] == b"{}"


def test_site_has_what_was_asked_for_alone() -> None:
    """`only` leaves one workbook; the concept test, answers and all, lies in no site but its own."""
    assert list(workbook_files(["03"])) == ["03_proving_the_conductors.ipynb"]
    assert list(workbook_files(["20"])) == ["concepts/20_concepts_before.ipynb"]
    assert not any("concept" in name for name in books())
    with pytest.raises(BadSchool, match="no workbook '99'"):
        workbook_files(["99"])
    test = package_files(with_test=True).keys() - package_files(with_test=False).keys()
    assert {name.rpartition("/")[2] for name in test} == TEST_ROOMS


# Serving ---------------------------------------------------------------------------------------------------


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    """Serve a small folder; gives its address."""
    versioned = tmp_path / "runtime-0123abcd"
    versioned.mkdir()
    (versioned / "a.wasm").write_bytes(b"wasm" * 500)
    (versioned / "a.wasm.gz").write_bytes(gzip.compress(b"wasm" * 500))
    (tmp_path / "index.html").write_text("<p>hello</p>", encoding="utf-8")
    server = serve_site(tmp_path)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_packed_copy_goes_to_who_takes_it(served: str) -> None:
    """A browser that takes packed files gets one, with the type of the file itself."""
    request = urllib.request.Request(f"{served}/runtime-0123abcd/a.wasm", headers={"Accept-Encoding": "gzip"})
    with urllib.request.urlopen(request) as answer:
        assert answer.headers["Content-Encoding"] == "gzip"
        assert answer.headers["Content-Type"] == "application/wasm"
        assert "immutable" in answer.headers["Cache-Control"]
        assert gzip.decompress(answer.read()) == b"wasm" * 500
    with urllib.request.urlopen(f"{served}/runtime-0123abcd/a.wasm") as answer:
        assert "Content-Encoding" not in answer.headers
        assert answer.read() == b"wasm" * 500


def test_page_is_asked_for_each_time(served: str) -> None:
    """What may change is not kept without asking, and what is not there is not there."""
    with urllib.request.urlopen(f"{served}/?me=1") as answer:
        assert answer.headers["Cache-Control"] == "no-cache"
    with pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"{served}/none")


def test_browser_that_leaves_is_no_error() -> None:
    """Whoever gives the site out sees no traceback when a browser goes away in the middle of a file."""

    class Gone(io.BytesIO):
        def write(self, data: object) -> int:
            raise ConnectionResetError

    handler = object.__new__(SiteHandler)
    handler.copyfile(io.BytesIO(b"much"), Gone())


# A class ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def room() -> ClassSite:
    """Make a class of four."""
    school = load_school(None)
    return ClassSite(school, assign(school, NAMES, "autumn"), "autumn")


@pytest.fixture(scope="module")
def class_files(room: ClassSite) -> dict[str, bytes]:
    """Make the class's files."""
    return room.files(books())


def test_no_name_is_in_any_file(class_files: dict[str, bytes]) -> None:
    """Neither names nor words of them nor the seed stand in the files, nor in the files' names."""
    whole = b"\n".join([*class_files.values(), *(name.encode() for name in class_files)])
    for word in ("Ana", "María", "O'Neill", "Straße", "strasse", "Цветана", "Ильич", "autumn"):
        assert word.encode() not in whole


def test_key_leads_to_the_numbers_of_a_hand_out(room: ClassSite, class_files: dict[str, bytes]) -> None:
    """Typed name and link lead to the same cells, and those make the very workbook that a hand-out makes."""
    for name in NAMES:
        typed = class_files[f"class/{place_of(key_of(name, room.salt))}.json"]
        link = room.links()[name]
        assert link.startswith("#me=")
        assert class_files[f"class/{place_of(link[4:])}.json"] == typed
        cells = json.loads(typed)
        for book in room.school.books:
            place = room.roll.of(name, book.id)
            assert place is not None
            own = notebook_for(room.school, place)
            sheet = json.loads(books()[f"{book.stem}.ipynb"])
            for cell in sheet["cells"]:
                everyones, mine = cells[f"{book.stem}.ipynb"].get(cell["id"], (None, None))
                if mine is not None:
                    assert "".join(cell["source"]) == everyones
                    cell["source"] = mine.splitlines(keepends=True)
            assert opened(sheet) == (book.id, place.variant)
            assert own_cells(sheet, own) == {}


def test_links_only_leaves_typed_names_out(room: ClassSite) -> None:
    """Where only links lead in, no name that is guessed can be tested."""
    closed = ClassSite(room.school, room.roll, room.seed, links_only=True)
    files = closed.files(books())
    assert len(files) == len(NAMES) + 1
    assert json.loads(files["class/class.json"])["typed"] is False
    assert f"class/{place_of(key_of(NAMES[0], room.salt))}.json" not in files


def test_names_that_a_page_takes_for_one_are_refused(room: ClassSite) -> None:
    """Two students whose names have the same words get a sentence, not each other's numbers."""
    twins = ClassSite(room.school, assign(room.school, ("Ann Abel", "ann-abel"), "x"), "x")
    with pytest.raises(LessonError, match="--links-only"):
        twins.files(books())


def test_page_makes_the_same_keys(node_says: Callable[..., str]) -> None:
    """The page's SHA-256, keys and words equal Python's hashlib and ours (FIPS 180-4 through OpenSSL)."""
    texts = ["", "abc", "x" * 55, "y" * 56, "z" * 64, "ä€" * 100]
    script = f"""
        import {{ sha256, keyOf, placeOf, worded }} from "./student.js";
        const hex = (text) => Buffer.from(sha256(new TextEncoder().encode(text))).toString("hex");
        const names = {json.dumps(NAMES)};
        console.log(JSON.stringify([{json.dumps(texts)}.map(hex),
          names.map((name) => placeOf(keyOf(name, "salt", 50)))]));
    """
    digests, places = json.loads(node_says(script))
    assert digests == [hashlib.sha256(text.encode()).hexdigest() for text in texts]
    assert places == [place_of(key_of(name, "salt", 50)) for name in NAMES]


def test_page_packs_what_python_unpacks(node_says: Callable[..., str], tmp_path: Path) -> None:
    """The archive of the answers is a plain one: Python's zipfile reads every name and text out of it."""
    texts = {"ana-maría/00 a.ipynb": "x" * 5000 + "°Ω", "b.ipynb": ""}
    script = f"""
        import {{ zip }} from "./answers.js";
        import {{ writeFileSync }} from "node:fs";
        const blob = await zip(new Map(Object.entries({json.dumps(texts)})));
        writeFileSync({json.dumps(str(tmp_path / "answers.zip"))}, Buffer.from(await blob.arrayBuffer()));
    """
    node_says(script)
    with zipfile.ZipFile(tmp_path / "answers.zip") as archive:
        assert archive.testzip() is None
        assert {name: archive.read(name).decode() for name in archive.namelist()} == texts


def test_page_lays_own_cells_only_over_untouched_ones(node_says: Callable[..., str]) -> None:
    """A student's numbers replace everyone's, and never what the student has written."""
    script = """
        import { withOwn } from "./answers.js";
        const cells = [{ id: "a", source: ["x = 0\\n", "y"] }, { id: "b", source: "mine" }, { source: "" }];
        console.log(JSON.stringify(withOwn({ cells }, { a: ["x = 0\\ny", "x = 7\\ny"], b: ["...", "own"] })));
    """
    cells = json.loads(node_says(script))["cells"]
    assert [cell["source"] for cell in cells] == ["x = 7\ny", "mine", ""]


# How far somebody is -------------------------------------------------------------------------------------


def test_no_workbook_of_the_site_gives_a_verdict_before_an_answer() -> None:
    """A check cell says nothing until somebody has run it."""
    said = [
        (name, cell["id"])
        for name, data in books().items()
        for cell in json.loads(data)["cells"]
        if cell["id"].startswith("check-") and cell["outputs"]
    ]
    assert said == []


ANSWERS = {
    "open": ("answer_1_1 = ...", ""),
    "a place is open": (
        "answer_1_1 = {\n    # of ...\n    'a': 1,\n    'b': ...,\n}",
        "1.1 unanswered: x",
    ),
    "written": ("answer_1_1 = 3  # not ...", ""),
    "dots in a text": ("answer_1_1 = 'and so on...'", "1.1 not yet: x"),
    "not yet": ("half = 2\nanswer_1_1 = half", "1.1 not yet: x"),
    "unreadable": ("answer_1_1 = 'x'", "1.1 unreadable: x"),
    "right": ("answer_1_1 = [\n    'blower',\n]", "1.1 right"),
}


def answered_book(sheet: dict, source: str, said: str, guesses: int) -> dict:
    """Return a workbook with an answer, what its check said, and the first predictions made."""
    for cell in sheet["cells"]:
        text = "".join(cell["source"])
        if cell["id"] == "answer-1-1":
            cell["source"] = source
        elif cell["id"] == "check-1-1" and said:
            cell["outputs"] = [{"output_type": "stream", "name": "stdout", "text": [f"{said}\n"]}]
        elif text.startswith("prediction_") and guesses:
            cell["source"] = text.replace("= ...", '= "a guess"').splitlines(keepends=True)
            guesses -= 1
    return sheet


def test_front_page_says_what_the_start_page_says(node_says: Callable[..., str], tmp_path: Path) -> None:
    """Of the same answers the front page and `lk.progress()` say the same words, the next step too."""
    listed = json.loads(books_list(books()))["books"]
    pristine = {book["file"]: json.loads(books()[book["file"]]) for book in listed}
    cases, expected = [], []
    for k, (source, said) in enumerate(ANSWERS.values()):
        folder = tmp_path / str(k)
        folder.mkdir()
        sheets = {name: solved_book(sheet) for name, sheet in pristine.items() if name.startswith("00")}
        sheets["01_calls.ipynb"] = answered_book(
            json.loads(json.dumps(pristine["01_calls.ipynb"])), source, said, k % 3
        )
        cases.append(sheets)
        for name, sheet in {**pristine, **sheets}.items():
            (folder / name).write_text(json.dumps(sheet), encoding="utf-8")
        shown = progress(folder)
        expected.append([next_words(shown.progress), repr(shown)])
    script = """
        import { nextWords, progressOf, words } from "./progress.js";
        import { readFileSync } from "node:fs";
        const { books, cases } = JSON.parse(readFileSync(0, "utf8"));
        const link = (one) => `[${one.text}](${one.file}${one.cell ? `#cell-id=${one.cell}` : ""})`;
        console.log(JSON.stringify(cases.map((sheets) => {
          const found = books.map((book) => progressOf(book, sheets[book.file]));
          const [first, ...rest] = nextWords(found);
          return [`**${first}**` + rest.map((one) => (one.text ? link(one) : one)).join(""),
            found.map((book) => `${book.title}: ${words(book)}`).join("\\n")];
        })));
    """
    assert json.loads(node_says(script, json.dumps({"books": listed, "cases": cases}))) == expected
    assert len({words for _, words in expected}) > 4


def solved_book(sheet: dict) -> dict:
    """Return a workbook with something in each answer, every check right."""
    sheet = json.loads(json.dumps(sheet))
    for cell in sheet["cells"]:
        number = cell["id"].partition("-")[2].replace("-", ".")
        if cell["id"].startswith("answer-"):
            cell["source"] = f"answer_{number.replace('.', '_')} = 1"
        elif cell["id"].startswith("check-"):
            cell["outputs"] = [{"output_type": "stream", "name": "stdout", "text": f"{number} right\n"}]
    return sheet
