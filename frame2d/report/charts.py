"""The charts of one limit state, test beside reference, from their histories."""

import numpy as np

from frame2d.campaign.measured import Measured
from frame2d.errors import InputError
from frame2d.report.numbers import number
from frame2d.report.svg import Panel, Series, figure, stairs

#: Device loops shown; the table below them lists all.
MOST_LOOPS = 9


def _pair(test: Measured, reference: Measured | None) -> list[tuple[str, int, Measured]]:
    name = "test" if test.origin in ("", "test") else f"test ({test.origin})"
    return [(name, 0, test)] + ([] if reference is None else [("reference", 1, reference)])


def histories(test: Measured, reference: Measured | None) -> tuple[str, str]:
    """Ground acceleration, roof displacement and base shear over time; SVG and its alternative text."""
    panels = []
    end = float(test.time[-1])
    both = _pair(test, reference)
    if test.ground is not None:
        shown = min(test.time.size, test.ground.size)
        ground = Series(test.time[:shown], test.ground[:shown], number=6, width=0.9)
        panels.append(Panel([ground], "", "ground (m/s²)", xlim=(0.0, end)))
    roof = [Series(m.time, 1e3 * m.roof, name, k) for name, k, m in both]
    shear = [Series(m.time, m.shear / 1e3, name, k) for name, k, m in both]
    panels.append(Panel(roof, "", "roof (mm)", xlim=(0.0, end)))
    panels.append(Panel(shear, "time (s)", "base shear (kN)", xlim=(0.0, end)))
    alt = (
        f"Histories over {number(end)} s: roof displacement up to {number(1e3 * np.abs(test.roof).max())} mm, base shear "
        f"up to {number(np.abs(test.shear).max() / 1e3)} kN"
        + (", drawn with those of the reference." if reference is not None else ".")
    )
    return figure(panels, alt, height=138.0), alt


def frame_loop(test: Measured, reference: Measured | None) -> tuple[str, str]:
    """Base shear against roof displacement."""
    lines = [Series(1e3 * m.roof, m.shear / 1e3, name, k, 1.0) for name, k, m in _pair(test, reference)]
    alt = f"Loops of base shear against roof displacement; least-squares slope {_slope(test)}"
    alt += "." if reference is None else f", reference {_slope(reference)}."
    panel = Panel(lines, "roof displacement (mm)", "base shear (kN)")
    return figure([panel], alt, width=330.0, height=290.0), alt


def _slope(test: Measured) -> str:
    try:
        return f"{number(test.regression() / 1e6)} kN/mm"
    except InputError:
        return "not defined"


def profiles(
    test: Measured, reference: Measured | None, residual: dict[str, float], limit: float | None = None
) -> tuple[str, str]:
    """Largest and residual storey drift ratios over the height."""
    names = list(test.drifts)
    heights = [test.heights[name] for name in names]
    first = 2 * heights[0] - heights[1] if len(heights) > 1 else 0.0
    edges = [max(0.0, first) if first > 0.1 * heights[0] else 0.0, *heights]
    peaks = []
    for name, k, m in _pair(test, reference):
        values = [100.0 * float(np.abs(m.drifts[floor]).max()) for floor in names if floor in m.drifts]
        if len(values) == len(names):
            x, y = stairs(values, edges)
            peaks.append(Series(x, y, name, k, 1.8))
    top = (0.0, 1.02 * edges[-1])
    largest = 1.12 * max(float(s.x.max()) for s in peaks)
    panels = [Panel(peaks, "largest drift (%)", "height (m)", xlim=(0.0, largest or 1.0), ylim=top)]
    if residual:
        left = [100.0 * abs(residual[name]) for name in names]
        x, y = stairs(left, edges)
        wide = 1.12 * max([*left, 100.0 * limit if limit is not None else 0.0]) or 1.0
        marks = [("x", 100.0 * limit, f"{number(100.0 * limit)} %")] if limit is not None else []
        at = [(level, name) for name, level in zip(names, heights, strict=True)]
        panels.append(
            Panel([Series(x, y, "", 0, 1.8)], "residual drift (%)", "", xlim=(0.0, wide), ylim=top,
                  marks=marks, names=at)
        )  # fmt: skip
    worst = max(names, key=lambda name: float(np.abs(test.drifts[name]).max()))
    alt = (
        f"Storey drift over the height: largest {number(100 * np.abs(test.drifts[worst]).max(), 3)} % below {worst}"
        + (f", residual up to {number(100 * max(map(abs, residual.values())), 3)} %." if residual else ".")
    )
    return figure(panels, alt, columns=len(panels), width=255.0 * len(panels), height=290.0), alt


def chosen_devices(test: Measured, most: int = MOST_LOOPS) -> list[str]:
    """Names of the laws that lose most energy, in the frame's order."""
    order = sorted(test.devices, key=lambda name: -float(test.devices[name].lost[-1]))[:most]
    return [name for name in test.devices if name in order]


def loops(test: Measured, reference: Measured | None) -> tuple[str, str]:
    """Force against deformation of the devices that lose most energy."""
    panels = []
    for name in chosen_devices(test):
        lines = []
        for label, k, m in _pair(test, reference):
            if name in m.devices:
                loop = m.devices[name]
                lines.append(Series(1e3 * loop.deformation, loop.force / 1e3, label, k, 0.9))
        x, y = ("mrad", "kN·m") if test.devices[name].turns else ("mm", "kN")
        lost = number(float(test.devices[name].lost[-1]) / 1e3, 3)
        panels.append(Panel(lines, x, y, title=f"{name}: {lost} kJ"))
    columns = min(3, len(panels))
    shown = f"{len(panels)} of {len(test.devices)}" if len(panels) < len(test.devices) else str(len(panels))
    alt = f"Force against deformation of {shown} devices, those that lose most energy."
    return figure(panels, alt, columns=columns, width=253.0 * columns, height=190.0), alt


def energy(test: Measured) -> tuple[str, str] | None:
    """Energy account over time; None where it was not kept."""
    e = test.energies
    if not {"input", "kinetic", "members", "devices", "damped", "algorithmic"} <= set(e):
        return None
    lost = np.sum([loop.lost for loop in test.devices.values()], axis=0) if test.devices else 0.0 * test.time
    stored = e["devices"] + e["members"] - lost
    parts = {
        "lost in devices": (lost, 0), "damped": (e["damped"] + e["algorithmic"], 4), "stored": (stored, 5),
        "kinetic": (e["kinetic"] - e["kinetic"][0], 2),
    }  # fmt: skip
    stack = [Series(test.time, values / 1e3, name, k) for name, (values, k) in parts.items()]
    total = Series(test.time, e["input"] / 1e3, "input", 6, 1.1)
    alt = (
        f"Energy over time: input {number(e['input'][-1] / 1e3)} kJ at the end, of which the devices lost "
        f"{number(float(lost[-1]) / 1e3)} kJ."
    )
    end = float(test.time[-1])
    panel = Panel([total], "time (s)", "energy (kJ)", stack=stack, xlim=(0.0, end))
    return figure([panel], alt, height=230.0), alt
