"""Diagrams of inner forces along the members, drawn on the frame: `plot_diagram`."""

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError, known, within
from frame2d.model.member_loads import course_of
from frame2d.show.look import BLUE, FAINT, INK, PAPER, VERMILION, caption, dress, new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from frame2d.analysis.response import Response

#: Name, unit, and side of the member on which positive values are drawn (+1: to the left of its direction).
QUANTITIES = {
    "M": ("bending moment", "kN·m", -1.0),
    "V": ("shear force", "kN", 1.0),
    "N": ("axial force", "kN", 1.0),
}
#: Values smaller than this share of the largest are not written.
LEAST = 0.12
#: Rigid offsets whose cosine to their member's direction is less than 1 by more than this are left out.
IN_LINE = 1e-6
#: On members shorter than this share of the frame's size the largest value alone is written.
SHORT = 0.12


class Line(NamedTuple):
    """Values (N, N·m) at points (m) along one member, and the direction to its left."""

    x: np.ndarray
    y: np.ndarray
    left: tuple[float, float]
    values: np.ndarray


def diagram(response: "Response", quantity: str = "M", step: int = -1) -> dict[str, Line]:
    """Inner forces along every member with a length, loads along it included, by member name.

    Members that `Response.along` takes are followed point by point, over stubs outside hinges and over rigid offsets in
    line with the member (those at an angle are left out); corotational ones run straight between their end forces,
    braces have their axial force alone. Raises `InputError` for another quantity.
    """
    known("quantity", quantity, QUANTITIES)
    system, frame, lines = response.system, response.system.frame, {}
    for name, placed in frame.members.items():
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        length = float(np.hypot(j.x - i.x, j.y - i.y))
        if length == 0.0:
            continue
        member: Any = placed.member
        if isinstance(member, BeamColumn) and member.geometry != "corotational":
            lines[name] = _followed(response, name, quantity, step)
            continue
        if isinstance(member, Brace):
            if quantity != "N":
                continue
            place = next(place for place in system.parts if place.member == name)
            values = np.full(2, float(response.device(response.law_name(place)).force[step]))
        else:
            ends = {key: float(force[step]) for key, force in response.end_forces(name).items()}
            # End forces on the member, in the signs of the diagram.
            pairs = {
                "N": (ends["N_start"], ends["N"]),
                "V": (ends["V_start"], -ends["V_end"]),
                "M": (-ends["M_start"], ends["M_end"]),
            }
            values = np.array(pairs[quantity])
        left = (-(j.y - i.y) / length, (j.x - i.x) / length)
        lines[name] = Line(np.array([i.x, j.x]), np.array([i.y, j.y]), left, values)
    return lines


def _followed(response: "Response", name: str, quantity: str, step: int) -> Line:
    """A beam-column point by point."""
    frame = response.system.frame
    node, course = frame.nodes[frame.members[name].i], course_of(frame, name)
    found = response.along(name, step, offsets=True)
    x, values = found.x, getattr(found, quantity)
    shown = np.full(x.size, True)
    for offset, beyond in ((course.start_offset, x < 0.0), (-course.end_offset, x > course.clear)):
        if course.local(offset)[0] < (1.0 - IN_LINE) * np.hypot(*offset):
            shown &= ~beyond
    x, values = x[shown], values[shown]
    start = node.x + course.start_offset[0], node.y + course.start_offset[1]
    return Line(start[0] + course.c * x, start[1] + course.s * x, (-course.s, course.c), values)


def plot_diagram(
    response: "Response", quantity: str = "M", step: int = -1, reach: float = 0.11, values: bool = True
) -> "Figure":
    """Diagram of "M", "V" or "N" along the members over the undeformed frame, at one step.

    Moments stand on the side that is in tension; V and N stand to the left of the member's direction where positive
    (N: tension). The largest value is `reach` of the frame's size. Raises `InputError` for another quantity or step.
    """
    lines = diagram(response, quantity, step)
    within("step", step, -response.time.size, response.time.size - 1)
    within("reach", reach, 0.0, 1.0, open_low=True)
    if not lines:
        raise InputError("no member has a length; allowed: at least one to draw along")
    title, unit, side = QUANTITIES[quantity]
    frame = response.system.frame
    x = np.array([node.x for node in frame.nodes.values()])
    y = np.array([node.y for node in frame.nodes.values()])
    size = float(max(np.ptp(x), np.ptp(y))) or 1.0
    largest = max(float(np.abs(line.values).max()) for line in lines.values())
    scale = reach * size / largest if largest > 0.0 else 0.0
    low = np.array([x.min(), y.min()]) - (reach + 0.05) * size
    high = np.array([x.max(), y.max()]) + (reach + 0.05) * size
    inch = 7.2 / max(high - low)
    figure = new_figure(max(inch * (high - low)[0] + 1.0, 4.6), inch * (high - low)[1] + 1.3)
    figure.get_layout_engine().set(w_pad=0.08, h_pad=0.12)  # type: ignore[union-attr, call-arg]
    axes = figure.add_subplot()
    for line in lines.values():
        _draw(axes, line, scale * side)
    for placed in frame.members.values():
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        axes.plot([i.x, j.x], [i.y, j.y], color=INK, linewidth=1.2, zorder=3)
    if values:
        _write(axes, lines, scale * side, LEAST * largest, size)
    dress(axes, "x (m)", "y (m)", f"{title} ({unit})")
    axes.grid(False)
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal")
    when = f"at {response.time[step]:.4g} s" if "dt" in response.extra else f"at step {response.time[step]:g}"
    where = {
        "M": "drawn on the side in tension, blue where positive (the member bends towards its left)",
        "V": "blue and to the left of the member where positive",
        "N": "blue and to the left of the member in tension, red in compression",
    }[quantity]
    name = max(lines, key=lambda one: float(np.abs(lines[one].values).max()))
    caption(
        figure,
        f"{title.capitalize()} of {frame.name}, {response.kind} {when}: {where}. Largest {largest / 1e3:.4g} {unit}, "
        f"in {name}.",
    )
    return figure


