"""Synthetic records that are compatible with a target spectrum: random phases, an envelope, iterative matching.

A sum of cosines with random phases under an envelope is shaped in the frequency domain, amplitudes times target over
spectrum (Gasparini & Vanmarcke 1976, Simulated earthquake motions compatible with prescribed response spectra; from
memory), brought to rest at its end, and then matched in the time domain by wavelets (`frame2d.motions.adjustment`). Beside a
pulse the noise is shaped to what the pulse leaves of the target, √(target² − pulse²), so that the pulse stands out.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, positive
from frame2d.motions.adjustment import adjust
from frame2d.motions.processing import at_rest
from frame2d.motions.pulse import Pulse
from frame2d.motions.record import Record
from frame2d.motions.spectra import checked_periods, response_spectra
from frame2d.motions.target import Target

_ATTEMPTS = 8
#: Noise beside a pulse has at least this share of the target (ours).
_LEAST_NOISE = 0.1


@dataclass(frozen=True)
class Envelope:
    """Amplitude in time: a parabola over `rise`, 1 over `strong`, exponential decay to 5 % over `fade` (all in s).

    The form of Jennings, Housner & Tsai 1968 (checked against "THmodulating.m", ProbGenArtifAccel, github.com, 2026);
    the values and the fade at the end are ours. EN 1998-1, 3.2.3.1.2(3) wants a stationary part of at
    least 10 s where nothing is known of the site.
    """

    rise: float = 2.0
    strong: float = 10.0
    fade: float = 8.0

    def __post_init__(self) -> None:
        for what in ("rise", "strong", "fade"):
            positive(f"envelope {what}", getattr(self, what), hint="in s")

    @property
    def duration(self) -> float:
        """Whole duration, s."""
        return self.rise + self.strong + self.fade

    def __call__(self, t: np.ndarray) -> np.ndarray:
        """Amplitude at times `t`; the last tenth of the decay is faded to zero."""
        decay = np.exp(np.log(0.05) * (t - self.rise - self.strong) / self.fade)
        level = np.where(
            t < self.rise, (t / self.rise) ** 2, np.where(t < self.rise + self.strong, 1.0, decay)
        )
        last = np.clip((self.duration - t) / (0.1 * self.fade), 0.0, 1.0)
        return np.asarray(level * np.sin(0.5 * np.pi * last) ** 2)


def synthetic_record(
    target: Target,
    seed: int | np.random.Generator,
    *,
    dt: float = 0.005,
    envelope: Envelope | None = None,
    pulse: Pulse | None = None,
    periods: Any = None,
    tolerance: float = 0.05,
    name: str = "synthetic",
) -> Record:
    """One artificial record whose PSA is within `tolerance` of `target` at `periods`, at rest at its end.

    `seed` is a whole number or a numpy Generator: the same seed gives the same record. `periods` in s, None: 80 evenly
    in logarithm from four steps to 4 s. Phases that miss the tolerance are drawn again, up to eight times. A `pulse` is added before the
    matching, which then tunes the sum: the pulse alone must stay below the target. Raises `InputError` for a pulse that
    is too strong or outside the record, `Frame2dError` when the tolerance is not reached (take another seed, a longer
    envelope, or a wider tolerance).
    """
    dt = positive("dt", dt, hint="in seconds")
    envelope = Envelope() if envelope is None else envelope
    rng = np.random.default_rng(seed)
    T = np.geomspace(4.0 * dt, 4.0, 80) if periods is None else np.atleast_1d(checked_periods(periods))
    t = dt * np.arange(int(np.ceil(envelope.duration / dt)) + 1)
    fixed, goal = (0.0 * t, target.acceleration(T)) if pulse is None else _with_pulse(pulse, target, T, t)
    said = f"synthetic: random phases, seed {seed if isinstance(seed, int) else 'of a Generator'}, {envelope}"
    with_pulse = () if pulse is None else (str(pulse),)
    closest = np.inf
    for attempt in range(1, _ATTEMPTS + 1):
        noise = _shaped_noise(rng, goal, target.damping, T, t, envelope(t))
        start = Record(at_rest(noise + (1.0 - _share_of(fixed, noise, dt)) * fixed, dt), dt, name, True)
        fit = adjust(start, target, T, tolerance=tolerance)
        if fit.converged:
            notes = (f"{said}, attempt {attempt}", *with_pulse, fit.record.provenance[-1])
            return Record(at_rest(fit.record.acceleration, dt), dt, name, True, notes, None, envelope.strong)
        closest = min(closest, float(np.max(np.abs(fit.ratio_after - 1.0))))
    raise Frame2dError(
        f"synthetic record {name!r} comes within {closest:.3f} of {target.name} in {_ATTEMPTS} attempts, tolerance "
        f"{tolerance:g}; take another seed, a longer envelope, or a wider tolerance"
    )


def synthetic_suite(
    target: Target, count: int, seed: int, *, name: str = "synthetic", **options: Any
) -> list[Record]:
    """`count` independent synthetic records "name 1", "name 2" …; `options` as in `synthetic_record`.

    Each record has its own stream of random numbers, so that the first ones stay the same when `count` grows.
    """
    if int(count) != count or count < 1:
        raise InputError(f"count is {count!r}; allowed: a whole number from 1")
    streams = np.random.SeedSequence(seed).spawn(int(count))
    return [
        synthetic_record(target, np.random.default_rng(stream), name=f"{name} {i}", **options)
        for i, stream in enumerate(streams, 1)
    ]


def _with_pulse(pulse: Pulse, target: Target, T: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Acceleration of the pulse, and the spectrum that is left for the noise: √(target² − pulse²)."""
    reach = 0.5 * pulse.cycles * pulse.period
    if pulse.time - reach < 0.0 or pulse.time + reach > t[-1]:
        raise InputError(
            f"pulse lasts from {pulse.time - reach:g} to {pulse.time + reach:g} s; allowed: within 0 to {t[-1]:g} s"
        )
    alone = at_rest(pulse.acceleration(t), t[1])
    PSA, goal = (
        response_spectra(Record(alone, t[1], "pulse", True), T, target.damping).PSA,
        target.acceleration(T),
    )
    most = float(np.max(PSA / goal))
    if most > 1.0:
        raise InputError(
            f"velocity of the pulse is {pulse.velocity:g} m/s; its spectrum alone is {most:.2f} times the target at "
            f"{T[np.argmax(PSA / goal)]:.3g} s; allowed: at most {pulse.velocity / most:.3g} m/s"
        )
    return alone, np.sqrt(np.maximum(goal**2 - PSA**2, (_LEAST_NOISE * goal) ** 2))


