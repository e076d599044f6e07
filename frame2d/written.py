"""Paths of users, and files that appear whole or not at all: written beside their place and moved into it."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from frame2d.errors import InputError

#: Longest name of a file, with what is put around it while it is written (255 bytes on common file systems).
LONGEST = 240


def path_of(path: Any) -> Path:
    """`path` as a Path; raises `InputError` for what no file system takes."""
    try:
        found = Path(path)
        if "\0" in str(found) or len(os.fsencode(found.name)) > LONGEST:
            raise ValueError
    except (TypeError, ValueError):
        shown = repr(path) if len(repr(path)) < 80 else f"{repr(path)[:80]}…"
        raise InputError(
            f"path is {shown}; allowed: a text or a Path, with a name of up to {LONGEST} bytes. Likely mistake: another "
            "argument's place"
        ) from None
    return found


def folder_at(path: Any) -> Path:
    """The folder `path`, made with those above it where it does not exist; raises `InputError` where it cannot be."""
    folder = path_of(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"folder {str(folder)!r} cannot be made: {error.strerror or error}. Likely mistake: a file of that name, or no "
            "right to write there"
        ) from None
    return folder


@contextmanager
def written(path: Any) -> Iterator[Path]:
    """Path to write to instead of `path`, with its suffix; moved there at the end, removed where the writing breaks off.

    Raises `InputError` where `path` is a folder, or lies in none that can be written.
    """
    target = path_of(path)
    if not target.parent.is_dir():
        raise InputError(
            f"{str(target)!r} cannot be written: there is no folder {str(target.parent)!r}. Likely mistake: the path, or "
            "the folder is to be made first"
        )
    if target.is_dir():
        raise InputError(f"{str(target)!r} is a folder; allowed: the name of a file")
    beside = target.with_name(f".{target.stem}.part{target.suffix}")
    try:
        yield beside
        os.replace(beside, target)
    except OSError as error:
        raise InputError(f"{str(target)!r} cannot be written: {error.strerror or error}") from None
    finally:
        beside.unlink(missing_ok=True)
