"""Pictures of a reduction: plan of a building, ranked cuts, a fidelity table, springs of a stick over the push."""

from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.elements import Brace
from frame2d.errors import InputError, known, within
from frame2d.show.look import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PAPER,
    VERMILION,
    caption,
    dress,
    new_figure,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from frame2d.reduction import Building, CutRanking, Fidelity, Ranked, Stick

__all__ = ["plot_cuts", "plot_fidelity", "plot_plan", "plot_stick"]


def plot_plan(building: "Building", floor: str | None = None) -> "Figure":
    """Plan of a building at a floor (the lowest one by default): frames with their share of the elastic storey shear,
    centre of mass, centre of stiffness, and the eccentricities (m) between them.

    Raises `InputError` for an unknown floor.
    """
    from frame2d.reduction import centres_of_stiffness, push_building

    levels = building.levels()
    name = levels[0].name if floor is None else known("floor", floor, building.floors)
    centre = building.floors[name].centre
    stiff = centres_of_stiffness(building)[name]
    straight = building.holding("rz").compile()
    shares: dict[str, float] = {}
    for direction, component in (("x", "ux"), ("y", "uy")):
        along = building.along(direction)
        if component in building.held or not along:
            continue
        pushed = push_building(straight, None, direction, target=1e-6 * levels[-1].level, steps=1)
        own = {placed.name: float(pushed.storey_shears(placed.name)[name][-1]) for placed in along}
        shares |= {frame: shear / sum(own.values()) for frame, shear in own.items()}
    lines = {}
    for placed in building.frames.values():
        xs = [node.x for node in placed.frame.nodes.values()]
        begin, end = placed.start + min(xs), placed.start + max(xs)
        across = [placed.at, placed.at]
        lines[placed.name] = ([begin, end], across) if placed.direction == "x" else (across, [begin, end])
    every = np.array([[x, y] for xs, ys in lines.values() for x, y in zip(xs, ys, strict=True)])
    low, high = every.min(axis=0), every.max(axis=0)
    span = np.maximum(high - low, 1e-6)
    size = float(span.max())
    figure = new_figure(7.2, max(3.2, 5.0 * min(span[1] / size, 1.0) + 1.9))
    axes = figure.add_subplot()
    axes.fill(
        [low[0], high[0], high[0], low[0]],
        [low[1], low[1], high[1], high[1]],
        facecolor="#f3f5f8",
        edgecolor="none",
    )
    for placed in building.frames.values():
        share = shares.get(placed.name)
        colour = BLUE if placed.direction == "x" else GREEN
        axes.plot(
            *lines[placed.name], color=colour, linewidth=1.5 + 5.0 * (share or 0.0), solid_capstyle="butt"
        )
        text = placed.name if share is None else f"{placed.name}: {100 * share:.1f} %"
        xs, ys = lines[placed.name]
        above = placed.at >= (centre[1] if placed.direction == "x" else centre[0])
        away = 0.03 * size * (1 if above else -1)
        if placed.direction == "x":
            axes.text(
                float(np.mean(xs)),
                ys[0] + away,
                text,
                ha="center",
                va="bottom" if above else "top",
                fontsize=8,
                color=colour,
            )
        else:
            axes.text(
                xs[0] + away, float(np.mean(ys)), text, ha="left" if above else "right", va="center", fontsize=8, color=colour,
                rotation=90,
            )  # fmt: skip
    axes.plot(*centre, "o", color=VERMILION, markersize=9, zorder=5, label="centre of mass")
    if np.all(np.isfinite(stiff)):
        axes.plot(
            *stiff, "+", color=INK, markersize=13, markeredgewidth=2.2, zorder=6, label="centre of stiffness"
        )
        axes.annotate("", centre, stiff, arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.9})
    dress(axes, "x (m)", "y (m)", f"{building.name}, plan at {name}")
    axes.grid(False)
    pad = 0.14 * size
    axes.set(xlim=(low[0] - pad, high[0] + pad), ylim=(low[1] - pad, high[1] + pad), aspect="equal")
    figure.legend(loc="outside upper right", ncols=2, fontsize=8, frameon=False)
    parts = [
        f"e{axis} = {centre[k] - stiff[k]:.3g} m" for k, axis in enumerate("xy") if np.isfinite(stiff[k])
    ]
    caption(
        figure,
        "Frames with their share of the elastic storey shear of their direction, floors not turning (width of line). "
        f"Mass beside stiffness: {', '.join(parts) or 'no centre of stiffness'}. Mass of the floor "
        f"{building.floors[name].mass / 1e3:.4g} t.",
    )
    return figure


