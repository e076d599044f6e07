"""Charts as inline SVG: panels with axes, lines, steps and stacks; small, sharp on screen and on paper."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from frame2d.report.numbers import number
from frame2d.show.look import BLUE, GREEN, ORANGE, PURPLE, SKY, VERMILION

INK, QUIET, RULE, PAPER = "#22211e", "#6b675c", "#dcd7c9", "#fffefb"
#: Test against reference, then further series; colours of Okabe & Ito 2008, dashes for grey prints.
COLOURS = (VERMILION, BLUE, GREEN, PURPLE, ORANGE, SKY, INK)
DASHES = ("", "5 2.5", "2 2", "7 2 2 2", "9 3", "1 2", "")
#: Size of words, px of the picture.
FONT = 11.0


@dataclass(frozen=True)
class Series:
    """A line through (x, y); `number` chooses colour and dash."""

    x: np.ndarray
    y: np.ndarray
    name: str = ""
    number: int = 0
    width: float = 1.3
    dots: bool = False


@dataclass(frozen=True)
class Panel:
    """Axes with series; labels carry their units. `stack` fills the areas between the running sums of its series."""

    series: Sequence[Series]
    x: str
    y: str
    title: str = ""
    stack: Sequence[Series] = ()
    ylim: tuple[float, float] | None = None
    xlim: tuple[float, float] | None = None
    zero: bool = True
    #: Dashed vertical or horizontal lines with a name: (axis "x" or "y", value, name).
    marks: Sequence[tuple[str, float, str]] = field(default_factory=tuple)
    #: Names at heights, right of the panel (floors).
    names: Sequence[tuple[float, str]] = field(default_factory=tuple)


def ticks(low: float, high: float, about: int = 5) -> np.ndarray:
    """Round places between two values, their steps 1, 2 or 5 times a power of ten."""
    span = high - low
    if not span > 0.0:
        return np.array([low])
    raw = span / max(about, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = min((k * power for k in (1.0, 2.0, 5.0, 10.0)), key=lambda size: abs(np.log(size / raw)))
    values = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
    return np.where(np.abs(values) < 1e-9 * step, 0.0, values)


def limits(arrays: Sequence[np.ndarray], symmetric: bool = False) -> tuple[float, float]:
    """Common range of arrays with a little room."""
    joined = np.concatenate([np.ravel(a) for a in arrays]) if arrays else np.zeros(1)
    joined = joined[np.isfinite(joined)]
    if joined.size == 0:
        return -1.0, 1.0
    low, high = float(joined.min()), float(joined.max())
    if symmetric:
        low, high = -max(abs(low), abs(high)), max(abs(low), abs(high))
    if high - low <= 1e-12 * max(abs(high), abs(low), 1e-30):
        room = abs(high) or 1.0
        return low - 0.5 * room, high + 0.5 * room
    room = 0.05 * (high - low)
    return low - room, high + room


def thinned(px: np.ndarray, py: np.ndarray, near: float = 0.6) -> tuple[np.ndarray, np.ndarray]:
    """Points of a line without those nearer than `near` px to the last kept one; extremes of both axes stay."""
    if px.size < 400:
        return px, py
    keep = np.zeros(px.size, dtype=bool)
    keep[[0, -1, int(np.argmin(px)), int(np.argmax(px)), int(np.argmin(py)), int(np.argmax(py))]] = True
    x, y = float(px[0]), float(py[0])
    for k, (a, b) in enumerate(zip(px.tolist(), py.tolist(), strict=True)):
        if abs(a - x) + abs(b - y) >= near:
            keep[k] = True
            x, y = a, b
    return px[keep], py[keep]


def path(px: np.ndarray, py: np.ndarray) -> str:
    """SVG path through points (px); a value that is not finite lifts the pen."""
    parts, pen = [], "M"
    for a, b in zip(px.tolist(), py.tolist(), strict=True):
        if not (np.isfinite(a) and np.isfinite(b)):
            pen = "M"
            continue
        parts.append(f"{pen}{a:.1f} {b:.1f}")
        pen = "L"
    return "".join(parts)


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    size: float = FONT,
    colour: str = QUIET,
    more: str = "",
) -> str:
    """A line of text."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{colour}"{more}>'
        f"{escape(words)}</text>"
    )


