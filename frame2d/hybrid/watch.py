"""What the guard looks at in each command and reading, in compiled code: one call before a command, one after it."""

from typing import NamedTuple

import numpy as np

from frame2d.bundle import bundle, handle
from frame2d.hybrid.computed import Energies
from frame2d.hybrid.energy import FORCE, MEASURED, RATIO, WANTED, EnergyMonitor, add_error, scale_of
from frame2d.hybrid.limits import Bounds, Limits
from frame2d.hybrid.specimen import Reading
from frame2d.kernels import compiled

#: What a command is: free to leave, nonsense, or beyond one of the limits.
FREE, NONSENSE, BEYOND_STROKE, BEYOND_STEP, BEYOND_VELOCITY = range(5)
#: What a reading is: as it should be, at or beyond a limit or a warning, not a number, a repetition.
USUAL, NOTABLE, NOT_FINITE, FLAT = range(4)
#: Used shares of the limits, in this order.
SHARES = ("stroke", "force", "tracking", "energy")
_LOW, _HIGH, _STEP, _VELOCITY, _FORCE, _TRACKING, _REST = range(7)
_TARGET, _BEFORE, _MOVED = range(3)


@bundle
class Sight(NamedTuple):
    """Arrays of the watch; one column a freedom."""

    #: Limits, the rows above.
    bounds: np.ndarray
    #: Target of a command, the command before it, how far the last one moved.
    way: np.ndarray
    #: Rows of `EnergyMonitor`.
    now: np.ndarray
    last: np.ndarray
    sums: np.ndarray
    #: Displacement and force of the reading before, and how often each was repeated.
    before: np.ndarray
    repeated: np.ndarray
    #: Repetitions that count as flat (0: none), of displacement and of force.
    flat: np.ndarray
    shares: np.ndarray
    #: Energy error to act on and to warn of, share that warns, least energy.
    levels: np.ndarray


@compiled
def _leaving(sight, seconds):  # type: ignore[no-untyped-def]
    """What the command is, and the freedom of which it is that."""
    bounds, way = sight.bounds, sight.way
    for i in range(way.shape[1]):
        if not np.isfinite(way[_TARGET, i]):
            return NONSENSE, i
    if not seconds > 0.0:
        return NONSENSE, 0
    for i in range(way.shape[1]):
        u = way[_TARGET, i]
        change = abs(u - way[_BEFORE, i])
        if u < bounds[_LOW, i] or u > bounds[_HIGH, i]:
            return BEYOND_STROKE, i
        if not change <= bounds[_STEP, i]:
            return BEYOND_STEP, i
        if not change <= bounds[_VELOCITY, i] * seconds:
            return BEYOND_VELOCITY, i
    return FREE, 0


@compiled
def _seen(sight, scale):  # type: ignore[no-untyped-def]
    """What the reading is; repetitions, shares and energy error are brought up to date."""
    bounds, now, shares, levels = sight.bounds, sight.now, sight.shares, sight.levels
    size = now.shape[1]
    for i in range(size):
        if not (np.isfinite(now[MEASURED, i]) and np.isfinite(now[FORCE, i])):
            return NOT_FINITE
    for i in range(size):
        if abs(sight.way[_MOVED, i]) <= bounds[_REST, i]:
            continue  # a channel at rest neither counts nor clears
        for row in range(2):
            again = now[row, i] == sight.before[row, i]
            sight.repeated[row, i] = sight.repeated[row, i] + 1 if again else 0
            if 0 < sight.flat[row] <= sight.repeated[row, i]:
                return FLAT
    add_error(sight.sums, sight.last, now, scale, levels[3])
    for k in range(3):
        shares[k] = 0.0
    for i in range(size):
        low, high = bounds[_LOW, i], bounds[_HIGH, i]
        stroke = abs(now[MEASURED, i] - 0.5 * (low + high)) / (0.5 * (high - low))
        shares[0] = max(shares[0], stroke)
        shares[1] = max(shares[1], abs(now[FORCE, i]) / bounds[_FORCE, i])
        shares[2] = max(shares[2], abs(now[MEASURED, i] - now[WANTED, i]) / bounds[_TRACKING, i])
        sight.before[MEASURED, i] = now[MEASURED, i]
        sight.before[FORCE, i] = now[FORCE, i]
    energy = abs(sight.sums[RATIO])
    shares[3] = energy / levels[0]
    usual = energy <= levels[1] and shares[3] <= 1.0
    for k in range(3):
        usual = usual and shares[k] <= levels[2]
    return USUAL if usual else NOTABLE


class Watch:
    """Watches for the guard; the energy error goes to `monitor`."""

    def __init__(self, limits: Limits, bounds: Bounds, monitor: EnergyMonitor) -> None:
        size = bounds.low.size
        b = bounds
        rows = np.array([b.low, b.high, b.step, b.velocity, b.force, b.tracking, b.flat_motion])
        levels = np.array([limits.energy, limits.energy_warning, limits.warning_share, bounds.floor])
        flat = np.array([limits.flat_displacement, limits.flat_force], dtype=np.int64)
        self._sight = Sight(
            rows, np.zeros((3, size)), monitor.now, monitor.last, monitor.sums, np.zeros((2, size)),
            np.zeros((2, size), dtype=np.int64), flat, np.zeros(4), levels,
        )  # fmt: skip
        self._handle = handle(self._sight)
        # Compiled before anything waits for it.
        _leaving(self._handle, 1.0)
        _seen(self._handle, 0.0)

    def begin(self) -> None:
        """Forget repetitions and shares."""
        self._sight.repeated[:] = 0
        self._sight.shares[:] = 0.0

    def stands(self, reading: Reading) -> None:
        """What the next reading is compared with."""
        self._sight.before[:] = reading

    def leaving(self, before: np.ndarray, target: np.ndarray, seconds: float) -> tuple[int, int]:
        """What a command (freedoms,) of `seconds` is after the one `before` it, and for which freedom."""
        way = self._sight.way
        way[_TARGET], way[_BEFORE] = target, before
        found: tuple[int, int] = _leaving(self._handle, seconds)
        return found

    def seen(
        self, displacement: np.ndarray, force: np.ndarray, wanted: np.ndarray, moved: np.ndarray, energies: Energies | None
    ) -> int:  # fmt: skip
        """What a reading is after the command moved so far; arrays (freedoms,)."""
        sight = self._sight
        now = sight.now
        now[MEASURED], now[FORCE], now[WANTED], sight.way[_MOVED] = displacement, force, wanted, moved
        verdict: int = _seen(self._handle, scale_of(energies))
        return verdict

    @property
    def shares(self) -> dict[str, float]:
        """Used share of each limit at the last reading, 1 at the limit; the worst freedom."""
        return dict(zip(SHARES, self._sight.shares.tolist(), strict=True))

    def flat_line(self) -> tuple[str, int, int]:
        """Which channel was repeated too often: its name, freedom and count."""
        sight = self._sight
        over = (sight.flat[:, None] > 0) & (sight.repeated >= sight.flat[:, None])
        i, row = np.argwhere(over.T)[0]
        return ("displacement", "force")[row], int(i), int(sight.repeated[row, i])


__all__ = ["SHARES", "Watch"]
