"""Wavelet adjustment of a record to a target spectrum, in the time domain.

For each period i the peak response R_i at its time t_i misses the target Q_i. A sum of wavelets Σ b_j·f_j(t) is added
whose responses at those times close the gaps, C·b = Q − R, and this is repeated, for peaks move (Lilhanand & Tseng 1988;
Hancock et al. 2006). The wavelet is the improved tapered cosine of Al Atik & Abrahamson 2010 (An improved method for
nonstationary spectral matching, Earthquake Spectra 26, eqs 14, 16, 17; constants as others have reproduced them):

    f_j(t) = cos[ω'_j(t − t_j + Δt_j)]·exp{−[(t − t_j + Δt_j)/γ_j]²},  ω' = ω√(1 − ζ²),
    Δt = atan[√(1 − ζ²)/ζ]/ω',  γ = 1.178·(ω'/2π)^−0.93

Ours: each wavelet is brought to zero end velocity and displacement before its responses are taken, so that the end of
the record stays where it was; and instead of C·b = Q − R, b is the one-sided least-squares solution of "the largest peak
of every period at least Q, every peak near it at most Q", damped, so that a lowered peak finds no rival in its place. The
damping grows when a step fails to improve the fit (Marquardt 1963). The best record so far is kept.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from frame2d.errors import InputError, positive
from frame2d.motions.oscillator import history, step_of
from frame2d.motions.peaks import peaks
from frame2d.motions.processing import at_rest
from frame2d.motions.record import Record
from frame2d.motions.spectra import checked_periods, response_spectra
from frame2d.motions.target import Target

#: Peaks above this share of the goal are watched (ours).
_NEAR = 0.95


@dataclass(frozen=True, eq=False)
class Adjustment:
    """An adjusted record and how well it fits: PSA over target at `periods`, before and after."""

    record: Record
    periods: np.ndarray
    ratio_before: np.ndarray
    ratio_after: np.ndarray
    iterations: int
    #: Whether every ratio is within the tolerance asked for.
    converged: bool


def adjust(
    record: Record, target: Target, periods: Any = None, *, tolerance: float = 0.05, iterations: int = 40
) -> Adjustment:
    """Adjust `record` until its spectrum (PSA, damping of the target) is within `tolerance` of `target`.

    `periods` in s, None: 80 periods evenly in logarithm from four steps to 4 s. A record that is far from the target
    at the outset should be scaled first. The best record found is returned with ``converged`` telling whether the
    tolerance was met, never an error for a poor fit. Raises `InputError` for bad periods and undamped targets.
    """
    T = np.geomspace(4.0 * record.dt, 4.0, 80) if periods is None else np.atleast_1d(checked_periods(periods))
    tolerance = positive("tolerance", tolerance, hint="0.05 for 5 %")
    if np.any(2.0 * record.dt > T):
        raise InputError(f"periods go down to {T.min():g} s; allowed: at least two steps of {record.dt:g} s")
    if target.damping <= 0.0:
        raise InputError("an undamped target cannot be matched; allowed: a damping ratio above 0")
    goal = target.acceleration(T)
    work = _Work(T, target.damping, record.dt, record.acceleration.size, goal)
    a = np.array(record.acceleration)
    before = best = work.ratio(a)
    ridge, count = 0.03, 0
    while count < iterations and np.max(np.abs(best - 1.0)) > 0.9 * tolerance and ridge < 30.0:
        count += 1
        trial = a + work.step(a, 0.4 * tolerance, ridge)
        ratio = work.ratio(trial)
        gain = _misfit(ratio) / _misfit(best)
        if gain < 1.0:
            a, best = trial, ratio
        if gain > 0.9:
            ridge *= 0.5 if gain < 1.0 else 3.0
    after = response_spectra(record.processed(a, "trial"), T, target.damping).PSA / goal
    note = f"adjusted by wavelets to {target.name}, {T.min():.3g} to {T.max():.3g} s, {count} iterations"
    adjusted = replace(record.processed(a, note), name=f"{record.name}, adjusted")
    return Adjustment(adjusted, T, before, after, count, bool(np.max(np.abs(after - 1.0)) <= tolerance))


def _misfit(ratio: np.ndarray) -> float:
    """Mean of order 8 of |ln ratio|: it minds the worst period, and the others a little."""
    return float(np.mean(np.abs(np.log(ratio)) ** 8) ** 0.125)


def one_sided(G: np.ndarray, h: np.ndarray, ridge: float) -> np.ndarray:
    """Least squares in which only shortfalls count: min ½·ridge·|x|² + ½·|max(0, h − G·x)|², by Newton's method."""
    x = np.zeros(G.shape[1])
    short = h > 0.0
    for _ in range(30):
        A = G[short]
        x = A.T @ np.linalg.solve(A @ A.T + ridge * np.eye(A.shape[0]), h[short])
        following = h > G @ x
        if np.array_equal(following, short):
            break
        short = following
    return np.asarray(x)


