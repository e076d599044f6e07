"""Section properties against integration over outlines, and against one another."""

from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.sections import (
    Section,
    circular_tube,
    composite,
    european,
    plates,
    rectangular_tube,
    rolled_i,
    solid_rectangle,
    solid_round,
    weakened_i,
    welded_i,
)
from frame2d.sections.section import length
from frame2d.sections.shear import stacked
from frame2d.units import mm


def integrated(width, depth: float) -> tuple[float, float, float]:
    """Area, second moment, plastic modulus of a doubly symmetric outline by the midpoint rule."""
    n = 400_000
    y = (np.arange(n) + 0.5) / n * depth / 2.0
    t = width(y)
    dy = depth / 2.0 / n
    return 2.0 * t.sum() * dy, 2.0 * (t * y**2).sum() * dy, 2.0 * (t * y).sum() * dy


def agrees(section: Section, width) -> None:
    A, I, Wpl = integrated(width, section.depth)  # noqa: E741
    assert pytest.approx(A, rel=1e-5) == section.A
    assert pytest.approx(I, rel=1e-5) == section.I
    assert section.Wpl == pytest.approx(Wpl, rel=1e-5)
    assert section.Wel == pytest.approx(2.0 * I / section.depth, rel=1e-5)


def fillet_width(u: np.ndarray, r: float) -> np.ndarray:
    """Width of a concave root fillet at distance u from the flange (0 outside it)."""
    return np.where((u >= 0) & (u < r), r - np.sqrt(np.maximum(r**2 - (r - u) ** 2, 0.0)), 0.0)


def test_rolled_i_by_integration() -> None:
    """A rolled I equals the integral over its outline, about both axes."""
    h, b, tw, tf, r = 0.3, 0.15, 0.0071, 0.0107, 0.015
    section = rolled_i(h, b, tw, tf, r)
    agrees(section, lambda y: np.where(y > h / 2 - tf, b, tw + 2 * fillet_width(h / 2 - tf - y, r)))
    weak = section.turned()
    agrees(weak, lambda z: np.where(z < tw / 2, h, 2 * tf + 2 * fillet_width(z - tw / 2, r)))


def test_tube_by_integration() -> None:
    """A rectangular tube with rounded corners equals the integral over its outline, about both axes."""
    h, b, t, ro, ri = 0.2, 0.12, 0.008, 0.016, 0.008

    def rounded(y: np.ndarray, h: float, b: float, r: float) -> np.ndarray:
        v = np.maximum(y - (h / 2 - r), 0.0)
        return np.where(y < h / 2, b - 2 * r + 2 * np.sqrt(np.maximum(r**2 - v**2, 0.0)), 0.0)

    tube = rectangular_tube(h, b, t, ro=ro, ri=ri)
    agrees(tube, lambda y: rounded(y, h, b, ro) - rounded(y, h - 2 * t, b - 2 * t, ri))
    agrees(tube.turned(), lambda y: rounded(y, b, h, ro) - rounded(y, b - 2 * t, h - 2 * t, ri))


def test_round_by_integration() -> None:
    """Round bars and tubes equal the integral over their outlines."""
    d, t = 0.06, 0.005
    agrees(solid_round(d), lambda y: 2 * np.sqrt(d**2 / 4 - y**2))
    agrees(
        circular_tube(d, t),
        lambda y: 2 * np.sqrt(d**2 / 4 - y**2) - 2 * np.sqrt(np.maximum((d / 2 - t) ** 2 - y**2, 0.0)),
    )


def test_shear_areas_in_known_limits() -> None:
    """Shear areas reach 5/6 A (rectangle), 6/7 A (round), A/2 (thin ring) and the web of a deep thin I."""
    assert solid_rectangle(0.2, 0.6).As == pytest.approx(0.1)
    assert plates([(0.2, 0.6, 0.0)]).As == pytest.approx(0.1)
    assert solid_round(0.06).As == pytest.approx(6 / 7 * pi * 0.06**2 / 4)
    ring = circular_tube(0.4, 0.0004)
    assert ring.As / ring.A == pytest.approx(0.5, abs=1e-3)
    ipe = european("IPE 300")
    assert ipe.As == pytest.approx((0.3 - 2 * 0.0107) * 0.0071, rel=0.02)


