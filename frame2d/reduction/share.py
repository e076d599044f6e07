"""Building → plane frame: the share of mass and weight that one frame takes, and what the hypothesis behind it costs.

s = V_frame/V_total, the frame's part of the base shear of an elastic push without torsion (common practice, no source);
the frame gets s·m and s·W of every floor. The hypothesis, that mass goes with base shear, is exact where all frames of
the direction are proportional over the height, before and after yielding; how far they are not is measured.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from frame2d.analysis import gravity, modes
from frame2d.errors import InputError, known, positive, within
from frame2d.model import Frame
from frame2d.reduction.building import Building, own_weights
from frame2d.reduction.copying import copied
from frame2d.reduction.plan import NO_WEIGHT, BuildingSystem
from frame2d.reduction.torsion import BuildingResponse, building_modes, push_building

#: Displacement of the elastic push, as a share of the building's height.
SMALL = 1e-6


@dataclass(frozen=True)
class PlaneReduction:
    """A plane frame that stands for its part of a building, and the error of that."""

    frame: Frame
    name: str
    #: V_frame/V_total of the elastic push with floors that do not turn.
    share: float
    #: What torsion adds to the share (forces at the centres of mass, floors free to turn).
    torsion: float
    #: Share of the storey shear by the floor above, without torsion.
    storey_shares: dict[str, float]
    #: Smallest and largest share of the base shear over the push beyond yielding; None where it was not asked for.
    push_range: tuple[float, float] | None
    #: First period of the frame, and of the building along the frame with floors that do not turn, s.
    period: float
    building_period: float
    #: Weight (N) by floor: the share of the whole, on the frame's own columns, on the leaning column.
    weights: dict[str, tuple[float, float, float]]

    @property
    def storey_error(self) -> float:
        """Largest deviation of a storey's share from s, relative."""
        return max(abs(value / self.share - 1.0) for value in self.storey_shares.values())

    @property
    def push_error(self) -> float | None:
        """Largest deviation of the share from s over the push, relative."""
        if self.push_range is None:
            return None
        return max(abs(value / self.share - 1.0) for value in self.push_range)

    @property
    def period_error(self) -> float:
        """First period of the frame against that of the building without torsion, relative."""
        return self.period / self.building_period - 1.0

    def as_dict(self) -> dict[str, float | None]:
        """Main numbers as plain data."""
        return {
            "share": self.share,
            "torsion": self.torsion,
            "storey_error": self.storey_error,
            "push_error": self.push_error,
            "period_s": self.period,
            "building_period_s": self.building_period,
            "period_error": self.period_error,
        }

    def text(self) -> str:
        """Share, torsion, errors of the hypothesis and weights, as text."""
        lines = [
            f"{self.name} as a plane frame: share s = V_frame/V_total = {self.share:.4f} of mass and weight",
            f"  torsion adds {self.torsion:+.4f} to its share of the base shear ({100 * self.torsion / self.share:+.2f} % "
            "of s), which the plane frame does not see",
            "  hypothesis 'mass goes with base shear', error relative to s:",
            f"    storey shears, elastic: {100 * self.storey_error:.2f} % at most",
        ]
        if self.push_error is not None and self.push_range is not None:
            low, high = self.push_range
            lines.append(
                f"    base shear over the push: {100 * self.push_error:.2f} % at most (share {low:.4f} to {high:.4f})"
            )
        lines.append(
            f"    first period without torsion: {self.period:.4f} s against {self.building_period:.4f} s, "
            f"{100 * self.period_error:+.2f} %"
        )
        lines.append("  weight (kN): share of the floor, on own columns, on the leaning column")
        for floor, values in self.weights.items():
            lines.append(f"    {floor}: " + ", ".join(f"{value / 1e3:,.1f}" for value in values))
        return "\n".join(lines)


def plane_frame(
    building: Building,
    frame: str,
    *,
    pattern: str | Mapping[str, float] = "triangular",
    push_drift: float | None = 0.02,
    steps: int = 60,
    leaning_at: float | None = None,
) -> PlaneReduction:
    """Reduce a building to one of its frames.

    `pattern` is that of both pushes; the second goes, under gravity, to `push_drift` of the height (None: not at all)
    in `steps`. The leaning column stands at `leaning_at` (m in the frame's x; beside the frame unless given). Raises
    `InputError` where the frame's own columns carry more than its share of a floor's weight.
    """
    placed = building.frames[known("frame", frame, building.frames)]
    plane = building.holding("uy" if placed.direction == "x" else "ux", "rz")
    straight = plane.compile()
    small = SMALL * (building.levels()[-1].level - straight.frame.ground())
    elastic = push_building(straight, None, placed.direction, pattern, target=small, steps=1)
    along = [other.name for other in building.along(placed.direction)]
    shares = _storey_shares(elastic, frame, along)
    share = next(iter(shares.values()))
    if share <= 0.0:
        raise InputError(
            f"frame {frame!r} takes {share:.3g} of the base shear; allowed: above 0. A frame that leans on the others "
            "cannot stand for the building"
        )
    turning = 0.0
    if "rz" not in building.held:
        twisted = push_building(building.compile(), None, placed.direction, pattern, target=small, steps=1)
        turning = next(iter(_storey_shares(twisted, frame, along).values())) - share
    pushed = None
    if push_drift is not None:
        pushed = _push_range(straight, placed.direction, pattern, frame, along, push_drift, steps)
    found, weights = loaded_frame(building, frame, share, leaning_at)
    column = "xy".index(placed.direction)
    whole = building_modes(straight, None, None)
    return PlaneReduction(
        found,
        frame,
        share,
        turning,
        shares,
        pushed,
        float(modes(found.compile(), None, 1).period[0]),
        float(whole.period[int(np.argmax(whole.effective_mass[:, column]))]),
        weights,
    )


