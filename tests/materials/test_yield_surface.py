"""Yield surfaces: the numbers of case PL-4, convexity, gradients, half-planes."""

import json

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.materials.yield_surface import (
    ConvexPolygon,
    Parabola,
    YieldSurface,
    bilinear,
    build_surface,
    en_section,
    linear,
    rolled_section,
)

# Vertices of an invented composite section: stronger in compression and under one sign of moment.
SPLICE = ConvexPolygon(
    ((1.0, 0.1), (0.5, 0.9), (-0.4, 1.2), (-1.6, 0.3), (-1.2, -0.6), (0.1, -0.8), (0.8, -0.4))
)
SURFACES: dict[str, YieldSurface] = {
    "lin": linear(),
    "par": Parabola(),
    "I": rolled_section(),
    "EC": en_section(0.4),
    "bil": bilinear(),
    "weak": Parabola(flat=0.3),
    "splice": SPLICE,
}
EVERY = pytest.mark.parametrize("name", list(SURFACES))


@pytest.mark.parametrize(
    ("name", "moment", "factor"),
    [
        ("lin", 140000.0, 0.8),
        ("par", 182000.0, 1.0),
        ("I", 165200.0, 0.880597015),
        ("EC", 175000.0, 0.909090909),
        ("bil", 157500.0, 0.857142857),
    ],
)
def test_case_pl_4(name: str, moment: float, factor: float) -> None:
    """Reduced moments at N = 0.3 Np and collapse factors of the cantilever (Np 2000e3 N, Mp 200e3 N·m)."""
    surface = SURFACES[name]
    assert surface.reduced_moment(0.3) * 200e3 == pytest.approx(moment, rel=1e-6)
    assert surface.reduced_moment(-0.3, sign=-1.0) * 200e3 == pytest.approx(-moment, rel=1e-6)
    assert surface.factor(1000e3 / 2000e3, 150e3 / 200e3) == pytest.approx(factor, rel=1e-6)


def test_weak_axis_of_the_code() -> None:
    """EN 1993-1-1, 6.2.9.1(6): no reduction up to n = a, then 1 − ((n − a)/(1 − a))²."""
    surface = Parabola(flat=0.4)
    assert surface.reduced_moment(0.4) == pytest.approx(1.0)
    assert surface.reduced_moment(0.7) == pytest.approx(1.0 - 0.5**2)


def test_unsymmetric_section() -> None:
    """A polygon carries different moments of either sign, also beside an axial force that needs a moment."""
    assert SPLICE.reduced_moment(0.0) == pytest.approx(1.2 - 0.4 * 0.3 / 0.9)
    assert SPLICE.reduced_moment(0.0, sign=-1.0) == pytest.approx(-0.8 + 0.1 * 0.2 / 1.3)
    assert 0.0 < SPLICE.reduced_moment(-1.5, sign=-1.0) < SPLICE.reduced_moment(-1.5)
    with pytest.raises(InputError, match="Np"):
        SPLICE.reduced_moment(-1.7)


@EVERY
def test_surfaces_are_convex(name: str) -> None:
    """φ of a mean is not above the mean of φ, and φ is −1 at the origin."""
    surface = SURFACES[name]
    rng = np.random.default_rng(2)
    a, b = 2.0 * rng.uniform(-1.0, 1.0, (2, 2, 2000))
    share = rng.uniform(0.0, 1.0, 2000)
    middle = surface.phi(*(share * a + (1.0 - share) * b))
    assert np.all(middle <= share * surface.phi(*a) + (1.0 - share) * surface.phi(*b) + 1e-12)
    assert surface.phi(0.0, 0.0) == pytest.approx(-1.0)


@EVERY
def test_gradients_and_second_derivatives(name: str) -> None:
    """They agree with central differences away from corners."""
    surface = SURFACES[name]
    checked = 0
    for n, m in np.random.default_rng(4).uniform(-1.2, 1.2, (200, 2)):
        h = 1e-6
        there = [surface.gradient(n + s * h, m + t * h) for s in (-1, 1) for t in (-1, 1)]
        if max(np.abs(gradient - there[0]).max() for gradient in there) > 1e-4:
            continue
        checked += 1
        difference = [
            (surface.phi(n + h, m) - surface.phi(n - h, m)) / (2.0 * h),
            (surface.phi(n, m + h) - surface.phi(n, m - h)) / (2.0 * h),
        ]
        assert surface.gradient(n, m) == pytest.approx(difference, abs=1e-7)
        bend = (surface.gradient(n + h, m) - surface.gradient(n - h, m)) / (2.0 * h)
        assert surface.hessian(n, m)[:, 0] == pytest.approx(bend, abs=1e-6)
    assert checked > 150


@EVERY
@pytest.mark.parametrize("tolerance", [1e-2, 1e-4])
def test_half_planes_lie_inside_to_the_tolerance(name: str, tolerance: float) -> None:
    """Rows run counter-clockwise with c = 1; the polygon is inside the surface and no further from it than stated."""
    surface = SURFACES[name]
    planes = surface.half_planes(tolerance)
    assert planes[:, 2] == pytest.approx(np.ones(len(planes)))
    angles = np.unwrap(np.arctan2(planes[:, 1], planes[:, 0]))
    assert np.all(np.diff(angles) > 0.0)
    assert angles[-1] - angles[0] < 2.0 * np.pi
    for angle in np.linspace(0.0, 2.0 * np.pi, 721):
        ray = np.array([np.cos(angle), np.sin(angle)])
        corner = ray / np.max(planes[:, :2] @ ray)
        phi = surface.phi(*corner)
        assert -tolerance * (1.0 + 1e-9) <= phi <= 1e-12
        if isinstance(surface, ConvexPolygon):
            assert phi == pytest.approx(0.0, abs=1e-12)


@EVERY
def test_descriptions_make_the_same_surface_again(name: str) -> None:
    """A surface survives `describe`, JSON and `build_surface`."""
    assert build_surface(json.loads(json.dumps(SURFACES[name].describe()))) == SURFACES[name]


@pytest.mark.parametrize(
    "vertices",
    [
        ((1.0, 0.0), (0.0, 1.0)),
        ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.1, 0.1), (0.0, -1.0)),
        ((1.0, 0.0), (2.0, 1.0), (1.0, 1.0)),
        ((1.0, 0.0), (0.5, 0.5), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)),
        ((1.0, 0.0), (0.0, float("nan")), (-1.0, -1.0)),
    ],
)
def test_polygons_that_are_none_are_refused(vertices: tuple) -> None:
    """Too few, re-entrant, off the origin, in line or not a number: `InputError`."""
    with pytest.raises(InputError):
        ConvexPolygon(vertices)
    with pytest.raises(InputError):
        en_section(0.7)
