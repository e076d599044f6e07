"""Plastic equilibrium of strips, and the fuse splice beside a continuous slab."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.devices import FusePlate, Slab, Strip, fuse_splice, plastic_moment
from frame2d.errors import InputError
from frame2d.materials.drive import drive
from frame2d.sections import european, grade
from frame2d.units import MPa, mm, mm2

S235 = grade("S235")
PLATE = FusePlate(width=150 * mm, thickness=10 * mm, free_length=100 * mm, steel=S235)
SLAB = Slab(
    width=1.5,
    thickness=150 * mm,
    bars=((1200 * mm2, 110 * mm), (800 * mm2, 40 * mm)),
    fc=25 * MPa,
    fy=500 * MPa,
)


def test_equal_strengths_give_the_plastic_modulus() -> None:
    """With one strength either way, the moment of an I's strips is fy·Wpl in both directions."""
    h, b, tw, tf, fy = 0.3, 0.15, 0.0071, 0.0107, 235e6
    ipe = [Strip(0, tf, b, fy, fy), Strip(tf, h - tf, tw, fy, fy), Strip(h - tf, h, b, fy, fy)]
    Wpl = b * tf * (h - tf) + tw * (h - 2 * tf) ** 2 / 4
    for sagging in (True, False):
        found = plastic_moment(ipe, sagging)
        assert found.moment == pytest.approx(fy * Wpl)
        assert found.axis == pytest.approx(h / 2)
    assert european("IPE 300").Wpl > Wpl


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(-0.5, 0.5), st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(1, 9), st.floats(1, 9)
        ),
        min_size=1,
        max_size=5,
    ),
    st.booleans(),
)
def test_upper_bound_theorem(parts: list[tuple[float, float, float, float, float]], sagging: bool) -> None:
    """The moment is the least work of any axis per rotation, as the upper-bound theorem demands."""
    strips = [Strip(y, y + h, w, ft, fc) for y, h, w, ft, fc in parts]
    found = plastic_moment(strips, sagging)

    def work(axis: float) -> float:
        total = 0.0
        for s in strips:
            y = s.low + (np.arange(4000) + 0.5) / 4000 * (s.high - s.low)
            pulled = (y < axis) == sagging
            f = np.where(pulled, s.tension, s.compression)
            total += float(np.sum(f * np.abs(y - axis))) * s.width * (s.high - s.low) / 4000
        return total

    assert work(found.axis) == pytest.approx(found.moment, rel=1e-4)
    span = max(s.high for s in strips) - min(s.low for s in strips)
    for shift in (-0.05 * span, 0.05 * span):
        assert work(found.axis + shift) >= found.moment * (1 - 1e-4)


def test_hogging_by_hand() -> None:
    """In hogging the bars pull against the buckling plate and the lower concrete of a continuous slab."""
    splice = fuse_splice(PLATE, SLAB, 0.3, gap=0.05)
    C = PLATE.buckling_factor * 235e6 * PLATE.area
    T1, T2 = 1200e-6 * 500e6, 800e-6 * 500e6
    x = (T1 + T2 - C) / (0.85 * 25e6 * 1.5)
    assert x < 0.040  # so both layers pull
    M = T1 * (0.110 - x) + T2 * (0.040 - x) + (T1 + T2 - C) * x / 2 + C * (0.35 + x + 0.005)
    assert splice.hogging.moment == pytest.approx(M, rel=1e-9)
    assert splice.hogging.axis == pytest.approx(0.35 + x)


def test_hogging_over_an_open_joint() -> None:
    """Over an open joint the bars balance the plate alone: the couple of the plate with the bars it needs."""
    slab = Slab(1.5, 150 * mm, ((2000 * mm2, 75 * mm),), 25 * MPa, 500 * MPa, open_joint=True)
    splice = fuse_splice(PLATE, slab, 0.3)
    C = PLATE.buckling_factor * 235e6 * PLATE.area
    assert splice.hogging.axis == pytest.approx(0.375, abs=1e-3)
    assert splice.hogging.moment == pytest.approx(C * (0.375 + 0.005), rel=2e-3)
    assert splice.sagging.moment == pytest.approx(235e6 * PLATE.area * (0.375 + 0.005), rel=2e-3)


