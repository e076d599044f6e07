"""`Scene`: everything that an animation shows, step by step, apart from how it is rendered."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from frame2d.errors import InputError, known, positive
from frame2d.show.drawing import Drawing, dissipated, draw, member_drifts

if TYPE_CHECKING:
    from frame2d.analysis.response import Response

#: What the colour of a device may say.
STATES = ("energy", "deformation")
#: Pictures that an animation aims at when the user does not say.
ABOUT = 150
#: Picture, px: both are multiples of 16, which video coders like.
WIDTH, HEIGHT = 1200, 720


@dataclass(frozen=True)
class Ramp:
    """A coloured quantity: title with unit, upper limit, values (pictures × things)."""

    title: str
    limit: float
    values: np.ndarray


@dataclass(frozen=True)
class Scene:
    """Frame, times, displaced points and coloured quantities of all pictures."""

    title: str
    drawing: Drawing
    pairs: np.ndarray
    clock: tuple[str, ...]
    #: Displaced, magnified points, one array (P × 2) a picture.
    moved: np.ndarray
    scale: float
    #: Storey drift by segment; None for a frame without floors.
    drift: Ramp | None
    devices: Ramp | None
    #: Length of the scale bar, m.
    bar: float
    supports: np.ndarray

    def box(self) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper corner of all that moves, m."""
        both = np.concatenate([self.moved.reshape(-1, 2), self.drawing.points])
        return both.min(axis=0), both.max(axis=0)

    def marks(self) -> np.ndarray:
        """Numbers of the points where devices sit."""
        return np.array([device.point for device in self.drawing.devices], dtype=np.int64)


def round_down(value: float) -> float:
    """Largest 1, 2 or 5 times a power of ten that is not above `value`."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(step for step in (1.0, 2.0, 5.0) if step * power <= value * (1 + 1e-12)) * power)


def limit_above(value: float) -> float:
    """Round upper limit of a ramp whose fifths are round as well."""
    step = max(value, 1e-9) / 5.0
    power = 10.0 ** np.floor(np.log10(step))
    return 5.0 * float(
        next(k for k in (1, 1.5, 2, 3, 4, 5, 6, 8, 10, 20) if k * power >= step * (1 - 1e-9)) * power
    )


def build_scene(
    response: "Response", every: int | None = None, scale: float | None = None, state: str = "energy"
) -> Scene:
    """Scene of every `every`-th step (None: about 150), displacements magnified (None: 8 % of the frame)."""
    known("state", state, STATES)
    count = response.time.size
    step = max(1, count // ABOUT) if every is None else every
    if int(step) != step or step < 1:
        raise InputError(f"every is {every!r}; allowed: a whole number of steps, 1 or more")
    shown = np.arange(0, count, int(step))
    drawing = draw(response.system)
    pairs, names = drawing.segments()
    displacements = response.all_displacements()[shown]
    moves = np.array([drawing.moved(row) for row in displacements])
    size = float(np.ptp(drawing.points, axis=0).max())
    largest = float(np.abs(moves).max())
    if scale is None:
        scale = max(1.0, round_down(0.08 * size / largest)) if largest > 0.0 else 1.0
    positive("scale", scale)
    drifts = member_drifts(response)
    drift = None
    if drifts:
        values = 100.0 * np.abs(np.array([drifts[name][shown] for name in names]).T)
        drift = Ramp("storey drift\nratio (%)", limit_above(float(values.max())), values)
    time = response.time - response.time[0]
    nodes = response.system.frame.nodes
    return Scene(
        response.system.frame.name,
        drawing,
        pairs,
        tuple(f"t = {time[k]:.2f} s" if "dt" in response.extra else f"step {k}" for k in shown),
        drawing.points + scale * moves,
        float(scale),
        drift,
        _device_ramp(response, drawing, shown, state),
        round_down(0.3 * size),
        np.array([(nodes[node].x, nodes[node].y) for node in response.system.frame.supports]),
    )


def _device_ramp(response: "Response", drawing: Drawing, shown: np.ndarray, state: str) -> Ramp | None:
    if not drawing.devices:
        return None
    if state == "energy":
        values = np.maximum(dissipated(response, drawing.devices)[shown], 0.0) / 1e3
        # Elastic devices lose rounding errors; a joule is nothing on the scale of a device.
        return Ramp("energy lost in\na device (kJ)", limit_above(max(float(values.max()), 1e-3)), values)
    columns = []
    for device in drawing.devices:
        size = np.abs(response.device(device.name).deformation)
        columns.append(size[shown] / max(float(size.max()), 1e-300))
    return Ramp("deformation\nover its peak (–)", 1.0, np.array(columns).T)
