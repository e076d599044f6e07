"""Frame → stick: one horizontal freedom a storey and one at every actuator level, springs fitted to a cyclic push.

The reference is pushed to and fro under its gravity with forces of a fixed pattern; each spring is fitted to the shear
above against the displacement between its ends. Second-order effects and the bending of the frame as a whole are in the
springs as far as the pattern shows them. Simplest model of the trade (common practice, no source); what it is worth
says its fidelity table: a frame that bends as a whole is no chain of storeys, so that higher modes come out too long.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from frame2d.analysis import Modal, Response, cyclic, modes
from frame2d.component_tests import CyclicTest
from frame2d.elements import Link
from frame2d.errors import InputError, known, positive, within
from frame2d.fitting import Effort, Fit, fit
from frame2d.model import Frame
from frame2d.reduction.models import FrameModel, triangular

#: Amplitudes of the push, as drift of the whole height (common practice, no source).
AMPLITUDES = (0.0025, 0.005, 0.0075, 0.01, 0.015, 0.02)

#: Quick enough for a spring a storey, and more than enough for a smooth law.
EFFORT = Effort(population=5, generations=60, starts=2, iterations=40)


@dataclass(frozen=True)
class Spring:
    """Spring below a level: what the push asked of it, and the law that was fitted."""

    name: str
    lower: str
    upper: str
    deformation: np.ndarray = field(repr=False)
    shear: np.ndarray = field(repr=False)
    fit: Fit = field(repr=False)


@dataclass(frozen=True)
class Stick:
    """The stick as a `Frame` and as a model for a fidelity table; its springs and the push they were fitted to."""

    frame: Frame
    model: FrameModel
    springs: tuple[Spring, ...]
    push: Response = field(repr=False)
    #: Heights (m) of all levels from below, actuator levels among the floors.
    levels: dict[str, float]

    def force(self, name: str) -> np.ndarray:
        """Force of the fitted spring `name` under the deformations of the push, N."""
        by_name = {spring.name: spring for spring in self.springs}
        spring = by_name[known("spring", name, by_name)]
        return spring.fit.force(spring.fit.tests[0])

    def text(self) -> str:
        """Levels, fitted laws and errors of the fits."""
        lines = [f"{self.frame.name}: {len(self.springs)} springs"]
        for spring in self.springs:
            lines.append(f"  {spring.name} ({spring.lower} to {spring.upper}): {spring.fit.law}")
            lines += [f"    {errors}" for errors in spring.fit.errors]
        return "\n".join(lines)


def protocol(
    height: float, amplitudes: Sequence[float] = AMPLITUDES, cycles: int = 2, points: int = 80
) -> np.ndarray:
    """Displacement history (m) of the highest floor: `cycles` at each amplitude (drift of `height`), triangular."""
    positive("height", height)
    within("cycles", cycles, 1, 100)
    within("points", points, 8, 10_000)
    wave = np.interp(np.arange(1, points + 1) / points, [0.0, 0.25, 0.75, 1.0], [0.0, 1.0, -1.0, 0.0])
    pieces = [np.zeros(1)]
    for amplitude in amplitudes:
        pieces += [height * positive("amplitude", amplitude, hint="a drift: 0.01 is 1 %") * wave] * int(
            cycles
        )
    return np.concatenate(pieces)


def stick_model(
    reference: FrameModel,
    law: Any = "BoucWen",
    *,
    actuators: Mapping[str, str] | None = None,
    pattern: Mapping[str, float] | None = None,
    amplitudes: Sequence[float] = AMPLITUDES,
    cycles: int = 2,
    effort: Effort | None = None,
    progress: bool = False,
    name: str = "stick",
    **fitting: Any,
) -> Stick:
    """Stick with springs of `law` (a registered name, class or instance) fitted to a cyclic push of `reference`.

    `actuators` are further levels by name, each the node of the reference whose displacement it is, e.g. that of a cut
    column at half a storey. `pattern` are lateral forces by floor (growing with height unless given). `fitting` goes to
    `frame2d.fitting.fit`, e.g. ``free=["pinching"]``. Damping: the ratios that the reference has in its first modes.
    Raises as `cyclic` and `fit`.
    """
    frame = reference.frame
    floors = reference.levels()
    if not floors:
        raise InputError(f"frame {frame.name!r} has no floors; allowed: frame.floor(…) for each level")
    top = list(floors)[-1]
    forces = triangular(reference) if pattern is None else dict(pattern)
    for floor in forces:
        known("floor of the pattern", floor, floors)
    response = cyclic(
        reference.system, reference.state, forces, node=frame.floors[top].nodes[0],
        history=_from_here(reference, top, protocol(floors[top] - frame.ground(), amplitudes, cycles)),
    )  # fmt: skip
    levels = _levels(frame, floors, actuators or {})
    total = sum(forces.values())
    moved = {
        name: history - history[0] for name, history in _histories(response, floors, actuators or {}).items()
    }
    springs, below = [], ""
    for level in levels:
        lower = moved[below] if below else np.zeros(response.time.size)
        above = sum(share for floor, share in forces.items() if levels[floor] >= levels[level] - 1e-9) / total
        deformation, shear = moved[level] - lower, above * response.factor
        label = f"spring below {level}"
        found = fit(
            law, CyclicTest(label, deformation, shear), effort=effort or EFFORT, progress=progress,
            profile="none", **fitting,
        )  # fmt: skip
        springs.append(Spring(label, below or "ground", level, deformation, shear, found))
        if found.interrupted:
            raise KeyboardInterrupt
        below = level
    stick = _frame(name, frame, levels, floors, springs)
    model = FrameModel(name, stick, _damping(reference, len(floors)), reference.drift_limit)
    return Stick(stick, model, tuple(springs), response, levels)


def _from_here(reference: FrameModel, top: str, history: np.ndarray) -> np.ndarray:
    """The protocol from where gravity left the floor."""
    node = reference.frame.floors[top].nodes[0]
    return np.asarray(history + float(reference.system.row(node, "ux") @ reference.state.motion.q))


def _levels(frame: Frame, floors: Mapping[str, float], actuators: Mapping[str, str]) -> dict[str, float]:
    heights = dict(floors)
    for level, node in actuators.items():
        known(f"node of the actuator level {level!r}", node, frame.nodes)
        if level in heights:
            raise InputError(f"actuator level is called {level!r}; allowed: another name than a floor's")
        height = frame.nodes[node].y
        if not frame.ground() < height < max(floors.values()) or any(
            abs(height - y) < 1e-6 for y in floors.values()
        ):
            raise InputError(
                f"actuator level {level!r} is at {height:g} m; allowed: between floors. An actuator at a floor needs no "
                "level of its own"
            )
        heights[level] = height
    return dict(sorted(heights.items(), key=lambda entry: entry[1]))


def _histories(
    response: Response, floors: Mapping[str, float], actuators: Mapping[str, str]
) -> dict[str, np.ndarray]:
    found = {floor: response.floor(floor) for floor in floors}
    return found | {level: response.displacement(node) for level, node in actuators.items()}


def _frame(
    name: str,
    reference: Frame,
    levels: Mapping[str, float],
    floors: Mapping[str, float],
    springs: Sequence[Spring],
) -> Frame:
    frame = Frame(name)
    ground = reference.ground()
    frame.node("ground", 0.0, ground, support="fixed")
    masses = floor_masses(reference)
    for level, height in levels.items():
        frame.node(level, 0.0, height, support=("uy", "rz"))
        if masses.get(level, 0.0) > 0.0:
            frame.lateral_mass(level, masses[level])
    for spring in springs:
        frame.link(spring.name, spring.lower, spring.upper, Link(axial=spring.fit.law))
    for floor in floors:
        frame.floor(floor, [floor])
    return frame


def floor_masses(frame: Frame) -> dict[str, float]:
    """Horizontal mass (kg) by floor: nodes count to the floor at or above them, members' mass at their ends."""
    levels = frame.levels()
    found = {floor: 0.0 for floor, _ in levels}
    system = frame.compile()
    lumped = np.asarray(system.whole["mass"].sum(axis=1)).ravel()
    for node, k in system.node_index.items():
        height = frame.nodes[node].y
        if "ux" in frame.supports.get(node, ()):
            continue
        floor = next((label for label, level in levels if level >= height - 1e-6), levels[-1][0])
        found[floor] += float(lumped[3 * k])
    return found


def _damping(reference: FrameModel, count: int) -> Any:
    """Modal damping with the ratios φᵀCφ/(2ω) of the reference's lateral modes."""
    if reference.damping is None:
        return None
    system, state = reference.system, reference.state
    found = modes(system, state, None)
    matrix = reference.damping.matrix(system, state)
    lateral = np.argsort(-found.effective_mass)[:count]
    chosen = np.sort(lateral)
    shapes = found.shapes[:, chosen]
    ratios = np.einsum("im,im->m", shapes, matrix @ shapes) / (2.0 * found.omega[chosen])
    return Modal(tuple(float(ratio) for ratio in ratios))
