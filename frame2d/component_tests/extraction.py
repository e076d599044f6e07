"""What a component test says about its device, per direction and per cycle."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from frame2d.compare.histories import TINY
from frame2d.component_tests.cyclic_test import CyclicTest
from frame2d.component_tests.excursions import Excursion, excursions
from frame2d.component_tests.yielding import (
    Yield,
    drop_point,
    eccs_yield,
    equal_energy_yield,
    initial_stiffness,
    virgin_branch,
)
from frame2d.errors import InputError, known


class Cycle(NamedTuple):
    """Two excursions on opposite sides, one after the other.

    `amplitude` is half the distance of the peaks, `secant` the slope between them, `energy` ∫F du over both
    (J), and `damping` the equivalent viscous ratio E/(2π·secant·amplitude²) (Jacobsen 1930).
    """

    amplitude: float
    secant: float
    energy: float
    damping: float
    repeat: int


@dataclass(frozen=True)
class Direction:
    """One direction of a test, mirrored so that all its numbers are positive; SI units.

    `envelope` starts at the origin: first visits to new amplitudes ("peaks"), or every sample of first
    loading ("virgin"). `yield_energy` and `yield_eccs` are None where the envelope has none, and `notes` say
    why; `ultimate` is the deformation at a 20 % drop from the peak force, None when not reached up to
    `largest`.
    """

    sign: int
    stiffness: float | None
    envelope: tuple[np.ndarray, np.ndarray] = field(repr=False)
    peak_force: float
    peak_force_deformation: float
    largest: float
    yield_energy: Yield | None
    yield_eccs: Yield | None
    ultimate: float | None
    excursions: tuple[Excursion, ...] = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def energy(self) -> float:
        """Work in this direction over the whole test, J."""
        return sum(excursion.energy for excursion in self.excursions)

    @property
    def pinching(self) -> float | None:
        """Pinching ratio of the first visit to the largest amplitude that has one."""
        found = [e for e in self.excursions if e.repeat == 1 and e.pinching is not None]
        return max(found, key=lambda e: e.deformation).pinching if found else None

    @property
    def largest_drop(self) -> float:
        """Largest loss of strength between repeats of one amplitude."""
        return max((e.drop for e in self.excursions), default=0.0)

    @property
    def ductility(self) -> float | None:
        """Ultimate (or largest) deformation over the equal-energy yield deformation."""
        if self.yield_energy is None:
            return None
        return (self.largest if self.ultimate is None else self.ultimate) / self.yield_energy.deformation


@dataclass(frozen=True)
class Extraction:
    """Both directions (None where the test never went) and the cycles of a test."""

    test: str
    units: tuple[str, str]
    positive: Direction | None
    negative: Direction | None
    cycles: tuple[Cycle, ...] = field(repr=False)

    @property
    def directions(self) -> tuple[Direction, ...]:
        """The directions there are, positive first."""
        return tuple(d for d in (self.positive, self.negative) if d is not None)

    def as_dict(self) -> dict[str, Any]:
        """Plain numbers, without the sample histories."""
        return {
            "test": self.test,
            "units": list(self.units),
            "directions": {"positive" if d.sign > 0 else "negative": _plain(d) for d in self.directions},
            "cycles": [cycle._asdict() for cycle in self.cycles],
        }

    def __str__(self) -> str:
        length, load = self.units
        rows = [f"test {self.test}: {len(self.cycles)} cycles"]
        for d in self.directions:
            rows.append("positive" if d.sign > 0 else "negative (magnitudes)")
            stiffness = "none" if d.stiffness is None else f"{d.stiffness:.4g} {load}/{length}"
            rows.append(f"  initial stiffness          {stiffness}")
            for what, y in (("equal energy", d.yield_energy), ("ECCS 45", d.yield_eccs)):
                text = "none" if y is None else f"{y.force:.4g} {load} at {y.deformation:.4g} {length}"
                rows.append(f"  yield, {what:<19} {text}")
            rows.append(
                f"  peak force                 {d.peak_force:.4g} {load} at {d.peak_force_deformation:.4g} "
                f"{length}"
            )
            ultimate = "not reached" if d.ultimate is None else f"{d.ultimate:.4g} {length}"
            rows.append(f"  ultimate (20 % drop)       {ultimate}, largest {d.largest:.4g} {length}")
            rows.append(f"  largest drop in repeats    {100 * d.largest_drop:.3g} %")
            rows.append(
                f"  pinching ratio             {'none' if d.pinching is None else f'{d.pinching:.3g}'}"
            )
            rows += [f"  note: {note}" for note in d.notes]
        for i, cycle in enumerate(self.cycles, 1):
            rows.append(
                f"  cycle {i:>3}: amplitude {cycle.amplitude:.4g} {length}, secant {cycle.secant:.4g}, "
                f"energy {cycle.energy:.4g} J, damping {100 * cycle.damping:.3g} %, repeat {cycle.repeat}"
            )
        return "\n".join(rows)


def extract(
    test: CyclicTest,
    *,
    envelope: str = "peaks",
    stiffness_range: tuple[float, float] = (0.1, 0.4),
    threshold: float = 0.02,
    same: float = 0.05,
) -> Extraction:
    """Stiffness, yield, envelope, ultimate, energies, damping, pinching and strength drops of a test.

    `envelope` "peaks" joins the peaks of first visits to new amplitudes, "virgin" takes every sample of first
    loading (a monotonic test needs it; after repeats it dips). `stiffness_range` are shares of the peak
    force. `threshold` and `same` as in `excursions`. Force and deformation must have one sign in loading;
    slack left in the test shortens the area under the envelope, and with it the equal-energy yield (take it
    out in `prepare`). Raises `InputError`.
    """
    known("envelope", envelope, ("peaks", "virgin"))
    _same_signs(test)
    found = excursions(test.deformation, test.force, threshold=threshold, same=same)
    sides = []
    for sign in (1, -1):
        mine = tuple(e for e in found if e.sign == sign)
        # Of unloading alone no direction is made: it must have been deformed that way.
        sides.append(
            _direction(test, sign, mine, envelope, stiffness_range)
            if any(e.deformation > 0 for e in mine)
            else None
        )
    return Extraction(test.name, test.units, sides[0], sides[1], _cycles(found))


def _same_signs(test: CyclicTest) -> None:
    """First loading does positive work in a device that resists, whatever its law."""
    first = [virgin_branch(sign * test.deformation, sign * test.force) for sign in (1, -1)]
    if sum(float(u @ F) for u, F in first) <= 0.0:
        raise InputError(
            f"test {test.name}: force opposes the deformation on first loading; allowed: one sign for both. "
            "Likely mistake: the sign of one sensor (deformation_sign or force_sign)"
        )


def _direction(
    test: CyclicTest,
    sign: int,
    mine: tuple[Excursion, ...],
    envelope: str,
    stiffness_range: tuple[float, float],
) -> Direction:
    u, F = virgin_branch(sign * test.deformation, sign * test.force)
    notes: list[str] = []
    stiffness = _stiffness(u, F, stiffness_range, notes)
    curve = _peaks(test.name, sign, mine) if envelope == "peaks" else (np.append(0.0, u), np.append(0.0, F))
    strongest = max(mine, key=lambda e: e.peak_force)
    span = sign * test.force[strongest.start : strongest.stop + 1]
    at = strongest.start + int(np.argmax(span))
    return Direction(
        sign=sign,
        stiffness=stiffness,
        envelope=curve,
        peak_force=strongest.peak_force,
        peak_force_deformation=float(sign * test.deformation[at]),
        largest=max(e.deformation for e in mine),
        yield_energy=_yield(equal_energy_yield, curve, stiffness, notes, "yield by equal energy"),
        yield_eccs=_yield(eccs_yield, curve, stiffness, notes, "yield by ECCS 45"),
        ultimate=drop_point(*curve),
        excursions=mine,
        notes=tuple(notes),
    )


def _stiffness(
    u: np.ndarray, F: np.ndarray, stiffness_range: tuple[float, float], notes: list[str]
) -> float | None:
    try:
        return initial_stiffness(u, F, *stiffness_range)
    except InputError as error:
        notes.append(f"initial stiffness: {error}")
        return None


def _yield(
    rule: Callable[[np.ndarray, np.ndarray, float], Yield],
    curve: tuple[np.ndarray, np.ndarray],
    stiffness: float | None,
    notes: list[str],
    what: str,
) -> Yield | None:
    if stiffness is None:
        return None
    try:
        return rule(*curve, stiffness)
    except InputError as error:
        notes.append(f"{what}: {error}")
        return None


def _peaks(name: str, sign: int, mine: tuple[Excursion, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Origin and the peaks of first visits that go farther than all before."""
    u, F = [0.0], [0.0]
    for excursion in mine:
        if excursion.repeat == 1 and excursion.deformation > u[-1]:
            u.append(excursion.deformation)
            F.append(excursion.force)
    if len(u) < 4:
        side = "positive" if sign > 0 else "negative"
        raise InputError(
            f"test {name}: {len(u) - 1} amplitudes on the {side} side make no envelope of peaks; "
            "allowed: 3 or more. For a monotonic test or few amplitudes take envelope='virgin'"
        )
    return np.array(u), np.array(F)


