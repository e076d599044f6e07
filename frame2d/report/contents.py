"""What a result folder holds for the report: `summary.json`, its schema, and how it is written and read.

`summary.json` carries every number that the report prints; charts and animations come from the HDF5, PNG and scene
files that it names (paths relative to the folder). All keys but "title" are optional; a section appears where its data is.

    {"schema": "frame2d/report/1", "title": str, "subtitle": str, "version": str, "date": str, "invented": bool,
     "caution": [paragraph],
     "job": block, "building": block, "devices": block, "fits": block, "reduction": block, "cuts": block,
     "motions": block, "capacity": block, "rehearsal": block,
     "limit_states": [limit state], "replacements": block (the log is made from the limit states),
     "measurement": block, "updating": block,
     "indices": block (the definitions are made from the comparisons), "checksums": [{"file", "bytes", "sha256"}],
     …: whatever else a program wants to keep; it is not printed}

block = {"text": [paragraph],
         "facts": [{"name", "value", "unit", "note"}],
         "tables": [{"caption", "columns": [{"name", "unit"} or name], "rows": [[cell]], "note"}],
         "pictures": [{"file", "caption", "alt"}]                       PNG or SVG in the folder
         "curves": [{"caption", "alt", "x", "y", "series": [{"name", "x": [..], "y": [..]}], "columns"}
                    or {"caption", "alt", "panels": [{"title", "x", "y", "series": […]}], "columns"}]
         "blocks": [{"title", …block}]}                                 subsections
  "x" and "y" of a curve are axis labels with units. A series takes its numbers as lists, or {"file", "x", "y"}: an HDF5
  file of the folder, dataset names, and optionally "x_factor", "y_factor" (1e-3 for kN). A cell is a number, text, true or
  false, or null; text that is "within", "exceeded" or "not judged" is shown as a verdict.

limit state = `frame2d.campaign.Result.as_data()` (limit_state, key, record, factor, repeats, origin, outcome, completed,
  collapsed, peak_drift, residual_drift, peak_base_shear_N, peak_roof_m, energies_J, energy_imbalance, devices, strain,
  inspection, replacement, fit, periods_s, …) plus, all optional,
    "files": {"measured", "reference": HDF5 of `Measured`, "scene": file of `write_scene`},
    "reference": {the same peaks of the reference}, "comparison": [{"quantity", "unit", "rows": [index rows]}],
    and the keys of a block, printed before the charts ("blocks" with the tracking of a hybrid test among them).
  `frame2d.report.limit_state_entry` makes it from a `Result`.

Units are SI in the file (N, m, rad, J, s; drifts and shares as ratios); blocks bear their own units.
"""

import json
import math
from pathlib import Path
from typing import Any

from frame2d.errors import InputError, known
from frame2d.report.checksums import checksums
from frame2d.written import written

SCHEMA = "frame2d/report/1"
SUMMARY = "summary.json"

#: Sections in order: key, heading.
SECTIONS = (
    ("job", "The job"),
    ("building", "Building and frame"),
    ("devices", "Devices"),
    ("fits", "Laws fitted to component tests"),
    ("reduction", "From building to test model"),
    ("cuts", "Where the frame is cut"),
    ("motions", "Ground motions"),
    ("capacity", "Capacities of the rig"),
    ("rehearsal", "Rehearsal"),
    ("limit_states", "Limit states"),
    ("replacements", "Replacement of devices"),
    ("measurement", "Measurement"),
    ("updating", "After the test: laws updated"),
    ("indices", "Indices and units"),
    ("checksums", "Files and checksums"),
)
BLOCK = ("text", "facts", "tables", "pictures", "curves", "blocks")


def plain(value: Any) -> Any:
    """Value as JSON can hold it: numpy as lists, numbers that do not exist as null."""
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Path):
        return value.as_posix()
    return value


def write_summary(folder: Any, summary: dict[str, Any]) -> Path:
    """Write `summary.json` with schema, version and the checksums of all files it stands on; returns its path."""
    from frame2d import __version__

    root = Path(folder)
    data = plain({"schema": SCHEMA, "version": __version__, **summary})
    check(data)
    data["checksums"] = checksums(root)
    target = root / SUMMARY
    with written(target) as beside:
        beside.write_text(json.dumps(data, indent=1, ensure_ascii=False), encoding="utf-8")
    return target


def read_summary(folder: Any) -> dict[str, Any]:
    """Read and check `summary.json` of a folder; raises `InputError` that says what is missing."""
    root = Path(folder)
    if not (root / SUMMARY).is_file():
        raise InputError(
            f"{root} holds no {SUMMARY}; allowed: a folder of results. Likely mistake: the folder above or below it"
        )
    try:
        data: dict[str, Any] = json.loads((root / SUMMARY).read_text(encoding="utf-8"))
    except json.JSONDecodeError as error:
        raise InputError(f"{root / SUMMARY} is not JSON: {error}") from None
    if data.get("schema") != SCHEMA:
        raise InputError(
            f"{root / SUMMARY} has schema {data.get('schema')!r}; allowed: {SCHEMA!r}. Likely mistake: written by "
            "another program or version"
        )
    check(data)
    return data


def check(data: dict[str, Any]) -> None:
    """Raise `InputError` where a section is not what the schema says."""
    if not isinstance(data.get("title"), str) or not data["title"]:
        raise InputError(f"title of the summary is {data.get('title')!r}; allowed: text")
    for key, _ in SECTIONS:
        if key in ("limit_states", "checksums"):
            if not isinstance(data.get(key, []), list):
                raise InputError(f"{key} is {type(data[key]).__name__}; allowed: a list")
        elif key in data:
            _check_block(key, data[key])
    for entry in data.get("limit_states", []):
        if "limit_state" not in entry:
            raise InputError(f"a limit state lacks its name; it has {', '.join(list(entry)[:6])}")
        _check_block(entry["limit_state"], {name: entry[name] for name in BLOCK if name in entry})


def _check_block(where: str, block: Any) -> None:
    if not isinstance(block, dict):
        raise InputError(
            f"section {where!r} is {type(block).__name__}; allowed: an object with {', '.join(BLOCK)}"
        )
    for key in block:
        if key not in ("title", "note"):
            known(f"entry of section {where!r}", key, BLOCK)
    for table in block.get("tables", []):
        wide = len(table["columns"])
        for row in table["rows"]:
            if len(row) != wide:
                raise InputError(
                    f"table {table.get('caption', '')!r} of section {where!r} has a row of {len(row)} cells; allowed: "
                    f"{wide}, as its columns"
                )
    for picture in block.get("pictures", []):
        for key in ("file", "caption", "alt"):
            if not picture.get(key):
                raise InputError(
                    f"a picture of section {where!r} lacks {key!r}; allowed: file, caption and alternative text"
                )
    for inner in block.get("blocks", []):
        _check_block(f"{where}: {inner.get('title', '')}", inner)
