"""Pictures of a frame before anything is run: `plot_frame`; and of its modes: `plot_modes`."""

from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError
from frame2d.show.drawing import draw
from frame2d.show.look import BLUE, FAINT, INK, PAPER, PURPLE, VERMILION, caption, dress, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from frame2d.analysis.modes import Modes
    from frame2d.model.frame import Frame, Placed

#: More nodes than this are not labelled unless asked for.
MOST_LABELS = 60


def plot_frame(frame: "Frame", labels: bool | None = None) -> "Figure":
    """Picture of a frame: nodes and members with their names, supports, laws, devices, floors; axes in m.

    `labels` None names things as long as there are at most 60 nodes. Raises `InputError` for a frame without nodes.
    """
    named = len(frame.nodes) <= MOST_LABELS if labels is None else labels
    if not frame.nodes:
        raise InputError(f"frame {frame.name!r} has no nodes; allowed: at least one to look at")
    x = np.array([node.x for node in frame.nodes.values()])
    y = np.array([node.y for node in frame.nodes.values()])
    size = float(max(np.ptp(x), np.ptp(y))) or 1.0
    low = np.array([x.min(), y.min()]) - 0.09 * size
    high = np.array([x.max(), y.max()]) + 0.07 * size
    if named:
        # Room for the names at the right edge, 0.055 inch a letter, before those of the floors.
        edge = [len(node.name) for node in frame.nodes.values() if node.x > x.max() - 1e-6 * size]
        high[0] += 0.055 * max(edge) * (high - low)[0] / 7.0
    wide, tall = high - low
    inch = min(7.0 / wide, 7.5 / tall)
    figure = new_figure(max(inch * wide + 1.3, 5.0), inch * tall + 1.7)
    axes = figure.add_subplot()
    for floor, level in frame.levels():
        axes.axhline(level, color="#d0d0d0", linewidth=0.8, linestyle=(0, (6, 4)), zorder=0)
        axes.text(
            1.01, level, floor, transform=axes.get_yaxis_transform(), va="center", fontsize=8, color="#555555"
        )
    for placed in frame.members.values():
        _member(axes, frame, placed, size, named, inch)
    for node, held in frame.supports.items():
        _support(axes, frame.nodes[node].x, frame.nodes[node].y, held, size)
    axes.plot(x, y, "o", color=INK, markersize=3.5, zorder=4)
    if named:
        _node_names(axes, frame)
    dress(axes, "x (m)", "y (m)", frame.name)
    axes.grid(False)
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal")
    _legend(axes, frame)
    mass = sum(values[0] for values in frame.masses.values())
    caption(
        figure,
        f"{len(frame.nodes)} nodes, {len(frame.members)} members, {len(frame.devices())} of them devices; "
        f"horizontal node mass {mass / 1e3:.4g} t.",
    )
    return figure


def _kind(placed: "Placed") -> tuple[str, str]:
    """Colour and name in the legend."""
    if placed.device:
        return VERMILION, "device"
    if isinstance(placed.member, BeamColumn):
        return INK, "beam-column"
    return (BLUE, "brace") if isinstance(placed.member, Brace) else (PURPLE, "link")