def _share_of(pulse: np.ndarray, noise: np.ndarray, dt: float) -> float:
    """How much of the pulse the noise holds by chance, by projection of its velocity; it would cancel or double it."""
    v, w = (np.cumsum(a) * dt for a in (pulse, at_rest(noise, dt)))
    return float(v @ w / (v @ v)) if np.any(pulse) else 0.0


def _shaped_noise(
    rng: np.random.Generator,
    goal: np.ndarray,
    damping: float,
    T: np.ndarray,
    t: np.ndarray,
    envelope: np.ndarray,
) -> np.ndarray:
    """Random phases under the envelope whose spectrum roughly follows `goal` (m/s² at T)."""
    dt = t[1]
    frequency = np.fft.rfftfreq(t.size, dt)[1:]
    turn = np.exp(1j * rng.uniform(0.0, 2.0 * np.pi, frequency.size))
    order = np.argsort(1.0 / T)
    # amplitudes of the start follow pseudo-velocity; below the longest period they fall off, or displacements drift
    amplitude = np.interp(frequency, 1.0 / T[order], (goal * T)[order])
    amplitude *= np.minimum(1.0, (frequency * T.max()) ** 2)
    a = np.zeros(t.size)
    for round_ in range(7):
        a = envelope * np.fft.irfft(np.concatenate([[0.0], amplitude * turn]), t.size)
        found = response_spectra(Record(a, dt, "trial", True), T, damping, at="samples").PSA
        gain = goal / found
        if round_ == 0:  # the level alone
            amplitude *= np.mean(gain)
        else:
            amplitude *= np.interp(frequency, 1.0 / T[order], np.clip(gain, 0.3, 3.0)[order])
    return np.asarray(a)
