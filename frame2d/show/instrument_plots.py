"""Pictures of instruments: the sensor map on its frame, quantities with their uncertainty beside the truth, measured
loops beside laws, and the division of an error. Each returns a matplotlib Figure."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.elements import Brace
from frame2d.errors import InputError, known
from frame2d.instruments.places import Actuator, Bar, Panel, Point, Section, Zone, span_of
from frame2d.show.look import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PAPER,
    PURPLE,
    VERMILION,
    caption,
    dress,
    new_figure,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from frame2d.component_tests import CyclicTest
    from frame2d.instruments.division import Division
    from frame2d.instruments.quantity import Quantity
    from frame2d.instruments.sensor_map import SensorMap
    from frame2d.materials.law import Law

#: Unit in pictures and its factor, by SI unit.
SHOWN = {"m": ("mm", 1e3), "rad": ("mrad", 1e3), "N": ("kN", 1e-3), "N·m": ("kN·m", 1e-3), "J": ("kJ", 1e-3),
         "1/m": ("1/km", 1e3)}  # fmt: skip


#: Names of channels longer than this are numbered in the picture and listed beside it.
LONGEST_NAME = 5


def plot_sensor_map(sensors: "SensorMap", numbered: bool | None = None) -> "Figure":
    """The instrumented part of the frame with every sensor at its place and on its side; axes in m.

    Channels bear their names, or numbers with a list beside (`numbered`; None: where a name is long). What is not built
    is pale.
    """
    frame = sensors.frame
    x, y = np.array(_extent(sensors)).T
    size = float(max(np.ptp(x), np.ptp(y))) or 1.0
    low = min(x) - 0.24 * size, min(y) - 0.06 * size
    high = max(x) + 0.20 * size, max(y) + 0.16 * size
    inch = min(8.2 / (high[0] - low[0]), 7.5 / (high[1] - low[1]))
    if numbered is None:
        numbered = max(len(name) for name in sensors.channels) > LONGEST_NAME
    tags = {name: str(k) if numbered else name for k, name in enumerate(sensors.channels, 1)}
    tall, listing = inch * (high[1] - low[1]) + 1.9, 0.0
    if numbered:
        tall, listing = max(tall, 0.155 * len(tags) + 1.2), 2.6
    figure = new_figure(inch * (high[0] - low[0]) + 0.9 + listing, tall)
    if numbered:
        axes, beside = figure.subplots(1, 2, width_ratios=(inch * (high[0] - low[0]), listing))
        _listing(beside, sensors)
    else:
        axes = figure.add_subplot()
    built = sensors.built()
    for placed in frame.members.values():
        i, j = frame.nodes[placed.i], frame.nodes[placed.j]
        axes.plot(
            [i.x, j.x], [i.y, j.y], color=INK if placed.name in built else "#d0d0d0", linewidth=1.4, zorder=1,
            linestyle=(0, (5, 2)) if isinstance(placed.member, Brace) else "-", solid_capstyle="round",
        )  # fmt: skip
    every = list(frame.nodes.values())
    axes.plot([n.x for n in every], [n.y for n in every], "o", color=INK, markersize=3, zorder=2)
    for place in sensors.places.values():
        names = [channel for channel in sensors.channels.values() if channel.place == place.name]
        if isinstance(place, Section | Zone):
            _beside(axes, sensors, place, names, size, tags)
        elif isinstance(place, Panel) and names:
            _panel(axes, sensors, place, _listed(names, tags), size)
        elif isinstance(place, Bar) and names:
            placed = frame.members[place.member]
            i, j = frame.nodes[placed.i], frame.nodes[placed.j]
            at = (0.55 * i.x + 0.45 * j.x, 0.55 * i.y + 0.45 * j.y)
            bars = [
                p.name for p in sensors.places.values() if isinstance(p, Bar) and p.member == place.member
            ]
            together = [channel for channel in sensors.channels.values() if channel.place in bars]
            axes.plot(*at, "D", color=PURPLE, markersize=7, zorder=4)
            _name(axes, at, (9, -9), _listed(together, tags), PURPLE)
    _pushers(axes, sensors, size, tags)
    handles = [
        axes.plot([], [], marker, color=colour, linestyle="none", markersize=6, label=label)[0]
        for marker, colour, label in (
            ("s", BLUE, "strain gauge"),
            ("|", VERMILION, "transducer"),
            ("x", GREEN, "diagonals"),
            ("D", PURPLE, "load cell, elongation"),
            (">", ORANGE, "actuator"),
            ("o", GREEN, "displacement"),
        )
    ]
    figure.legend(handles=handles, loc="outside upper left", ncols=3, fontsize=8, frameon=False)
    dress(axes, "x (m)", "y (m)")
    axes.grid(False)
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal")
    caption(
        figure,
        f"{sensors.name}: {len(sensors.channels)} channels on {frame.name}. Gauges and transducers stand on the side of "
        "the member that they measure, not to scale.",
    )
    return figure


def _extent(sensors: "SensorMap") -> list[tuple[float, float]]:
    """Points of the nodes that sensors stand at or between."""
    frame = sensors.frame
    nodes: set[str] = set()
    for place in sensors.places.values():
        if isinstance(place, Section | Zone | Bar):
            nodes |= {frame.members[place.member].i, frame.members[place.member].j}
        elif isinstance(place, Point | Actuator):
            nodes.add(place.node)
        elif isinstance(place, Panel):
            nodes.add(_panel_node(sensors, place))
    return [(frame.nodes[node].x, frame.nodes[node].y) for node in nodes]


def _listing(axes: "Axes", sensors: "SensorMap") -> None:
    """Numbers, names, units and signs of all channels, one a line."""
    axes.axis("off")
    rows = [f"{k}  {c.name} ({c.unit}, {c.sign:+d})" for k, c in enumerate(sensors.channels.values(), 1)]
    axes.text(0.0, 1.0, "\n".join(rows), transform=axes.transAxes, fontsize=7, va="top", linespacing=1.35)


def _listed(channels: Sequence[Any], tags: dict[str, str]) -> str:
    return ", ".join(tags[channel.name] for channel in channels)


def _name(axes: "Axes", at: Any, shift: tuple[float, float], text: str, colour: str) -> None:
    side = "left" if shift[0] > 0 else "right" if shift[0] < 0 else "center"
    axes.annotate(
        text, at, shift, textcoords="offset points", fontsize=7, color=colour, ha=side, zorder=6,
        va="bottom" if shift[1] > 0 else "top" if shift[1] < 0 else "center",
        bbox={"boxstyle": "round,pad=0.1", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85},
    )  # fmt: skip


def _beside(
    axes: "Axes",
    sensors: "SensorMap",
    place: Any,
    channels: Sequence[Any],
    size: float,
    tags: dict[str, str],
) -> None:
    """Gauges as squares, transducers as bars over their length, on their side of the member."""
    frame = sensors.frame
    (c, s), *_ = span_of(frame, place.member)
    placed = frame.members[place.member]
    i, j = frame.nodes[placed.i], frame.nodes[placed.j]
    x0, y0, *_ = placed.member.clear(i.x, i.y, j.x, j.y)  # type: ignore[attr-defined]
    for channel in channels:
        side = sensors.side(channel)
        gauge = isinstance(place, Section)
        off = (0.018 if gauge else 0.03) * size * side
        across = np.array([-s, c])
        ends = [place.at, place.at] if gauge else [place.start, place.end]
        points = np.array([np.array([x0 + c * at, y0 + s * at]) + off * across for at in ends])
        if gauge:
            axes.plot(*points[0], "s", color=BLUE, markersize=5, zorder=4)
        else:
            axes.plot(*points.T, color=VERMILION, linewidth=2.2, marker="|", markersize=6, zorder=4)
        away = across * side
        shift = (0.0 if abs(away[0]) < 0.5 else 7.0 * away[0], 0.0 if abs(away[1]) < 0.5 else 7.0 * away[1])
        _name(axes, points.mean(axis=0), shift, tags[channel.name], BLUE if gauge else VERMILION)


def _panel_node(sensors: "SensorMap", place: Panel) -> str:
    from frame2d.instruments.laws import laws_of

    return sensors.frame.members[laws_of(sensors.system)[place.device.lstrip("-")].member].j


def _panel(axes: "Axes", sensors: "SensorMap", place: Panel, text: str, size: float) -> None:
    node = sensors.frame.nodes[_panel_node(sensors, place)]
    h = 0.03 * size
    for k in (1.0, -1.0):
        axes.plot(
            [node.x - h, node.x + h], [node.y - k * h, node.y + k * h], color=GREEN, linewidth=1.6, zorder=4
        )
    _name(axes, (node.x, node.y + h), (0.0, 8.0), text, GREEN)


def _pushers(axes: "Axes", sensors: "SensorMap", size: float, tags: dict[str, str]) -> None:
    """Actuators as arrows towards their node, displacement transducers as rings; one label a node."""
    beside: dict[str, list[str]] = {}
    left = min(node.x for node in sensors.frame.nodes.values())
    for place in sensors.places.values():
        if not isinstance(place, Actuator | Point):
            continue
        channels = [channel for channel in sensors.channels.values() if channel.place == place.name]
        if not channels:
            continue
        node = sensors.frame.nodes[place.node]
        if isinstance(place, Actuator):
            along = np.array([1.0, 0.0]) if place.component == "ux" else np.array([0.0, 1.0])
            away = -1.0 if node.x - left < 0.5 * size or place.component == "uy" else 1.0
            tail = np.array([node.x, node.y]) + away * 0.14 * size * along
            axes.annotate(
                "", (node.x + away * 0.05 * size * along[0], node.y + away * 0.05 * size * along[1]),
                (float(tail[0]), float(tail[1])), zorder=3,
                arrowprops={"arrowstyle": "<|-|>", "color": ORANGE, "linewidth": 2.5},
            )  # fmt: skip
            _name(axes, tail, (0.0, 9.0), f"{place.name}: {_listed(channels, tags)}", ORANGE)
        else:
            axes.plot(node.x, node.y, "o", markersize=9, markerfacecolor="none", color=GREEN, zorder=3)
            beside.setdefault(place.node, []).extend(tags[channel.name] for channel in channels)
    for name, channels_here in beside.items():
        node = sensors.frame.nodes[name]
        _name(axes, (node.x, node.y), (-9.0, 9.0), ", ".join(channels_here), GREEN)


def plot_quantities(
    quantities: Mapping[str, "Quantity"],
    names: Sequence[str] | None = None,
    truth: Mapping[str, tuple[Any, Any]] | None = None,
) -> "Figure":
    """Histories of quantities with a band of ±2σ, the truth {name: (times, values)} beside, and what is left between.

    Samples whose sections left the elastic range are shaded. Raises `InputError` without a name, or for unknown ones.
    """
    chosen = [
        known("quantity", name, quantities) for name in (names if names is not None else list(quantities)[:4])
    ]
    if not chosen:
        raise InputError("there is no quantity to show; allowed: at least one name")
    figure = new_figure(9.6, 1.75 * len(chosen) + 1.0)
    panels = figure.subplots(len(chosen), 2, sharex=True, squeeze=False, width_ratios=(1.5, 1.0))
    for (left, right), name in zip(panels, chosen, strict=True):
        quantity = quantities[name]
        unit, factor = SHOWN.get(quantity.unit, (quantity.unit, 1.0))
        t, value, band = quantity.time, factor * quantity.value, 2.0 * factor * quantity.sigma
        left.fill_between(t, value - band, value + band, color=BLUE, alpha=0.25, linewidth=0.0)
        left.plot(t, value, color=BLUE, linewidth=1.1, label="measured")
        right.fill_between(t, -band, band, color=BLUE, alpha=0.25, linewidth=0.0, label="±2σ")
        inside = ""
        if truth is not None and name in truth:
            times, true = (np.asarray(part, dtype=float) for part in truth[name])
            left.plot(
                times, factor * true, color=VERMILION, linewidth=1.0, linestyle=(0, (4, 2)), label="truth"
            )
            gap = value - factor * np.interp(t, times, true)
            right.plot(t, gap, color=INK, linewidth=0.6, label="measured − truth")
            inside = f": truth inside for {100 * float(np.mean(np.abs(gap) <= band)):.0f} %"
        for axes in (left, right):
            for begin, end in _runs(~quantity.valid):
                axes.axvspan(t[begin], t[end], color=FAINT, alpha=0.3, linewidth=0.0)
            axes.set_xlim(t[0], t[-1])
        noise = "" if quantity.amplification is None else f", noise × {quantity.amplification:.2f}"
        dress(left, "", f"{unit_of(name)}\n({unit})", f"{name}{noise}")
        dress(right, "", f"difference ({unit})", f"±2σ{inside}")
    for axes in panels[-1]:
        axes.set_xlabel("time (s)", fontsize=9)
    handles, labels = panels[0][0].get_legend_handles_labels()
    more = panels[0][1].get_legend_handles_labels()
    figure.legend(
        handles + more[0], labels + more[1], loc="outside upper left", ncols=4, fontsize=8, frameon=False
    )
    caption(
        figure,
        "Quantities reduced from the channels. The band is ±2σ of noise, rounding, zero, gain and clock, propagated to "
        "first order; grey where a section was beyond 0.9 fy/E.",
    )
    return figure


def unit_of(name: str) -> str:
    """What a quantity measures, out of its name."""
    for word in ("axial force", "total rotation", "moment", "shear", "rotation", "curvature", "distortion",
                 "elongation", "stroke", "displacement", "force"):  # fmt: skip
        if name.endswith(word):
            return word
    return name


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    from frame2d.instruments.findings import runs

    return runs(mask)


def plot_measured_loops(
    loops: Mapping[str, "CyclicTest"],
    before: Mapping[str, "Law"],
    after: Mapping[str, "Law"] | None = None,
) -> "Figure":
    """Measured loops of devices beside the laws assumed before, and those refitted after, driven by the same motion."""
    from frame2d.materials.drive import drive

    if not loops:
        raise InputError("there are no loops to show; allowed: at least one")
    columns = min(2, len(loops))
    rows = -(-len(loops) // columns)
    figure = new_figure(4.4 * columns + 0.4, 3.0 * rows + 1.0)
    axes = None
    for k, (name, loop) in enumerate(loops.items()):
        axes = figure.add_subplot(rows, columns, k + 1)
        turns = loop.kind == "rotation"
        axes.axhline(0.0, color=FAINT, linewidth=0.6)
        axes.axvline(0.0, color=FAINT, linewidth=0.6)
        u = 1e3 * loop.deformation
        axes.plot(u, 1e-3 * loop.force, color=FAINT, linewidth=1.8, label="measured")
        laws: list[tuple[Any, str, Any, str]] = [(before, VERMILION, (0, (4, 2)), "law before")]
        if after is not None:
            laws.append((after, BLUE, "-", "law after"))
        text = []
        for table, colour, dash, label in laws:
            force = drive(table[known("device", name, table)], loop.deformation).force
            axes.plot(u, 1e-3 * force, color=colour, linewidth=0.9, linestyle=dash, label=label)
            text.append(f"{100 * np.sqrt(np.mean((force - loop.force) ** 2)) / np.ptp(loop.force):.1f} %")
        x, y = ("rotation (mrad)", "moment (kN·m)") if turns else ("deformation (mm)", "force (kN)")
        dress(axes, x, y, f"{name}: {' → '.join(text)}")
    assert axes is not None
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper left", ncols=3, fontsize=8, frameon=False)
    caption(
        figure,
        "Measured loops and laws driven by the measured deformation. In the titles NRMSE of the force, D = range of the "
        "measured force.",
    )
    return figure


def plot_error_division(divisions: "Division | Mapping[str, Division]") -> "Figure":
    """Parts of the error of each quantity as bars from 0 on, those that make up for others to the left; total as a dot."""
    from frame2d.instruments.division import Division as Kind

    table: dict[str, Division] = (
        {divisions.name: divisions} if isinstance(divisions, Kind) else dict(divisions)  # type: ignore[arg-type]
    )
    if not table:
        raise InputError("there is no division to show; allowed: at least one")
    names = [part.name for part in next(iter(table.values())).parts]
    colours = dict(zip(names, (ORANGE, GREEN, BLUE, VERMILION, PURPLE, FAINT), strict=False))
    figure = new_figure(7.2, 0.55 * len(table) + 1.9)
    axes = figure.add_subplot()
    seen: set[str] = set()
    for row, division in enumerate(table.values()):
        right = left = 0.0
        for part in division.parts:
            width = 100.0 * part.part
            axes.barh(
                row, width, left=right if width >= 0 else left, height=0.55, color=colours[part.name], zorder=2,
                label=None if part.name in seen else part.name, edgecolor=PAPER, linewidth=0.6,
            )  # fmt: skip
            seen.add(part.name)
            right, left = right + max(width, 0.0), left + min(width, 0.0)
        axes.plot(100.0 * division.total, row, "o", color=INK, markersize=6, zorder=4,
                  label=None if row else "total")  # fmt: skip
        words = ", ".join(f"{part.name} {100 * part.part:+.2f}" for part in division.parts)
        axes.annotate(words, (0.0, row - 0.30), (0, 1), textcoords="offset points", fontsize=6.5, va="bottom",
                      color="#444444", zorder=5)  # fmt: skip
    axes.axvline(0.0, color=INK, linewidth=0.8, zorder=3)
    axes.set_yticks(range(len(table)), list(table))
    axes.set_ylim(len(table) - 0.4, -0.75)
    dress(axes, "error index (%)", "")
    figure.legend(loc="outside upper left", ncols=6, fontsize=8, frameon=False)
    caption(
        figure,
        "Error of the prediction before the test, divided along the chain test, computed, reduced, reference, prediction. "
        f"{next(iter(table.values())).definition}" + (" (of the first row)." if len(table) > 1 else "."),
    )
    return figure
