"""From raw columns to a test in SI: gaps, signs, offset, smoothing, slack, each only on request."""

from pathlib import Path
from typing import Any

import numpy as np
from scipy.signal import savgol_filter

from frame2d import units as si
from frame2d.component_tests.cyclic_test import CyclicTest
from frame2d.component_tests.reading import RawTest, read_raw
from frame2d.errors import InputError, known, positive, within

#: Factor to SI and what it measures, by the unit's usual spellings.
UNITS: dict[str, tuple[float, str]] = {
    "m": (si.m, "length"),
    "cm": (si.cm, "length"),
    "mm": (si.mm, "length"),
    "rad": (si.rad, "angle"),
    "mrad": (si.mrad, "angle"),
    "deg": (si.deg, "angle"),
    "°": (si.deg, "angle"),
    "%": (si.percent, "angle"),
    "N": (si.N, "force"),
    "kN": (si.kN, "force"),
    "MN": (si.MN, "force"),
    "Nm": (si.Nm, "moment"),
    "kNm": (si.kNm, "moment"),
    "MNm": (si.MNm, "moment"),
    "s": (si.s, "time"),
    "ms": (si.ms, "time"),
    "min": (si.minute, "time"),
}


def read_test(path: str | Path, *, name: str = "", **options: Any) -> CyclicTest:
    """Read a CSV file and prepare it: `options` are those of `read_raw` and of `prepare`, by name."""
    reading = {key: options.pop(key) for key in ("delimiter", "decimal", "skip", "missing") if key in options}
    return prepare(read_raw(path, **reading), name=name or Path(path).stem, **options)


def prepare(
    raw: RawTest,
    *,
    deformation: str,
    force: str,
    time: str | None = None,
    name: str = "test",
    units: dict[str, str] | None = None,
    deformation_sign: int = 1,
    force_sign: int = 1,
    displacement_arm: float | None = None,
    force_arm: float | None = None,
    gaps: str = "refuse",
    repeated: str = "keep",
    offset: str | tuple[float, float] = "keep",
    smoothing: int | None = None,
    slack: tuple[float, float] | None = None,
    slack_force: float | None = None,
) -> CyclicTest:
    """Make a `CyclicTest` of the named columns: nothing is done unasked, and what is done is recorded.

    In the order of their application:
      units              by column, where the header has none (one that contradicts the header is refused)
      gaps               "refuse", "drop" the rows, or bridge them by a straight "line"
      repeated           "keep", "drop" or "refuse" rows that equal the row before in all named columns
      deformation_sign, force_sign   −1 turns a sensor round
      displacement_arm   divides a displacement (m) into a rotation; `force_arm` multiplies a force into a
      moment offset             "keep", "first" (subtract the first sample), or the numbers (deformation,
      force) in SI smoothing          odd number of samples of a quadratic smoothing filter (Savitzky & Golay
      1964) slack              (negative, positive) clearance of the fixture (m or rad, magnitudes) taken
      out; while
                         |F| ≤ `slack_force` the deformation runs straight from one contact to the other

    Raises `InputError` naming the column, the line and the option that would help.
    """
    chosen = [column for column in (time, deformation, force) if column is not None]
    if len(set(chosen)) != len(chosen):
        raise InputError(f"columns {chosen} are not different; allowed: one column each")
    table = np.column_stack([raw.column(column) for column in chosen])
    table, lines, log = _without_gaps(raw, table, chosen, gaps)
    table, lines, note = _without_repeats(raw, table, lines, repeated)
    log += note
    scales = [_scale(raw, column, units or {}) for column in chosen]
    u, F = table[:, -2] * scales[-2][0], table[:, -1] * scales[-1][0]
    log += [
        f"{column}: {unit} × {factor:g}" for column, (factor, _, unit) in zip(chosen, scales, strict=True)
    ]
    known("deformation_sign", deformation_sign, (1, -1))
    known("force_sign", force_sign, (1, -1))
    u, F = deformation_sign * u, force_sign * F
    log += [
        f"{what} turned round"
        for what, s in (("deformation", deformation_sign), ("force", force_sign))
        if s < 0
    ]
    u, F, kind, note = _kind(u, F, scales[-2][1], scales[-1][1], displacement_arm, force_arm)
    log += note
    u, F, note = _offset(u, F, offset)
    log += note
    if smoothing is not None:
        u, F = _smoothed(u, smoothing), _smoothed(F, smoothing)
        log.append(f"smoothed by a quadratic filter of {smoothing} samples")
    if slack is not None:
        u = _without_slack(u, F, slack, slack_force)
        log.append(f"slack {slack[0]:g} / {slack[1]:g} taken out while |F| ≤ {slack_force:g}")
    t = None
    if time is not None:
        if scales[0][1] != "time":
            raise InputError(f"column {time} is in {scales[0][2]}; allowed: a unit of time: s, ms, min")
        t = table[:, 0] * scales[0][0]
        back = np.flatnonzero(np.diff(t) <= 0.0)
        if back.size:
            raise InputError(
                f"{raw.source}, line {lines[back[0] + 1]}: time does not increase; allowed: increasing "
                "times. Likely mistake: repeated rows (repeated='drop'), or two tests in one file"
            )
    return CyclicTest(name, u, F, kind, t, raw, tuple(log))


def _lines(numbers: np.ndarray) -> str:
    shown = ", ".join(str(number) for number in numbers[:5])
    return f"line{'s' if numbers.size > 1 else ''} {shown}" + (" …" if numbers.size > 5 else "")


