"""Pictures of a scene rendered by VTK (pyvista) off screen, on machines with and without a display.

Without a display VTK needs EGL or OSMesa; a library that is broken can end the process, so a trial runs in a process of
its own first.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import numpy as np

from frame2d.show.look import DEVICE_RAMP, DRIFT_RAMP, INK, ramp
from frame2d.show.scene import HEIGHT, WIDTH, Ramp, Scene

#: VTK's environment variable for the kind of window, and the kinds that need no display.
CHOICE = "VTK_DEFAULT_OPENGL_WINDOW"
WITHOUT_DISPLAY = ("vtkEGLRenderWindow", "vtkOSOpenGLRenderWindow")

#: Each pixel is the mean of FINE × FINE rendered ones; width of a member, px.
FINE, MEMBER = 2, 4.5

TRIAL = """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=(32, 32))
plotter.set_background("white")
plotter.add_mesh(pyvista.Plane(), color="black", lighting=False)
picture = plotter.screenshot(return_img=True)
raise SystemExit(0 if picture.min() < 50 else 3)
"""


@cache
def window() -> str | None:
    """Kind of window that renders here: "" for VTK's own choice, else the value of its variable; None if none does."""
    headless = sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )
    kinds: tuple[str, ...] = (*WITHOUT_DISPLAY, "") if headless else ("", *WITHOUT_DISPLAY)
    if os.environ.get(CHOICE):
        kinds = ("",)
    for kind in kinds:
        surroundings = dict(os.environ, **({CHOICE: kind} if kind else {}))
        try:
            trial = subprocess.run(
                [sys.executable, "-c", TRIAL], env=surroundings, capture_output=True, timeout=120, check=False
            )
        except (OSError, subprocess.TimeoutExpired):
            continue
        if trial.returncode == 0:
            return kind
    return None


@contextmanager
def _chosen(kind: str) -> Iterator[None]:
    before = os.environ.get(CHOICE)
    if kind:
        os.environ[CHOICE] = kind
    try:
        yield
    finally:
        if kind and before is None:
            del os.environ[CHOICE]


def render(scene: Scene, kind: str) -> Iterator[np.ndarray]:
    """Pictures (height × width × 3, bytes) of a scene, one after the other."""
    import pyvista

    with _chosen(kind):
        plotter = pyvista.Plotter(off_screen=True, window_size=[FINE * WIDTH, FINE * HEIGHT])
        try:
            yield from _pictures(scene, plotter, pyvista)
        finally:
            plotter.close()


def _pictures(scene: Scene, plotter: Any, pyvista: Any) -> Iterator[np.ndarray]:
    plotter.set_background("white")
    plotter.disable_anti_aliasing()
    pixel = _aim(scene, plotter)

    def flat(points: np.ndarray, depth: float) -> np.ndarray:
        return np.column_stack([points, np.full(len(points), depth)])

    def lines(points: np.ndarray, pairs: np.ndarray, depth: float, width: float) -> Any:
        faces = np.column_stack([np.full(len(pairs), 4), np.arange(4 * len(pairs)).reshape(-1, 4)]).ravel()
        return pyvista.PolyData(flat(ribbons(points, pairs, width * pixel), depth), faces=faces)

    plotter.add_mesh(
        lines(scene.drawing.points, scene.pairs, -2 * pixel, 1.3),
        color="#bdbdbd",
        lighting=False,
        reset_camera=False,
    )
    ground = scene.supports[:, None, :] + np.array([[-13.0, -4.0], [13.0, -4.0]]) * pixel
    plotter.add_mesh(
        lines(ground.reshape(-1, 2), np.arange(2 * len(ground)).reshape(-1, 2), -pixel, 4.0), color=INK, lighting=False,
        reset_camera=False,
    )  # fmt: skip
    members = lines(scene.moved[0], scene.pairs, 0.0, MEMBER)
    if scene.drift is None:
        plotter.add_mesh(members, color=INK, lighting=False, reset_camera=False)
    else:
        members.cell_data["drift"] = scene.drift.values[0]
        _coloured(plotter, members, "drift", scene.drift, DRIFT_RAMP, 0.56)
    rims = dots = None
    marks = scene.marks()
    if scene.devices is not None:
        rims = pyvista.PolyData(flat(scene.moved[0][marks], 2 * pixel))
        dots = pyvista.PolyData(flat(scene.moved[0][marks], 40 * pixel))
        dots.point_data["state"] = scene.devices.values[0]
        plotter.add_mesh(
            rims,
            color=INK,
            point_size=16 * FINE,
            render_points_as_spheres=True,
            lighting=False,
            reset_camera=False,
        )
        _coloured(
            plotter,
            dots,
            "state",
            scene.devices,
            DEVICE_RAMP,
            0.12,
            point_size=12 * FINE,
            render_points_as_spheres=True,
        )
    clock = _words(scene, plotter, lines, pixel)
    for k, text in enumerate(scene.clock):
        members.points = flat(ribbons(scene.moved[k], scene.pairs, MEMBER * pixel), 0.0)
        if scene.drift is not None:
            members.cell_data["drift"] = scene.drift.values[k]
        if scene.devices is not None and rims is not None and dots is not None:
            rims.points = flat(scene.moved[k][marks], 2 * pixel)
            dots.points = flat(scene.moved[k][marks], 40 * pixel)
            dots.point_data["state"] = scene.devices.values[k]
        clock.SetInput(text)
        plotter.render()
        yield smooth(np.asarray(plotter.screenshot(return_img=True))[:, :, :3])


