"""Every chapter of the manual runs as printed."""

import re
from pathlib import Path

import pytest

CHAPTERS = sorted((Path(__file__).resolve().parent.parent / "frame2d" / "manual").glob("*.md"))


@pytest.mark.parametrize("chapter", CHAPTERS, ids=lambda path: path.stem)
def test_a_chapter_runs_as_printed(chapter, tmp_path, monkeypatch):
    """The chapter's Python blocks, read in order, run in an empty folder."""
    monkeypatch.chdir(tmp_path)
    blocks = re.findall(r"```python\n(.*?)```", chapter.read_text(encoding="utf-8"), re.S)
    names = {"__name__": chapter.stem}
    for number, block in enumerate(blocks, 1):
        exec(compile(block, f"{chapter.name}, block {number}", "exec"), names)
    assert blocks
