"""Actuator geometry: interface motion (ux, uy, rz at a point) ↔ strokes, and their forces, for large displacements.

Actuator j reaches from a base pin b_j, fixed in the laboratory, to a pin that moves with the interface point P:

    a_j(u) = P + (ux, uy) + R(rz)·o_j,   s_j = |a_j(u) − b_j| − |a_j(0) − b_j|
    J_j = ∂s_j/∂u = (e_x, e_y, e·R'(rz)·o_j),  e = (a_j − b_j)/|a_j − b_j|
    r = Jᵀ·f  (equal work: r·du = f·ds);  the inverse map s → u by Newton iteration

Strokes are positive in extension, actuator forces positive in pushing. Source: rigid-body kinematics of the plane;
principle of virtual work.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, finite, known
from frame2d.hybrid.specimen import Command, Reading, Specimen
from frame2d.kernels import NOT_CONVERGED, OK, OUT_OF_RANGE, compiled

FREEDOMS = ("ux", "uy", "rz")


@compiled
def strokes_at(pose, freedoms, pins, stroke, jacobian):  # type: ignore[no-untyped-def]
    """Fill strokes (m,) and Jacobian (m, n) at `pose` (n,); `pins` rows are base − P, offset, initial length."""
    x, y, theta = 0.0, 0.0, 0.0
    for i in range(freedoms.size):
        if freedoms[i] == 0:
            x = pose[i]
        elif freedoms[i] == 1:
            y = pose[i]
        else:
            theta = pose[i]
    cosine, sine = np.cos(theta), np.sin(theta)
    for j in range(pins.shape[0]):
        arm_x = cosine * pins[j, 2] - sine * pins[j, 3]
        arm_y = sine * pins[j, 2] + cosine * pins[j, 3]
        dx = x + arm_x - pins[j, 0]
        dy = y + arm_y - pins[j, 1]
        length = np.sqrt(dx * dx + dy * dy)
        if not length > 1e-9:
            return OUT_OF_RANGE
        ex, ey = dx / length, dy / length
        stroke[j] = length - pins[j, 4]
        for i in range(freedoms.size):
            if freedoms[i] == 0:
                jacobian[j, i] = ex
            elif freedoms[i] == 1:
                jacobian[j, i] = ey
            else:
                jacobian[j, i] = -ex * arm_y + ey * arm_x
    return OK


@compiled
def least_squares(jacobian, right, solution, work):  # type: ignore[no-untyped-def]
    """Solve JᵀJ·solution = Jᵀ·right for (m, n) J, n ≤ 3, m ≥ n; returns a status."""
    m, n = jacobian.shape
    for a in range(n):
        for b in range(n):
            work[a, b] = 0.0
            for j in range(m):
                work[a, b] += jacobian[j, a] * jacobian[j, b]
        work[a, n] = 0.0
        for j in range(m):
            work[a, n] += jacobian[j, a] * right[j]
    for k in range(
        n
    ):  # JᵀJ is symmetric and positive definite away from singular positions: no exchange needed
        if not work[k, k] > 0.0:
            return NOT_CONVERGED
        for i in range(k + 1, n):
            factor = work[i, k] / work[k, k]
            for b in range(k, n + 1):
                work[i, b] -= factor * work[k, b]
    for k in range(n - 1, -1, -1):
        value = work[k, n]
        for b in range(k + 1, n):
            value -= work[k, b] * solution[b]
        solution[k] = value / work[k, k]
    return OK


@compiled
def pose_at(stroke, freedoms, pins, pose, reached, jacobian, work, step):  # type: ignore[no-untyped-def]
    """Newton iteration from the given `pose` to the one with these strokes; `pose` is updated in place."""
    m = stroke.size
    for _ in range(30):
        status = strokes_at(pose, freedoms, pins, reached, jacobian)
        if status != OK:
            return status
        for j in range(m):
            reached[j] = stroke[j] - reached[j]
        status = least_squares(jacobian, reached, step, work)
        if status != OK:
            return status
        size = 0.0
        for i in range(pose.size):
            pose[i] += step[i]
            size = max(size, abs(step[i]))
        if size < 1e-14:
            return OK
        if not size < 1e3:
            return NOT_CONVERGED
    # Rounding keeps the last steps just above 1e-14 for long actuators.
    return OK if size < 1e-10 else NOT_CONVERGED


@dataclass(frozen=True)
class Pin:
    """One actuator or transducer: `base` (x, y) of its laboratory pin and `end` (x, y) of its specimen pin, m."""

    base: tuple[float, float]
    end: tuple[float, float]
    label: str = ""

    def __post_init__(self) -> None:
        for thing, point in (("base", self.base), ("end", self.end)):
            for axis, value in zip("xy", point, strict=True):
                finite(f"{thing} {axis} of pin {self.label}", value)
        if np.hypot(self.end[0] - self.base[0], self.end[1] - self.base[1]) < 1e-6:
            raise InputError(
                f"actuator {self.label or self.base} has no length; allowed: base and end pins apart. Likely mistake: "
                "the same point given twice"
            )


class Geometry:
    """Kinematics of `actuators` around the interface `point` (x, y), for the interface `freedoms`.

    `freedoms` is any of ("ux",), ("ux", "uy"), ("ux", "uy", "rz")…; those left out stay at zero. `transducers` are the
    external measuring lengths (the actuators' own built-in ones if None). Raises `InputError` when the pins leave a
    motion of the interface free, and names it.
    """

    def __init__(
        self,
        actuators: Sequence[Pin],
        point: tuple[float, float] = (0.0, 0.0),
        freedoms: Sequence[str] = ("ux",),
        transducers: Sequence[Pin] | None = None,
    ) -> None:
        self.freedoms = tuple(known("interface freedom", freedom, FREEDOMS) for freedom in freedoms)
        self.codes = np.array([FREEDOMS.index(freedom) for freedom in self.freedoms], dtype=np.int64)
        self.point = point
        self.actuators = tuple(actuators)
        self.transducers = None if transducers is None else tuple(transducers)
        self.pins = self._pins(self.actuators)
        self.gauges = self.pins if self.transducers is None else self._pins(self.transducers)
        zero = np.zeros(len(self.freedoms))
        self._check(self.jacobian(zero), zero, "actuators")
        if self.transducers is not None:
            self._check(self._at(zero, self.gauges)[1], zero, "transducers")

    def _pins(self, pins: Sequence[Pin]) -> np.ndarray:
        if not pins:
            raise InputError("a geometry has no actuators; allowed: one or more")
        table = np.zeros((len(pins), 5))
        for row, pin in zip(table, pins, strict=True):
            base = np.subtract(pin.base, self.point)
            offset = np.subtract(pin.end, self.point)
            row[:] = (*base, *offset, np.hypot(*(offset - base)))
        return table

    def _at(self, pose: np.ndarray, pins: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        stroke, jacobian = np.zeros(len(pins)), np.zeros((len(pins), len(self.freedoms)))
        if strokes_at(np.asarray(pose, dtype=np.float64), self.codes, pins, stroke, jacobian) != OK:
            raise Frame2dError(
                f"at interface displacement {np.asarray(pose).tolist()} an actuator has no length left"
            )
        return stroke, jacobian

    def _check(self, jacobian: np.ndarray, pose: np.ndarray, kind: str) -> None:
        # Rotation is weighed by the largest arm, so that the test does not depend on the unit of length.
        arm = max(float(np.hypot(self.pins[:, 2], self.pins[:, 3]).max()), float(self.pins[:, 4].max()) * 0.1)
        weight = np.where(self.codes == 2, 1.0 / arm, 1.0)
        _, values, directions = np.linalg.svd(jacobian * weight)
        rank = int((values > 1e-6).sum())
        if rank < len(self.freedoms):
            motion = self._named(directions[-1] * weight, pose)
            raise InputError(
                f"the {len(jacobian)} {kind} cannot hold the interface at {pose.tolist()}: {motion} stays free; allowed: "
                f"{len(self.freedoms)} or more that resist every motion of {', '.join(self.freedoms)}. Likely mistake: "
                "parallel or concurrent actuators, or a freedom that nothing drives"
            )

    def _named(self, motion: np.ndarray, pose: np.ndarray) -> str:
        full = np.zeros(3)
        full[self.codes] = motion
        at_pose = np.zeros(3)
        at_pose[self.codes] = pose
        size = np.hypot(full[0], full[1])
        if abs(full[2]) > 1e-9 * max(size, 1e-300):
            centre = np.add(self.point, at_pose[:2]) + np.array([-full[1], full[0]]) / full[2]
            return f"rotation about ({centre[0]:.4g}, {centre[1]:.4g})"
        return f"translation along ({full[0] / size:.4g}, {full[1] / size:.4g})"

    def strokes(self, pose: np.ndarray) -> np.ndarray:
        """Strokes (actuators,) at interface displacement `pose` (freedoms,), exact."""
        return self._at(pose, self.pins)[0]

    def jacobian(self, pose: np.ndarray) -> np.ndarray:
        """∂strokes/∂pose, (actuators, freedoms)."""
        return self._at(pose, self.pins)[1]

    def pose(self, strokes: np.ndarray, guess: np.ndarray | None = None) -> np.ndarray:
        """Interface displacement with these actuator strokes, by Newton iteration from `guess` (zero)."""
        return self._newton(strokes, self.pins, guess)

    def pose_measured(self, lengths: np.ndarray, guess: np.ndarray | None = None) -> np.ndarray:
        """Interface displacement with these changes of length of the external transducers."""
        return self._newton(lengths, self.gauges, guess)

    def _newton(self, strokes: np.ndarray, pins: np.ndarray, guess: np.ndarray | None) -> np.ndarray:
        n, m = len(self.freedoms), len(pins)
        stroke = np.asarray(strokes, dtype=np.float64)
        if stroke.shape != (m,) or not np.isfinite(stroke).all():
            raise InputError(f"strokes are {stroke.tolist()}; allowed: {m} finite numbers, one for each pin")
        pose = np.zeros(n) if guess is None else np.array(guess, dtype=np.float64)
        jacobian = np.zeros((m, n))
        status = pose_at(
            stroke, self.codes, pins, pose, np.zeros(m), jacobian, np.zeros((n, n + 1)), np.zeros(n)
        )
        if status != OK:
            raise Frame2dError(f"no interface displacement near {np.zeros(n) if guess is None else guess} has the "
                               f"strokes {stroke.tolist()}")  # fmt: skip
        self._check(jacobian, pose, "actuators" if pins is self.pins else "transducers")
        return pose

    def force(self, actuator_force: np.ndarray, pose: np.ndarray) -> np.ndarray:
        """Interface force (freedoms,) of the actuators' forces at `pose`: Jᵀ·f."""
        return np.asarray(self.jacobian(pose).T @ actuator_force)

    def actuator_force(self, force: np.ndarray, pose: np.ndarray) -> np.ndarray:
        """Actuator forces that give the interface `force` at `pose`; the smallest ones if there are spare actuators."""
        return np.asarray(np.linalg.lstsq(self.jacobian(pose).T, force, rcond=None)[0])

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        return {
            "freedoms": list(self.freedoms),
            "point": list(self.point),
            "actuators": [[list(pin.base), list(pin.end)] for pin in self.actuators],
            "transducers": None
            if self.transducers is None
            else [[list(p.base), list(p.end)] for p in self.transducers],
        }


class Placed(Specimen):
    """A specimen that is commanded in strokes, placed in a geometry and commanded in interface freedoms.

    `rig` takes strokes and answers measured strokes (or transducer lengths, if the geometry has them) and actuator
    forces.
    """

    def __init__(self, rig: Specimen, geometry: Geometry) -> None:
        if rig.freedoms != len(geometry.actuators):
            raise InputError(
                f"the rig has {rig.freedoms} channels; allowed: {len(geometry.actuators)}, one an actuator"
            )
        self.rig, self.geometry = rig, geometry
        super().__init__(len(geometry.freedoms))
        self.session, self.last_sequence, self.replayable = rig.session, rig.last_sequence, rig.replayable
        self._pose = np.zeros(self.freedoms)

    @property
    def inner(self) -> Specimen:
        """What stands behind it."""
        return self.rig

    def apply(self, command: Command) -> Reading:
        strokes = self.geometry.strokes(command.displacement)
        reading = self.rig.apply(command._replace(displacement=strokes))
        self.last_sequence = self.rig.last_sequence
        # Newton begins at the command, not at the last pose: the same reading gives the same bits after a resume too.
        self._pose = np.array(command.displacement, dtype=np.float64)
        return self._interface(reading)

    def _interface(self, reading: Reading) -> Reading:
        if not np.isfinite(reading.displacement).all():
            nowhere = np.full(self.freedoms, np.nan)
            return Reading(nowhere, nowhere.copy())
        self._pose = self.geometry.pose_measured(reading.displacement, self._pose)
        return Reading(self._pose.copy(), self.geometry.force(reading.force, self._pose))

    def read(self) -> Reading:
        return self._interface(self.rig.read())

    def answer(self, sequence: int) -> Reading | None:
        kept = self.rig.answer(sequence)
        return None if kept is None else self._interface(kept)

    def alive(self) -> None:
        self.rig.alive()

    def stop(self, reason: str) -> None:
        self.rig.stop(reason)

    def close(self) -> None:
        self.rig.close()

    def describe(self) -> dict[str, Any]:
        return {"specimen": "Placed", "geometry": self.geometry.describe(), "rig": self.rig.describe()}
