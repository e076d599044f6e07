"""How far a computed test is from the measured one: force, energy and peaks, and JOB's bounds of acceptance.

    force    √mean(F − Fₘ)²/D, D = max Fₘ − min Fₘ
    energy   √mean(E − Eₘ)²/max|Eₘ|, E = ∫F du up to each sample, and (E − Eₘ)/max|Eₘ| at the end
    peaks    (max ±F − max ±Fₘ)/max ±Fₘ for either sign that the test reaches
             with a tenth of the largest force or more

The search minimises w₁·force + w₂·energy + w₃·peaks, the mean of both signs' magnitudes.
"""

from dataclasses import dataclass

import numpy as np

from frame2d.compare import work
from frame2d.errors import InputError, finite
from frame2d.fitting.noise import noise_of

#: Largest force error, cumulative energy error and peak error of an accepted law; common practice, no source.
ACCEPTED = {"force": 0.05, "energy": 0.10, "peak": 0.05}


@dataclass(frozen=True)
class Weights:
    """Weights w₁, w₂, w₃ of force, energy and peaks in the search."""

    force: float = 1.0
    energy: float = 0.5
    peak: float = 0.25

    def __post_init__(self) -> None:
        for name in ("force", "energy", "peak"):
            if finite(f"weight of {name}", getattr(self, name)) < 0.0:
                raise InputError(f"weight of {name} is {getattr(self, name)!r}; allowed: 0 or more")
        if self.force == 0.0:
            raise InputError("weight of force is 0; allowed: more, the force is what is measured")


@dataclass(frozen=True)
class Errors:
    """Errors of one test; peaks are None on a side where the measured force never goes.

    A vibration test measures a displacement: `quantity` says so, and there is no energy. `noise` is the standard
    deviation of what is left over where that is white, else 0: the largest of many noisy values is too large, and
    the bound of the peaks is raised by three of it (own rule).
    """

    test: str
    samples: int
    force: float
    denominator: float
    energy: float | None
    end_energy: float | None
    positive_peak: float | None
    negative_peak: float | None
    unit: str = "N"
    quantity: str = "force"
    noise: float = 0.0
    peaks: tuple[float, ...] = ()

    @property
    def noise_share(self) -> float:
        """What noise alone may add to a measured peak: three of its standard deviations, over the smaller peak."""
        return 3.0 * self.noise / min(self.peaks) if self.peaks else 0.0

    @property
    def checks(self) -> tuple[tuple[str, float, float, bool], ...]:
        """Name, value, bound and whether it holds, of every bound of acceptance."""
        rows = [(self.quantity, self.force, ACCEPTED["force"])]
        if self.end_energy is not None:
            rows.append(("energy", abs(self.end_energy), ACCEPTED["energy"]))
        for name, value in (("positive peak", self.positive_peak), ("negative peak", self.negative_peak)):
            if value is not None:
                rows.append((name, abs(value), ACCEPTED["peak"] + self.noise_share))
        return tuple((name, value, bound, value <= bound) for name, value, bound in rows)

    @property
    def accepted(self) -> bool:
        """Whether every bound holds."""
        return all(check[3] for check in self.checks)

    def __str__(self) -> str:
        def percent(value: float | None) -> str:
            return "none" if value is None else f"{100 * value:+.2f} %"

        verdict = (
            "accepted"
            if self.accepted
            else "not accepted: "
            + ", ".join(
                f"{name} {100 * value:.2f} % > {100 * bound:g} %"
                for name, value, bound, good in self.checks
                if not good
            )
        )
        energy = (
            ""
            if self.energy is None
            else f"energy {100 * self.energy:.2f} % rms and {percent(self.end_energy)} at the end, "
        )
        return (
            f"{self.test}: {self.quantity} NRMSE {100 * self.force:.2f} % of D = max − min = {self.denominator:.4g} "
            f"{self.unit}, {energy}"
            f"peaks {percent(self.positive_peak)} (+) {percent(self.negative_peak)} (−)"
            f"{f', of which noise explains up to {100 * self.noise_share:.1f} %' if self.noise else ''}; {verdict}"
        )


