"""`coupled_history`: several parts, each with its own scheme and step, tied by Lagrange multipliers at velocity level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

import numpy as np

from frame2d.analysis.outcome import AnalysisError
from frame2d.analysis.runner import Options
from frame2d.errors import InputError, positive
from frame2d.substructure.frame_part import FramePart
from frame2d.substructure.interleaved import Interleaved
from frame2d.substructure.matrix_part import MatrixPart
from frame2d.substructure.methods import GravouilCombescure, Method, PrakashHjelmstad
from frame2d.substructure.multipliers import Slope, check_ties, mark_inertia, rows_of, solve, start

Part = FramePart | MatrixPart


@dataclass(frozen=True)
class Coupled:
    """Histories of a coupled run. Interface rows are ties; `time` (s) are the instants that all parts share."""

    method: str
    time: np.ndarray
    #: Σ B·u and Σ B·v, steps × ties: m or rad, m/s or rad/s.
    displacement_gap: np.ndarray
    velocity_gap: np.ndarray
    #: Σ of Δ(B·v)·ΔΛ/Δt over all steps of all parts, J/s²: the interface term of the energy method of Hughes 1987 in
    #: Gravouil & Combescure 2001 (≤ 0) and Prakash & Hjelmstad 2004 (= 0). Steps of a part ahead count by half.
    interface_energy: np.ndarray
    #: Work of the multipliers on all parts, Σ Λ̄·Δ(B·u), J: what the interface adds to the structure.
    interface_work: np.ndarray
    #: Multipliers (N, N·m) at the finest step: forces +Bᵀ·Λ on the parts.
    multiplier_time: np.ndarray
    multipliers: np.ndarray
    #: `Response` of each frame part, `History` of each matrix part.
    responses: dict[str, Any]
    #: Evaluations of steps (all parts) by instant of `multiplier_time`, the first 0.
    evaluations: np.ndarray

    def gap(self) -> float:
        """Largest displacement gap over time (m or rad)."""
        return float(np.abs(self.displacement_gap).max())


def coupled_history(
    parts: Sequence[Part],
    duration: float,
    *,
    method: Method | None = None,
    options: Options | None = None,
) -> Coupled:
    """Integrate parts from their states for `duration` (s), tied by their interfaces.

    Steps are whole multiples of the finest, `duration` of all of them. `method` defaults to `GravouilCombescure`;
    `options.tolerance` bounds what is left to correct in forces and multipliers, relative to the largest force that
    acts. Raises `InputError` before, and `AnalysisError` (its `response` is the `Coupled` up to then) during the run.
    """
    return Run(parts, duration, method or GravouilCombescure(), options or Options(tolerance=1e-10)).finish()


class Run:
    """A coupled run: parts under way, their snaps at their own instants, and the multipliers at the finest ones."""

    def __init__(self, parts: Sequence[Part], duration: float, method: Method, options: Options) -> None:
        self.names = [part.name for part in parts]
        if len(parts) < 2 or len(set(self.names)) != len(parts):
            raise InputError(f"the parts are {self.names}; allowed: two or more with different names")
        self.method = method
        self.fine = min(part.dt for part in parts)
        self.ratios = [whole_number(part.dt / self.fine, f"dt of part {part.name!r}") for part in parts]
        self.common = math.lcm(*self.ratios)
        self.total = whole_number(positive("duration", duration) / self.fine, "duration")
        if self.total % self.common:
            raise InputError(
                f"duration is {duration:g} s; allowed: multiples of {self.common * self.fine:g} s, the instants that "
                "all parts share"
            )
        self.parts: list[Any] = [
            part.moving(self.total // ratio) for part, ratio in zip(parts, self.ratios, strict=True)
        ]
        ties = check_ties(self.parts, self.names)
        heavy = mark_inertia(self.parts)
        snaps, first = start(self.parts, heavy)
        self.reference = max(part.reference() for part in self.parts)
        self.reference = max(self.reference, float(np.abs(first * rows_of(self.parts)).max()))
        self.tolerance = options.tolerance * self.reference
        self.most = options.most_iterations
        for part in self.parts:
            part.prepare(self.tolerance, options)
        self.linear = all(part.linear for part in self.parts)
        self.scale = rows_of(self.parts)
        #: Snaps by part and own step; multipliers by finest step.
        self.snaps: list[list[Any]] = [[snap] for snap in snaps]
        self.lam = np.zeros((self.total + 1, ties))
        self.lam[0] = first
        self.evaluations = np.zeros(self.total + 1, dtype=np.int64)
        self.slopes: dict[Any, Slope] = {}
        self.energy = np.zeros(self.total + 1)
        self.work = np.zeros(self.total + 1)

    def slope(self, key: Any, linear: bool) -> Slope:
        """Slope that is kept from step to step for one set of parts."""
        if key not in self.slopes:
            self.slopes[key] = Slope(self.scale, self.reference, linear)
        return self.slopes[key]

    def guess(self, step: int, back: int) -> np.ndarray:
        """Multipliers continued in a straight line."""
        last = self.lam[step]
        return last if step < back else 2.0 * last - self.lam[step - back]

    def finish(self) -> Coupled:
        """Run to the end."""
        # With one step for all parts Prakash & Hjelmstad's equations are those of Gravouil & Combescure.
        if isinstance(self.method, PrakashHjelmstad) and self.common > 1:
            for step in range(0, self.total, self.common):
                self.long_step(step)
        else:
            Interleaved(self).run()
        return self.result(self.total)

    def long_step(self, step: int) -> None:
        """One coarsest step of Prakash & Hjelmstad: every part on its own under multipliers linear in time."""
        before = self.lam[step]

        def evaluate(lam: np.ndarray) -> tuple[np.ndarray, Any] | None:
            gap, reached = np.zeros(lam.size), []
            for k, part in enumerate(self.parts):
                ratio, snap, own = self.ratios[k], self.snaps[k][-1], []
                steps = self.common // ratio
                for j in range(steps):
                    here = step // ratio + j
                    low, high = (before + (lam - before) * (n / steps) for n in (j, j + 1))
                    snap = part.step(snap, here, here + 1, low, high)
                    if snap is None:
                        return None
                    own.append(snap)
                gap += part.velocity(snap)
                reached.append(own)
            return gap, reached

        guess = self.guess(step, self.common)
        found = solve(evaluate, guess, self.slope("all", self.linear), self.tolerance)
        if found is None:
            self.fail(step)
        lam, reached, count = found
        for j in range(1, self.common + 1):
            self.lam[step + j] = before + (lam - before) * (j / self.common)
        self.evaluations[step + self.common] = count
        for k, own in enumerate(reached):
            for snap in own:
                self.put(k, snap, len(self.snaps[k]) - 1)

    def put(self, k: int, snap: Any, origin: int, share: float = 1.0) -> None:
        """Put a part's new snap away, with the interface terms of its step from the own instant `origin`."""
        part, ratio, own = self.parts[k], self.ratios[k], self.snaps[k]
        old, here = own[origin], len(own)
        lam0, lam1 = self.lam[origin * ratio], self.lam[here * ratio]
        length = part.dt * (here - origin)
        change = part.velocity(snap) - part.velocity(old)
        moved = part.displacement(snap) - part.displacement(old)
        self.energy[here * ratio] += share * float(change @ (lam1 - lam0)) / length
        self.work[here * ratio] += share * float(0.5 * (lam0 + lam1) @ moved)
        own.append(snap)

    def fail(self, step: int) -> NoReturn:
        """Raise, with what was computed up to the last instant that all parts reached."""
        whole = step // self.common * self.common
        when = f"at a common velocity in the step after {step * self.fine:g} s"
        words = "; ".join(
            part.failure(own[-1], when) for part, own in zip(self.parts, self.snaps, strict=True)
        )
        advice = (
            "Likely mistake: a part without mass at a tie stands under force there and loses its balance where a law "
            "softens; share the mass of the interface (tested_share), or take a smaller step"
        )
        partial: Any = self.result(whole)
        raise AnalysisError(f"{self.method.name}: {words}. {advice}", partial)

    def result(self, last: int) -> Coupled:
        """Histories up to the finest step `last`, which all parts have reached."""
        shared = np.arange(0, last + 1, self.common)
        gaps = np.zeros((2, shared.size, self.lam.shape[1]))
        for part, ratio, own in zip(self.parts, self.ratios, self.snaps, strict=True):
            for row, step in enumerate(shared):
                gaps[0, row] += part.displacement(own[step // ratio])
                gaps[1, row] += part.velocity(own[step // ratio])
        responses = {
            name: part.result(own[: last // ratio + 1], self.lam[: last + 1 : ratio])
            for name, part, ratio, own in zip(self.names, self.parts, self.ratios, self.snaps, strict=True)
        }
        return Coupled(
            method=self.method.name,
            time=self.fine * shared,
            displacement_gap=gaps[0],
            velocity_gap=gaps[1],
            interface_energy=np.cumsum(self.energy)[shared],
            interface_work=np.cumsum(self.work)[shared],
            multiplier_time=self.fine * np.arange(last + 1),
            multipliers=self.lam[: last + 1],
            responses=responses,
            evaluations=self.evaluations[: last + 1],
        )


def whole_number(value: float, what: str) -> int:
    """A whole number, or `InputError`."""
    nearest = round(value)
    if nearest < 1 or abs(value - nearest) > 1e-6 * value:
        raise InputError(f"{what} is {value:.9g} finest steps; allowed: a whole number of them, at least one")
    return nearest


__all__ = ["Coupled", "Part", "coupled_history"]
