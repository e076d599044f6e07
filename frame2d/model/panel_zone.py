"""Panel zones: the shear of a beam-column joint, as a parallelogram of its size or as scissors without one.

The panel's edges are rigid and hinged at its corners. Its vertical edges turn by θv, its horizontal ones by θh, and the
law sees the distortion θv − θh. A beam ends at the middle of a vertical edge: its section turns with that edge, but the
edge's middle moves as the horizontal lines of the panel do, uy = uy₀ ± ½w·θh. A column ends at the middle of a horizontal
edge: it turns by θh and moves by ux = ux₀ ∓ ½d·θv. Small rotations. With all members rigid a storey of height H and span L
sways by V·H²·(1 − w/L − d/H)²/k, the check in the tests.
Source: Krawinkler, Shear in beam-column joints in seismic design of steel frames, 1978; Charney & Marshall, A comparison
of the Krawinkler and scissors models for including beam-column joint deformations, 2006 (both from memory; the
kinematics above are derived).
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from frame2d.elements import BeamColumn, Link
from frame2d.errors import InputError, known, listed, within

if TYPE_CHECKING:
    from frame2d.model.frame import Frame


def panel_zone(
    frame: "Frame", name: str, node: str, columns: Iterable[str], law: Any, width: float, depth: float,
    beams: Iterable[str] | None,
) -> str:  # fmt: skip
    """Put the panel into `frame`; see `Frame.panel_zone`."""
    known("node", node, frame.nodes)
    place = frame.nodes[node]
    width, depth = (
        within(f"{what} of panel zone {name!r}", size, 0.0, 20.0, hint="lengths in mm; they are in m")
        for what, size in (("width", width), ("depth", depth))
    )
    if (width > 0.0) != (depth > 0.0):
        raise InputError(
            f"panel zone {name!r} has width {width:g} and depth {depth:g}; allowed: both above 0, or neither"
        )
    upright = [_at(frame, name, node, label) for label in listed(f"columns of panel zone {name!r}", columns)]
    if not upright:
        raise InputError(f"panel zone {name!r} has no columns; allowed: one or two")
    if beams is None:
        others = [label for label, placed in frame.members.items() if node in (placed.i, placed.j)]
        level = [
            label
            for label in others
            if label not in upright and isinstance(frame.members[label].member, BeamColumn)
        ]
    else:
        level = [_at(frame, name, node, label) for label in listed(f"beams of panel zone {name!r}", beams)]
    twin = frame.node(f"{node} column", place.x, place.y)
    for component in ("ux", "uy"):
        frame.tie(component, (node, twin))
    if width == 0.0:
        for label in upright:
            _move(frame, label, node, twin)
        return frame.link(name, twin, node, Link(rotation=law), device=True)
    for label in (*upright, *level):
        _move(frame, label, node, _edge(frame, name, node, label, label in upright, width, depth))
    return frame.link(name, twin, node, Link(rotation=law), device=True)


def _edge(frame: "Frame", name: str, node: str, label: str, upright: bool, width: float, depth: float) -> str:
    """The node at the middle of the edge where a member ends, put there if this is the first."""
    placed, place = frame.members[label], frame.nodes[node]
    far = frame.nodes[placed.j if placed.i == node else placed.i]
    what, size, reach = ("depth", depth, far.y - place.y) if upright else ("width", width, far.x - place.x)
    if abs(reach) <= 0.5 * size:
        raise InputError(
            f"member {label!r} ends {abs(reach):g} m from the middle of panel zone {name!r}, whose {what} is {size:g} m; "
            "allowed: a member that leaves the panel. Likely mistake: a beam among the columns, or the reverse"
        )
    offset = getattr(placed.member, "start_offset" if placed.i == node else "end_offset", (0.0, 0.0))
    if any(offset):
        raise InputError(
            f"member {label!r} has an offset {offset} at panel zone {name!r}; allowed: none, it ends at the panel's edge"
        )
    arm = 0.5 * size if reach > 0.0 else -0.5 * size
    names = ("top", "bottom") if upright else ("right", "left")
    edge = f"{node} {names[0] if reach > 0.0 else names[1]}"
    if edge in frame.nodes:
        return edge
    beam, column = (node, "rz"), (f"{node} column", "rz")
    if upright:
        frame.node(edge, place.x, place.y + arm)
        frame.follow(edge, "ux", {(node, "ux"): 1.0, beam: -arm})
        frame.follow(edge, "uy", {(node, "uy"): 1.0})
        frame.follow(edge, "rz", {column: 1.0})
    else:
        frame.node(edge, place.x + arm, place.y)
        frame.follow(edge, "ux", {(node, "ux"): 1.0})
        frame.follow(edge, "uy", {(node, "uy"): 1.0, column: arm})
        frame.follow(edge, "rz", {beam: 1.0})
    return edge


def _at(frame: "Frame", name: str, node: str, label: str) -> str:
    placed = frame.members[known("member", label, frame.members)]
    if node not in (placed.i, placed.j):
        raise InputError(
            f"member {label!r} of panel zone {name!r} goes from {placed.i!r} to {placed.j!r}; allowed: one that ends at "
            f"{node!r}. Likely mistake: another panel of the same member has taken its end, or the wrong node"
        )
    return label


def _move(frame: "Frame", label: str, node: str, edge: str) -> None:
    """Let the member end at `edge` instead of `node`."""
    placed = frame.members[label]
    i, j = (edge if end == node else end for end in (placed.i, placed.j))
    frame.members[label] = replace(placed, i=i, j=j)