class Target:
    """Measured force of one test and the numbers that its errors are divided by."""

    def __init__(
        self,
        name: str,
        deformation: np.ndarray | None,
        force: np.ndarray,
        unit: str = "N",
        quantity: str = "force",
    ) -> None:
        self.name, self.unit, self.quantity = name, unit, quantity
        self.force = force
        self.range = float(np.ptp(force))
        self.works_known = deformation is not None
        if deformation is not None:
            self.step = np.diff(deformation)
            least = 1e-12 * self.range * float(np.ptp(deformation))
            self.most_work = max(float(np.max(np.abs(work(deformation, force)))), least)
        peak = float(np.max(np.abs(force)))
        self.signs = tuple(sign for sign in (1, -1) if float(np.max(sign * force)) > 0.1 * peak)
        self.peaks = tuple(float(np.max(sign * force)) for sign in self.signs)

    def works(self, forces: np.ndarray) -> np.ndarray:
        """Work up to each sample, row by row."""
        parts = 0.5 * (forces[:, 1:] + forces[:, :-1]) * self.step
        total = np.zeros_like(forces)
        np.cumsum(parts, axis=1, out=total[:, 1:])
        return total

    def peak_errors(self, forces: np.ndarray) -> np.ndarray:
        """Peak errors of both sides, one column a sign that is reached."""
        columns = [(np.max(s * forces, axis=1) - p) / p for s, p in zip(self.signs, self.peaks, strict=True)]
        return np.stack(columns, axis=1)

    def scores(self, forces: np.ndarray, weights: Weights) -> np.ndarray:
        """w₁·force + w₂·energy + w₃·peaks, row by row; infinite where a law has no answer."""
        error = forces - self.force
        total = weights.force * np.sqrt(np.einsum("ij,ij->i", error, error) / error.shape[1]) / self.range
        if weights.energy > 0.0 and self.works_known:
            energy = self.works(error)
            total += weights.energy * np.sqrt(np.mean(energy**2, axis=1)) / self.most_work
        if weights.peak > 0.0:
            total += weights.peak * np.mean(np.abs(self.peak_errors(forces)), axis=1)
        return np.where(np.isfinite(total), total, np.inf)

    def blocks(self, forces: np.ndarray, weights: Weights) -> np.ndarray:
        """Residuals whose squares add up to w₁·force² + w₂·energy² + w₃·peaks², row by row."""
        size = np.sqrt(forces.shape[1])
        error = forces - self.force
        parts = [np.sqrt(weights.force) * error / (self.range * size)]
        if weights.energy > 0.0 and self.works_known:
            parts.append(np.sqrt(weights.energy) * self.works(error) / (self.most_work * size))
        if weights.peak > 0.0:
            parts.append(np.sqrt(weights.peak / len(self.signs)) * self.peak_errors(forces))
        return np.concatenate(parts, axis=1)

    def noise_gradient(self, jacobian: np.ndarray, weights: Weights) -> np.ndarray:
        """∂(Jᵀr)/∂Fₘ of these blocks, samples × parameters: how measured noise moves the estimate."""
        n = self.force.size
        size = np.sqrt(n)
        gradient = np.sqrt(weights.force) * jacobian[:n] / (self.range * size)
        start = n
        if weights.energy > 0.0 and self.works_known:
            part = jacobian[start : start + n] * np.sqrt(weights.energy) / (self.most_work * size)
            after = np.cumsum(part[::-1], axis=0)[::-1]
            leg = 0.5 * self.step[:, None] * after[1:]
            gradient = gradient.copy()
            gradient[1:] += leg
            gradient[:-1] += leg
            start += n
        if weights.peak > 0.0:
            gradient = gradient.copy()
            for i, (sign, peak) in enumerate(zip(self.signs, self.peaks, strict=True)):
                at = int(np.argmax(sign * self.force))
                gradient[at] += sign / peak * np.sqrt(weights.peak / len(self.signs)) * jacobian[start + i]
        return -gradient

    def errors(self, force: np.ndarray) -> Errors:
        """All errors of one computed force history."""
        row = force[None, :]
        left = noise_of(self.name, force - self.force, 0.0)
        noise = left.sigma if left.white else 0.0
        energy = self.works(row - self.force)[0] / self.most_work if self.works_known else None
        peaks = dict(zip(self.signs, self.peak_errors(row)[0], strict=True))
        return Errors(
            test=self.name,
            samples=force.size,
            force=float(np.sqrt(np.mean((force - self.force) ** 2)) / self.range),
            denominator=self.range,
            energy=None if energy is None else float(np.sqrt(np.mean(energy**2))),
            end_energy=None if energy is None else float(energy[-1]),
            positive_peak=None if 1 not in peaks else float(peaks[1]),
            negative_peak=None if -1 not in peaks else float(peaks[-1]),
            unit=self.unit,
            quantity=self.quantity,
            noise=noise,
            peaks=self.peaks,
        )
