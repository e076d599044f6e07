"""Files that appear whole or not at all: written beside their place and moved into it."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from frame2d.errors import InputError


@contextmanager
def written(path: Any) -> Iterator[Path]:
    """Path to write to instead of `path`, with its suffix; moved there at the end, removed where the writing breaks off.

    Raises `InputError` where `path` is a folder, or lies in none that can be written.
    """
    target = Path(path)
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