def test_sagging_by_hand() -> None:
    """In sagging the plate pulls against a shallow concrete block, the bars above the axis pressing too."""
    bars = ((10 * mm2, 110 * mm),)  # next to none
    slab = Slab(1.5, 150 * mm, bars, 25 * MPa, 500 * MPa)
    splice = fuse_splice(PLATE, slab, 0.3, gap=0.05)
    T = 235e6 * PLATE.area
    x = T / (0.85 * 25e6 * 1.5)
    lever = 0.3 + 0.05 + 0.15 - x / 2 + 0.005
    # ten square millimetres of bars change the moment by no more than their own force over the depth
    assert splice.sagging.moment == pytest.approx(T * lever, abs=10e-6 * 500e6 * 0.15)
    assert splice.sagging.axis == pytest.approx(0.5 - x, abs=0.001)


def test_buckling_of_the_plate() -> None:
    """A stocky plate keeps its strength in compression, a long one follows buckling curve c."""
    assert FusePlate(0.15, 0.02, 0.05, S235).buckling_factor == 1.0
    slender = FusePlate(0.15, 0.01, 0.5424, S235)
    # λ̄ = 0.5·542.4/(10/√12)/93.9 = 1.0. Curve c has α = 0.49 (EN 1993-1-1, table 6.1, from memory), so that
    # Φ = ½(1 + 0.49·0.8 + 1) = 1.196 and χ = 1/(1.196 + √(1.196² − 1)) = 0.540 (6.3.1.2).
    assert slender.slenderness == pytest.approx(1.0, abs=1e-3)
    assert slender.buckling_factor == pytest.approx(0.54, abs=0.005)


def test_unsymmetric_law() -> None:
    """Sagging is the stronger side, and the suggested law holds both moments."""
    splice = fuse_splice(PLATE, SLAB, 0.3, gap=0.05, web=(8 * mm, 120 * mm, 150 * mm))
    assert splice.unsymmetry > 1.0
    assert splice.sagging_ultimate.moment > splice.sagging.moment
    law = splice.law()
    limit = splice.sagging.moment / splice.stiffness + splice.rotation_limit
    M = drive(law, np.concatenate([np.linspace(0, limit, 200), np.linspace(limit, -limit, 400)])).force
    assert M.max() == pytest.approx(splice.sagging_ultimate.moment, rel=1e-9)
    assert M.min() == pytest.approx(-splice.hogging.moment, rel=1e-9)


def test_web_plates_add_moment() -> None:
    """Plates on the web raise both moments."""
    without = fuse_splice(PLATE, SLAB, 0.3)
    including = fuse_splice(PLATE, SLAB, 0.3, web=(8 * mm, 120 * mm, 150 * mm))
    assert including.sagging.moment > without.sagging.moment
    assert including.hogging.moment > without.hogging.moment


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: FusePlate(150, 0.01, 0.1, S235), "mm"),
        (lambda: Slab(1.5, 0.15, ((1e-3, 0.2),), 25e6, 500e6), "lower face"),
        (lambda: Slab(1.5, 0.15, ((1e-3, 0.1),), 25, 500e6), "MPa"),
        (lambda: fuse_splice(PLATE, Slab(1.5, 0.15, (), 25e6, 500e6), 0.3), "continuous bars"),
        (lambda: fuse_splice(PLATE, SLAB, 0.3, web=(0.008, 0.2, 0.05)), "within the depth"),
        (lambda: fuse_splice(PLATE, SLAB, 0.3, plate_strain=10), "strain"),
        (lambda: plastic_moment([Strip(0, 1, 1, 0, 5)], True), "no tension"),
        (lambda: plastic_moment([], True), "no tension"),
    ],
)
def test_bad_splices(make: Callable[[], object], says: str) -> None:
    """Splices that cannot be are refused with the likely mistake."""
    with pytest.raises(InputError, match=says):
        make()
