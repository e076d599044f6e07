"""Animations are made without a display, read back, and fall back aloud."""

import subprocess

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.show import animate, rendering_vtk
from frame2d.show.scene import HEIGHT, WIDTH, build_scene, limit_above, round_down


def read(path):
    import imageio.v3 as imageio

    return np.asarray(imageio.imread(path, index=None))


def coloured(picture):
    """Share of pixels that are neither grey nor white."""
    values = picture[..., :3].astype(int)
    return float(np.mean(np.ptp(values, axis=-1) > 30))


def test_vtk_renders_a_gif_off_screen(quake, tmp_path):
    """VTK draws as many different pictures as asked for, with colour in them, and leaves nothing beside the file."""
    if rendering_vtk.window() is None:
        pytest.skip("no off-screen OpenGL on this machine")
    path = animate(quake, tmp_path / "quake.gif", every=60, renderer="vtk", fps=5)
    pictures = read(path)
    assert pictures.shape[:3] == (4, HEIGHT, WIDTH)
    assert np.any(pictures[1] != pictures[2])
    assert all(coloured(picture) > 0.005 for picture in pictures)
    assert list(tmp_path.iterdir()) == [path]


def test_matplotlib_draws_a_film(quake, tmp_path):
    """The other renderer writes an MP4 of the same size."""
    from imageio_ffmpeg import get_ffmpeg_exe

    path = animate(
        quake, tmp_path / "quake.mp4", every=80, renderer="matplotlib", state="deformation", fps=10
    )
    decode = [get_ffmpeg_exe(), "-i", path, "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    film = subprocess.run(decode, capture_output=True, check=True).stdout
    pictures = np.frombuffer(film, np.uint8).reshape(-1, HEIGHT, WIDTH, 3)
    assert len(pictures) == 3
    assert coloured(pictures[-1]) > 0.005


def test_fallback_is_said_aloud(quake, tmp_path, monkeypatch):
    """Where VTK cannot render, a warning names what to install and matplotlib draws; a demand for VTK is refused."""
    monkeypatch.setattr(rendering_vtk, "window", lambda: None)
    with pytest.warns(RuntimeWarning, match="libegl1.*matplotlib draws"):
        path = animate(quake, tmp_path / "quake.gif", every=150)
    assert len(read(path)) == 2
    with pytest.raises(InputError, match="cannot render off screen"):
        animate(quake, tmp_path / "other.gif", every=150, renderer="vtk")
    assert list(tmp_path.iterdir()) == [path]


def test_scene_holds_the_numbers(quake):
    """Drift in percent, energies in kJ, the clock from 0 and a round magnification stand in the scene."""
    scene = build_scene(quake, every=100)
    assert scene.clock[1] == "t = 1.00 s"
    columns = scene.drawing.segments()[1]
    k = columns.index("c10")
    np.testing.assert_allclose(scene.drift.values[:, k], 100.0 * np.abs(quake.drifts()["F1"][::100]))
    loop = quake.device("d1")
    lost = (loop.work - loop.recoverable)[-1] - (loop.work - loop.recoverable)[0]
    last = build_scene(quake, every=quake.time.size - 1).devices.values[-1]
    names = [device.name for device in scene.drawing.devices]
    np.testing.assert_allclose(last[names.index("d1")], lost / 1e3)
    assert scene.scale == round_down(scene.scale)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"path": "quake.avi"}, r"allowed suffixes: \.gif, \.mp4"),
        ({"every": 0}, "every is 0"),
        ({"state": "damage"}, "allowed: energy, deformation"),
        ({"renderer": "paint"}, "allowed: auto, vtk, matplotlib"),
        ({"fps": 0.0}, "fps is 0.0"),
        ({"scale": -1.0}, "scale is -1.0"),
    ],
)
def test_wrong_options_are_refused(quake, tmp_path, options, message):
    """Each wrong option is named with what is allowed, and nothing is written."""
    wanted = {"path": "quake.gif", **options}
    with pytest.raises(InputError, match=message):
        animate(quake, tmp_path / wanted.pop("path"), **wanted)
    assert not list(tmp_path.iterdir())


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-6, 1e6))
def test_round_numbers_bracket_the_value(value):
    """Scale bars are at most, limits at least the value, and both within a factor of 2.5."""
    assert value / 2.51 <= round_down(value) <= value * (1 + 1e-9)
    assert value * (1 - 1e-8) <= limit_above(value) <= value * 2.01