def ribbons(points: np.ndarray, pairs: np.ndarray, width: float) -> np.ndarray:
    """Corners (4 a pair) of lines that are `width` wide; drivers limit the width of plain lines, some to one pixel.

    Each is a little longer than its line, which closes the gaps at bends.
    """
    i, j = points[pairs[:, 0]], points[pairs[:, 1]]
    along = j - i
    along = 0.5 * width * along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-300)
    across = np.column_stack([-along[:, 1], along[:, 0]])
    i, j = i - 0.5 * along, j + 0.5 * along
    return np.stack([i - across, j - across, j + across, i + across], axis=1).reshape(-1, 2)


def smooth(picture: np.ndarray) -> np.ndarray:
    """Mean over `FINE` × `FINE` pixels: anti-aliasing that every kind of window offers."""
    high, wide = picture.shape[0] // FINE, picture.shape[1] // FINE
    # Summed slice by slice: several times quicker than a mean over two axes.
    total = np.zeros((high, wide, 3), dtype=np.uint16)
    for a in range(FINE):
        for b in range(FINE):
            total += picture[a::FINE, b::FINE]
    return (total // FINE**2).astype(np.uint8)


def _aim(scene: Scene, plotter: Any) -> float:
    """Point the camera so that the frame fills the left of the picture; returns the size of a pixel, m."""
    low, high = scene.box()
    wide, tall = np.maximum(high - low, 1e-6)
    pixel = max(wide / (0.72 * WIDTH), tall / (0.66 * HEIGHT))
    x = 0.5 * (low[0] + high[0]) + 0.09 * WIDTH * pixel
    y = 0.5 * (low[1] + high[1])
    plotter.camera.parallel_projection = True
    plotter.camera.focal_point = (x, y, 0.0)
    plotter.camera.position = (x, y, 1000 * pixel)
    plotter.camera.up = (0.0, 1.0, 0.0)
    plotter.camera.parallel_scale = 0.5 * HEIGHT * pixel
    plotter.camera.clipping_range = (1.0 * pixel, 2000 * pixel)
    return float(pixel)


def _coloured(
    plotter: Any, mesh: Any, scalars: str, quantity: Ramp, colours: Any, low: float, **options: Any
) -> None:
    plotter.add_mesh(
        mesh, scalars=scalars, cmap=ramp(scalars, colours), clim=(0.0, quantity.limit), lighting=False,
        show_scalar_bar=False, reset_camera=False, **options,
    )  # fmt: skip
    plotter.add_scalar_bar(
        title=f"{scalars} ", mapper=plotter.mapper, vertical=True, position_x=0.87, position_y=low, width=0.07,
        height=0.27, n_labels=6, fmt="%.3g", color=INK, label_font_size=16 * FINE, title_font_size=1,
    )  # fmt: skip
    plotter.add_text(
        quantity.title,
        position=(0.865 * FINE * WIDTH, (low + 0.29) * FINE * HEIGHT),
        font_size=10 * FINE,
        color=INK,
        font="arial",
    )


def _words(scene: Scene, plotter: Any, lines: Any, pixel: float) -> Any:
    """Title, clock, magnification and scale bar; returns the clock, whose text changes."""

    def write(text: str, x: float, y: float, size: int) -> Any:
        return plotter.add_text(
            text, position=(FINE * x, FINE * y), font_size=FINE * size, color=INK, font="arial"
        )

    write(scene.title, 30, HEIGHT - 42, 12)
    write(f"displacements × {scene.scale:g}, grey: frame at rest", 30, HEIGHT - 70, 10)
    low, high = scene.box()
    left = 0.5 * (low[0] + high[0]) - 0.41 * WIDTH * pixel + 30 * pixel
    foot = 0.5 * (low[1] + high[1]) - 0.5 * HEIGHT * pixel + 34 * pixel
    tick = 6 * pixel
    ends = np.array(
        [[left, foot], [left + scene.bar, foot], [left, foot - tick], [left, foot + tick],
         [left + scene.bar, foot - tick], [left + scene.bar, foot + tick]]
    )  # fmt: skip
    plotter.add_mesh(
        lines(ends, np.arange(6).reshape(-1, 2), 0.0, 2.5), color=INK, lighting=False, reset_camera=False
    )
    write(f"{scene.bar:g} m", 30 + scene.bar / pixel + 14, 24, 11)
    return write(scene.clock[0], 0.66 * WIDTH, HEIGHT - 44, 14)
