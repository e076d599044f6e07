"""The axial force-moment hinge: return mapping, tangent, flow, corners, energy."""

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.kernels import OK, at, compiled
from frame2d.materials.axial_moment import AxialMomentHinge, drive_pair, return_map
from frame2d.materials.pair_hinge import build_hinge
from frame2d.materials.yield_surface import (
    ConvexPolygon,
    Parabola,
    YieldSurface,
    bilinear,
    en_section,
    linear,
    rolled_section,
)

SPLICE = ConvexPolygon(
    ((1.0, 0.1), (0.5, 0.9), (-0.4, 1.2), (-1.6, 0.3), (-1.2, -0.6), (0.1, -0.8), (0.8, -0.4))
)
SURFACES: list[YieldSurface] = [
    linear(),
    Parabola(),
    rolled_section(),
    en_section(0.4),
    bilinear(),
    Parabola(flat=0.3),
    SPLICE,
]
HINGE = AxialMomentHinge(en_section(0.4), Np=2e6, Mp=2e5, kN=1e9, kM=2e7)
surfaces = st.sampled_from(SURFACES)


@compiled
def _map(surface, K, hk, hi, n, m, m0, out, m1):  # type: ignore[no-untyped-def]
    return return_map(
        at(surface, 0), K[0, 0], K[0, 1], K[1, 1], hk, hi, n, m, at(m0, 0), at(out, 0), at(m1, 0)
    )


