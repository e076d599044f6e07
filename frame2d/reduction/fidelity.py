"""`fidelity`: does the reduced model behave like its reference? A table with bounds, for every level of a reduction."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np

from frame2d.analysis import Outcome
from frame2d.compare import (
    DENOMINATORS,
    compare,
    frequency_index,
    largest_work_error,
    nrmse,
    peak_error,
    residual_difference,
    signal_energy_error,
)
from frame2d.errors import InputError
from frame2d.reduction.fidelity_table import Fidelity, Limits, Row
from frame2d.reduction.models import Model, Run, Shapes, triangular

#: Fewer records than this a limit state prove little (common practice, no source).
LEAST_RECORDS = 3

#: A device that dissipates less than this share of what the hungriest one does has no energy bound (our own choice).
IDLE = 0.05


Records = Mapping[str, Sequence[Any]]


def fidelity(
    reference: Model,
    reduced: Model,
    records: Records,
    limits: Limits | None = None,
    *,
    modes: int = 3,
    push_drift: float = 0.02,
    push_steps: int = 60,
    every_index: bool = False,
    dt: float | None = None,
    progress: bool = False,
) -> Fidelity:
    """Compare `reduced` with `reference`: periods, shapes, push, and histories under `records`.

    `records` are lists by limit state of a record or (record, factor). Both models are pushed by forces that grow with
    height until the highest floor has moved by `push_drift` of its height. Compared are floors and devices of one name;
    names that only one model has are listed in the notes. `every_index` adds all indices of `frame2d.compare.compare` of
    each displacement and force, without bounds. Interrupted (Ctrl-C) it returns the rows so far, flagged.
    """
    bounds = limits or Limits()
    floors = [floor for floor in reference.levels() if floor in reduced.levels()]
    if not floors:
        raise InputError(
            f"{reference.name} and {reduced.name} have no floor of one name; allowed: the same floors. They have "
            f"{list(reference.levels())} and {list(reduced.levels())}"
        )
    jobs = [(state, *_with_factor(entry)) for state, entries in records.items() for entry in entries]
    rows: list[Row] = []
    notes = [
        f"{state}: {len(entries)} records; {LEAST_RECORDS} or more are usual"
        for state, entries in records.items()
        if len(entries) < LEAST_RECORDS
    ]
    missed: dict[str, set[str]] = {reference.name: set(), reduced.name: set()}
    interrupted = False
    bar = _bar(2 + 2 * len(jobs)) if progress else None

    def tick() -> None:
        if bar is not None:
            bar.update()

    try:
        rows += _modal(reference, reduced, floors, modes, bounds)
        tick()
        rows += _pushed(reference, reduced, push_drift, push_steps, bounds)
        tick()
        for state, record, factor in jobs:
            first = reference.run(record, factor, dt)
            tick()
            second = reduced.run(record, factor, dt)
            tick()
            label = getattr(record, "name", "record") + (f" × {factor:g}" if factor != 1.0 else "")
            rows += _history(state, label, first, second, floors, bounds, every_index)
            missed[reference.name] |= set(first.devices) - set(second.devices)
            missed[reduced.name] |= set(second.devices) - set(first.devices)
    except KeyboardInterrupt:
        interrupted = True
    finally:
        if bar is not None:
            bar.close()
    for model, names in missed.items():
        if names:
            some = ", ".join(sorted(names)[:4]) + (", …" if len(names) > 4 else "")
            notes.append(f"{len(names)} devices of {model} alone are compared by storey only: {some}")
    return Fidelity(reference.name, reduced.name, bounds, tuple(rows), tuple(notes), interrupted)


def _bar(total: int) -> Any:
    from tqdm import tqdm

    return tqdm(total=total, unit="run", leave=False)


def _with_factor(entry: Any) -> tuple[Any, float]:
    if isinstance(entry, tuple):
        record, factor = entry
        return record, float(factor)
    return entry, 1.0


def mac(first: np.ndarray, second: np.ndarray) -> float:
    """Modal assurance criterion (Allemang & Brown 1982): (φᵀψ)²/(φᵀφ·ψᵀψ)."""
    return float((first @ second) ** 2 / ((first @ first) * (second @ second)))


def matched(reference: Shapes, shape: np.ndarray) -> int:
    """Mode of the reference that a shape stands for: of those alike (MAC within 0.1 of the best) the heaviest."""
    alike = np.array([mac(reference.shape[:, k], shape) for k in range(reference.period.size)])
    near = np.flatnonzero(alike >= alike.max() - 0.1)
    return int(near[np.argmax(reference.effective[near])])


def _modal(reference: Model, reduced: Model, floors: list[str], count: int, limits: Limits) -> Iterator[Row]:
    have = len(reduced.levels())
    # More of the reference's: a mode of the reduced model may stand for a late one, among those that twist.
    a, b = reference.modes(4 * max(count, have)), reduced.modes(min(count, have))
    pick_a = [list(reference.levels()).index(floor) for floor in floors]
    pick_b = [list(reduced.levels()).index(floor) for floor in floors]
    there = Shapes(a.period, a.shape[pick_a], a.effective)
    for k in range(min(count, b.period.size)):
        shape = b.shape[pick_b, k]
        if not np.any(np.abs(shape) > 1e-3 * np.abs(b.shape).max()):
            continue
        at = matched(there, shape)
        note = f"reference mode {at + 1}, {a.period[at]:.4g} s against {b.period[k]:.4g} s"
        error = b.period[k] / a.period[at] - 1.0
        yield _row(
            "modes", "", f"mode {k + 1}", "period error", error, limits.period, "(T − T_ref)/T_ref", note
        )
        alike = mac(there.shape[:, at], shape)
        passed = None if limits.mac is None else alike >= limits.mac
        yield Row(
            "modes",
            "",
            f"mode {k + 1}",
            "MAC",
            alike,
            "-",
            limits.mac,
            passed,
            "Allemang & Brown 1982, at the floors",
        )


def _pushed(reference: Model, reduced: Model, drift: float, steps: int, limits: Limits) -> Iterator[Row]:
    levels = reference.levels()
    floors = [floor for floor in levels if floor in reduced.levels()]
    pattern = {floor: share for floor, share in triangular(reference).items() if floor in floors}
    total = sum(pattern.values())
    pattern = {floor: share / total for floor, share in pattern.items()}
    target = drift * levels[floors[-1]]
    a, b = reference.push(pattern, target, steps), reduced.push(pattern, target, steps)
    last = min(a.displacement[-1], b.displacement[-1])
    at = np.linspace(0.0, last, steps + 1)
    first, second = (np.interp(at, curve.displacement, curve.shear) for curve in (a, b))
    largest = np.abs(first).max()
    note = f"largest {largest / 1e3:.4g} kN against {np.abs(second).max() / 1e3:.4g} kN, to {last:.3g} m"
    error = np.abs(second).max() / largest - 1.0
    yield _row(
        "push", "", "base shear", "peak error", error, limits.push, "(max V − max V_ref)/max V_ref", note
    )
    apart = float(np.abs(second - first).max() / largest)
    yield _row(
        "push",
        "",
        "base shear",
        "largest difference",
        apart,
        limits.push,
        "max|V − V_ref|/max V_ref at one displacement",
    )
    if last < 0.95 * target:
        yield Row(
            "push",
            "",
            "base shear",
            "end",
            last,
            "m",
            target,
            False,
            "displacement reached by both",
            "cut short",
        )


def _history(
    state: str, label: str, a: Run, b: Run, floors: list[str], limits: Limits, every: bool
) -> Iterator[Row]:
    if a.outcome is not b.outcome or a.outcome is not Outcome.COMPLETED:
        same = a.outcome is b.outcome
        note = f"reference {a.outcome.name.lower()}, reduced {b.outcome.name.lower()}"
        yield Row(state, label, "outcome", "end", float(not same), "-", 0.5, same, "0: both end alike", note)
    n = min(a.shear.size, b.shear.size)
    dt = a.dt
    named = limits.denominator

    def compared(what: str, unit: str, x: np.ndarray, y: np.ndarray) -> Iterator[Row]:
        x, y = x[:n], y[:n]
        definition = f"rmse/D, D = {DENOMINATORS[named]}"
        yield _try(state, label, what, "nrmse", lambda: nrmse(x, y, named).value, limits.nrmse, definition)
        yield _try(
            state,
            label,
            what,
            "peak error",
            lambda: peak_error(x, y),
            limits.peak,
            "(max|y| − max|x|)/max|x|",
        )
        guo = "Guo et al. 2014, l = 2"
        yield _try(
            state, label, what, "FEI amplitude", lambda: frequency_index(x, y, dt).amplitude, None, guo
        )
        yield _try(state, label, what, "FEI delay", lambda: frequency_index(x, y, dt).delay, None, guo, "s")
        energy = "(Σy² − Σx²)/Σx²"
        yield _try(state, label, what, "signal energy error", lambda: signal_energy_error(x, y), None, energy)
        if unit:
            last = "y − x at the last sample"
            yield _try(
                state, label, what, "residual difference", lambda: residual_difference(x, y), None, last, unit
            )
        if every:
            for index in compare(x, y, dt, unit=unit):
                yield Row(
                    state,
                    label,
                    what,
                    index.name,
                    index.value,
                    index.unit,
                    None,
                    None,
                    index.definition,
                    index.note,
                )

    for floor in floors:
        yield from compared(f"{floor} ux", "m", a.floors[floor], b.floors[floor])
    yield from compared("base shear", "N", a.shear, b.shear)
    shared = [name for name in a.devices if name in b.devices]
    ends = {name: float(a.devices[name].dissipated[n - 1]) for name in shared}
    most = max(ends.values(), default=0.0)
    for name in shared:
        first, second = a.devices[name], b.devices[name]
        yield from compared(f"{name} force", "", first.force, second.force)
        idle = ends[name] < IDLE * most
        note = (
            f"dissipates {100 * ends[name] / most if most > 0.0 else 0.0:.2g} % of the hungriest"
            if idle
            else ""
        )
        yield _try(
            state, label, f"{name} energy", "energy error",
            partial(_relative, float(first.dissipated[n - 1]), float(second.dissipated[n - 1])),
            None if idle else limits.energy, "(E − E_ref)/E_ref dissipated at the end", note=note,
        )  # fmt: skip
        yield _try(
            state, label, f"{name} energy", "work error on the way",
            partial(
                largest_work_error, first.deformation[:n], first.force[:n], second.deformation[:n], second.force[:n]
            ),
            None, "max|E − E_ref|/max|E_ref|, E = ∫F du",
        )  # fmt: skip
    storeys = [floor for floor in a.storeys if floor in b.storeys]
    most = max((float(a.storeys[floor][n - 1]) for floor in storeys), default=0.0)
    for floor in storeys:
        own = float(a.storeys[floor][n - 1])
        idle = own < IDLE * most
        yield _try(
            state, label, f"devices below {floor}", "energy error",
            partial(_relative, own, float(b.storeys[floor][n - 1])),
            None if idle else limits.energy, "(E − E_ref)/E_ref dissipated at the end",
            note=f"dissipates {100 * own / most if most > 0.0 else 0.0:.2g} % of the hungriest storey" if idle else "",
        )  # fmt: skip
    total = [sum(float(run.storeys[floor][n - 1]) for floor in run.storeys) for run in (a, b)]
    yield _try(
        state, label, "all devices", "energy error", partial(_relative, *total), limits.energy,
        "(E − E_ref)/E_ref dissipated at the end",
    )  # fmt: skip


def _relative(reference: float, compared: float) -> float:
    return compared / reference - 1.0


def _try(
    part: str,
    record: str,
    quantity: str,
    index: str,
    value: Callable[[], float],
    bound: float | None,
    definition: str,
    unit: str = "-",
    note: str = "",
) -> Row:
    try:
        found = float(value())
    except (InputError, ZeroDivisionError) as error:
        return Row(part, record, quantity, index, None, unit, bound, None, definition, str(error))
    if not np.isfinite(found):
        return Row(
            part, record, quantity, index, None, unit, bound, None, definition, "the reference is zero"
        )
    return _row(part, record, quantity, index, found, bound, definition, note, unit)


def _row(
    part: str,
    record: str,
    quantity: str,
    index: str,
    value: float,
    bound: float | None,
    definition: str,
    note: str = "",
    unit: str = "-",
) -> Row:
    passed = None if bound is None else bool(abs(value) <= bound)
    return Row(part, record, quantity, index, float(value), unit, bound, passed, definition, note)