def test_shear_area_of_i_by_quadrature() -> None:
    """The thin-walled shear area of an I is I²/∫q²/t ds with the flow in web and flanges integrated
    numerically.
    """
    h, b, tw, tf = 0.2893, 0.15, 0.0071, 0.0107
    y = np.linspace(-h / 2, h / 2, 20001)
    s = np.linspace(0.0, b / 2, 20001)
    web = b * tf * h / 2 + tw / 2 * (h**2 / 4 - y**2)
    energy = np.trapezoid(web**2 / tw, y) + 4 * np.trapezoid((tf * h / 2 * s) ** 2 / tf, s)
    I = tw * h**3 / 12 + b * tf * h**2 / 2  # noqa: E741
    assert rolled_i(h + tf, b, tw, tf).As == pytest.approx(I**2 / energy, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.05, 1.0), st.floats(0.05, 0.5), st.floats(0.004, 0.02), st.floats(0.004, 0.02))
def test_sharp_i_equals_plates(h: float, b: float, tw: float, tf: float) -> None:
    """An I without fillets is the same section as its three plates."""
    by_formula = rolled_i(h, b, tw, tf)
    by_plates = plates([(b, tf, tf / 2), (tw, h - 2 * tf, h / 2), (b, tf, h - tf / 2)])
    for name in ("A", "I", "Wel", "Wpl", "depth", "centroid"):
        assert getattr(by_plates, name) == pytest.approx(getattr(by_formula, name), rel=1e-9), name


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(-0.2, 0.2)),
        min_size=1,
        max_size=5,
    ),
    st.floats(-1.0, 1.0),
)
def test_plates_do_not_depend_on_datum(parts: list[tuple[float, float, float]], shift: float) -> None:
    """Moving the datum or splitting a plate in two halves changes nothing."""
    split = [(w, h / 2, y + sign * h / 4 + shift) for w, h, y in parts for sign in (-1, 1)]
    one, two = plates(parts, As=1e-6), plates(split, As=1e-6)
    for name in ("A", "I", "Wel", "Wpl", "depth", "centroid"):
        assert getattr(one, name) == pytest.approx(getattr(two, name), rel=1e-6), name


def test_unequal_flanges() -> None:
    """A T of two plates has its textbook centroid, moment and plastic modulus."""
    # flange 100x10 over web 10x90 (mm): centroid 69.0 mm up; equal-area axis at the top of the web less 5 mm
    t = plates([(0.1, 0.01, 0.095), (0.01, 0.09, 0.045)])
    A1, A2 = 1000.0, 900.0
    yc = (A1 * 95 + A2 * 45) / (A1 + A2)
    I = 100 * 10**3 / 12 + A1 * (95 - yc) ** 2 + 10 * 90**3 / 12 + A2 * (45 - yc) ** 2  # noqa: E741
    assert t.centroid / mm == pytest.approx(yc)
    assert t.I / mm**4 == pytest.approx(I)
    assert t.Wel / mm**3 == pytest.approx(I / yc)
    # half the area, 950 mm², lies above a line 9.5 mm below the top
    assert t.Wpl / mm**3 == pytest.approx(950 * 4.75 + 50 * 0.25 + 900 * 45.5)
    assert welded_i(0.3, 0.15, 0.008, 0.012, tf_bottom=0.02).centroid < 0.15
    assert welded_i(0.3, 0.15, 0.008, 0.012).Av == pytest.approx(0.276 * 0.008)


def test_weakened_i() -> None:
    """Cutting the flanges takes 2g·tf(h − tf) off the plastic modulus; 0.20b a side leaves 0.70 of an IPE
    300.
    """
    ipe = european("IPE 300")
    cut = weakened_i(ipe, 0.25 * ipe.b)
    assert cut.Wpl == pytest.approx(ipe.Wpl - 2 * 0.25 * ipe.b * ipe.tf * (ipe.depth - ipe.tf))
    assert weakened_i(ipe, 0.2 * ipe.b).Wpl / ipe.Wpl == pytest.approx(0.70, abs=0.005)
    with pytest.raises(InputError, match="fillets"):
        weakened_i(ipe, 0.08)


