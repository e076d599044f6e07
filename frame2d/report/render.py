"""`build_report`: one self-contained page out of a folder of results; it opens without a network and prints on A4."""

import base64
import json
from importlib import resources
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from frame2d.campaign.measured import Measured
from frame2d.errors import InputError
from frame2d.report import charts, poster, views
from frame2d.report.checksums import changed, digest
from frame2d.report.contents import BLOCK, SECTIONS, SUMMARY, read_summary
from frame2d.report.numbers import number
from frame2d.report.scene import read_scene
from frame2d.report.svg import Panel, Series, figure
from frame2d.written import written

CAUTIONS = (
    "Results support, and never replace, design to the local code by licensed engineers.",
    "A rig needs hardware interlocks of its own, independent of this program; limits in software are the second line, "
    "never the first. People stay clear of a loaded frame.",
)
INVENTED = "The building, its devices and its synthetic ground motions are invented for this demonstration."
KINDS = {".png": "image/png", ".svg": "image/svg+xml", ".gif": "image/gif", ".jpg": "image/jpeg"}


def build_report(folder: Any, to: Any = None) -> Path:
    """Write `report.html` into `folder` (or to `to`) from `summary.json` and the stored results; returns its path.

    What the folder must hold says `frame2d.report.contents`. Raises `InputError` for files that are named and missing.
    """
    from jinja2 import Environment, StrictUndefined

    root = Path(folder)
    summary = read_summary(root)
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["cell"] = number
    own = resources.files("frame2d.report")
    template = environment.from_string((own / "report.html").read_text(encoding="utf-8"))
    page = template.render(
        title=summary["title"],
        subtitle=summary.get("subtitle", ""),
        version=summary.get("version", ""),
        date=summary.get("date", ""),
        cautions=_cautions(summary),
        glance=views.glance(summary["limit_states"]) if summary.get("limit_states") else None,
        sections=_sections(root, summary),
        css=(own / "report.css").read_text(encoding="utf-8"),
        js=(own / "player.js").read_text(encoding="utf-8"),
    )
    target = root / "report.html" if to is None else Path(to)
    with written(target) as beside:
        beside.write_text(page, encoding="utf-8")
    return target


def _cautions(summary: dict[str, Any]) -> list[str]:
    said = summary.get("caution") or list(CAUTIONS)
    said = [said] if isinstance(said, str) else list(said)
    return [*said, INVENTED] if summary.get("invented") else said


def _sections(root: Path, summary: dict[str, Any]) -> list[dict[str, Any]]:
    """Sections that have something to say, with everything the template needs."""
    entries = summary.get("limit_states", [])
    found = []
    for key, heading in SECTIONS:
        section: dict[str, Any] = {"id": key.replace("_", "-"), "title": heading, "parts": [], "block": None}
        if key == "limit_states":
            section["parts"] = [_limit_state(root, entry) for entry in entries]
        else:
            block = _own_block(key, summary, entries, root)
            if block is not None:
                section["block"] = _block(root, block)
        if section["block"] is not None or section["parts"]:
            found.append(section)
    return found


def _own_block(
    key: str, summary: dict[str, Any], entries: list[dict[str, Any]], root: Path
) -> dict[str, Any] | None:
    """Block of a section: what the summary gives, and what follows from the limit states."""
    block = dict(summary.get(key) or {}) if key != "checksums" else {}
    if key == "replacements":
        logs = [log for log in map(views.replacement_block, entries) if log]
        if logs:
            block["blocks"] = [*block.get("blocks", []), *logs]
    if key == "indices":
        table = views.definitions(entries)
        block["text"] = [*block.get("text", []), views.UNITS_TEXT]
        if table is not None:
            block["tables"] = [*block.get("tables", []), table]
    if key == "checksums":
        block = _checksums(root, summary)
    return block or None


def _checksums(root: Path, summary: dict[str, Any]) -> dict[str, Any]:
    stated = summary.get("checksums", [])
    wrong = changed(root, stated)
    said = "Every number of this report stands in summary.json; the files below hold the histories."
    if wrong:
        said += (
            " CAUTION: since the summary was written, these files are not the same: "
            + ", ".join(f"{name} ({what})" for name, what in wrong.items())
            + "."
        )
    rows = [[e["file"], e["bytes"], e["sha256"], wrong.get(e["file"], "as written")] for e in stated]
    rows.append([SUMMARY, (root / SUMMARY).stat().st_size, digest(root / SUMMARY), "as read"])
    columns = [
        {"name": n, "unit": u} for n, u in (("File", ""), ("Size", "bytes"), ("SHA-256", ""), ("State", ""))
    ]
    return {
        "text": [said],
        "tables": [
            {
                "caption": "Files with checksums.",
                "columns": columns,
                "rows": rows,
                "note": "",
                "style": "hashes",
            }
        ],
    }