def _cycles(found: tuple[Excursion, ...]) -> tuple[Cycle, ...]:
    cycles = []
    for first, second in zip(found[::2], found[1::2], strict=False):
        u = first.deformation + second.deformation
        if u <= TINY:
            continue
        amplitude, secant = u / 2.0, (first.force + second.force) / u
        energy = first.energy + second.energy
        strain = 0.5 * secant * amplitude**2
        damping = energy / (4.0 * np.pi * strain) if strain > TINY else 0.0
        cycles.append(Cycle(amplitude, secant, energy, damping, max(first.repeat, second.repeat)))
    return tuple(cycles)


def _plain(direction: Direction) -> dict[str, Any]:
    u, F = direction.envelope
    return {
        "stiffness": direction.stiffness,
        "envelope": {"deformation": u.tolist(), "force": F.tolist()},
        "peak_force": direction.peak_force,
        "peak_force_deformation": direction.peak_force_deformation,
        "largest": direction.largest,
        "yield_energy": None if direction.yield_energy is None else direction.yield_energy._asdict(),
        "yield_eccs": None if direction.yield_eccs is None else direction.yield_eccs._asdict(),
        "ultimate": direction.ultimate,
        "ductility": direction.ductility,
        "energy": direction.energy,
        "pinching": direction.pinching,
        "largest_drop": direction.largest_drop,
        "excursions": [dict(vars(e)) for e in direction.excursions],
        "notes": list(direction.notes),
    }
