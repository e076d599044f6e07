"""The tests run against the installed package; benchmarks and examples come from the checkout, after it."""

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).resolve().parent.parent))


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A real Chromium without a screen; where none is installed the test is skipped, on CI it fails."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        how = "no Chromium on the path; on Debian: apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(how)
        pytest.skip(how)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as drive:
        found = drive.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """An empty page of laptop size that keeps what the console said in `page.said`."""
    opened = browser.new_page(viewport={"width": 1366, "height": 768})
    opened.said = []
    opened.on("console", lambda message: opened.said.append(message.text))
    opened.on("pageerror", lambda error: opened.said.append(str(error)))
    yield opened
    opened.close()
