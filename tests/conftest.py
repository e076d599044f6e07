"""The tests run against the installed package; benchmarks and examples come from the checkout, after it."""

import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).resolve().parent.parent))


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--law my_law.py` puts the laws that a script registers through the tests of every law."""
    parser.addoption(
        "--law", action="append", default=[], metavar="SCRIPT", help="script that registers laws to test"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Laws of `--law` scripts are registered before the tests are collected."""
    for number, script in enumerate(config.getoption("--law")):
        file = Path(script).resolve()
        spec = importlib.util.spec_from_file_location(f"law_{number}_{file.stem}", file)
        if spec is None or spec.loader is None or not file.is_file():
            raise pytest.UsageError(f"--law is {script!r}; allowed: a Python script that registers a law")
        module = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = module
        spec.loader.exec_module(module)


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
