"""`animate`: the deformed frame as GIF or MP4, with drifts and device states as colour, made without a display."""

import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.errors import InputError, known, within
from frame2d.show.scene import Scene, build_scene
from frame2d.written import folder_at, written

if TYPE_CHECKING:
    from frame2d.analysis.response import Response

FILMS = (".gif", ".mp4")
RENDERERS = ("auto", "vtk", "matplotlib")


def animate(
    response: "Response",
    path: Any,
    *,
    every: int | None = None,
    scale: float | None = None,
    fps: float | None = None,
    state: str = "energy",
    renderer: str = "auto",
) -> Path:
    """Write an animation of a response, GIF or MP4 by the suffix, and return its path.

    Members bear the drift of their storey (%), devices the energy they have lost (kJ; `state` "energy") or their
    deformation over its peak ("deformation"). Every `every`-th step is shown (None: about 150 pictures),
    displacements are magnified by `scale` (None: a round number that suits the frame; the picture states it), at
    `fps` pictures a second (None: real time within 5 to 30). The `renderer` "auto" is VTK, or matplotlib with a
    warning where VTK cannot render. Raises `InputError` for other suffixes and names, and where "vtk" is demanded
    and cannot render.
    """
    target = Path(path)
    if target.suffix.lower() not in FILMS:
        raise InputError(f"animation is {str(path)!r}; allowed suffixes: {', '.join(FILMS)}")
    known("renderer", renderer, RENDERERS)
    scene = build_scene(response, every, scale, state)
    if fps is None:
        span = float(response.time[-1] - response.time[0]) if "dt" in response.extra else 0.0
        fps = float(np.clip((len(scene.clock) - 1) / span, 5.0, 30.0)) if span > 0.0 else 15.0
    within("fps", fps, 0.1, 120.0)
    folder_at(target.parent)
    with written(target) as beside:
        _write(_pictures(scene, renderer), beside, fps)
    return target


def _pictures(scene: Scene, renderer: str) -> Iterator[np.ndarray]:
    from frame2d.show import rendering_matplotlib, rendering_vtk

    if renderer == "matplotlib":
        return rendering_matplotlib.render(scene)
    kind = rendering_vtk.window()
    if kind is not None:
        return rendering_vtk.render(scene, kind)
    missing = (
        "VTK cannot render off screen here: neither EGL nor OSMesa works "
        "(on Debian install libegl1, libegl-mesa0 and libgl1-mesa-dri, or libosmesa6)"
    )
    if renderer == "vtk":
        raise InputError(f"renderer is 'vtk'; allowed: auto, matplotlib. {missing}")
    warnings.warn(f"{missing}; matplotlib draws the animation instead", RuntimeWarning, stacklevel=3)
    return rendering_matplotlib.render(scene)


def _write(pictures: Iterator[np.ndarray], path: Path, fps: float) -> None:
    import imageio.v2 as imageio

    options: dict[str, Any] = (
        {"fps": fps, "quality": 8} if path.suffix.lower() == ".mp4" else {"duration": 1000.0 / fps, "loop": 0}
    )
    writer: Any
    with imageio.get_writer(path, **options) as writer:
        for picture in pictures:
            writer.append_data(picture)
