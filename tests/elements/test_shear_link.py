"""Short links in shear under axial force, against equilibrium written down by hand."""

import math

import pytest

from frame2d.analysis import gravity, push
from frame2d.elements import ShearLink
from frame2d.errors import InputError
from frame2d.materials import Elastic
from frame2d.model import Frame

L, K, P, H = 3.0, 2e6, 1e6, 1e5


def post(geometry: str, area: float = 10.0, inertia: float = 10.0) -> Frame:
    """An upright link whose head keeps its direction, under a weight and a sideways force."""
    frame = Frame("post")
    frame.node("foot", 0.0, 0.0, "fixed")
    frame.node("head", 0.0, L, ("rz",))
    frame.member("link", "foot", "head", ShearLink(210e9, area, inertia, Elastic(K), geometry), device=True)
    frame.floor("top", ["head"])
    return frame


def test_a_weight_softens_a_link_in_second_order() -> None:
    """A link that is rigid in bending sways by H/(k − P/L), in linear geometry by H/k."""
    for geometry, stiffness in (("linear", K), ("p-delta", K - P / L)):
        frame = post(geometry)
        frame.load("head", fx=H, fy=-P)
        sway = gravity(frame.compile()).displacement("head")[-1]
        assert sway == pytest.approx(H / stiffness, rel=1e-3)


def test_shear_and_bending_act_in_series_under_a_weight() -> None:
    """With bending 12EI/L³ in series the sway is H/(1/(1/k + L³/12EI) − P/L), up to the bowing of the bent link."""
    frame = post("p-delta", 0.02, 1e-4)
    frame.load("head", fx=H, fy=-P)
    bending = 12.0 * 210e9 * 1e-4 / L**3
    series = 1.0 / (1.0 / K + 1.0 / bending)
    sway = gravity(frame.compile()).displacement("head")[-1]
    assert sway == pytest.approx(H / (series - P / L), rel=5e-3)


def test_a_corotational_link_follows_large_drifts() -> None:
    """Of constant length, it leans by ψ where kL²ψ = F·L·cos ψ + P·L·sin ψ."""
    frame = post("corotational")
    frame.load("head", fy=-P)
    system = frame.compile()
    standing = gravity(system).state
    pushed = push(system, standing, {"top": 1.0}, node="head", target=1.5, steps=60)
    psi = math.asin(float(pushed.displacement("head")[-1]) / L)
    force = (K * L * L * psi - P * L * math.sin(psi)) / (L * math.cos(psi))
    assert psi > 0.5
    assert pushed.factor[-1] == pytest.approx(force, rel=1e-4)
    assert pushed.displacement("head", "uy")[-1] == pytest.approx(-L * (1.0 - math.cos(psi)), rel=1e-3)


def test_a_geometry_that_is_none_is_refused() -> None:
    """The message lists the three."""
    with pytest.raises(InputError, match="linear, p-delta, corotational"):
        post("second order")