def test_composite() -> None:
    """Parts act as one: two equal sections apart, and an I with cover plates against its plates."""
    ipe = european("IPE 200")
    pair = composite([(ipe, 0.0), (ipe, 0.5)])
    assert pytest.approx(2 * ipe.I + 2 * ipe.A * 0.25**2) == pair.I
    assert pair.Wpl == pytest.approx(ipe.A * 0.5)
    cover = solid_rectangle(0.1, 0.01)
    i = rolled_i(0.2, 0.1, 0.006, 0.009)
    built = composite([(i, 0.1), (cover, -0.005), (cover, 0.205)])
    same = plates(
        [
            (0.1, 0.009, 0.0045),
            (0.1, 0.009, 0.1955),
            (0.006, 0.182, 0.1),
            (0.1, 0.01, -0.005),
            (0.1, 0.01, 0.205),
        ]
    )
    for name in ("A", "I", "Wel", "Wpl", "depth", "centroid"):
        assert getattr(built, name) == pytest.approx(getattr(same, name), rel=1e-9), name
    with pytest.raises(InputError, match="off its centre"):
        composite([(i, 0.1), (solid_rectangle(0.02, 0.01), 0.205)])


def test_turned_twice_is_the_section() -> None:
    """Turning a section twice gives it back; one of unknown second axis says so."""
    ipe = european("IPE 300")
    assert ipe.turned().turned() == ipe
    assert ipe.Iz == ipe.turned().I
    with pytest.raises(InputError, match="other axis"):
        plates([(0.1, 0.2, 0.0)]).turned()


def test_stacked_shear_of_wide_step() -> None:
    """The shear area of stacked strips is the integral of S²/t, by fine quadrature."""
    strips = [(0.0, 0.05, 0.3), (0.05, 0.25, 0.02), (0.25, 0.27, 0.1)]
    A = sum(w * (b - a) for a, b, w in strips)
    yc = sum(w * (b * b - a * a) / 2 for a, b, w in strips) / A
    n = 200_000
    y = (np.arange(n) + 0.5) / n * 0.27
    w = np.select([y < 0.05, y < 0.25], [0.3, 0.02], 0.1)
    dy = 0.27 / n
    S = np.cumsum((w * (y - yc) * dy)[::-1])[::-1]
    I = (w * (y - yc) ** 2 * dy).sum()  # noqa: E741
    assert stacked(strips, yc, I) == pytest.approx(I**2 / (S**2 / w * dy).sum(), rel=1e-3)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: rolled_i(300, 150, 7.1, 10.7, 15), r"h is 300.*mm"),
        (lambda: rolled_i(0.3, 0.15, -0.0071, 0.0107), "tw is -0.0071"),
        (lambda: rolled_i(0.0071, 0.15, 0.3, 0.0107), "do not fit together"),
        (lambda: solid_round(60), "mm"),
        (lambda: solid_rectangle(0.0, 0.1), "b is 0.0"),
        (lambda: circular_tube(0.1, 0.06), "walls meet"),
        (lambda: rectangular_tube(0.1, 0.1, 0.004, ro=0.03), "hole"),
        (lambda: Section(A=53.8, I=8.4e-5, Wel=5.6e-4, Wpl=6.3e-4, As=2e-3, depth=0.3), "mm² or cm²"),
        (lambda: Section(A=5.38e-3, I=8356, Wel=5.6e-4, Wpl=6.3e-4, As=2e-3, depth=0.3), "mm⁴ or cm⁴"),
        (lambda: Section(A=5.38e-3, I=8.4e-5, Wel=6.3e-4, Wpl=5.6e-4, As=2e-3, depth=0.3), "exchanged"),
        (lambda: Section(A=5.38e-3, I=-8.4e-5, Wel=6.3e-4, Wpl=6.3e-4, As=2e-3, depth=0.3), "above 0"),
        (
            lambda: Section(A=5.38e-3, I=8.4e-5, Wel=5.6e-4, Wpl=6.3e-4, As=0.0, depth=0.3),
            "shear deformation",
        ),
        (lambda: plates([]), "no part"),
        (lambda: plates([(0.1, 0.01, 0.0), (0.1, 0.01, 0.2)]), "gap"),
        (lambda: composite([]), "no part"),
        (lambda: length("depth", float("nan")), "finite"),
    ],
)
def test_bad_dimensions(make, says: str) -> None:
    """Impossible or implausible dimensions are refused with the likely mistake."""
    with pytest.raises(InputError, match=says):
        make()