def plot_fidelity(table: "Fidelity") -> "Figure":
    """Every bounded value of a fidelity table as the share of its bound that it uses: 1 is the bound, beyond fails.

    Raises `InputError` for a table without bounded values.
    """

    from frame2d.reduction.fidelity_table import bound_use

    groups: dict[tuple[str, str, str], list[tuple[float, str, bool]]] = {}
    for row in table.rows:
        if row.value is None or row.bound is None or row.passed is None or row.index == "end":
            continue
        use = bound_use(row)
        key = (row.part, row.record, row.index)
        groups.setdefault(key, []).append((use, row.quantity, row.passed))
    if not groups:
        raise InputError("the table has no value with a bound; allowed: limits that are not all None")
    figure = new_figure(8.6, 0.30 * len(groups) + 1.9)
    axes = figure.add_subplot()
    most = max(use for entries in groups.values() for use, _, _ in entries)
    right = max(1.25, min(1.1 * most, 4.0))
    before = ""
    for at, ((part, record, _index), entries) in enumerate(groups.items()):
        if at and f"{part} {record}" != before:
            axes.axhline(at - 0.5, color="#d0d0d0", linewidth=0.8)
        before = f"{part} {record}"
        for passed, colour, marker in ((True, BLUE, "o"), (False, VERMILION, "X")):
            chosen = [min(use, right) for use, _, ok in entries if ok is passed]
            axes.plot(
                chosen, [at] * len(chosen), marker, color=colour, markersize=5, alpha=0.75, linestyle="none"
            )
        use, quantity, _ = max(entries)
        beyond = f" ({use:.2g})" if use > right else ""
        axes.text(
            min(use, right) + 0.02 * right, at, quantity + beyond, fontsize=7, va="center", color="#444444",
            bbox={"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"},
        )  # fmt: skip
    axes.axvline(1.0, color=INK, linewidth=1.4, zorder=1)
    axes.text(1.0, -0.92, "bound", fontsize=8, ha="center", va="bottom", color=INK)
    labels = [" · ".join(text for text in key if text) for key in groups]
    axes.set_yticks(range(len(groups)), labels)
    dress(axes, "share of the bound that is used (–)", "", "")
    axes.tick_params(axis="y", labelsize=7.5)
    axes.grid(False, axis="y")
    axes.set(xlim=(0.0, 1.28 * right), ylim=(len(groups) - 0.4, -0.9))
    failed = len(table.failures())
    figure.suptitle(f"{table.reduced} against {table.reference}", fontsize=9.5, x=0.02, ha="left")
    caption(
        figure,
        f"Each dot is one floor, device or mode; the worst is named. {failed} of "
        f"{sum(map(len, groups.values()))} values are beyond their bound (crosses)."
        + (" INTERRUPTED: not all runs are in." if table.interrupted else ""),
    )
    return figure


def plot_cuts(ranking: "CutRanking", count: int = 4) -> "Figure":
    """The best `count` cuts that were run: tested part, hinges and actuators in the frame, and bars of the numbers.

    Raises `InputError` where no cut was run.
    """
    shown = [entry for entry in ranking.entries if entry.model is not None and not np.isnan(entry.error)]
    shown = shown[: int(within("count", count, 1, 8))]
    if not shown:
        raise InputError("no cut was run; allowed: a ranking with results")
    nodes = list(ranking.frame.nodes.values())
    wide = max(node.x for node in nodes) - min(node.x for node in nodes)
    tall = max(node.y for node in nodes) - min(node.y for node in nodes)
    column = 2.55
    figure = new_figure(column * len(shown) + 0.6, column * 0.8 * tall / max(wide, 1e-6) + 3.4)
    panels = figure.subplots(
        2, len(shown), squeeze=False, height_ratios=[column * 0.8 * tall / max(wide, 1e-6), 1.75]
    )
    for k, entry in enumerate(shown):
        _draw_cut(panels[0][k], ranking, entry, k + 1)
        _bars(panels[1][k], ranking, entry, first=k == 0)
    caption(
        figure,
        f"Cuts of {ranking.frame.name}: tested part red, hinges at released rotations open circles, actuators arrows. Bars: "
        f"error as a share of its bound, actuators and capacities as a share of the rig's, peak moment lost, energy that the "
        f"specimen's devices dissipate. {len(ranking.entries)} candidates were ranked.",
    )
    return figure


