"""Pictures of a scene drawn by matplotlib: what an animation falls back to where VTK cannot render."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from frame2d.show.look import DEVICE_RAMP, DRIFT_RAMP, FAINT, INK, new_figure, ramp
from frame2d.show.scene import HEIGHT, WIDTH, Ramp, Scene


def render(scene: Scene) -> Iterator[np.ndarray]:
    """Pictures (height × width × 3, bytes) of a scene, one after the other."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.collections import LineCollection
    from matplotlib.colors import Normalize

    figure = new_figure(WIDTH / 100, HEIGHT / 100)
    figure.set_layout_engine("none")
    figure.set_dpi(100)
    axes = figure.add_axes((0.03, 0.1, 0.78, 0.76))
    axes.set_axis_off()
    axes.set_aspect("equal")
    low, high = scene.box()
    pad = 0.03 * float(np.max(high - low))
    axes.set(xlim=(low[0] - pad, high[0] + pad), ylim=(low[1] - 4 * pad, high[1] + pad))
    axes.add_collection(
        LineCollection(list(scene.drawing.points[scene.pairs]), colors="#bdbdbd", linewidths=1.0)
    )
    axes.plot(*scene.supports.T, linestyle="none", marker="_", color=INK, markersize=16, markeredgewidth=3)

    def colour_bar(quantity: Ramp, colours: Any, bottom: float) -> Any:
        mapping = ScalarMappable(Normalize(0.0, quantity.limit), ramp("animation", colours))
        place = figure.add_axes((0.87, bottom, 0.018, 0.27))
        figure.colorbar(mapping, cax=place)
        place.tick_params(labelsize=9)
        place.set_title(quantity.title, fontsize=10, loc="left")
        return mapping

    drift = colour_bar(scene.drift, DRIFT_RAMP, 0.56) if scene.drift else None
    state = colour_bar(scene.devices, DEVICE_RAMP, 0.12) if scene.devices else None
    members = LineCollection([], colors=INK, linewidths=2.8, capstyle="round", zorder=3)
    axes.add_collection(members)
    marks = scene.marks()
    dots = axes.scatter([], [], s=70, edgecolors=INK, linewidths=1.2, zorder=5)
    figure.text(0.025, 0.94, scene.title, fontsize=13, color=INK)
    figure.text(0.025, 0.9, f"displacements × {scene.scale:g}, grey: frame at rest", fontsize=10, color=INK)
    clock = figure.text(0.66, 0.94, "", fontsize=15, color=INK)
    foot = low[1] - 3 * pad
    axes.plot([low[0], low[0] + scene.bar], [foot, foot], color=INK, marker="|", markersize=9, linewidth=2)
    axes.annotate(
        f"{scene.bar:g} m",
        (low[0] + scene.bar, foot),
        (8, 0),
        textcoords="offset points",
        va="center",
        color=INK,
    )
    axes.axhline(low[1] - 1.2 * pad, color=FAINT, linewidth=0.5)
    canvas: Any = figure.canvas
    for k, text in enumerate(scene.clock):
        members.set_segments(list(scene.moved[k][scene.pairs]))
        if drift is not None and scene.drift is not None:
            members.set_color(drift.to_rgba(scene.drift.values[k]))
        if state is not None and scene.devices is not None:
            dots.set_offsets(scene.moved[k][marks])
            dots.set_facecolor(state.to_rgba(scene.devices.values[k]))
        clock.set_text(text)
        canvas.draw()
        yield np.asarray(canvas.buffer_rgba())[:, :, :3].copy()
