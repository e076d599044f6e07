"""What a frame amounts to, in words and totals, before anything is run."""

from collections import Counter

import numpy as np

from frame2d.elements import BeamColumn
from frame2d.model.frame import Frame

#: Standard gravity, m/s² (ISO 80000-3).
G = 9.80665


def mass_along(frame: Frame) -> float:
    """Mass (kg) that members bring along their length."""
    total = 0.0
    for placed in frame.members.values():
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        pieces = placed.member.pieces(i.x, i.y, j.x, j.y)
        shift = np.zeros(pieces.size)
        shift[[0, 3]] = 1.0
        for freedom, (along_x, _) in enumerate(pieces.translation, start=6):
            shift[freedom] = along_x
        total += float(shift @ pieces.mass @ shift)
    return total


def resultants(frame: Frame) -> dict[str, tuple[float, float]]:
    """ΣFx and ΣFy (N) by load case, on nodes and along members."""
    totals: dict[str, np.ndarray] = {}
    for load in frame.node_loads:
        totals[load.case] = totals.get(load.case, 0.0) + np.array([load.fx, load.fy])
    for along in frame.member_loads:
        placed = frame.members[along.member]
        if not isinstance(placed.member, BeamColumn):
            continue  # refused with its name when the load is asked for
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        _, _, c, s, clear = placed.member.clear(i.x, i.y, j.x, j.y)
        force = np.array(along.first)
        if along.end != along.begin:
            length = (clear if along.end is None else along.end) - along.begin
            force = 0.5 * length * (force + np.array(along.last))
        if along.axes == "local":
            force = np.array([c * force[0] - s * force[1], s * force[0] + c * force[1]])
        totals[along.case] = totals.get(along.case, 0.0) + force
    return {case: (float(total[0]), float(total[1])) for case, total in totals.items()}


def warnings_of(frame: Frame) -> list[str]:
    """What looks unusual but may be meant."""
    found = []
    used = {end for placed in frame.members.values() for end in (placed.i, placed.j)}
    for node in frame.nodes:
        if node not in used:
            found.append(f"node {node!r} belongs to no member")
    mass = sum(mx for mx, _, _ in frame.masses.values()) + mass_along(frame)
    weight = -resultants(frame).get("gravity", (0.0, 0.0))[1]
    if mass > 0.0 and weight > 0.0 and not 0.3 < weight / (mass * G) < 3.0:
        found.append(f"gravity loads are {weight / (mass * G):.2g} times the weight of the masses")
    if not frame.floors:
        found.append("no floors are declared, so storey drifts are not reported")
    if frame.bodies and any(
        getattr(p.member, "geometry", "") == "corotational" for p in frame.members.values()
    ):
        found.append("rigid bodies follow small rotations, while some members are corotational")
    return found


def summary(frame: Frame) -> str:
    """Text summary of `frame`."""
    kinds = Counter(type(placed.member).__name__ for placed in frame.members.values())
    along = mass_along(frame)
    mass = sum(mx for mx, _, _ in frame.masses.values()) + along
    supports = ", ".join(f"{node} ({' '.join(held)})" for node, held in frame.supports.items())
    lines = [
        f"{frame.name}: {len(frame.nodes)} nodes, {len(frame.members)} members and links",
        "  " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())),
        f"  supports: {supports or 'none'}",
        f"  mass {mass:,.0f} kg (weight {mass * G / 1e3:,.0f} kN)"
        + (f", {along:,.0f} kg of it along members" if along else ""),
    ]
    for case, (fx, fy) in sorted(resultants(frame).items()):
        lines.append(f"  load case {case!r}: ΣFx {fx / 1e3:,.1f} kN, ΣFy {fy / 1e3:,.1f} kN")
    if frame.floors:
        levels = ", ".join(f"{name} at {height:g} m" for name, height in frame.levels())
        lines.append(f"  floors: {levels}")
    lines.append(f"  devices: {', '.join(frame.devices()) or 'none'}")
    lines.append(
        f"  constraints: {len(frame.ties)} ties, {len(frame.bodies)} rigid bodies, {len(frame.follows)} linear followers"
    )
    lines += [f"  note: {text}" for text in warnings_of(frame)]
    return "\n".join(lines)