def _block(root: Path, block: dict[str, Any]) -> dict[str, Any]:
    """Block with its curves drawn and its pictures embedded."""
    return {
        "title": block.get("title", ""),
        "text": list(block.get("text", [])),
        "facts": [_fact(entry) for entry in block.get("facts", [])],
        "tables": [_table(table) for table in block.get("tables", [])],
        "charts": [_curve(root, curve) for curve in block.get("curves", [])],
        "pictures": [_picture(root, picture) for picture in block.get("pictures", [])],
        "blocks": [_block(root, inner) for inner in block.get("blocks", [])],
    }


def _fact(entry: dict[str, Any]) -> dict[str, Any]:
    return {"unit": "", "note": "", **entry}


def _table(table: dict[str, Any]) -> dict[str, Any]:
    columns = [{"name": c, "unit": ""} if isinstance(c, str) else c for c in table["columns"]]
    wordy = [
        any(isinstance(row[k], str) and len(row[k]) > 14 for row in table["rows"])
        for k in range(len(columns))
    ]
    texts = [
        bool(table["rows"]) and all(_is_word(row[k]) for row in table["rows"]) for k in range(len(columns))
    ]
    long = len(table["rows"]) > 24
    return {
        **table, "columns": columns, "wordy": wordy, "texts": texts, "note": table.get("note", ""), "style": table.get("style", ""), "long": long,
        "wide": len(columns) > 7,
    }  # fmt: skip


def _is_word(cell: Any) -> bool:
    """Whether a cell reads as text and stands at the left."""
    return isinstance(cell, str) and not cell[:1].isdigit() and cell[:1] not in "−–"


def _curve(root: Path, curve: dict[str, Any]) -> dict[str, Any]:
    panels = curve.get("panels") or [{"title": "", **{key: curve[key] for key in ("x", "y", "series")}}]
    drawn = [
        Panel(
            [_series(root, series, k) for k, series in enumerate(panel["series"])],
            panel["x"],
            panel["y"],
            panel.get("title", ""),
        )
        for panel in panels
    ]
    columns = int(curve.get("columns", min(3, len(drawn))))
    wide = 430.0 if columns == 1 and len(drawn) == 1 and not curve.get("wide") else 760.0
    height = 270.0 if columns == 1 else 215.0
    svg = figure(drawn, curve["alt"], columns=columns, width=wide, height=height)
    return {"svg": svg, "caption": curve["caption"], "size": "half" if wide < 500.0 else "full"}


def _series(root: Path, series: dict[str, Any], k: int) -> Series:
    if "file" in series:
        path = _inside(root, series["file"])
        with h5py.File(path, "r") as file:
            for name in (series["x"], series["y"]):
                if name not in file:
                    raise InputError(
                        f"{series['file']} has no dataset {name!r}; allowed: {', '.join(file)} …"
                    )
            x, y = file[series["x"]][()], file[series["y"]][()]
        x, y = x * series.get("x_factor", 1.0), y * series.get("y_factor", 1.0)
    else:
        x, y = (np.array([np.nan if v is None else v for v in series[axis]], dtype=float) for axis in "xy")
    if x.shape != y.shape or x.ndim != 1 or x.size == 0:
        raise InputError(
            f"series {series.get('name', '')!r} has {x.shape} and {y.shape} numbers; allowed: as many x as y, at least one"
        )
    return Series(
        x,
        y,
        series.get("name", ""),
        series.get("number", k),
        1.3 if x.size < 600 else 0.8,
        bool(series.get("dots", x.size < 8)),
    )


def _inside(root: Path, name: str) -> Path:
    """Path of a file of the folder; raises `InputError` outside it or where it is missing."""
    path = (root / name).resolve()
    if not path.is_relative_to(root.resolve()):
        raise InputError(f"file {name!r} lies outside the folder of results; allowed: files in it")
    if not path.is_file():
        raise InputError(
            f"{name!r} is named in {SUMMARY} and is not in {root}; it was moved, or never written"
        )
    return path


