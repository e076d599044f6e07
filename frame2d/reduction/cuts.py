"""Candidate cuts of a frame: which storeys or devices are tested, where columns are cut, what gets an actuator.

A storey cut tests everything up to a floor, and the foot of the columns above it up to a share of their height (0: cut
at the floor). At the interface horizontal displacements are driven; vertical displacements and rotations are driven or
released. A released rotation is a hinge: its moment is lost. Cuts near the point of inflection lose little (about half
the height in upper storeys; common practice, no source).
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from frame2d.elements import PINNED, BeamColumn, Brace
from frame2d.errors import InputError, within
from frame2d.materials import Elastic
from frame2d.model import Frame
from frame2d.substructure.vertical import ends, is_column

#: Share of the height of the columns above the tested floor at which they are cut; 0: at the floor.
RATIOS = (0.0, 0.4, 0.5, 0.6)

#: What is driven at the interface of a storey cut.
DRIVES = {
    "top": "one actuator at the cut; lower floors are taken to follow it in the shape of the first mode",
    "horizontal": "an actuator at every floor and at the cut",
    "horizontal and vertical": "the same, and a vertical one at every cut column",
    "all": "every freedom of the interface, rotations too",
}

#: Heights that differ by less are one level, m.
SAME_LEVEL = 1e-6


@dataclass(frozen=True)
class Cut:
    """One way to cut a frame. `columns` maps cut columns to the share of their height; made by `candidate_cuts`."""

    name: str
    #: Names of tested members; of a cut column the lower piece is added when it is built.
    tested: tuple[str, ...]
    #: "top", "horizontal", "horizontal and vertical", "all"; of a device "own" (its deformations) or "chord".
    drive: str
    columns: dict[str, float] = field(default_factory=dict)
    #: Tested floors from below, with those whose horizontal displacement an actuator drives.
    floors: tuple[str, ...] = ()

    @property
    def is_device(self) -> bool:
        """Whether devices alone are tested."""
        return not self.floors


def is_strut(frame: Frame, name: str) -> bool:
    """Whether a member only stands for gravity: a steep elastic bar (leaning columns), never tested."""
    placed = frame.members[name]
    if not isinstance(placed.member, Brace) or placed.device or not isinstance(placed.member.law, Elastic):
        return False
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    return abs(j.x - i.x) <= 0.27 * abs(j.y - i.y)


def candidate_cuts(
    frame: Frame,
    *,
    storeys: int | None = None,
    ratios: Iterable[float] = RATIOS,
    drives: Iterable[str] = ("top", "horizontal", "horizontal and vertical", "all"),
    devices: bool = True,
) -> list[Cut]:
    """All cuts with 1 to `storeys` whole tested storeys (all but one by default), and of the devices of one storey.

    Raises `InputError` for a frame without floors and ratios that are no share of a column.
    """
    levels = [(name, level) for name, level in frame.levels() if level > frame.ground() + SAME_LEVEL]
    if not levels:
        raise InputError(f"frame {frame.name!r} has no floors; allowed: frame.floor(…) for each level")
    shares = [within("ratio of a cut", ratio, 0.0, 0.95) for ratio in ratios]
    most = len(levels) - 1 if storeys is None else int(within("storeys", storeys, 1, len(levels) - 1))
    found: list[Cut] = []
    for number in range(1, most + 1):
        floors = tuple(name for name, _ in levels[:number])
        level, above = levels[number - 1][1], levels[number][1]
        below = members_below(frame, level)
        standing = columns_between(frame, level, above)
        for ratio in shares:
            columns = dict.fromkeys(standing, ratio) if ratio > 0.0 else {}
            for drive in drives:
                if drive not in DRIVES:
                    raise InputError(f"drive is {drive!r}; allowed: {', '.join(DRIVES)}")
                # At a floor with one tested storey, "top" and "horizontal" are the same thing.
                if drive == "top" and number == 1 and ratio == 0.0:
                    continue
                part = f" + {ratio:g} of the next" if ratio > 0.0 else ""
                name = f"storeys 1-{number}{part}: {drive}" if number > 1 else f"storey 1{part}: {drive}"
                found.append(Cut(name, tuple(below), drive, columns, floors))
    return found + (device_cuts(frame) if devices else [])


def members_below(frame: Frame, level: float) -> list[str]:
    """Members up to a level, without those that only stand for gravity."""
    return [
        name
        for name, placed in frame.members.items()
        if max(frame.nodes[placed.i].y, frame.nodes[placed.j].y) <= level + SAME_LEVEL
        and not is_strut(frame, name)
    ]


def columns_between(frame: Frame, level: float, above: float) -> list[str]:
    """Columns from one level to the next."""
    found = []
    for name in frame.members:
        if not is_column(frame, name):
            continue
        low, high = (frame.nodes[node].y for node in ends(frame, name))
        if abs(low - level) < SAME_LEVEL and abs(high - above) < SAME_LEVEL:
            found.append(name)
    return found


def device_cuts(frame: Frame) -> list[Cut]:
    """One cut a device, driven by its own deformations; a beam with hinges also by its chord alone."""
    found = []
    for name in frame.devices():
        member = frame.members[name].member
        found.append(Cut(f"{name}: own deformations", (name,), "own"))
        if isinstance(member, BeamColumn) and PINNED not in (member.start, member.end):
            found.append(Cut(f"{name}: chord rotation", (name,), "chord"))
    return found


def column_distance(frame: Frame, name: str, ratio: float) -> float:
    """Distance of a cut from a column's first node, m along its clear length."""
    placed = frame.members[name]
    column = placed.member
    assert isinstance(column, BeamColumn)
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    length = column.clear(i.x, i.y, j.x, j.y)[4]
    return (ratio if placed.i == ends(frame, name)[0] else 1.0 - ratio) * length


def lower_piece(frame: Frame, name: str) -> str:
    """Name of the lower piece of a column after `cut_at`."""
    return f"{name} start" if frame.members[name].i == ends(frame, name)[0] else f"{name} end"