def _draw_cut(axes: "Axes", ranking: "CutRanking", entry: "Ranked", place: int) -> None:
    from textwrap import fill

    model: Any = entry.model
    frame = model.continuous
    size = max(
        np.ptp([node.x for node in frame.nodes.values()]), np.ptp([node.y for node in frame.nodes.values()])
    )
    tested = set(model.parts.tested_members)
    for name, placed in frame.members.items():
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        own = name in tested
        axes.plot(
            [i.x, j.x], [i.y, j.y], color=VERMILION if own else FAINT, linewidth=2.6 if own else 1.0,
            linestyle=(0, (4, 1.5)) if isinstance(placed.member, Brace) else "-", solid_capstyle="round",
            zorder=3 if own else 2,
        )  # fmt: skip
    for node, component in model.released:
        if component == "rz":
            axes.plot(
                frame.nodes[node].x,
                frame.nodes[node].y,
                "o",
                color=PAPER,
                markeredgecolor=INK,
                markersize=5,
                zorder=5,
            )
    left = min(node.x for node in frame.nodes.values())
    reach = 0.13 * size
    arrow = {"arrowstyle": "-|>", "color": BLUE, "linewidth": 1.8}
    for actuator in model.actuators:
        if actuator.kind == "ux":
            # Pushes at the outermost node that it drives.
            at = min((frame.nodes[node] for node in actuator.at), key=lambda node: node.x)
            axes.annotate("", (at.x, at.y), (left - reach, at.y), arrowprops=arrow, zorder=6)
        elif actuator.kind == "uy":
            at = frame.nodes[actuator.at[0]]
            axes.annotate("", (at.x, at.y), (at.x, at.y + reach), arrowprops=arrow, zorder=6)
        elif actuator.kind == "rz":
            at = frame.nodes[actuator.at[0]]
            axes.plot(at.x, at.y, marker=r"$\circlearrowleft$", color=BLUE, markersize=9, zorder=6)
        else:
            placed = frame.members[actuator.at[0]]
            i, j = frame.nodes[placed.i], frame.nodes[placed.j]
            axes.annotate("", (j.x, j.y), (i.x, i.y), arrowprops={**arrow, "arrowstyle": "<|-|>"}, zorder=6)
    verdict = "" if entry.feasible else "\nnot feasible"
    axes.set_title(fill(f"{place}. {entry.cut.name}", 27) + verdict, fontsize=8.5, loc="left")
    axes.set_aspect("equal")
    axes.margins(0.06)
    axes.set_axis_off()


def _bars(axes: "Axes", ranking: "CutRanking", entry: "Ranked", first: bool) -> None:
    rig = ranking.rig
    rows: list[tuple[str, float, str, str]] = [
        ("error / bound", entry.error, f"{entry.error:.2f} (NRMSE {100 * entry.nrmse:.1f} %)", VERMILION),
        ("actuators", entry.actuators / rig.actuators, f"{entry.actuators} of {rig.actuators}", BLUE),
        ("force", entry.force / rig.force, f"{entry.force / 1e3:.0f} kN", BLUE),
        ("stroke", entry.stroke / rig.stroke, f"{1e3 * entry.stroke:.0f} mm", BLUE),
        (
            "moment lost",
            entry.lost_share,
            f"{entry.lost / 1e3:.0f} kN·m ({100 * entry.lost_share:.0f} %)",
            ORANGE,
        ),
        ("tested energy", entry.tested_energy, f"{100 * entry.tested_energy:.0f} %", GREEN),
    ]
    for k, (_, value, text, colour) in enumerate(rows):
        axes.barh(k, min(value, 1.0), color=colour, height=0.62, alpha=0.85)
        axes.text(0.03, k - 0.47, text, fontsize=6.8, va="center", color=INK)
    axes.axvline(1.0, color=INK, linewidth=0.8)
    axes.set_yticks(range(len(rows)), [row[0] for row in rows] if first else [""] * len(rows))
    axes.set(xlim=(0.0, 1.05), ylim=(len(rows) - 0.4, -0.75))
    axes.tick_params(labelsize=7.5, left=False)
    axes.set_xticks([0.0, 0.5, 1.0])
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def plot_stick(stick: "Stick") -> "Figure":
    """Storey shear (kN) against displacement (mm) of each spring: the reference's cyclic push and the fitted law."""
    count = len(stick.springs)
    columns = min(3, count)
    rows = -(-count // columns)
    figure = new_figure(2.7 * columns + 0.4, 2.3 * rows + 0.9)
    for k, spring in enumerate(stick.springs):
        axes = figure.add_subplot(rows, columns, k + 1)
        u = 1e3 * spring.deformation
        (first,) = axes.plot(
            u, spring.shear / 1e3, color=FAINT, linewidth=2.0, label="reference, cyclic push"
        )
        (second,) = axes.plot(
            u, stick.force(spring.name) / 1e3, color=BLUE, linewidth=0.9, label="fitted spring"
        )
        error = spring.fit.errors[0]
        dress(
            axes,
            "displacement (mm)",
            "shear (kN)" if k % columns == 0 else "",
            f"{spring.name}\nNRMSE (range) {100 * error.force:.2f} %",
        )
    figure.legend(handles=[first, second], loc="outside upper left", ncols=2, fontsize=8, frameon=False)
    laws = sorted({spring.fit.form for spring in stick.springs})
    caption(
        figure,
        f"Springs of {stick.frame.name} ({', '.join(laws)}) over the cyclic push of {stick.push.system.frame.name}.",
    )
    return figure