def _without_gaps(
    raw: RawTest, table: np.ndarray, chosen: list[str], gaps: str
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    known("gaps", gaps, ("refuse", "drop", "line"))
    missing = np.isnan(table)
    rows = np.flatnonzero(missing.any(axis=1))
    if not rows.size:
        return table, raw.lines, []
    where = _lines(raw.lines[rows])
    if gaps == "refuse":
        column = chosen[int(np.argmax(missing[rows[0]]))]
        raise InputError(
            f"{raw.source}: {rows.size} rows with a gap, {where} ({column}); allowed: none unless "
            "gaps='drop' or gaps='line' says what to do with them"
        )
    if gaps == "drop":
        keep = ~missing.any(axis=1)
        return table[keep], raw.lines[keep], [f"{rows.size} rows with gaps dropped: {where}"]
    filled = table.copy()
    index = np.arange(table.shape[0])
    for j in range(table.shape[1]):
        bad = missing[:, j]
        if bad[0] or bad[-1] or bad.all():
            raise InputError(
                f"{raw.source}: {chosen[j]} has a gap at its start or end; allowed: inner gaps with 'line'"
            )
        filled[bad, j] = np.interp(index[bad], index[~bad], table[~bad, j])
    return filled, raw.lines, [f"{rows.size} rows with gaps bridged by straight lines: {where}"]


def _without_repeats(
    raw: RawTest, table: np.ndarray, lines: np.ndarray, repeated: str
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    known("repeated", repeated, ("keep", "drop", "refuse"))
    same = np.concatenate([[False], np.all(table[1:] == table[:-1], axis=1)])
    if repeated == "keep" or not same.any():
        return table, lines, []
    where = _lines(lines[same])
    if repeated == "refuse":
        raise InputError(
            f"{raw.source}: {int(same.sum())} rows repeat the row before, {where}; allowed: none, or "
            "repeated='drop'"
        )
    return table[~same], lines[~same], [f"{int(same.sum())} repeated rows dropped: {where}"]


def _scale(raw: RawTest, column: str, units: dict[str, str]) -> tuple[float, str, str]:
    printed, given = raw.units.get(column, ""), units.get(column, "")
    if printed and given and _spelled(printed) != _spelled(given):
        raise InputError(
            f"column {column} is in {printed} by its header and in {given} by `units`; allowed: one of them"
        )
    unit = _spelled(given or printed)
    if not unit:
        raise InputError(f"column {column} has no unit in the header; give it: units={{'{column}': 'mm'}}")
    factor, measures = UNITS[known(f"unit of column {column}", unit, UNITS)]
    return factor, measures, unit


def _spelled(unit: str) -> str:
    return unit.replace("·", "").replace("*", "").replace(" ", "").replace(".", "")


def _kind(
    u: np.ndarray,
    F: np.ndarray,
    deformed: str,
    loaded: str,
    displacement_arm: float | None,
    force_arm: float | None,
) -> tuple[np.ndarray, np.ndarray, str, list[str]]:
    log = []
    if displacement_arm is not None:
        if deformed != "length":
            raise InputError(
                f"displacement_arm is given for a deformation that is a {deformed}; allowed: for a length"
            )
        u, deformed = u / positive("displacement_arm", displacement_arm, hint="in m"), "angle"
        log.append(f"rotation = displacement / {displacement_arm:g} m")
    if force_arm is not None:
        if loaded != "force":
            raise InputError(f"force_arm is given for a load that is a {loaded}; allowed: for a force")
        F, loaded = F * positive("force_arm", force_arm, hint="in m"), "moment"
        log.append(f"moment = force × {force_arm:g} m")
    kinds = {("length", "force"): "translation", ("angle", "moment"): "rotation"}
    if (deformed, loaded) not in kinds:
        raise InputError(
            f"deformation is a {deformed} and load a {loaded}: their product is no work; allowed: length "
            "with force, angle with moment. Give displacement_arm or force_arm, or the right column"
        )
    return u, F, kinds[deformed, loaded], log


def _offset(
    u: np.ndarray, F: np.ndarray, offset: str | tuple[float, float]
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    if isinstance(offset, str):
        if known("offset", offset, ("keep", "first")) == "keep":
            return u, F, []
        offset = (float(u[0]), float(F[0]))
    du, dF = offset
    return u - du, F - dF, [f"offset {du:.6g} and {dF:.6g} subtracted"]


def _smoothed(values: np.ndarray, window: int) -> np.ndarray:
    if window < 5 or window % 2 == 0 or window > values.size:
        raise InputError(f"smoothing is {window}; allowed: an odd number of samples from 5 to {values.size}")
    return np.asarray(savgol_filter(values, window, 2))


def _without_slack(
    u: np.ndarray, F: np.ndarray, slack: tuple[float, float], slack_force: float | None
) -> np.ndarray:
    low = within("slack[0]", slack[0], 0.0, np.inf, hint="give magnitudes")
    high = within("slack[1]", slack[1], 0.0, np.inf, hint="give magnitudes")
    if slack_force is None:
        raise InputError(
            "slack is given without slack_force; give the force (SI) below which there is no contact"
        )
    contact = np.abs(F) > positive("slack_force", slack_force)
    if not contact.any():
        raise InputError(
            f"slack_force is {slack_force:g}, over every force of the test; allowed: a little over its noise"
        )
    taken = np.where(F > 0.0, u - high, u + low)
    index = np.arange(u.size)
    return np.where(contact, taken, np.interp(index, index[contact], taken[contact]))


def from_arrays(
    name: str, deformation: Any, force: Any, *, time: Any = None, kind: str = "translation"
) -> CyclicTest:
    """A test of histories that are in SI already (m and N, or rad and N·m)."""
    return CyclicTest(name, deformation, force, kind, time, None, ("given as arrays in SI",))