def _member(axes: "Axes", frame: "Frame", placed: "Placed", size: float, named: bool, inch: float) -> None:
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    colour, _ = _kind(placed)
    length = float(np.hypot(j.x - i.x, j.y - i.y))
    if length < 1e-9 * size:
        axes.plot(i.x, i.y, "D", color=colour, markersize=7, markeredgecolor=INK, zorder=5)
        if named:
            axes.annotate(
                placed.name,
                (i.x, i.y),
                (7, -9),
                textcoords="offset points",
                fontsize=6.5,
                color=colour,
                zorder=6,
            )
        return
    axes.plot(
        [i.x, j.x], [i.y, j.y], color=colour, linewidth=2.6 if placed.device else 1.8, zorder=2,
        linestyle=(0, (5, 1.5)) if isinstance(placed.member, Brace) else "-", solid_capstyle="round",
    )  # fmt: skip
    c, s = (j.x - i.x) / length, (j.y - i.y) / length
    member: Any = placed.member
    for side, end in enumerate((getattr(member, "start", "rigid"), getattr(member, "end", "rigid"))):
        if isinstance(end, str) and end == "rigid":
            continue
        inset = member.end_inset if side else member.start_inset
        share = np.clip(max(inset / length, min(0.02 * size / length, 0.25)), 0.0, 0.45)
        along = share * length if side == 0 else (1.0 - share) * length
        filled = PAPER if isinstance(end, str) else colour
        axes.plot(
            i.x + along * c,
            i.y + along * s,
            "o",
            color=filled,
            markeredgecolor=colour,
            markersize=5,
            zorder=3,
        )
    if named:
        turn = np.degrees(np.arctan2(s, c))
        turn = turn - 180.0 if turn > 90.0 else turn + 180.0 if turn <= -90.0 else turn
        # Off the middle, so that crossing diagonals keep their names apart.
        at = 0.5 if abs(c) < 1e-6 or abs(s) < 1e-6 else 0.4
        # A name takes about 0.055 inch a letter and leaves some of its member to be seen.
        fit = 0.7 * length * inch / (0.055 * max(len(placed.name), 1))
        axes.text(
            i.x + at * (j.x - i.x), i.y + at * (j.y - i.y), placed.name, rotation=turn, rotation_mode="anchor",
            ha="center", va="center", fontsize=6.5 * min(1.0, max(fit, 0.7)), color=colour, zorder=5,
            bbox={"boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none"},
        )  # fmt: skip


def _node_names(axes: "Axes", frame: "Frame") -> None:
    together: dict[tuple[float, float], list[str]] = {}
    for node in frame.nodes.values():
        together.setdefault((round(node.x, 6), round(node.y, 6)), []).append(node.name)
    for (x, y), names in together.items():
        right, up = _clear_side(frame, set(names))
        axes.annotate(
            " | ".join(names), (x, y), (5 * right, 5 * up), textcoords="offset points", fontsize=6.5, color="#444444",
            ha="left" if right > 0 else "right", va="bottom" if up > 0 else "top", zorder=6,
        )  # fmt: skip


def _clear_side(frame: "Frame", names: set[str]) -> tuple[int, int]:
    """Diagonal direction farthest from every member at these nodes."""
    taken = []
    for placed in frame.members.values():
        for here, there in ((placed.i, placed.j), (placed.j, placed.i)):
            if here in names and there not in names:
                a, b = frame.nodes[here], frame.nodes[there]
                taken.append(np.arctan2(b.y - a.y, b.x - a.x))

    def gap(side: tuple[int, int]) -> float:
        angle = np.arctan2(side[1], side[0])
        return min((abs(float(np.angle(np.exp(1j * (angle - other))))) for other in taken), default=np.pi)

    sides = [(1, 1), (-1, 1)] if names & set(frame.supports) else [(1, 1), (-1, 1), (1, -1), (-1, -1)]
    # Rounded, so that equal gaps keep the order of preference.
    return max(sides, key=lambda side: round(gap(side), 3))


def _support(axes: "Axes", x: float, y: float, held: tuple[str, ...], size: float) -> None:
    """Triangle: turns freely. Block: does not turn. Circles: slides along the hatched ground, below or at the left."""
    a = 0.022 * size
    turns, below = "rz" not in held, "uy" in held
    slides = ("ux" not in held) if below else True

    def at(along: float, away: float) -> tuple[float, float]:
        return (x + along * a, y - away * a) if below else (x - away * a, y + along * a)

    def line(*corners: tuple[float, float], width: float = 1.0) -> None:
        axes.plot(*zip(*(at(*corner) for corner in corners), strict=True), color=INK, linewidth=width)

    if turns:
        depth, outline = 1.6, [at(0, 0), at(-1, 1.6), at(1, 1.6)]
    else:
        depth, outline = 0.8, [at(-1, 0), at(1, 0), at(1, 0.8), at(-1, 0.8)]
    axes.fill(*zip(*outline, strict=True), facecolor=PAPER if turns else INK, edgecolor=INK, zorder=3)
    if not below and "ux" not in held:
        return
    if slides:
        rollers = [at(-0.6, depth + 0.45), at(0.6, depth + 0.45)]
        axes.plot(*zip(*rollers, strict=True), "o", color=PAPER, markeredgecolor=INK, markersize=3)
        depth += 0.9
    line((-1.7, depth), (1.7, depth))
    for k in range(5):
        start = -1.4 + 0.75 * k
        line((start, depth), (start - 0.5, depth + 0.6), width=0.6)


