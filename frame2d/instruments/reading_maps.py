"""Sensor maps from files: one TOML file, or two CSV tables (channels and places).

    name = "storey 1"
    balanced = true
    [places."A1 low"]
    kind = "section"
    member = "column A1"
    at = 0.6
    spacing = 0.3
    fy = 355e6
    [channels.SG01]
    kind = "strain"
    place = "A1 low"
    face = "left"
    unit = "µε"
    sign = 1

In the CSV tables each row is one place or channel, its columns are the same keys; a cell that names several things
separates them by semicolons; empty cells are left out.
"""

import csv
import tomllib
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any

from frame2d.errors import InputError, known
from frame2d.instruments.channel import Channel
from frame2d.instruments.places import KINDS, Place
from frame2d.instruments.sensor_map import SensorMap, sensor_map
from frame2d.model.frame import Frame

#: Keys whose value is a list of names.
LISTS = ("sections", "actuators", "columns", "bars", "ends", "moments")


def read_map(path: str | Path, frame: Frame, places: str | Path | None = None, **options: Any) -> SensorMap:
    """Read a map of `frame` from TOML, or from a CSV of channels with the CSV `places`; see above.

    `options` (name, balanced, specimen) go with CSV only. Raises `InputError` with file, entry and key.
    """
    source = Path(path)
    if source.suffix.lower() == ".csv":
        if places is None:
            raise InputError(
                f"{source} holds channels alone; allowed: places='….csv', the table of their places"
            )
        channels = {str(row.pop("name", "")): row for row in _rows(source)}
        stands = {str(row.pop("name", "")): row for row in _rows(Path(places))}
        return _build(frame, stands, channels, {"name": source.stem, **options}, str(source))
    if places is not None or options:
        raise InputError(f"{source} is no CSV; allowed: places and options inside the TOML file")
    try:
        data = tomllib.loads(source.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{source} can't be read: {error.strerror or error}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{source} is not TOML: {error}") from None
    return from_data(data, frame, str(source))


def from_data(data: dict[str, Any], frame: Frame, source: str = "sensor map") -> SensorMap:
    """Sensor map of plain data with the keys of a TOML map, as `SensorMap.describe` gives them."""
    top = {"name", "balanced", "specimen", "places", "channels"}
    for key in data:
        known(f"{source}: key", key, top)
    for key in ("places", "channels"):
        if not isinstance(data.get(key), dict) or not all(isinstance(v, dict) for v in data[key].values()):
            raise InputError(f"{source} has no tables [{key}.NAME]; allowed: one for each of the {key}")
    rest: dict[str, Any] = {key: data[key] for key in ("name", "balanced", "specimen") if key in data}
    return _build(frame, data["places"], data["channels"], rest, source)


def _build(
    frame: Frame,
    places: dict[str, dict[str, Any]],
    channels: dict[str, dict[str, Any]],
    options: dict[str, Any],
    source: str,
) -> SensorMap:
    made_places: list[Place] = []
    for name, entry in places.items():
        values = dict(entry)
        kind = known(f"{source}: place {name!r}: kind", values.pop("kind", None), KINDS)
        made_places.append(_made(KINDS[kind], name, values, f"{source}: place {name!r}"))
    made = [
        _made(Channel, name, dict(entry), f"{source}: channel {name!r}") for name, entry in channels.items()
    ]
    if "specimen" in options:
        options = {**options, "specimen": tuple(options["specimen"])}
    return sensor_map(frame, made_places, made, **options)


def _made(kind: Any, name: str, values: dict[str, Any], what: str) -> Any:
    allowed = {entry.name: entry for entry in fields(kind) if entry.name != "name"}
    for key in values:
        known(f"{what}: key", key, allowed)
    needed = [key for key, entry in allowed.items() if entry.default is MISSING and key not in values]
    if kind is Channel and "sign" not in values:
        needed.append("sign")
    if needed:
        raise InputError(f"{what} lacks {', '.join(needed)}; allowed: every one of them, declared")
    for key, value in values.items():
        if key in LISTS:
            if not isinstance(value, list | tuple) or not all(isinstance(part, str) for part in value):
                raise InputError(f"{what}: {key} is {value!r}; allowed: a list of names")
            values[key] = tuple(value)
        elif allowed[key].type in ("str", str) and not isinstance(value, str):
            raise InputError(f"{what}: {key} is {value!r}; allowed: text")
        elif allowed[key].type in ("float", float, "int", int) and (
            isinstance(value, bool) or not isinstance(value, int | float)
        ):
            raise InputError(f"{what}: {key} is {value!r}; allowed: a number")
    return kind(name=name, **values)


def _rows(path: Path) -> list[dict[str, Any]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path} can't be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path} is not UTF-8 text; save it as UTF-8 CSV") from None
    lines = [
        (n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"
    ]
    if len(lines) < 2:
        raise InputError(f"{path} is empty; allowed: a header line and one row for each entry")
    header = [cell.strip() for cell in next(csv.reader([lines[0][1]]))]
    if "name" not in header:
        raise InputError(
            f"{path} has no column 'name' but {', '.join(header)}; allowed: name first, then keys"
        )
    rows: list[dict[str, Any]] = []
    names: set[str] = set()
    for number, line in lines[1:]:
        cells = [cell.strip() for cell in next(csv.reader([line]))]
        if len(cells) != len(header):
            raise InputError(
                f"{path}, line {number}: {len(cells)} cells; allowed: {len(header)}, as in the header. Likely mistake: "
                "a list written with commas (use semicolons)"
            )
        row = {key: _cell(key, cell) for key, cell in zip(header, cells, strict=True) if cell}
        if not row.get("name") or row["name"] in names:
            raise InputError(
                f"{path}, line {number}: name is {row.get('name', '')!r}; allowed: each name once, none empty"
            )
        names.add(row["name"])
        rows.append(row)
    return rows


def _cell(key: str, cell: str) -> Any:
    if key in LISTS:
        return tuple(part.strip() for part in cell.split(";") if part.strip())
    if key in (
        "name",
        "kind",
        "place",
        "unit",
        "face",
        "clock",
        "member",
        "node",
        "component",
        "device",
        "point",
    ):
        return cell
    try:
        value = float(cell)
    except ValueError:
        return cell
    return int(value) if key == "sign" and value.is_integer() else value
