"""Checksums of the files of a result folder: written with the summary, compared when the report is built again."""

from hashlib import sha256
from pathlib import Path
from typing import Any

#: Suffixes of files that carry results; series of a viewer (VTU) are left out, they can be written again.
KEPT = (".h5", ".json", ".toml", ".csv", ".png", ".svg", ".gif", ".mp4", ".db", ".sqlite", ".txt")
#: Files of the report itself.
OWN = ("summary.json", "report.html")


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    found = sha256()
    with open(path, "rb") as file:
        while chunk := file.read(1 << 20):
            found.update(chunk)
    return found.hexdigest()


def checksums(folder: Path) -> list[dict[str, Any]]:
    """Path, size and SHA-256 of every result file, sorted by path."""
    files = sorted(
        path
        for path in folder.rglob("*")
        if path.is_file() and path.suffix in KEPT and path.relative_to(folder).as_posix() not in OWN
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    )  # fmt: skip
    return [
        {"file": path.relative_to(folder).as_posix(), "bytes": path.stat().st_size, "sha256": digest(path)}
        for path in files
    ]


def changed(folder: Path, stated: list[dict[str, Any]]) -> dict[str, str]:
    """Files that are not what the summary states: name → "missing" or "changed"."""
    found = {}
    for entry in stated:
        path = folder / entry["file"]
        if not path.is_file():
            found[entry["file"]] = "missing"
        elif digest(path) != entry["sha256"]:
            found[entry["file"]] = "changed"
    return found