def _picture(root: Path, picture: dict[str, Any]) -> dict[str, Any]:
    path = _inside(root, picture["file"])
    kind = KINDS.get(path.suffix.lower())
    if kind is None:
        raise InputError(f"picture is {picture['file']!r}; allowed suffixes: {', '.join(KINDS)}")
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    return {**picture, "source": f"data:{kind};base64,{data}"}


def _limit_state(root: Path, entry: dict[str, Any]) -> dict[str, Any]:
    """Everything of one limit state."""
    own: dict[str, Any] = {name: entry[name] for name in BLOCK if name in entry}
    block = _block(root, own)
    block["title"] = entry["limit_state"][:1].upper() + entry["limit_state"][1:]
    block["facts"] = [*map(_fact, views.facts(entry)), *block["facts"]]
    files = entry.get("files", {})
    tables = [views.peaks_table(entry), views.indices_table(entry)]
    after = [views.findings_table(entry), views.devices_table(entry)]
    drawn: list[dict[str, Any]] = []
    loops: list[dict[str, Any]] = []
    if "measured" in files:
        test = Measured.load(_inside(root, files["measured"]))
        reference = Measured.load(_inside(root, files["reference"])) if "reference" in files else None
        drawn, loops = _charts(entry, test, reference)
    return {
        "id": f"at-{entry.get('key', entry['limit_state'].replace(' ', '-'))}",
        "block": block,
        "verdict": entry.get("inspection", {}).get("verdict"),
        "charts": drawn,
        "tables": [_table(table) for table in tables if table],
        "loops": loops,
        "after": [_table(table) for table in after if table],
        "player": _player(read_scene(_inside(root, files["scene"]))) if "scene" in files else None,
    }


def _charts(
    entry: dict[str, Any], test: Measured, reference: Measured | None
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    name = entry["limit_state"][:1].upper() + entry["limit_state"][1:]
    against = ", test and reference" if reference is not None else ""
    residual = entry.get("residual_drift") or {}
    limit = next(
        (
            f["capacity"]
            for f in entry.get("inspection", {}).get("findings", [])
            if f["criterion"] == "residual drift"
        ),
        None,
    )
    drawn = [{"svg": charts.histories(test, reference)[0], "size": "full",
              "caption": f"{name}: ground acceleration (m/s²), roof displacement (mm) and base shear (kN) over time (s){against}."},
             {"svg": charts.profiles(test, reference, residual, limit)[0], "size": "larger" if residual else "half",
              "caption": f"{name}: largest and residual storey drift ratios (%) over the height (m){against}; dashed: working limit."},
             {"svg": charts.frame_loop(test, reference)[0], "size": "smaller" if residual else "half",
              "caption": f"{name}: base shear (kN) against roof displacement (mm){against}."}]  # fmt: skip
    energy = charts.energy(test)
    if energy is not None:
        drawn.append({"svg": energy[0], "size": "full",
                      "caption": f"{name}: energy account (kJ) over time (s); what was lost below, what can return above, the input as a line."})  # fmt: skip
    loops = []
    if test.devices:
        loops.append({"svg": charts.loops(test, reference)[0], "size": "full",
                      "caption": f"{name}: force or moment against deformation of the devices that lose most{against}; titles: energy lost in the test."})  # fmt: skip
    return drawn, loops


def _player(data: dict[str, Any]) -> dict[str, Any]:
    """Still pictures of the animation and the data that move them."""
    shown = poster.shown_devices(data)
    more = {
        "place": poster.placed(data),
        "loop_places": {str(k): poster.loop_place(data, k) for k in shown},
        "strip_place": poster.strip_place(data),
    }
    loops = {"deformation", "deformation_step", "force", "force_step"}
    devices = [
        device if k in shown else {key: value for key, value in device.items() if key not in loops}
        for k, device in enumerate(data["devices"])
    ]
    scales = sorted({1.0, data["scale"], 2.0 * data["scale"], max(1.0, round(0.5 * data["scale"], 1))})
    return {
        "title": data["title"],
        "frame": poster.frame_picture(data),
        "loops": [poster.loop_picture(data, k) for k in shown],
        "strip": poster.strip_picture(data),
        "json": json.dumps({**data, "devices": devices, **more}, ensure_ascii=False).replace("</", "<\\/"),
        "end": data["times"][-1],
        "peak": number(data["times"][data["peak"]]),
        "peak_value": data["times"][data["peak"]],
        "scale": data["scale"],
        "scales": scales,
        "devices": [data["devices"][k]["name"] for k in shown],
    }
