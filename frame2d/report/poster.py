"""The still picture of an animation, which the player then moves: frame at its furthest, loops, roof history.

Everything is placed by numbers that go into the page with the data, so that player and picture agree.
"""

from html import escape
from typing import Any

import numpy as np

from frame2d.report.numbers import number
from frame2d.report.scene import SHOWN, unpacked
from frame2d.report.svg import INK, PAPER, QUIET, RULE, limits, path, text, thinned, ticks

WIDTH, HEIGHT = 460.0, 430.0
LOOP_WIDTH, LOOP_HEIGHT = 210.0, 195.0
STRIP_WIDTH, STRIP_HEIGHT = 900.0, 92.0
LEFT, TOP, RIGHT, FOOT = 46.0, 18.0, 8.0, 32.0

STROKES = {"member": (INK, 1.9), "device": ("#b4571f", 2.4), "leaning": ("#a9a392", 1.1)}
#: From pale to dark with the energy that a device has lost.
RAMP = ("#fff3d6", "#f5a623", "#c0410a", "#5c1200")


def placed(data: dict[str, Any]) -> dict[str, Any]:
    """Where the frame stands in its picture: px a metre and origin."""
    points = np.array(data["points"])
    moves = unpacked(data["moves"], data["move_step"]).reshape(len(data["times"]), -1, 2)
    reach = 1.1 * data["scale"] * np.abs(moves[:, :, 0]).max()
    low, high = points.min(axis=0), points.max(axis=0)
    wide = max(high[0] - low[0] + 2 * reach, 1e-6)
    per = min((WIDTH - 24.0) / wide, (HEIGHT - 52.0) / max(high[1] - low[1], 1e-6))
    x0 = 0.5 * WIDTH - per * 0.5 * (low[0] + high[0])
    return {
        "per": round(float(per), 5),
        "x0": round(float(x0), 3),
        "y0": round(HEIGHT - 26.0 + per * float(low[1]), 3),
    }


def colour(share: float) -> str:
    """Colour of a device that has lost this share of the largest loss."""
    at = min(max(share, 0.0), 1.0) * (len(RAMP) - 1)
    k = min(int(at), len(RAMP) - 2)
    low, high = (np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)]) for c in RAMP[k : k + 2])
    mixed = np.round(low + (at - k) * (high - low)).astype(int)
    return "#" + "".join(f"{v:02x}" for v in mixed)


