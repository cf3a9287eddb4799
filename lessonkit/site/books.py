"""What the front page knows of the notebooks: title, minutes and exercises.

How far a workbook is, the page reads from the answers that the browser keeps (`page/progress.js`). It does so
as `lessonkit.exercises.progress` does with a folder, and says the same words.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import PurePosixPath

from lessonkit.exercises.notebooks import find_checks, opened
from lessonkit.exercises.progress import minutes_of, title_of

__all__ = ["books_list"]


def books_list(workbooks: Mapping[str, bytes]) -> bytes:
    """Return what the front page shows, as JSON.

    `books` has the workbooks in lesson order: file, title, minutes (0 where it does not say), and the numbers
    of the exercises. `more` has the notebooks that lie a folder down: file and title.
    """
    books, more = [], []
    for file, data in sorted(workbooks.items()):
        notebook = json.loads(data)
        about = {"file": file, "title": title_of(notebook)}
        if len(PurePosixPath(file).parts) > 1:
            more.append(about)
        else:
            about["id"] = opened(notebook)[0]
            books.append({**about, "minutes": minutes_of(notebook), "exercises": list(find_checks(notebook))})
    return json.dumps({"books": books, "more": more}, indent=1, ensure_ascii=False).encode()