def centres_of_stiffness(
    building: Building, pattern: str | Mapping[str, float] = "triangular"
) -> dict[str, tuple[float, float]]:
    """Plan coordinates (m) by floor of the resultant of the frames' elastic storey shears below it, floors not turning.

    For more than one storey it depends on the `pattern` of the push (common practice); NaN where no frame resists.
    """
    straight = building.holding("rz").compile()
    small = SMALL * (building.levels()[-1].level - straight.frame.ground())
    found = {floor.name: [float("nan"), float("nan")] for floor in building.levels()}
    for direction, held, column in (("x", "ux", 1), ("y", "uy", 0)):
        if held in building.held or not building.along(direction):
            continue
        response = push_building(straight, None, direction, pattern, target=small, steps=1)
        shears = {placed.name: response.storey_shears(placed.name) for placed in building.along(direction)}
        for floor in found:
            own = np.array([shear[floor][-1] for shear in shears.values()])
            at = np.array([building.frames[name].at for name in shears])
            if abs(own.sum()) > 0.0:
                found[floor][column] = float(own @ at / own.sum())
    return {floor: (values[0], values[1]) for floor, values in found.items()}


def loaded_frame(
    building: Building, frame: str, share: float, leaning_at: float | None = None
) -> tuple[Frame, dict[str, tuple[float, float, float]]]:
    """The frame with `share` of each floor's mass on its floor nodes, equally, and of its weight; and the weights.

    What its own columns do not carry leans on it. Weights (N) by floor: share, own, leaning. Raises `InputError` where
    own columns carry more than the share.
    """
    placed = building.frames[known("frame", frame, building.frames)]
    within("share", share, 0.0, 1.0 + 1e-9, open_low=True)
    result = copied(placed.frame)
    own = own_weights(placed.frame)
    weights = {}
    for floor in result.floors.values():
        source = building.floors[floor.name]
        for node in floor.nodes:
            result.mass(node, share * source.mass / len(floor.nodes))
        due = share * source.weight
        left = due - own[floor.name]
        if left < -NO_WEIGHT * max(due, 1.0):
            raise InputError(
                f"the leaning column of frame {frame!r} would carry {left / 1e3:,.1f} kN at {floor.name!r}: its share "
                f"{share:.4f} of the floor's weight is {due / 1e3:,.1f} kN, and {own[floor.name] / 1e3:,.1f} kN stand on "
                "its own columns; allowed: at most the share. Likely mistake: a frame with much gravity and little "
                "stiffness, or loads of the whole floor on one frame"
            )
        weights[floor.name] = (due, own[floor.name], max(left, 0.0))
    leaning = {
        floor: value[2] for floor, value in weights.items() if value[2] > NO_WEIGHT * max(value[0], 1.0)
    }
    if leaning:
        high = max(node.x for node in result.nodes.values())
        low = min(node.x for node in result.nodes.values())
        beside = high + max(0.35 * (high - low), 1.0) if leaning_at is None else leaning_at
        result.leaning_column("gravity", beside, leaning)
    return result, weights


def _storey_shares(response: BuildingResponse, frame: str, along: list[str]) -> dict[str, float]:
    """V_frame/V_total by storey at the last step, of the storeys that the frame has."""
    positive("steps of the push", response.time.size - 1)
    shears = {name: response.storey_shears(name) for name in along}
    floors = [floor for floor, _ in response.building.frames[frame].frame.levels()]
    return {
        floor: float(shears[frame][floor][-1] / sum(own[floor][-1] for own in shears.values()))
        for floor in floors
    }


def _push_range(
    system: BuildingSystem,
    direction: str,
    pattern: str | Mapping[str, float],
    frame: str,
    along: list[str],
    drift: float,
    steps: int,
) -> tuple[float, float]:
    cases = {load.case for load in system.frame.node_loads}
    state = gravity(system).state if "gravity" in cases else None
    height = system.building.levels()[-1].level - system.frame.ground()
    response = push_building(system, state, direction, pattern, target=drift * height, steps=steps)
    shears = {name: response.frame_shear(name) for name in along}
    # Gravity may leave a frame with a shear before the push begins.
    moved = {name: shear - shear[0] for name, shear in shears.items()}
    ratio = moved[frame][1:] / np.sum(list(moved.values()), axis=0)[1:]
    return float(ratio.min()), float(ratio.max())


__all__ = ["PlaneReduction", "centres_of_stiffness", "loaded_frame", "plane_frame"]