def frame_picture(data: dict[str, Any]) -> str:
    """The deformed frame at its peak, in front of the frame at rest."""
    points = np.array(data["points"])
    moves = unpacked(data["moves"], data["move_step"]).reshape(len(data["times"]), -1, 2)
    place, peak = placed(data), data["peak"]

    def px(where: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return place["x0"] + place["per"] * where[:, 0], place["y0"] - place["per"] * where[:, 1]

    now = points + data["scale"] * moves[peak]
    still = "".join(path(*px(points[line["points"]])) for line in data["lines"])
    alt = (
        f"Deformed frame {data['title']} at {number(data['times'][peak])} s, displacements times {number(data['scale'])}; "
        "devices darken with the energy they lose."
    )
    ground = place["y0"] - place["per"] * points[:, 1].min()
    parts = [
        f'<svg class="frame" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(alt, quote=True)}">'
        f"<title>{escape(alt)}</title>",
        f'<path d="M10 {ground + 7:.1f}H{WIDTH - 10:g}" stroke="{QUIET}" stroke-width="1"/>',
        f'<path d="{still}" fill="none" stroke="{RULE}" stroke-width="1.2"/>',
    ]
    for k in data["supports"]:
        x, y = (v[0] for v in px(points[[k]]))
        parts.append(f'<path d="M{x:.1f} {y:.1f}l-6 7h12z" fill="{QUIET}"/>')
    for kind, (stroke, width) in STROKES.items():
        d = "".join(path(*px(now[line["points"]])) for line in data["lines"] if line["kind"] == kind)
        parts.append(
            f'<path class="moving" data-kind="{kind}" d="{d}" fill="none" stroke="{stroke}" stroke-width="{width:g}" '
            'stroke-linejoin="round" stroke-linecap="round"/>'
        )
    most = max([device["lost"][-1] for device in data["devices"]] or [0.0]) or 1.0
    for device in data["devices"]:
        x, y = (v[0] for v in px(now[[device["point"]]]))
        fill = colour(device["lost"][peak] / most)
        parts.append(
            f'<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="4.6" fill="{fill}" stroke="{INK}" stroke-width=".9">'
            f"<title>{escape(device['name'])}</title></circle>"
        )
    parts.append(_ramp(most))
    return "".join([*parts, "</svg>"])


def _ramp(most: float) -> str:
    parts = [
        f'<rect x="{12 + 14 * k}" y="{HEIGHT - 13:g}" width="14" height="8" fill="{colour(k / 7)}"/>'
        for k in range(8)
    ]
    return "".join(parts) + text(
        130.0, HEIGHT - 5.5, f"energy lost: 0 to {number(most / 1e3, 3)} kJ", size=10.5
    )


def shown_devices(data: dict[str, Any]) -> list[int]:
    """Numbers of the devices whose loops move beside the frame: those that lose most."""
    order = sorted(range(len(data["devices"])), key=lambda k: -data["devices"][k]["lost"][-1])[:SHOWN]
    return sorted(order)


def loop_picture(data: dict[str, Any], k: int) -> str:
    """Loop of one device with the point that the player moves."""
    device = data["devices"][k]
    u = 1e3 * unpacked(device["deformation"], device["deformation_step"])
    f = unpacked(device["force"], device["force_step"]) / 1e3
    xlim, ylim = limits([u]), limits([f])
    box = (LEFT, TOP, LOOP_WIDTH - LEFT - RIGHT, LOOP_HEIGHT - TOP - FOOT)
    x = box[0] + (u - xlim[0]) / (xlim[1] - xlim[0]) * box[2]
    y = box[1] + box[3] - (f - ylim[0]) / (ylim[1] - ylim[0]) * box[3]
    names = ("mrad", "kN·m") if device["turns"] else ("mm", "kN")
    alt = f"Loop of {device['name']}: up to {number(float(abs(u).max()), 3)} {names[0]} and {number(float(abs(f).max()), 3)} {names[1]}"
    now = min(round(data["times"][data["peak"]] / data["loop_dt"]), u.size - 1)
    parts = [
        f'<svg class="loop" data-device="{k}" viewBox="0 0 {LOOP_WIDTH:g} {LOOP_HEIGHT:g}" role="img" '
        f'aria-label="{escape(alt, quote=True)}"><title>{escape(alt)}</title>',
        _axes(box, xlim, ylim, names, device["name"]),
        f'<path class="whole" d="{path(*thinned(x, y, 0.9))}" fill="none" stroke="#c9bfa8" stroke-width=".8"/>',
        f'<path class="past" d="{path(*thinned(x[: now + 1], y[: now + 1], 0.9))}" fill="none" stroke="#0072B2" stroke-width="1.1"/>',
        f'<circle class="now" cx="{x[now]:.1f}" cy="{y[now]:.1f}" r="4" fill="#D55E00"/>',
    ]
    return "".join([*parts, "</svg>"])


def loop_place(data: dict[str, Any], k: int) -> dict[str, float]:
    """px = ax + bx·value for deformation and force of one loop."""
    device = data["devices"][k]
    u = 1e3 * unpacked(device["deformation"], device["deformation_step"])
    f = unpacked(device["force"], device["force_step"]) / 1e3
    return _linear(
        limits([u]), limits([f]), (LEFT, TOP, LOOP_WIDTH - LEFT - RIGHT, LOOP_HEIGHT - TOP - FOOT), 1e3, 1e-3
    )


def _linear(
    xlim: tuple[float, float], ylim: tuple[float, float], box: tuple[float, ...], fx: float, fy: float
) -> dict[str, float]:
    bx, by = box[2] / (xlim[1] - xlim[0]), -box[3] / (ylim[1] - ylim[0])
    return {"ax": box[0] - xlim[0] * bx, "bx": bx * fx, "ay": box[1] + box[3] - ylim[0] * by, "by": by * fy}


def strip_picture(data: dict[str, Any]) -> str:
    """Roof displacement over time with the cursor that the player moves."""
    roof = 1e3 * unpacked(data["roof"], data["roof_step"])
    time = data["loop_dt"] * np.arange(roof.size)
    xlim, ylim = (0.0, float(data["times"][-1])), limits([roof])
    box = (LEFT, 6.0, STRIP_WIDTH - LEFT - RIGHT, STRIP_HEIGHT - 6.0 - FOOT)
    x = box[0] + time / xlim[1] * box[2]
    y = box[1] + box[3] - (roof - ylim[0]) / (ylim[1] - ylim[0]) * box[3]
    now = box[0] + data["times"][data["peak"]] / xlim[1] * box[2]
    alt = f"Roof displacement over {number(xlim[1])} s, up to {number(float(abs(roof).max()), 3)} mm"
    parts = [
        f'<svg class="strip" viewBox="0 0 {STRIP_WIDTH:g} {STRIP_HEIGHT:g}" role="img" '
        f'aria-label="{escape(alt, quote=True)}"><title>{escape(alt)}</title>',
        _axes(box, xlim, ylim, ("time (s)", "roof (mm)"), "", 12),
        f'<path d="{path(*thinned(x, y))}" fill="none" stroke="#0072B2" stroke-width="1.1"/>',
        f'<path class="cursor" d="M0 {box[1]:g}v{box[3]:g}" transform="translate({now:.1f} 0)" stroke="#D55E00" stroke-width="1.6"/>',
    ]
    return "".join([*parts, "</svg>"])


def strip_place(data: dict[str, Any]) -> dict[str, float]:
    """px = ax + bx·time of the cursor."""
    return {"ax": LEFT, "bx": (STRIP_WIDTH - LEFT - RIGHT) / float(data["times"][-1])}


def _axes(
    box: tuple[float, float, float, float], xlim: tuple[float, float], ylim: tuple[float, float], names: tuple[str, str],
    title: str, across: int = 3,
) -> str:  # fmt: skip
    left, top, wide, high = box
    parts = [f'<rect x="{left:g}" y="{top:g}" width="{wide:g}" height="{high:g}" fill="{PAPER}"/>']
    for v in ticks(*xlim, about=across):
        x = left + (v - xlim[0]) / (xlim[1] - xlim[0]) * wide
        parts.append(f'<path d="M{x:.1f} {top:g}v{high:g}" stroke="{RULE}" stroke-width=".7"/>')
        parts.append(text(x, top + high + 13.0, number(float(v)), anchor="middle", size=10))
    for v in ticks(*ylim, about=max(2, int(high / 34))):
        y = top + high - (v - ylim[0]) / (ylim[1] - ylim[0]) * high
        parts.append(f'<path d="M{left:g} {y:.1f}h{wide:g}" stroke="{RULE}" stroke-width=".7"/>')
        parts.append(text(left - 4.0, y + 3.5, number(float(v)), anchor="end", size=10))
    parts.append(
        f'<path d="M{left:g} {top:g}v{high:g}h{wide:g}" stroke="{INK}" stroke-width=".9" fill="none"/>'
    )
    parts.append(text(left + wide / 2, top + high + 26.0, names[0], anchor="middle", size=10.5))
    middle = top + high / 2
    turn = f' transform="rotate(-90 {left - 34:g} {middle:.1f})"'
    parts.append(text(left - 34.0, middle, names[1], anchor="middle", size=10.5, more=turn))
    if title:
        parts.append(text(left, top - 6.0, title, size=11, colour=INK))
    return "".join(parts)