def figure(
    panels: Sequence[Panel], alt: str, *, columns: int = 1, width: float = 760.0, height: float = 190.0
) -> str:
    """SVG with `panels` in so many columns, one legend on top; `alt` is its text alternative."""
    names = _legend_names(panels)
    top = 22.0 if names else 4.0
    rows = -(-len(panels) // columns)
    cell = width / columns
    title_room = 16.0 if any(panel.title for panel in panels) else 4.0
    # Panels without a label below are lower, so that their plots are as high as the others.
    firsts = [panels[row * columns] for row in range(rows)]
    highs = [height if first.x else height - 16.0 for first in firsts]
    tops = [top + sum(highs[:row]) for row in range(rows)]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {top + sum(highs):g}" role="img" '
        f'aria-label="{escape(alt, quote=True)}" font-family="inherit"><title>{escape(alt)}</title>',
        _legend(names),
    ]
    for k, panel in enumerate(panels):
        row, column = divmod(k, columns)
        right = 52.0 if panel.names else 8.0
        left = 52.0 if panel.y or column == 0 else 20.0
        box = (column * cell + left, tops[row] + title_room, cell - left - right, height - title_room - 38.0)
        parts.append(_panel(panel, box))
    return "".join([*parts, "</svg>"])


def _legend_names(panels: Sequence[Panel]) -> list[tuple[str, int, bool]]:
    seen: dict[str, tuple[str, int, bool]] = {}
    for panel in panels:
        for series in panel.stack:
            if series.name:
                seen.setdefault(series.name, (series.name, series.number, True))
        for series in panel.series:
            if series.name:
                seen.setdefault(series.name, (series.name, series.number, False))
    return list(seen.values())


def _legend(names: list[tuple[str, int, bool]]) -> str:
    parts, x = [], 52.0
    for name, k, filled in names:
        colour = COLOURS[k % len(COLOURS)]
        if filled:
            parts.append(f'<rect x="{x:.1f}" y="3" width="22" height="9" fill="{colour}" fill-opacity=".8"/>')
        else:
            parts.append(
                f'<path d="M{x:.1f} 8h22" stroke="{colour}" stroke-width="2" fill="none" '
                f'stroke-dasharray="{DASHES[k % len(DASHES)]}"/>'
            )
        parts.append(text(x + 27.0, 12.0, name, colour=INK))
        x += 27.0 + 5.9 * len(name) + 20.0
    return "".join(parts)


def _stacked(panel: Panel) -> list[np.ndarray]:
    total = np.zeros_like(panel.stack[0].y) if panel.stack else np.zeros(0)
    levels = [total]
    for series in panel.stack:
        total = total + series.y
        levels.append(total)
    return levels


