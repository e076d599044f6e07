"""Checks before a test, by small motions through the guard: each has an acceptance bound and a line in the journal.

The main run refuses to start until all of `conduct.CHECKS` passed, or are overridden by name.
"""

import contextlib
from collections.abc import Callable, Iterator
from functools import wraps
from typing import Any, NamedTuple, TypeVar

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.hybrid.conduct import HybridTest
from frame2d.hybrid.interrupt import stops_on_interrupt
from frame2d.hybrid.journal_file import JournalError
from frame2d.hybrid.scheme import check_operator
from frame2d.hybrid.specimen import Reading


class Result(NamedTuple):
    """What a check found."""

    check: str
    ok: bool
    #: Measured value and the bound that it must keep.
    value: float
    bound: float
    text: str


_Method = TypeVar("_Method", bound=Callable[..., Any])


def _named(check: str) -> Callable[[_Method], _Method]:
    """A method of `Checks` that runs as the check of that name."""

    def decorated(method: _Method) -> _Method:
        @wraps(method)
        def run(self: "Checks", *args: Any, **named: Any) -> Any:
            with self._under_way(check):
                return method(self, *args, **named)

        return run  # type: ignore[return-value]

    return decorated


class Checks:
    """The checks of one test, about where its solver starts: zero, if the channels are zeroed there.

    Motions of `amplitude` (m or rad) take `duration` laboratory seconds each.
    """

    def __init__(self, test: HybridTest, amplitude: float, duration: float = 1.0) -> None:
        self.test, self.guard = test, test.guard
        smallest = float(test.guard.bounds.step.min())
        self.amplitude = within("amplitude of the checks", amplitude, 0.0, smallest, open_low=True)
        self.duration = positive("duration of a check motion", duration)
        self._name = "check"
        self.origin = np.array(test.solver.origin, dtype=np.float64)
        test.open()

    def _go(self, displacement: np.ndarray) -> Reading:
        """Move there, counted from the start, and settle: the reading of a second command to the same place."""
        self.test.move(self.origin + displacement, self.duration, self._name)
        return self.test.move(self.origin + displacement, self.duration, self._name)

    @contextlib.contextmanager
    def _under_way(self, check: str) -> Iterator[None]:
        """Monitors anew for each check; Ctrl-C is the operator's stop; a check that breaks off has failed."""
        self._name = check
        self.guard.begin(self.guard.command_now, self.guard.reading_now)
        with stops_on_interrupt(self.guard.operator_stop):
            try:
                yield
            except BaseException as error:
                text = f"broken off: {type(error).__name__}: {error}"
                with contextlib.suppress(JournalError):
                    self.test.note("check failed", {"check": check, "ok": False, "text": text})
                raise

    def _done(self, result: Result, **more: object) -> Result:
        check, ok, value, bound, text = result
        result = Result(check, bool(ok), float(value), float(bound), text)
        body = {"ok": result.ok, "value": result.value, "bound": result.bound, "text": result.text, **more}
        if result.ok:
            self.test.passed(result.check, body)
        else:
            self.test.note("check failed", {"check": result.check, **body})
        self.test.operator.tell(f"{'passed' if result.ok else 'FAILED'}: {result.check}: {result.text}")
        return result

    @_named("zero and sign")
    def zero_and_sign(self, bound: float = 0.2) -> Result:
        """Each channel reads zero at zero, follows a small motion with the right sign and size, and resists it.

        `bound`: largest reading at zero, and largest error of the measured change of displacement, over the amplitude
        (default 20 %).
        """
        worst, text = 0.0, "every channel is zeroed, follows and resists"
        zero = np.zeros(self.test.freedoms)
        for i in range(self.test.freedoms):
            start = self._go(zero)
            moved = zero.copy()
            moved[i] = self.amplitude
            there = self._go(moved)
            followed = (there.displacement - start.displacement)[i] / self.amplitude
            resisted = (there.force - start.force)[i]
            offset = abs(float(start.displacement[i] - self.origin[i])) / self.amplitude
            error = max(abs(followed - 1.0), offset)
            if resisted <= 0.0:
                error, text = (
                    max(error, 2.0),
                    f"freedom {i + 1}: force {resisted:.4g} does not resist the motion: sign",
                )
            elif abs(followed - 1.0) > bound:
                text = f"freedom {i + 1}: displacement follows by {followed:.3f}: sign, unit or wrong channel"
            elif offset > bound:
                text = (
                    f"freedom {i + 1}: reads {start.displacement[i]:.4g} at zero: the channel is not zeroed"
                )
            worst = max(worst, error)
        self._go(zero)
        return self._done(Result("zero and sign", worst <= bound, worst, bound, text))

    @_named("tare")
    def tare(self, bound: float | None = None, samples: int = 8) -> Result:
        """Initial force at rest, subtracted from then on; `bound` in N (default: 5 % of the force limit)."""
        limit = (
            0.05 * float(self.guard.bounds.force.max())
            if bound is None
            else positive("bound of the tare", bound)
        )
        zero = np.zeros(self.test.freedoms)
        forces = np.array([self._go(zero).force for _ in range(samples)])
        mean, spread = forces.mean(axis=0), forces.std(axis=0)
        value = float(np.abs(mean).max())
        text = f"initial force {np.round(mean, 3).tolist()} N, scatter {np.round(spread, 3).tolist()} N"
        result = Result("tare", value <= limit, value, limit, text)
        if result.ok:
            self.test.tare = mean
        return self._done(result, tare=mean.tolist())

    @_named("stiffness")
    def stiffness(
        self,
        operator: np.ndarray,
        model: np.ndarray | None = None,
        symmetry: float = 0.05,
        agreement: float = 0.15,
    ) -> tuple[Result, np.ndarray]:
        """Measured initial stiffness matrix by ± motions, (freedoms, freedoms), and its result.

        Bounds: asymmetry ≤ `symmetry` and difference from `model` ≤ `agreement`, both relative to the largest entry
        after rotations are weighed with translations; the operator must not be softer (`check_operator`).
        """
        n = self.test.freedoms
        K = np.zeros((n, n))
        for i in range(n):
            step = np.zeros(n)
            step[i] = self.amplitude
            plus, minus = self._go(step), self._go(-step)
            moved = plus.displacement - minus.displacement
            K[:, i] = (plus.force - minus.force) / moved[i] if moved[i] != 0.0 else np.nan
        self._go(np.zeros(n))
        scale = np.sqrt(np.abs(np.diag(K)))
        weighed = K / np.outer(scale, scale)
        asymmetry = float(np.abs(weighed - weighed.T).max())
        text = f"asymmetry {asymmetry:.2%}"
        ok = np.isfinite(K).all() and asymmetry <= symmetry
        value, bound = asymmetry, symmetry
        if model is not None:
            gap = float(np.abs((K - np.atleast_2d(model)) / np.outer(scale, scale)).max())
            text += f", differs from the model by {gap:.2%}"
            if gap > agreement:
                ok, value, bound = False, gap, agreement
        try:
            margin = check_operator(operator, 0.5 * (K + K.T)) if np.isfinite(K).all() else -1.0
            text += f", operator stiffer by {margin:.2%}"
        except InputError as error:
            ok, text = False, f"{text}; {error}"
        return self._done(Result("stiffness", bool(ok), value, bound, text), matrix=K.tolist()), K

    @_named("lag")
    def lag(self, expected: float, bound: float, cycles: int = 3, points: int = 16) -> tuple[Result, float]:
        """Lag of the rig in laboratory seconds, by a small sine of `cycles` × `points` commands at the test's pace.

        One freedom after the other; the lag farthest from `expected` is returned, and passes within `bound` (s). The
        phase of the measured against the commanded sine is found by least squares over whole cycles; for a lag that is
        a constant delay this is exact. Compensation is not changed by it: a test whose lag was found to be another one
        is made anew with it.
        """
        lags, gains = np.array(
            [self._lag_of(i, cycles, points) for i in range(self.test.freedoms)], dtype=np.float64
        ).T
        worst = int(np.argmax(np.abs(lags - expected)))
        found, gap = float(lags[worst]), float(abs(lags[worst] - expected))
        text = f"lag {found * 1e3:.2f} ms (expected {expected * 1e3:.2f} ms), gain {gains[worst]:.3f}"
        if self.test.freedoms > 1:
            text = f"freedom {worst + 1}: {text}, the farthest off"
        text += "; compensation keeps the lag that it was made with"
        result = Result("lag", gap <= bound, gap, bound, text)
        return self._done(result, lag=lags.tolist(), gain=gains.tolist()), found

    def _lag_of(self, freedom: int, cycles: int, points: int) -> tuple[float, float]:
        """Lag (s) and gain of one freedom."""
        period = points * self.test.duration
        phase = 2.0 * np.pi * np.arange(1, (cycles + 1) * points + 1) / points
        target = np.zeros(self.test.freedoms)
        measured = np.zeros(phase.size)
        self._go(target)
        for i, value in enumerate(np.sin(phase)):
            target = np.zeros(self.test.freedoms)
            target[freedom] = self.amplitude * value
            reading = self.test.move(self.origin + target, self.test.duration, self._name)
            measured[i] = reading.displacement[freedom] - self.origin[freedom]
        self._go(np.zeros(self.test.freedoms))
        basis = np.column_stack([np.sin(phase), np.cos(phase), np.ones(phase.size)])[points:]
        a, b, _ = np.linalg.lstsq(basis, measured[points:], rcond=None)[0]
        # A linear ramp between points of a sine lags nothing at the points; delay shows as phase −ωτ.
        return float(-np.arctan2(b, a) * period / (2.0 * np.pi)), float(np.hypot(a, b) / self.amplitude)

    @_named("low level")
    def low_level(
        self, scale: float = 0.15, tracking: float | None = None, energy: float | None = None
    ) -> Result:
        """The whole motion at 10-20 %: completes, and tracking and energy error stay within bounds.

        Defaults: half of the guard's limits.
        """
        within(
            "scale of the low-level run",
            scale,
            0.1,
            0.2,
            hint="10-20 % of the motion is the trade's practice",
        )
        limit_u = 0.5 * float(self.guard.bounds.tracking.min()) if tracking is None else tracking
        limit_e = 0.5 * self.test.limits.energy if energy is None else energy
        outcome = self.test.low_level(scale)
        gap = float(np.abs(outcome.displacement - outcome.target).max()) if outcome.step else np.inf
        hsem = float(np.abs(outcome.energy_error).max()) if outcome.step else np.inf
        ok = outcome.ending == "completed" and gap <= limit_u and hsem <= limit_e
        share = max(gap / limit_u, hsem / limit_e)
        text = f"{outcome.ending} after {outcome.step} steps, tracking {gap:.3g}, energy error {hsem:.2%}"
        if self.guard.state == "ready":
            self.test.return_to(self.origin, self.duration, self._name)
        return self._done(Result("low level", bool(ok), share, 1.0, text))

    def all(
        self,
        operator: np.ndarray,
        lag: float,
        lag_bound: float,
        model: np.ndarray | None = None,
        scale: float = 0.15,
    ) -> list[Result]:
        """Every check in order, stopping at the first that fails."""
        results: list[Result] = []
        for check in (
            self.zero_and_sign,
            self.tare,
            lambda: self.stiffness(operator, model)[0],
            lambda: self.lag(lag, lag_bound)[0],
            lambda: self.low_level(scale),
        ):
            results.append(check())
            if not results[-1].ok:
                break
        return results