def _legend(axes: "Axes", frame: "Frame") -> None:
    from matplotlib.lines import Line2D

    entries = {}
    for placed in frame.members.values():
        colour, name = _kind(placed)
        dash: Any = (0, (5, 1.5)) if isinstance(placed.member, Brace) else "-"
        flat = (
            frame.nodes[placed.i].x == frame.nodes[placed.j].x
            and frame.nodes[placed.i].y == frame.nodes[placed.j].y
        )
        if flat:
            entries[f"{name} at a point"] = Line2D([], [], color=colour, marker="D", linestyle="none")
        else:
            key = f"{name} (brace)" if placed.device and isinstance(placed.member, Brace) else name
            entries[key] = Line2D([], [], color=colour, linestyle=dash, linewidth=2)
        for end in (getattr(placed.member, "start", "rigid"), getattr(placed.member, "end", "rigid")):
            if end == "pinned":
                entries["pinned end"] = Line2D(
                    [], [], color=PAPER, markeredgecolor=INK, marker="o", linestyle="none"
                )
            elif not isinstance(end, str):
                entries["hinge with a law"] = Line2D([], [], color=FAINT, marker="o", linestyle="none")
    axes.figure.legend(
        entries.values(),
        entries.keys(),
        loc="outside upper right",
        ncols=min(len(entries), 3),
        fontsize=7.5,
        frameon=False,
    )


def plot_modes(modes: "Modes", count: int | None = None) -> "Figure":
    """Mode shapes over the frame at rest, with period (s) and share of effective mass; amplitudes are arbitrary."""
    system, shown = modes.system, min(count or 3, modes.omega.size)
    drawing = draw(system)
    span = np.ptp(drawing.points, axis=0)
    size = float(span.max())
    columns = min(shown, 4)
    rows = -(-shown // columns)
    figure = new_figure(
        2.6 * columns + 0.8, rows * min(max(2.6 * span[1] / max(span[0], 0.4 * size) + 0.9, 1.8), 5.0) + 0.5
    )
    figure.get_layout_engine().set(w_pad=0.08, h_pad=0.08)  # type: ignore[union-attr, call-arg]
    reach = 0.14 * size
    low, high = drawing.points.min(axis=0) - reach, drawing.points.max(axis=0) + reach
    for k in range(shown):
        axes = figure.add_subplot(rows, columns, k + 1)
        full = system.free @ modes.shapes[:, k]
        scale = 0.12 * size / np.abs(drawing.moved(full)).max()
        moved = drawing.deformed(full, scale)
        for line in drawing.lines.values():
            axes.plot(*drawing.points[line].T, color=FAINT, linewidth=0.9, linestyle=(0, (4, 2)))
        for line in drawing.lines.values():
            axes.plot(*moved[line].T, color=BLUE, linewidth=1.8)
        share = modes.effective_mass[k] / modes.total_mass
        dress(
            axes, "x (m)", "y (m)" if k % columns == 0 else "", f"mode {k + 1}: T = {modes.period[k]:.3g} s\n"
        )
        axes.text(
            0.0,
            1.015,
            f"effective mass {100 * share:.1f} %",
            transform=axes.transAxes,
            fontsize=8,
            color="#444444",
        )
        axes.grid(False)
        axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal")
    caption(
        figure,
        f"Modes of {system.frame.name} (solid) over the frame at rest (dashed). Effective masses for horizontal ground "
        "motion, as a share of the whole mass. Amplitudes are arbitrary.",
    )
    return figure
