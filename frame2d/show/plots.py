"""Curves of a response: pushing, storey drifts, device loops, energies, histories. Each returns a matplotlib Figure."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.energy import chain
from frame2d.errors import InputError, known
from frame2d.show.drawing import Device, dissipated, draw
from frame2d.show.frame_plots import plot_frame, plot_modes
from frame2d.show.look import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    SKY,
    VERMILION,
    caption,
    dress,
    new_figure,
    save_figure,
    style,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from frame2d.analysis.response import Response

__all__ = [
    "plot_drifts", "plot_energy", "plot_frame", "plot_history", "plot_loops", "plot_modes", "plot_push", "save_figure",
]  # fmt: skip

#: Loops shown unless devices are named.
MOST_LOOPS = 9


def plot_push(response: "Response", node: str | None = None) -> "Figure":
    """Base shear (kN) and load factor against the displacement (m) of `node`, or of the highest floor.

    For the built-in patterns, whose forces sum to 1 N, the factor is the load and shares the axis; otherwise it has its
    own. Raises `InputError` for a response that was not pushed.
    """
    if "factor" not in response.extra:
        raise InputError(f"response is of a {response.kind}; allowed: that of push or cyclic")
    levels = response.system.frame.levels()
    if node is None and not levels:
        raise InputError("the frame has no floors to take the displacement of; allowed: node=…")
    displacement = response.floor(levels[-1][0]) if node is None else response.displacement(node)
    top = "" if not levels else levels[-1][0] if "floor" in levels[-1][0] else f"floor {levels[-1][0]}"
    where = top if node is None else f"node {node}"
    shear = response.base_shear() / 1e3
    total = abs(float(np.sum(response.extra["pattern"]))) if "pattern" in response.extra else 0.0
    unit_load = abs(total - 1.0) < 1e-6
    factor = response.factor / (1e3 if unit_load else 1.0)
    figure = new_figure(6.4, 4.4)
    axes = figure.add_subplot()
    (first,) = axes.plot(displacement, shear, color=BLUE, linewidth=2, label="base shear")
    peak = int(np.argmax(np.abs(shear)))
    axes.plot(displacement[peak], shear[peak], "o", color=VERMILION, markersize=6, zorder=5)
    dress(axes, f"horizontal displacement of {where} (m)", "base shear (kN)")
    dots: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": (0, (1, 2.5))}
    if unit_load:
        (second,) = axes.plot(displacement, factor, label="applied load", **dots)
        axes.set_ylabel("base shear, applied load (kN)", fontsize=9)
    else:
        right = axes.twinx()
        (second,) = right.plot(displacement, factor, label="load factor (right)", **dots)
        right.set_ylabel("load factor (–)", fontsize=9)
        right.tick_params(labelsize=8)
        right.spines["top"].set_visible(False)
    figure.legend(handles=[first, second], loc="outside upper left", ncols=2, fontsize=8, frameon=False)
    caption(
        figure,
        f"{response.kind.capitalize()} of {response.system.frame.name}: largest base shear {shear[peak]:.4g} kN at "
        f"{displacement[peak]:.3g} m (dot). {_outcome(response)}",
    )
    return figure


def _outcome(response: "Response") -> str:
    name = getattr(response.outcome, "name", str(response.outcome)).lower().replace("_", " ")
    return f"Analysis {name}."


def _since_start(response: "Response") -> np.ndarray:
    """Times from the start of this analysis, so that the clock of an earthquake is that of its record."""
    return response.time - response.time[0]


def _clock(response: "Response") -> str:
    return "time since the start (s)" if "dt" in response.extra else "step (–)"


def _labelled(responses: "Response | Sequence[Response] | Mapping[str, Response]") -> "dict[str, Response]":
    if isinstance(responses, Mapping):
        return dict(responses)
    if isinstance(responses, Sequence):
        return {f"response {k + 1}": response for k, response in enumerate(responses)}
    return {responses.kind: responses}


def plot_drifts(responses: "Response | Sequence[Response] | Mapping[str, Response]") -> "Figure":
    """Peak and last storey drift ratios (%) over the height (m); a mapping gives the labels, e.g. intensities.

    Raises `InputError` without responses or without floors.
    """
    table = _labelled(responses)
    if not table:
        raise InputError("responses is empty; allowed: one or more")
    figure = new_figure(7.2, 4.6)
    left, right = figure.subplots(1, 2, sharey=True)
    handles = []
    for k, (label, response) in enumerate(table.items()):
        drifts = response.drifts()
        if not drifts:
            raise InputError("the frame has no floors; allowed: frame.floor(…) for each level")
        heights = dict(response.system.frame.levels())
        edges = [response.system.frame.ground(), *(heights[name] for name in drifts)]
        peak = [100.0 * float(np.abs(drift).max()) for drift in drifts.values()]
        last = [100.0 * float(abs(drift[-1])) for drift in drifts.values()]
        for axes, values in ((left, peak), (right, last)):
            line = axes.stairs(
                values, edges, orientation="horizontal", baseline=None, linewidth=1.9, **style(k)
            )
        line.set_label(label)
        handles.append(line)
    for axes, title in ((left, "largest"), (right, "last value")):
        dress(axes, "storey drift ratio, absolute (%)", "height (m)" if axes is left else "", title)
        axes.set_xlim(left=0.0)
        for name, level in response.system.frame.levels():
            axes.axhline(level, color="#d0d0d0", linewidth=0.7, zorder=0)
            if axes is right:
                axes.annotate(
                    name, (1.0, level), (4, 0), xycoords=axes.get_yaxis_transform(), textcoords="offset points",
                    va="center", fontsize=8, color="#555555", annotation_clip=False,
                )  # fmt: skip
    figure.legend(
        handles=handles, loc="outside upper left", ncols=min(len(handles), 4), fontsize=8, frameon=False
    )
    caption(
        figure,
        f"Storey drift ratios of {response.system.frame.name}. The last value is that of the last step: the residual "
        "drift once the frame has come to rest.",
    )
    return figure


def plot_loops(response: "Response", devices: Sequence[str] | None = None) -> "Figure":
    """Force against deformation of devices, by names of `response.laws()`; without names, the nine that lose most.

    Moments in kN·m against mrad, forces in kN against mm. Raises `InputError` for unknown names and where there is
    no law.
    """
    found = draw(response.system).devices
    lost = dissipated(response, found)
    if devices is None:
        order: list[int] = np.argsort(-lost[-1], kind="stable")[:MOST_LOOPS].tolist() if found else []
        chosen = [found[k] for k in sorted(order)]
    else:
        by_name = {device.name: device for device in _all_laws(response)}
        chosen = [by_name[known("device", name, by_name)] for name in devices]
    if not chosen:
        raise InputError(
            "there is no device to show; allowed: a frame with laws, and names out of response.laws()"
        )
    columns = min(3, len(chosen))
    rows = -(-len(chosen) // columns)
    figure = new_figure(2.5 * columns + 0.7, 2.1 * rows + 0.7)
    for k, device in enumerate(chosen):
        axes = figure.add_subplot(rows, columns, k + 1)
        loop = response.device(device.name)
        axes.axhline(0.0, color=FAINT, linewidth=0.6)
        axes.axvline(0.0, color=FAINT, linewidth=0.6)
        axes.plot(1e3 * loop.deformation, loop.force / 1e3, color=BLUE, linewidth=0.9)
        axes.plot(1e3 * loop.deformation[-1], loop.force[-1] / 1e3, "o", color=VERMILION, markersize=4)
        x, y = ("rotation (mrad)", "moment (kN·m)") if device.turns else ("deformation (mm)", "force (kN)")
        work = loop.work - loop.recoverable
        work = work[-1] - work[0] if abs(work[-1] - work[0]) > 1e-9 * np.abs(loop.work).max() else 0.0
        dress(axes, x, y, f"{device.name}, {work / 1e3:.3g} kJ")
        axes.locator_params(axis="x", nbins=5)
    total = (
        f" The {len(chosen)} of {len(found)} that lose most energy."
        if len(chosen) < len(found) and not devices
        else ""
    )
    caption(
        figure,
        f"Loops of the devices of {response.system.frame.name}; the dot is the last step, the energy in the title "
        f"what was lost during this analysis.{total}",
    )
    return figure


def _all_laws(response: "Response") -> list[Device]:
    from dataclasses import replace

    system = response.system
    found = {device.name: device for device in draw(system).devices}
    places = [place for place in system.parts if place.part.law is not None]
    result = []
    for name, place in zip(response.laws(), places, strict=True):
        if name in found:
            result.append(replace(found[name]))
            continue
        touched = np.abs(place.part.transform).sum(axis=0) > 0.0
        kinds = system.kinds[system.freedoms_of[place.member][touched]]
        turns = place.last - place.first == 1 and bool(np.all(kinds == "r"))
        result.append(Device(name, place.member, 0, place.number, turns))
    return result


def energy_parts(responses: "Response | Sequence[Response]") -> dict[str, np.ndarray]:
    """Energies (J) since the start, in the order of the stack; they sum to the input less the imbalance.

    Responses in a sequence went on from each other's states.
    """
    runs = list(responses) if isinstance(responses, Sequence) else [responses]
    table = chain(runs)
    work, held, so_far = [], [], 0.0
    for response in runs:
        laws = [place.number for place in response.system.parts if place.part.law is not None]
        own = (response.log.work - response.log.work[0])[:, laws].sum(axis=1)
        work.append(so_far + own)
        so_far += float(own[-1])
        held.append(response.log.stored[:, laws].sum(axis=1))
    lawful, back = np.concatenate(work), np.concatenate(held)
    back = back - back[0]
    parts = {
        "lost in laws": lawful - back - table["released"],
        "left with removed devices": table["released"],
        "damped": table["damped"],
        "algorithmic": table["algorithmic"],
        "held by laws": back,
        "held by elastic members": table["members"] + table["devices"] - lawful,
        "kinetic": table["kinetic"] - table["kinetic"][0],
    }
    if not np.any(table["released"]):
        del parts["left with removed devices"]
    return parts


#: Colours of the energy stack.
STACK = {
    "lost in laws": VERMILION,
    "left with removed devices": INK,
    "damped": ORANGE,
    "algorithmic": PURPLE,
    "held by laws": SKY,
    "held by elastic members": GREEN,
    "kinetic": "#dddddd",
}


def plot_energy(responses: "Response | Sequence[Response]") -> "Figure":
    """Energy stack (kJ) over time: what was lost below, what can still return above; the input as a line.

    The imbalance of the account is printed. Energies count from the start, relative to the ground. A sequence of
    responses that went on from each other is one account, with what removed devices took away.
    """
    runs = list(responses) if isinstance(responses, Sequence) else [responses]
    parts, table = energy_parts(runs), chain(runs)
    figure = new_figure(7.2, 4.4)
    axes = figure.add_subplot()
    time = table["time"] if len(runs) > 1 else _since_start(runs[0])
    axes.stackplot(
        time, *(values / 1e3 for values in parts.values()), labels=list(parts), linewidth=0.4, edgecolor="#ffffff",
        colors=[STACK[name] for name in parts],
    )  # fmt: skip
    axes.plot(time, table["input"] / 1e3, color=INK, linewidth=1.2, linestyle=(0, (4, 2)), label="input")
    dress(axes, _clock(runs[-1]), "energy (kJ)")
    axes.set_xlim(time[0], time[-1])
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper left", ncols=4, fontsize=8, frameon=False)
    largest = max(np.abs(table["input"]).max(), 1e-300)
    size = np.abs(table["imbalance"]).max() / largest if len(runs) > 1 else runs[0].imbalance()
    many = f"{len(runs)} analyses of " if len(runs) > 1 else ""
    caption(
        figure,
        f"Energy account of {many}{runs[0].system.frame.name}, relative to the ground, from the start. "
        f"Largest imbalance {size:.2e} of the largest input.",
    )
    return figure


def plot_history(response: "Response") -> "Figure":
    """Ground acceleration (m/s², where there is one), floor displacements (mm) and base shear (kN) over time."""
    ground = response.extra.get("ground")
    levels = response.system.frame.levels()
    rows = (ground is not None) + bool(levels) + 1
    figure = new_figure(7.2, 1.6 * rows + 0.9)
    panels = list(np.atleast_1d(figure.subplots(rows, 1, sharex=True)))
    time, first = _since_start(response), panels[0]
    if ground is not None:
        axes = panels.pop(0)
        # The ground may fall silent before the response ends.
        shown = min(time.size, ground.size)
        axes.plot(time[:shown], ground[:shown], color=INK, linewidth=0.8)
        dress(axes, "", "ground\nacceleration (m/s²)", f"largest {np.abs(ground[:shown]).max():.3g} m/s²")
    if levels:
        axes = panels.pop(0)
        for k, (name, _) in enumerate(levels):
            axes.plot(time, 1e3 * response.floor(name), linewidth=1.0, label=name, **style(k))
        dress(
            axes,
            "",
            "floor\ndisplacement (mm)",
            f"largest {1e3 * max(np.abs(response.floor(n)).max() for n, _ in levels):.3g} mm",
        )
        axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), fontsize=7.5, frameon=False)
    axes = panels.pop(0)
    shear = response.base_shear() / 1e3
    # Less than a millinewton is rounding.
    shear = np.where(np.abs(shear) < 1e-6, 0.0, shear)
    axes.plot(time, shear, color=BLUE, linewidth=1.0)
    dress(axes, _clock(response), "base\nshear (kN)", f"largest {np.abs(shear).max():.4g} kN")
    first.set_xlim(time[0], time[-1] if time[-1] > time[0] else time[0] + 1.0)
    figure.align_ylabels()
    caption(
        figure,
        f"{response.kind.capitalize()} of {response.system.frame.name}. Displacements are relative to the ground. "
        f"{_outcome(response)}",
    )
    return figure
