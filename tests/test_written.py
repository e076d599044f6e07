"""Files appear whole or not at all."""

from pathlib import Path

import pytest

from frame2d.errors import InputError
from frame2d.written import folder_at, written


def test_what_breaks_off_leaves_the_old_file(tmp_path: Path) -> None:
    """An error while writing keeps what was there, and leaves nothing beside it."""
    target = tmp_path / "table.csv"
    target.write_text("old")
    with pytest.raises(RuntimeError), written(target) as beside:
        beside.write_text("half")
        raise RuntimeError
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]
    with written(target) as beside:
        assert beside.suffix == ".csv"
        beside.write_text("new")
    assert target.read_text() == "new"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize(
    ("name", "message"), [("none/there.csv", "there is no folder"), (".", "is a folder; allowed: the name of a file")]
)  # fmt: skip
def test_a_place_that_is_none_is_named(tmp_path: Path, name: str, message: str) -> None:
    """A missing folder and a folder in the file's place are errors that name them."""
    with pytest.raises(InputError, match=message), written(tmp_path / name):
        raise AssertionError


@pytest.mark.parametrize("path", [None, 5, b"x", "a\0b", "x" * 300])
def test_what_is_no_path_is_named(path: object) -> None:
    """Numbers, bytes, names with a zero and names that no file system takes are errors that show them."""
    with pytest.raises(InputError, match="path is"), written(path):
        raise AssertionError


def test_a_folder_is_made_with_those_above_it(tmp_path: Path) -> None:
    """Where a file stands in its way, that is said."""
    assert folder_at(tmp_path / "a" / "b").is_dir()
    assert folder_at(tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_text("")
    for path in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(InputError, match="cannot be made"):
            folder_at(path)