def mapped(
    surface: YieldSurface, K: np.ndarray, hk: float, hi: float, trial: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Forces, tangent and memory of a trial on a virgin hinge."""
    out, m1 = np.zeros(8), np.zeros(5)
    assert _map(surface.data(), K, hk, hi, trial[0], trial[1], np.zeros(5), out, m1) == OK
    return out[:2].copy(), np.array([[out[2], out[3]], [out[3], out[4]]]), m1


def support(surface: YieldSurface, direction: np.ndarray, size: float) -> float:
    """Largest direction·(n, m) on the surface grown to `size`."""
    if isinstance(surface, ConvexPolygon):
        return size * float(np.max(np.array(surface.vertices) @ direction))
    assert isinstance(surface, Parabola)
    gamma = np.linspace(0.0, np.sqrt(size), 20001)
    return float(
        np.max(
            (surface.flat + (1.0 - surface.flat) * gamma) * abs(direction[0])
            + (size - gamma**2) * abs(direction[1])
        )
    )


@settings(max_examples=150, deadline=None)
@given(
    surface=surfaces,
    trial=st.tuples(st.floats(-6.0, 6.0), st.floats(-6.0, 6.0)),
    shape=st.tuples(st.floats(0.05, 5.0), st.floats(-0.95, 0.95)),
    kinematic=st.sampled_from([0.0, 0.3]),
    isotropic=st.sampled_from([0.0, 0.2]),
)
def test_the_mapped_point_is_the_closest_one(
    surface: YieldSurface,
    trial: tuple[float, float],
    shape: tuple[float, float],
    kinematic: float,
    isotropic: float,
) -> None:
    """ξ lies on the surface and the plastic deformation in its normal cone there, also at corners."""
    coupling = shape[1] * np.sqrt(shape[0])
    K = np.array([[1.0, coupling], [coupling, shape[0]]])
    x, _, memory = mapped(surface, K, kinematic, isotropic, np.array(trial))
    plastic, alpha, kappa = memory[:2], memory[2:4], memory[4]
    size, xi = 1.0 + isotropic * kappa, x - alpha
    assert surface.phi(*xi) - isotropic * kappa <= 1e-9
    assert x == pytest.approx(np.array(trial) - K @ plastic, abs=1e-9)
    assert alpha == pytest.approx(kinematic * plastic)
    if surface.phi(*trial) <= 0.0:
        assert plastic == pytest.approx([0.0, 0.0], abs=1e-9)
    assert plastic @ xi == pytest.approx(
        support(surface, plastic, size), abs=1e-6 * (1.0 + np.abs(plastic).max())
    )


@settings(max_examples=150, deadline=None)
@given(
    surface=surfaces,
    trial=st.tuples(st.floats(-4.0, 4.0), st.floats(-4.0, 4.0)),
    shape=st.tuples(st.floats(0.1, 3.0), st.floats(-0.9, 0.9)),
    kinematic=st.sampled_from([0.0, 0.3]),
    isotropic=st.sampled_from([0.0, 0.2]),
)
def test_the_tangent_is_that_of_the_map(
    surface: YieldSurface,
    trial: tuple[float, float],
    shape: tuple[float, float],
    kinematic: float,
    isotropic: float,
) -> None:
    """The 2×2 tangent agrees with central differences wherever the active faces do not change."""
    coupling = shape[1] * np.sqrt(shape[0])
    K = np.array([[1.0, coupling], [coupling, shape[0]]])
    point, h = np.array(trial), 1e-6
    middle, tangent, _ = mapped(surface, K, kinematic, isotropic, point)
    differences = []
    for direction in np.eye(2):
        step = h * K @ direction
        ahead = mapped(surface, K, kinematic, isotropic, point + step)[0]
        behind = mapped(surface, K, kinematic, isotropic, point - step)[0]
        if np.abs(ahead - 2.0 * middle + behind).max() > 1e-4 * h:
            return
        differences.append((ahead - behind) / (2.0 * h))
    assert tangent == pytest.approx(np.column_stack(differences), abs=1e-4)
    assert tangent == pytest.approx(tangent.T)


def test_the_parabola_bends_at_its_crown() -> None:
    """Pure moment on n² + m = 1, of which the second derivative is 2 at n = 0 too: T11 = 1/(1 + 2λ), λ = 1."""
    _, tangent, _ = mapped(Parabola(), np.eye(2), 0.0, 0.0, np.array([0.0, 2.0]))
    assert tangent == pytest.approx(np.array([[1.0 / 3.0, 0.0], [0.0, 0.0]]))


@pytest.mark.parametrize("surface", SURFACES)
def test_forces_stay_on_a_perfectly_plastic_surface(surface: YieldSurface) -> None:
    """Without hardening φ never exceeds 0, and each step does plastic work ≥ 0."""
    hinge = replace(HINGE, surface=surface)
    turns = np.vstack([[0.0, 0.0], np.random.default_rng(6).normal(size=(20, 2)) * [6e-3, 4e-2]])
    d = np.vstack([np.linspace(a, b, 50, endpoint=False) for a, b in pairwise(turns)])
    loop = drive_pair(hinge, d)
    assert np.max(surface.phi(loop.force[:, 0] / hinge.Np, loop.force[:, 1] / hinge.Mp)) <= 1e-9
    elastic = loop.force / np.array([hinge.kN, hinge.kM])
    plastic = np.diff(d - elastic, axis=0)
    assert np.min(np.sum(loop.force[1:] * plastic, axis=1)) >= -1e-6
    assert hinge.plastic(loop.memory) == pytest.approx(d[-1] - elastic[-1], abs=1e-12)


@pytest.mark.parametrize("isotropic", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("surface", SURFACES)
def test_no_history_gets_back_more_than_it_put_in(surface: YieldSurface, isotropic: float) -> None:
    """Work less recoverable energy never falls, with any share of hardening."""
    hinge = replace(HINGE, surface=surface, hardening=8e5, isotropic=isotropic)
    turns = np.vstack([[0.0, 0.0], np.random.default_rng(7).normal(size=(15, 2)) * [6e-3, 6e-2]])
    d = np.vstack([np.linspace(a, b, 400, endpoint=False) for a, b in pairwise(turns)])
    loop = drive_pair(hinge, d)
    steps = np.sum(0.5 * (loop.force[1:] + loop.force[:-1]) * np.diff(d, axis=0), axis=1)
    assert np.min(steps - np.diff(loop.recoverable)) >= -1e-3 * np.abs(steps).max()


def test_pure_bending_is_the_bilinear_law() -> None:
    """Without axial deformation: yield at Mp, then kM·H/(kM + H), whatever the share of hardening."""
    H = 1e6
    after = HINGE.kM * H / (HINGE.kM + H)
    for isotropic in (0.0, 0.5, 1.0):
        hinge = replace(HINGE, hardening=H, isotropic=isotropic)
        loop = drive_pair(hinge, np.array([[0.0, 0.0], [0.0, 0.01], [0.0, 0.05]]))
        assert loop.force[1:, 1] == pytest.approx([2e5, 2e5 + after * 0.04])
        assert loop.tangent[2, 1, 1] == pytest.approx(after)
        rotation = 0.05 - loop.force[2, 1] / hinge.kM
        lower = (1.0 - isotropic) * H * rotation - (2e5 + isotropic * H * rotation)
        elastic = (loop.force[2, 1] - lower) / hinge.kM
        back = drive_pair(hinge, np.array([[0.0, 0.05 - elastic], [0.0, -0.2]]), memory=loop.memory)
        assert back.force[:, 1] == pytest.approx([lower, lower - after * (0.25 - elastic)])


def test_axial_force_pulls_the_bar_out_as_it_bends() -> None:
    """Associated flow: on a face a·n + b·m = 1 the plastic elongation over rotation is (a/Np)/(b/Mp)."""
    N = 0.3 * HINGE.Np
    surface = bilinear()
    hinge = replace(HINGE, surface=surface)
    elongation = np.array([N / hinge.kN, 0.0])
    # Hold N by hand: let the axial deformation follow the plastic elongation.
    memory = hinge.initial_memory()
    for rotation in np.linspace(0.0, 0.03, 61)[1:]:
        for _ in range(20):
            trial = drive_pair(hinge, np.array([[elongation[0], rotation]]), memory=memory)
            miss = N - trial.force[0, 0]
            if abs(miss) < 1e-3:
                break
            elongation[0] += miss / max(trial.tangent[0, 0, 0], 1e-3 * hinge.kN)
        memory = trial.memory
    assert trial.force[0, 1] == pytest.approx(surface.reduced_moment(0.3) * hinge.Mp, rel=1e-6)
    axial, bending = hinge.plastic(memory)
    assert axial / bending == pytest.approx((1.0 / hinge.Np) / (8.0 / 9.0 / hinge.Mp), rel=1e-6)


def test_a_fine_polygon_answers_as_the_parabola() -> None:
    """The half-planes of a smooth surface, mapped as a polygon, give its forces to the tolerance."""
    smooth = Parabola()
    planes = smooth.half_planes(1e-5)
    corners = []
    for (a, b, _), (c, d, _) in zip(planes, np.roll(planes, -1, axis=0), strict=True):
        corners.append(tuple(np.linalg.solve([[a, b], [c, d]], [1.0, 1.0])))
    polygon = ConvexPolygon(tuple(corners))
    turns = np.vstack([[0.0, 0.0], np.random.default_rng(8).normal(size=(10, 2)) * [6e-3, 4e-2]])
    d = np.vstack([np.linspace(a, b, 200, endpoint=False) for a, b in pairwise(turns)])
    exact = drive_pair(replace(HINGE, surface=smooth), d).force / [HINGE.Np, HINGE.Mp]
    close = drive_pair(replace(HINGE, surface=polygon), d).force / [HINGE.Np, HINGE.Mp]
    assert np.abs(exact - close).max() < 2e-2
    assert np.sqrt(np.mean((exact - close) ** 2)) < 2e-3


def test_a_hinge_is_built_again() -> None:
    """A hinge survives `describe`, JSON and `build_hinge`."""
    hinge = AxialMomentHinge.example()
    assert build_hinge(json.loads(json.dumps(hinge.describe()))) == hinge


def test_bad_numbers_are_refused() -> None:
    """Zero strengths, negative hardening and a name in place of a surface raise `InputError`."""
    with pytest.raises(InputError, match="Mp"):
        replace(HINGE, Mp=0.0)
    with pytest.raises(InputError, match="hardening"):
        replace(HINGE, hardening=-1.0)
    with pytest.raises(InputError, match="surface"):
        replace(HINGE, surface="linear")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="shape"):
        drive_pair(HINGE, np.zeros(3))
