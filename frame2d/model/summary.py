"""What a frame amounts to, in words and totals, before anything is run."""

from collections import Counter

from frame2d.model.frame import Frame

#: Standard gravity, m/s² (ISO 80000-3).
G = 9.80665


def warnings_of(frame: Frame) -> list[str]:
    """What looks unusual but may be meant."""
    found = []
    used = {end for placed in frame.members.values() for end in (placed.i, placed.j)}
    for node in frame.nodes:
        if node not in used:
            found.append(f"node {node!r} belongs to no member")
    mass = sum(mx for mx, _, _ in frame.masses.values())
    weight = -sum(load.fy for load in frame.node_loads if load.case == "gravity")
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
    mass = sum(mx for mx, _, _ in frame.masses.values())
    supports = ", ".join(f"{node} ({' '.join(held)})" for node, held in frame.supports.items())
    lines = [
        f"{frame.name}: {len(frame.nodes)} nodes, {len(frame.members)} members and links",
        "  " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())),
        f"  supports: {supports or 'none'}",
        f"  mass {mass:,.0f} kg (weight {mass * G / 1e3:,.0f} kN)",
    ]
    for case in sorted({load.case for load in frame.node_loads}):
        total = [
            sum(getattr(load, part) for load in frame.node_loads if load.case == case)
            for part in ("fx", "fy")
        ]
        lines.append(
            f"  load case {case!r}: ΣFx {total[0] / 1e3:,.1f} kN, ΣFy {total[1] / 1e3:,.1f} kN on nodes"
        )
    if frame.floors:
        levels = ", ".join(f"{name} at {height:g} m" for name, height in frame.levels())
        lines.append(f"  floors: {levels}")
    lines.append(f"  devices: {', '.join(frame.devices()) or 'none'}")
    lines.append(
        f"  constraints: {len(frame.ties)} ties, {len(frame.bodies)} rigid bodies, {len(frame.follows)} linear followers"
    )
    lines += [f"  note: {text}" for text in warnings_of(frame)]
    return "\n".join(lines)