def _local_peaks(size: np.ndarray, least: np.ndarray) -> np.ndarray:
    """Where rows of `size` have a local maximum of at least `least` (one value a row)."""
    inner = np.pad(size, ((0, 0), (1, 1)), constant_values=-1.0)
    return np.asarray((size >= inner[:, :-2]) & (size > inner[:, 2:]) & (size >= least[:, None]))


class _Work:
    """What stays the same while one record is adjusted: oscillators, their answer to one sample, the goal."""

    def __init__(self, T: np.ndarray, zeta: float, dt: float, size: int, goal: np.ndarray) -> None:
        self.omega, _, self.matrices = step_of(T, zeta, dt)
        self.zeta, self.goal = zeta, goal
        self.time = dt * np.arange(size)
        self.dt = dt
        self.rest = int(np.ceil(T.max() / np.sqrt(1.0 - zeta**2) / dt))
        hat = np.zeros(size + self.rest + 1)
        hat[1] = 1.0  # linear from 0 up to 1 and down to 0
        self.answer = self.responses(hat)

    def responses(self, a: np.ndarray) -> np.ndarray:
        """ω²·u of every oscillator, [period, sample]."""
        out = np.empty((2, a.size))
        found = np.empty((self.omega.size, a.size))
        for i, matrix in enumerate(self.matrices):
            history(a, matrix, out)
            found[i] = out[0]
        return np.asarray(self.omega[:, None] ** 2 * found)

    def ratio(self, a: np.ndarray) -> np.ndarray:
        """Peaks of the continuous response over the goal."""
        out = np.empty((self.omega.size, 3))
        peaks(
            a, self.dt, self.rest, self.matrices, self.omega, np.full(self.omega.size, self.zeta), True, out
        )
        return np.asarray(self.omega**2 * out[:, 0] / self.goal)

    def step(self, a: np.ndarray, slack: float, ridge: float) -> np.ndarray:
        """Small change of acceleration that brings every peak within `slack` of the goal, as far as it can."""
        R = self.responses(np.pad(a, (0, self.rest)))
        size = np.abs(R)
        goal = size.max(axis=1) / self.ratio(a)  # the goal for peaks at samples, which are lower
        top = np.argmax(size, axis=1)
        f = self._wavelets(self.dt * top) * goal[:, None]
        high, at = np.nonzero(_local_peaks(size, _NEAR * goal))
        period = np.append(np.arange(goal.size), high)
        sample = np.append(top, at)
        sign = np.sign(R[period, sample])
        reached = size[period, sample] / goal[period]
        rows = self._rows(period, sample) * (sign / goal[period])[:, None]
        lift = np.arange(period.size) < goal.size  # the first rows ask for at least, the others for at most
        side = np.where(lift, 1.0, -1.0)
        b = one_sided(side[:, None] * (rows @ f.T), side * (1.0 - side * slack - reached), ridge)
        return np.asarray(b @ f)

    def _rows(self, period: np.ndarray, sample: np.ndarray) -> np.ndarray:
        """Weights of each acceleration sample in the response of `period` at `sample`."""
        lag = sample[:, None] - np.arange(self.time.size)[None, :] + 1
        return np.where(lag > 0, np.take_along_axis(self.answer[period], np.maximum(lag, 0), axis=1), 0.0)

    def _wavelets(self, peak_time: np.ndarray) -> np.ndarray:
        """Improved tapered cosines, [period, sample], faded in over the first samples and brought to rest."""
        root = np.sqrt(1.0 - self.zeta**2)
        damped = self.omega * root
        shift = np.arctan(root / self.zeta) / damped
        width = 1.178 * (damped / (2.0 * np.pi)) ** -0.93
        s = self.time[None, :] - peak_time[:, None] + shift[:, None]
        fade = np.minimum(1.0, np.minimum(self.time, self.time[-1] - self.time) / (20.0 * self.dt))
        return at_rest(np.cos(damped[:, None] * s) * np.exp(-((s / width[:, None]) ** 2)) * fade, self.dt)
