"""Sections of several parts: rectangular plates, and whole sections that act as one."""

from collections.abc import Sequence
from itertools import pairwise

from frame2d.errors import InputError, finite
from frame2d.sections.section import Section, length
from frame2d.sections.shear import stacked


def plates(
    parts: Sequence[tuple[float, float, float]],
    *,
    As: float | None = None,
    Av: float | None = None,
    name: str = "",
) -> Section:
    """Section of rectangles (width, height, height of the centre over any datum), in m; exact.

    Rectangles may lie side by side (their widths add). `As` by shear energy with the stress uniform over the
    total width, so that shear flow along wide flanges is neglected; `Av` is `As` unless given. Rectangles
    with a gap between them need `As`: how they are joined decides it. Raises `InputError`.
    """
    if not parts:
        raise InputError("plates: no part given; allowed: one rectangle or more")
    for i, (width, height, y) in enumerate(parts):
        length(f"plates: width of part {i}", width)
        length(f"plates: height of part {i}", height)
        finite(f"plates: centre of part {i}", y)
    strips = _strips(parts)
    A = sum(w * (top - bottom) for bottom, top, w in strips)
    yc = sum(w * (top**2 - bottom**2) / 2.0 for bottom, top, w in strips) / A
    I = sum(w * ((top - yc) ** 3 - (bottom - yc) ** 3) / 3.0 for bottom, top, w in strips)  # noqa: E741
    low, high = strips[0][0], strips[-1][1]
    if As is None:
        if any(width == 0.0 for _, _, width in strips):
            raise InputError(
                "plates: there is a gap between the parts; give As, which depends on how they are joined"
            )
        As = stacked(strips, yc, I)
    return Section(
        name=name or f"{len(parts)} plates",
        A=A,
        I=I,
        Wel=I / max(high - yc, yc - low),
        Wpl=_plastic_modulus(strips, A),
        As=As,
        Av=As if Av is None else Av,
        depth=high - low,
        centroid=yc - low,
    )


def _strips(parts: Sequence[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """(bottom, top, total width) from the lowest edge to the highest."""
    edges = sorted({y + sign * height / 2.0 for _, height, y in parts for sign in (-1.0, 1.0)})
    span = edges[-1] - edges[0]
    strips = []
    for bottom, top in pairwise(edges):
        if top - bottom < 1e-9 * span:  # rounding of edges that coincide
            continue
        middle = (bottom + top) / 2.0
        strips.append((bottom, top, sum(w for w, h, y in parts if y - h / 2.0 < middle < y + h / 2.0)))
    return strips


def _plastic_modulus(strips: Sequence[tuple[float, float, float]], A: float) -> float:
    below, yp = 0.0, strips[0][0]
    for bottom, top, width in strips:
        area = width * (top - bottom)
        if below + area >= A / 2.0 * (1.0 - 1e-12):
            yp = bottom + (A / 2.0 - below) / width
            break
        below += area
    modulus = 0.0
    for bottom, top, width in strips:
        for a, b in ((bottom, min(top, yp)), (max(bottom, yp), top)):
            if b > a:
                modulus += width * (b - a) * abs((a + b) / 2.0 - yp)
    return modulus


def composite(parts: Sequence[tuple[Section, float]], *, name: str = "") -> Section:
    """Several sections (section, height of its centroid over any datum in m) bent as one; parallel-axis
    theorem.

    As and Av are the sums of the parts'. The plastic neutral axis may pass between parts or through the
    centroid of a part that it halves; elsewhere the parts' outlines would be needed and `InputError` is
    raised (use `plates`).
    """
    if not parts:
        raise InputError("composite: no part given; allowed: one section or more")
    spans = [(y - part.centroid, y - part.centroid + part.depth) for part, y in parts]
    low, high = min(a for a, _ in spans), max(b for _, b in spans)
    A = sum(part.A for part, _ in parts)
    yc = sum(part.A * y for part, y in parts) / A
    I = sum(part.I + part.A * (y - yc) ** 2 for part, y in parts)  # noqa: E741
    return Section(
        name=name or " + ".join(part.name or "part" for part, _ in parts),
        A=A,
        I=I,
        Wel=I / max(high - yc, yc - low),
        Wpl=_composite_plastic_modulus(parts, spans),
        As=sum(part.As for part, _ in parts),
        Av=sum(part.Av for part, _ in parts),
        depth=high - low,
        centroid=yc - low,
    )


def _composite_plastic_modulus(
    parts: Sequence[tuple[Section, float]], spans: Sequence[tuple[float, float]]
) -> float:
    total = sum(part.A for part, _ in parts)
    candidates = [y for _, y in parts] + [edge for span in spans for edge in span]
    for yp in sorted(candidates):
        halved = [a + 1e-9 < yp < b - 1e-9 for a, b in spans]
        symmetric = [
            abs(y - yp) < 1e-9 and abs(y - (a + b) / 2.0) < 1e-9
            for (_, y), (a, b) in zip(parts, spans, strict=True)
        ]
        if any(cut and not centred for cut, centred in zip(halved, symmetric, strict=True)):
            continue
        balance = sum(
            0.0 if cut else part.A * (1.0 if y > yp else -1.0)
            for (part, y), cut in zip(parts, halved, strict=True)
        )
        if abs(balance) <= 1e-9 * total:
            return sum(
                part.Wpl if cut else part.A * abs(y - yp)
                for (part, y), cut in zip(parts, halved, strict=True)
            )
    raise InputError(
        "composite: the plastic neutral axis cuts a part off its centre; describe the parts with `plates`"
    )