def _draw(axes: Any, line: Line, scale: float) -> None:
    """Filled between the member and the curve, a colour for each sign."""
    nx, ny = line.left
    for sign, colour in ((1.0, BLUE), (-1.0, VERMILION)):
        value = np.where(sign * line.values > 0.0, line.values, 0.0)
        if not np.any(value):
            continue
        # A straight line that changes its sign has its zero between two points.
        at = np.linspace(0.0, 1.0, line.values.size)
        fine = np.unique(np.concatenate([at, _zeros(at, line.values)]))
        value = np.interp(fine, at, line.values)
        value = np.where(sign * value > 0.0, value, 0.0)
        x, y = np.interp(fine, at, line.x), np.interp(fine, at, line.y)
        edge_x, edge_y = x + scale * value * nx, y + scale * value * ny
        axes.fill(
            np.concatenate([x, edge_x[::-1]]), np.concatenate([y, edge_y[::-1]]), facecolor=colour, alpha=0.22,
            edgecolor="none", zorder=1,
        )  # fmt: skip
    edge = line.values * scale
    x = np.concatenate([line.x[:1], line.x + edge * nx, line.x[-1:]])
    y = np.concatenate([line.y[:1], line.y + edge * ny, line.y[-1:]])
    axes.plot(x, y, color=FAINT, linewidth=0.9, zorder=2)


def _zeros(at: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Places between points where the sign changes."""
    turn = np.flatnonzero(values[1:] * values[:-1] < 0.0)
    share = values[turn] / (values[turn] - values[turn + 1])
    return np.asarray(at[turn] + share * (at[turn + 1] - at[turn]))


def _texts(line: Line, scale: float, short: float) -> list[tuple[float, float, float]]:
    """Value, x and y of what is written: both ends, and the largest of either sign between them beyond the ends."""
    values = line.values
    last = values.size - 1
    places = [0.0, 1.0]
    if np.ptp(values) <= 0.02 * np.abs(values).max():
        places = [0.5]
    elif np.hypot(np.ptp(line.x), np.ptp(line.y)) < short:
        places = [float(np.argmax(np.abs(values))) / last]
    else:
        for sign in (1.0, -1.0):
            inner = int(np.argmax(sign * values))
            if sign * values[inner] > max(1.05 * max(sign * values[0], sign * values[-1]), 0.0):
                places.append(inner / last)
    at = np.linspace(0.0, 1.0, values.size)
    found = []
    for place in places:
        value = float(np.interp(place, at, values))
        # Ends are written a little inside, so that members that meet keep their values apart.
        inside = min(max(place, 0.06), 0.94)
        x = line.x[0] + inside * (line.x[-1] - line.x[0]) + scale * value * line.left[0]
        y = line.y[0] + inside * (line.y[-1] - line.y[0]) + scale * value * line.left[1]
        found.append((value, float(x), float(y)))
    return found


def _write(axes: Any, lines: dict[str, Line], scale: float, least: float, size: float) -> None:
    """Values where there is room for them, the largest first."""
    wanted = [entry for line in lines.values() for entry in _texts(line, scale, SHORT * size)]
    written: list[tuple[float, float]] = []
    for value, x, y in sorted(wanted, key=lambda entry: -abs(entry[0])):
        near = any(abs(x - a) < 0.05 * size and abs(y - b) < 0.018 * size for a, b in written)
        if abs(value) < least or near:
            continue
        written.append((x, y))
        shown = f"{value / 1e3:.0f}" if abs(value) >= 1e5 else f"{value / 1e3:.3g}"
        axes.text(
            x, y, shown, fontsize=6, ha="center", va="center", color=INK, zorder=5,
            bbox={"boxstyle": "round,pad=0.1", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.75},
        )  # fmt: skip
