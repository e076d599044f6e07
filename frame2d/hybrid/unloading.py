"""Unloading, the ladder's third rung: where the next move goes, and whether its reading still deserves another one.

Zero force is approached, never zero displacement. Every move is judged, since a sensor that died or a sign that is
wrong would drive the specimen to its end: as soon as a channel rests while the rig moves, or the force does not fall as
it must, unloading is over and the rig's own hardware takes over.
"""

import numpy as np

from frame2d.hybrid.limits import Bounds
from frame2d.hybrid.specimen import Reading

#: Moves in a row that may leave a channel at the same value, that may let a force grow without changing its sign,
#: and that may pass without a new least force; common practice, no source.
FLAT, WRONG, STALLED = 3, 2, 5
#: Scatter that is no growth; common practice, no source.
NOISE = 1.05


class Unloading:
    """From the last command and its reading to zero force, in moves that are no longer than `longest` (freedoms,).

    `stiffness`: the largest credible one; without it each freedom moves against its own force. Sizes of forces are
    shares of their limits, √Σ(f/f_limit)². What was beyond a limit at the start may go on, but not grow.
    """

    def __init__(
        self,
        bounds: Bounds,
        longest: np.ndarray,
        stiffness: np.ndarray | None,
        command: np.ndarray,
        reading: Reading,
    ) -> None:
        self.bounds, self.longest, self.stiffness = bounds, longest, stiffness
        self.command, self.reading = command, reading
        self._share = 1.0
        u, f = np.asarray(reading.displacement), np.asarray(reading.force)
        # A start beyond the stroke leads back, and never farther out.
        self._low, self._high = np.minimum(bounds.low, command), np.maximum(bounds.high, command)
        self._lowest = np.minimum(bounds.low, u - bounds.tracking)
        self._highest = np.maximum(bounds.high, u + bounds.tracking)
        self._force = np.maximum(bounds.force, NOISE * np.abs(f))
        self._gap = np.maximum(bounds.tracking, NOISE * np.abs(u - command))
        self._noise = float(np.linalg.norm(bounds.no_force / bounds.force))
        self._first = self._least = self._size(f)
        self._flat = np.zeros((2, f.size), dtype=int)
        self._wrong = self._stalled = 0

    def _size(self, force: np.ndarray) -> float:
        return float(np.linalg.norm(force / self.bounds.force))

    @property
    def arrived(self) -> bool:
        """Whether every force counts as none."""
        return bool((np.abs(self.reading.force) <= self.bounds.no_force).all())

    def target(self) -> np.ndarray:
        """Where the next move goes."""
        force = np.asarray(self.reading.force)
        if self.stiffness is None:
            near = np.minimum(1.0, np.abs(force) / self.bounds.force * 10.0)
            change = -np.sign(force) * self.longest * near
            change[np.abs(force) <= self.bounds.no_force] = 0.0
        else:
            change = -np.linalg.lstsq(self.stiffness, force, rcond=None)[0]
        change *= self._share
        # All freedoms slow down together, so that the direction stays.
        change /= max(1.0, float((np.abs(change) / self.longest).max()))
        return np.clip(self.command + change, self._low, self._high)

    def moved(self, target: np.ndarray, reading: Reading) -> str:
        """Take the reading of the move to `target`; why no other move may follow, or nothing."""
        change, self.command = target - self.command, target
        before, self.reading = self.reading, reading
        doubt = self.doubt() or self._flatness(change, before) or self._fall(before)
        if float(np.asarray(reading.force) @ np.asarray(before.force)) < 0.0:
            # It went past zero: the specimen is stiffer than it was believed to be.
            self._share *= 0.5
        return doubt

    def doubt(self) -> str:
        """What the present reading says against moving on its strength, or nothing."""
        displacement, force = np.asarray(self.reading.displacement), np.asarray(self.reading.force)
        if not (np.isfinite(displacement).all() and np.isfinite(force).all()):
            return "unloading needs valid force and displacement"
        if (displacement < self._lowest).any() or (displacement > self._highest).any():
            return f"measured displacement {displacement.tolist()} left its limits while unloading"
        if (np.abs(force) > self._force).any():
            return f"measured force {force.tolist()} left its limits while unloading"
        if (np.abs(displacement - self.command) > self._gap).any():
            return f"measured displacement {displacement.tolist()} does not follow {self.command.tolist()}"
        return ""

    def _flatness(self, change: np.ndarray, before: Reading) -> str:
        moving = np.abs(change) > self.bounds.flat_motion
        for name, counts, now, then in (
            ("displacement", self._flat[0], self.reading.displacement, before.displacement),
            ("force", self._flat[1], self.reading.force, before.force),
        ):
            same = np.asarray(now) == np.asarray(then)
            counts[moving] = np.where(same, counts + 1, 0)[moving]
            if counts.max() >= FLAT:
                return f"unloading moves but {name} {int(counts.argmax()) + 1} does not"
        return ""

    def _fall(self, before: Reading) -> str:
        now, then = np.asarray(self.reading.force), np.asarray(before.force)
        size = self._size(now)
        if size > self._first + self._noise:
            return f"the force grew from {self._first:.2%} to {size:.2%} of its limit while unloading: sign?"
        grown = size > self._size(then) + 0.1 * self._noise and float(now @ then) > 0.0
        self._wrong = self._wrong + 1 if grown else 0
        if self._wrong >= WRONG:
            return f"the force grows with every unloading move, to {size:.2%} of its limit: sign?"
        if size < self._least - 0.1 * self._noise:
            self._least, self._stalled = size, 0
        else:
            self._stalled += 1
        if self._stalled >= STALLED:
            return f"the force did not fall in {STALLED} unloading moves"
        return ""


__all__ = ["FLAT", "STALLED", "WRONG", "Unloading"]
