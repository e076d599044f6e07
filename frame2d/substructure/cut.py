"""`cut_at`: a node within a beam-column, so that the cut may run through its point of inflection."""

import math
from dataclasses import replace

from frame2d.elements import BeamColumn
from frame2d.elements.beam_column import RIGID
from frame2d.errors import InputError, known, within
from frame2d.model.frame import Frame, MemberLoad, Node, Placed


def cut_at(frame: Frame, member: str, distance: float) -> Frame:
    """New frame in which `member` is two, "… start" and "… end", meeting at node "… cut", `distance` m from its start.

    The node is continuous: the whole bends as before. The hinge comes with an interface without "rz" of that node.
    Loads along the member are divided. Raises `InputError` for members that are not beam-columns.
    """
    old = frame.members[known("member to cut", member, frame.members)]
    column = old.member
    if not isinstance(column, BeamColumn):
        raise InputError(f"member {member!r} is a {type(column).__name__}; allowed: a BeamColumn can be cut")
    i, j = frame.nodes[old.i], frame.nodes[old.j]
    x0, y0, cx, cy, length = column.clear(i.x, i.y, j.x, j.y)
    low, high = column.start_inset, length - column.end_inset
    within(f"distance of the cut in {member!r}", distance, low, high, open_low=True, open_high=True)
    node = Node(f"{member} cut", x0 + distance * cx, y0 + distance * cy)
    first = replace(column, end=RIGID, end_inset=0.0, end_offset=(0.0, 0.0))
    second = replace(column, start=RIGID, start_inset=0.0, start_offset=(0.0, 0.0))
    names = f"{member} start", f"{member} end"
    new = replace(
        frame,
        nodes={**frame.nodes, node.name: node},
        supports=dict(frame.supports),
        masses=dict(frame.masses),
        node_loads=list(frame.node_loads),
        floors=dict(frame.floors),
        ties=list(frame.ties),
        bodies=list(frame.bodies),
        follows=list(frame.follows),
        members={},
        member_loads=[],
    )
    for key, placed in frame.members.items():
        if key != member:
            new.members[key] = placed
            continue
        new.members[names[0]] = Placed(names[0], old.i, node.name, first, old.device)
        new.members[names[1]] = Placed(names[1], node.name, old.j, second, old.device)
    for load in frame.member_loads:
        new.member_loads += [load] if load.member != member else divided(load, names, distance, length)
    return new


def divided(load: MemberLoad, names: tuple[str, str], distance: float, length: float) -> list[MemberLoad]:
    """A load along a member as loads along its two pieces."""
    begin, end = load.begin, length if load.end is None else load.end
    if end == begin:
        piece, shift = (names[0], 0.0) if begin <= distance else (names[1], distance)
        return [replace(load, member=piece, begin=begin - shift, end=begin - shift)]

    def at(x: float) -> tuple[float, float]:
        share = (x - begin) / (end - begin)
        qx, qy = (a + share * (b - a) for a, b in zip(load.first, load.last, strict=True))
        return qx, qy

    pieces = []
    # What reaches past the clear length stands on the rigid offsets, which stay with the pieces.
    for name, low, high in ((names[0], -math.inf, distance), (names[1], distance, math.inf)):
        a, b = max(begin, low), min(end, high)
        shift = distance if name == names[1] else 0.0
        if a < b:
            pieces.append(MemberLoad(name, at(a), at(b), a - shift, b - shift, load.axes, load.case))
    return pieces
