"""The series for a browser, whole: too long for every day, so CI runs it, and whoever changes the site."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "browser")]

from sitepage import site_browser, site_server, states  # noqa: E402


@pytest.fixture(scope="module")
def address(built_site: Path) -> Iterator[str]:
    """Serve the site."""
    with site_server(built_site) as found:
        yield found


@pytest.fixture
def open_context(browser_tools: Any, chromium: str) -> Iterator[Callable[..., Any]]:
    """Give a function that opens a browser profile of its own; `rules` says which names it finds where."""
    with contextlib.ExitStack() as open_ones:

        def opened(rules: str | None = None, **how: Any) -> Any:
            words = {} if rules is None else {"rules": rules}
            browser = open_ones.enter_context(site_browser(browser_tools, chromium, **words))
            context = browser.new_context(accept_downloads=True, **how)
            open_ones.callback(context.close)
            return context

        yield opened


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    call: pytest.CallInfo[None],
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Say how the pages are when a test fails in one: what went wrong is seldom where it is missed."""
    report = yield
    if call.when == "call" and report.failed:
        report.sections.append(("open pages", states()))
    return report