def _panel(panel: Panel, box: tuple[float, float, float, float]) -> str:
    left, top, wide, high = box
    everything = [*panel.series, *panel.stack]
    levels = _stacked(panel)
    xlim = panel.xlim or limits([s.x for s in everything])
    ylim = panel.ylim or limits([*[s.y for s in panel.series], *levels])

    def X(v: Any) -> Any:
        return left + (np.asarray(v, dtype=float) - xlim[0]) / (xlim[1] - xlim[0]) * wide

    def Y(v: Any) -> Any:
        return top + high - (np.asarray(v, dtype=float) - ylim[0]) / (ylim[1] - ylim[0]) * high

    parts = [f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="{PAPER}"/>']
    for v in ticks(*xlim, about=max(2, int(wide / 70))):
        x = float(X(v))
        parts.append(f'<path d="M{x:.1f} {top:.1f}v{high:.1f}" stroke="{RULE}" stroke-width=".7"/>')
        parts.append(text(x, top + high + 13.0, number(float(v)), anchor="middle", size=10))
    for v in ticks(*ylim, about=max(2, int(high / 32))):
        y = float(Y(v))
        parts.append(f'<path d="M{left:.1f} {y:.1f}h{wide:.1f}" stroke="{RULE}" stroke-width=".7"/>')
        parts.append(text(left - 5.0, y + 3.5, number(float(v)), anchor="end", size=10))
    if panel.zero and ylim[0] < 0.0 < ylim[1]:
        parts.append(
            f'<path d="M{left:.1f} {float(Y(0.0)):.1f}h{wide:.1f}" stroke="{QUIET}" stroke-width=".7"/>'
        )
    if panel.zero and xlim[0] < 0.0 < xlim[1]:
        parts.append(
            f'<path d="M{float(X(0.0)):.1f} {top:.1f}v{high:.1f}" stroke="{QUIET}" stroke-width=".7"/>'
        )
    for k, series in enumerate(panel.stack):
        parts.append(_area(series, levels[k], levels[k + 1], X, Y))
    for series in panel.series:
        parts.append(_line(series, X, Y))
    for axis, value, name in panel.marks:
        parts.append(_mark(axis, value, name, X, Y, box))
    for at, name in panel.names:
        parts.append(text(left + wide + 6.0, float(Y(at)) + 3.5, name, size=10))
    parts.append(
        f'<path d="M{left:.1f} {top:.1f}v{high:.1f}h{wide:.1f}" stroke="{INK}" stroke-width=".9" fill="none"/>'
    )
    if panel.title:
        parts.append(text(left, top - 5.0, panel.title, size=11, colour=INK))
    if panel.x:
        parts.append(text(left + wide / 2.0, top + high + 28.0, panel.x, anchor="middle", size=10.5))
    middle = top + high / 2.0
    turn = f' transform="rotate(-90 {left - 40.0:.1f} {middle:.1f})"'
    parts.append(text(left - 40.0, middle, panel.y, anchor="middle", size=10.5, more=turn))
    return "".join(parts)


def _line(series: Series, X, Y) -> str:  # type: ignore[no-untyped-def]
    px, py = thinned(X(series.x), Y(series.y))
    k = series.number
    colour = COLOURS[k % len(COLOURS)]
    line = (
        f'<path d="{path(px, py)}" fill="none" stroke="{colour}" stroke-width="{series.width:g}" '
        f'stroke-dasharray="{DASHES[k % len(DASHES)]}" stroke-linejoin="round"/>'
    )
    if series.dots:
        line += "".join(
            f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.6" fill="{colour}"/>'
            for a, b in zip(px, py, strict=True)
        )
    return line


def _area(series: Series, low: np.ndarray, high: np.ndarray, X, Y) -> str:  # type: ignore[no-untyped-def]
    ax, ay = thinned(X(series.x), Y(high))
    bx, by = thinned(X(series.x)[::-1], Y(low)[::-1])
    outline = path(np.concatenate([ax, bx]), np.concatenate([ay, by]))
    return f'<path d="{outline}Z" fill="{COLOURS[series.number % len(COLOURS)]}" fill-opacity=".8" stroke="none"/>'


def _mark(axis: str, value: float, name: str, X, Y, box: tuple[float, float, float, float]) -> str:  # type: ignore[no-untyped-def]
    left, top, wide, high = box
    if axis == "x":
        at = float(X(value))
        if not left <= at <= left + wide:
            return ""
        shape = f"M{at:.1f} {top:.1f}v{high:.1f}"
        words = text(at - 3.0, top + 11.0, name, anchor="end", size=10)
    else:
        at = float(Y(value))
        if not top <= at <= top + high:
            return ""
        shape = f"M{left:.1f} {at:.1f}h{wide:.1f}"
        words = text(left + wide - 4.0, at - 4.0, name, anchor="end", size=10)
    return f'<path d="{shape}" stroke="{INK}" stroke-width="1" stroke-dasharray="3 3" fill="none"/>{words}'


def stairs(values: Sequence[float], edges: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Storey values over the height as a line of steps."""
    x = np.repeat(np.asarray(values, dtype=float), 2)
    y = np.ravel(np.column_stack([edges[:-1], edges[1:]]))
    return x, y
