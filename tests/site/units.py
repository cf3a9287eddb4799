"""pytest in the page's Python: runs the files that `/room/files.json` names, writes `/room/outcomes.json`."""

import json
import os
import sys
from pathlib import Path

os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
os.chdir("/checkout")
sys.path.append("/judges")

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402


class InThePage:
    """Lets a property be tried a few times, always on the same examples, and keeps what came of each test."""

    def __init__(self) -> None:
        self.outcomes: dict[str, dict[str, str]] = {}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Change what each property's test asks for: what it says itself goes before a profile."""
        page = settings.get_profile("page")  # of tests/conftest.py, which is read by now
        for item in items:
            test = getattr(item, "obj", None)
            asked = getattr(test, "_hypothesis_internal_use_settings", None)
            if asked is not None:
                few = min(page.max_examples, asked.max_examples)
                test._hypothesis_internal_use_settings = settings(
                    asked, max_examples=few, derandomize=True, database=None, deadline=None
                )

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep the outcome: the worst of setup, the test itself, and what clears up behind it."""
        if report.when == "call" or report.outcome != "passed":
            file, _, name = report.nodeid.partition("::")
            self.outcomes.setdefault(file.removeprefix("tests/unit/"), {})[name] = report.outcome


seen = InThePage()
words = ["-q", "-p", "_hypothesis_pytestplugin", "-p", "no:cacheprovider", "--capture=sys", "--durations=8"]
pytest.main([*words, *json.loads(Path("/room/files.json").read_text(encoding="utf-8"))], plugins=[seen])
Path("/room/outcomes.json").write_text(json.dumps(seen.outcomes), encoding="utf-8")
