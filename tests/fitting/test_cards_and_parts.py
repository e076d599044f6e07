"""Cards, pictures, vibration tests, and the parts that a fit is made of."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import frame2d
from frame2d.component_tests import CyclicTest, eccs45
from frame2d.errors import InputError
from frame2d.fitting import (
    Effort,
    Fit,
    OscillatorTest,
    fit,
    load_card,
    save_card,
    unnormalised,
    virtual_test,
)
from frame2d.fitting.choose import form_of
from frame2d.fitting.scales import Scales, Side, scales_of
from frame2d.fitting.scores import Target, Weights
from frame2d.fitting.simulate import Driven
from frame2d.fitting.ties import tie
from frame2d.materials import Bilinear, BoucWen, BoucWenStiffened, Elastic, PowerDamper, registered
from frame2d.materials.drive import drive
from frame2d.materials.power import power_near
from frame2d.show.fit_plots import plot_fit, plot_parameters

SMOOTH = BoucWen(k=1e7, Fy=1e5, a=0.03, n=1.7, beta=0.6)
RAMP = np.concatenate([np.linspace(0.0, 0.01, 20), np.linspace(0.01, -0.02, 40)])
PROTOCOL = eccs45(0.01, (2, 4)).by_rate(0.01, 0.25)


@pytest.fixture(scope="module")
def found() -> Fit:
    """A small fit."""
    test = virtual_test(SMOOTH, PROTOCOL, 3).test
    other = virtual_test(SMOOTH, PROTOCOL, 4).test
    return fit(SMOOTH, test, held_back=[other], effort=Effort(generations=0, starts=1), progress=False)


def test_a_card_rebuilds_the_law(found: Fit, tmp_path: Path) -> None:
    """Saved and loaded, the law is the same to the bit, and the card says what it rests on."""
    card = load_card(save_card(found, tmp_path / "device.json", note="invented"))
    assert card.law == found.law
    assert card.data["units"]["force"] == "N" and card.data["made with"]["frame2d"] == frame2d.__version__
    assert card.data["tests"][0]["sha256"] != card.data["held back"][0]["sha256"]
    assert card.fits(found.tests[0]) and not card.fits(found.held_back_tests[0])
    assert card.data["acceptance"]["accepted"] is True
    entry = next(p for p in card.data["parameters"] if p["name"] == "Fy")
    assert entry["interval"][0] < entry["value"] < entry["interval"][1] and entry["source"]


def test_what_is_no_card_is_refused(found: Fit, tmp_path: Path) -> None:
    """A file that is no JSON, no card, or of another edition is named."""
    path = tmp_path / "card.json"
    path.write_text("not json")
    with pytest.raises(InputError, match="is no JSON"):
        load_card(path)
    path.write_text("{}")
    with pytest.raises(InputError, match="not a frame2d device card"):
        load_card(path)
    save_card(found, path)
    path.write_text(json.dumps(json.loads(path.read_text()) | {"edition": 99}))
    with pytest.raises(InputError, match="edition 99"):
        load_card(path)


def test_pictures_show_measured_and_computed(found: Fit) -> None:
    """Loops carry both curves, the caption the errors, the parameter picture a line a parameter."""
    figure = plot_fit(found)
    loops = figure.axes[0]
    assert [line.get_label() for line in loops.lines] == ["measured", "computed"]
    assert "NRMSE" in figure.get_supxlabel() and "kN" in loops.get_ylabel()
    assert "held-back" in plot_fit(found, found.held_back_tests[0]).axes[0].get_title(loc="left")  # type: ignore[arg-type]
    names = [label.get_text() for label in plot_parameters(found).axes[0].get_yticklabels()]
    assert names == ["k", "Fy", "a", "n", "beta"]


def test_the_batch_is_the_driver() -> None:
    """A batch in threads gives the forces of `drive`, law by law, rates included, by the kernel of the force alone too."""
    laws = [
        BoucWen(k=1e7, Fy=1e5 * (1.0 + 0.1 * i), n=1.0 + 0.3 * i, delta_nu=0.01 * i, q=0.1, zeta_s=0.5)
        for i in range(7)
    ]
    test = virtual_test(SMOOTH, PROTOCOL, 1).test
    forces = Driven(test).outputs(laws)
    for law, force in zip(laws, forces, strict=True):
        assert force == pytest.approx(drive(law, test.deformation).force, rel=1e-9, abs=1e-9 * law.Fy)
    other = BoucWenStiffened(k=1e7, Fy=1e5, zeta_s=0.5)  # inherits the parameters, not the kernels
    assert np.array_equal(Driven(test).outputs([other])[0], drive(other, test.deformation).force)
    dampers = [PowerDamper(c=1e5 * (i + 1), alpha=0.5) for i in range(3)]
    rate = Driven(test).outputs(dampers)
    assert rate[1] == pytest.approx(2.0 * rate[0]) and np.abs(rate[0]).max() > 0.0


@pytest.mark.parametrize("n", [0.6, 1.0, 1.7, 2.0, 5.5, 60.0])
def test_a_power_near_a_known_one_is_the_power(n: float) -> None:
    """By series where it is near, by the library's function elsewhere: the same to rounding."""
    for y in 0.3 * (1.0 + np.concatenate([np.linspace(-0.02, 0.02, 41), [-1.0, 2.0]])):
        assert power_near(y, n, 0.3, 0.3**n) == pytest.approx(y**n, rel=1e-13, abs=1e-300)


def test_scales_come_from_the_test_whatever_it_is() -> None:
    """Stiffness and strength are found within 30 % from cycles, and from a monotonic test."""
    law = Bilinear(k=1e7, Fy=1e5, b=0.02)
    for u in (PROTOCOL.deformation, np.linspace(0.0, 0.05, 300)):
        scales = scales_of([virtual_test(law, u, 1).test])
        assert scales.unit("K") == pytest.approx(1e7, rel=0.3)
        assert scales.unit("F") == pytest.approx(1e5, rel=0.3)
        assert scales.unit("U") == pytest.approx(np.abs(u).max(), rel=1e-6)


def test_ties_are_arithmetic_and_nothing_else() -> None:
    """Numbers, names with dots, the four operations, powers and brackets work; calls do not."""
    values = {"a": 2.0, "b.c": 3.0, "positive.F2/F1": 5.0}
    assert tie("x", "-(a + 1) * b.c ** 2 / 4", values).rule(values) == pytest.approx(-6.75)
    assert tie("x", "positive.F2/F1", values).rule(values) == 5.0
    for wrong in ("abs(a)", "a if a else 1", "a +", "'text'", "a[0]"):
        with pytest.raises(InputError):
            tie("x", wrong, values)


def test_squares_of_the_blocks_are_the_score() -> None:
    """The blocks' squares add up to the weighted squares of force, energy and peak errors."""
    test = virtual_test(SMOOTH, PROTOCOL, 2).test
    target = Target("test", test.deformation, test.force)
    force = 1.1 * drive(SMOOTH, test.deformation).force
    errors = target.errors(force)
    blocks = target.blocks(force[None, :], Weights(2.0, 3.0, 4.0))[0]
    peaks = 0.5 * (errors.positive_peak**2 + errors.negative_peak**2)  # type: ignore[operator]
    assert blocks @ blocks == pytest.approx(2.0 * errors.force**2 + 3.0 * errors.energy**2 + 4.0 * peaks)  # type: ignore[operator]
    score = target.scores(force[None, :], Weights(2.0, 0.0, 0.0))[0]
    assert score == pytest.approx(2.0 * errors.force)


def test_the_noise_gradient_is_the_derivative_of_the_normal_equations() -> None:
    """∂(Jᵀr)/∂Fₘ by finite differences of the measured force, denominators held."""
    rng = np.random.default_rng(0)
    u, F = np.sin(np.linspace(0.0, 9.0, 40)), np.cos(np.linspace(0.0, 9.0, 40)) + 0.2
    weights = Weights(1.0, 0.7, 0.3)
    target = Target("test", u, F)
    computed = F + 0.1 * rng.normal(size=F.size)
    J = rng.normal(size=(target.blocks(computed[None, :], weights).shape[1], 3))
    found = target.noise_gradient(J, weights)
    before = J.T @ target.blocks(computed[None, :], weights)[0]
    for i in range(F.size):
        target.force = F.copy()
        target.force[i] += 1e-6
        moved = target.blocks(computed[None, :], weights)[0]
        if weights.peak and i in (int(np.argmax(F)), int(np.argmin(F))):
            for column, sign in enumerate(target.signs):
                if i == int(np.argmax(sign * F)):
                    peak = target.peaks[column]
                    moved[2 * F.size + column] -= np.sqrt(0.5 * weights.peak) * sign * 1e-6 / peak
        assert (J.T @ moved - before) / 1e-6 == pytest.approx(found[i], rel=1e-4, abs=1e-6)


def _linear(samples: int, stiffness: float, mass: float, damping: float) -> OscillatorTest:
    """A linear oscillator under a swept sine, by an adaptive solver."""
    dt = 0.01
    t = np.arange(samples) * dt
    load = 1e3 * np.sin(2.0 * np.pi * (0.5 + 0.5 * t) * t)

    def rate(time: float, y: np.ndarray) -> list[float]:
        return [y[1], (np.interp(time, t, load) - damping * y[1] - stiffness * y[0]) / mass]

    u = solve_ivp(rate, (0.0, t[-1]), [0.0, 0.0], t_eval=t, max_step=dt, rtol=1e-8, atol=1e-12).y[0]
    return OscillatorTest("linear", load, u, dt, mass, damping, parts=8)


def test_a_vibration_test_is_simulated_and_identified() -> None:
    """Displacements agree with an adaptive solver, and the stiffness is found from the resonance on."""
    test = _linear(600, 4e4, 100.0, 200.0)
    computed = test.outputs([Elastic(4e4)])[0]
    assert computed == pytest.approx(test.displacement, abs=2e-3 * np.abs(test.displacement).max())
    assert test.resonance == pytest.approx(np.sqrt(4e4 / 100.0) / (2.0 * np.pi), rel=0.15)
    found = fit("Elastic", test, effort=Effort(generations=10, starts=1), progress=False)
    assert found["k"].value == pytest.approx(4e4, rel=2e-3)
    assert found.errors[0].quantity == "displacement" and found.errors[0].energy is None
    with pytest.raises(InputError, match="cyclic tests"):
        plot_fit(found)


def test_unnormalised_parameters_need_leave_and_warn() -> None:
    """The published set warns, keeps its slopes, and is found again when allowed; else the search stays admissible."""
    with pytest.warns(UserWarning, match="energy may be created"):
        law = unnormalised(5e4, 5e4, 800.0, -1100.0, 1.0)
    u = 1.5e-3 * np.sin(np.linspace(0.0, 12.0, 400)) * np.linspace(0.2, 1.0, 400)
    exact = solve_ivp(
        lambda s, z: [
            5e4 * _slope(s, u) - 800.0 * abs(_slope(s, u)) * z[0] + 1100.0 * _slope(s, u) * abs(z[0])
        ],
        (0.0, 399.0),
        [0.0],
        t_eval=np.arange(400),
        max_step=0.5,
        rtol=1e-8,
    ).y[0]
    assert drive(law, u).force == pytest.approx(5e4 * u + exact, abs=2e-3 * np.abs(exact).max())
    test = virtual_test(law, u, 1, noise=0.002).test
    with pytest.warns(UserWarning, match="energy may be created"):
        found = fit(
            "BoucWen", test, options={"allow_inadmissible": True}, effort=Effort(6, 30, 1), progress=False
        )
    assert found.errors[0].force < 0.005
    assert found["gamma"].value == pytest.approx(-1100.0, rel=0.1)
    admissible = fit("BoucWen", test, effort=Effort(6, 10, 1), profile="none", progress=False)
    assert admissible.law.gamma is None  # type: ignore[attr-defined]


def _slope(s: float, u: np.ndarray) -> float:
    at = min(int(s), u.size - 2)
    return float(u[at + 1] - u[at])


def test_a_fit_of_rotation_and_translation_is_refused() -> None:
    """Tests of different kinds are not mixed."""
    u = PROTOCOL.deformation
    one = CyclicTest("one", u, 1e6 * u)
    two = CyclicTest("two", u, 1e6 * u, "rotation")
    with pytest.raises(InputError, match="one kind"):
        fit("Elastic", [one, two])


@pytest.mark.parametrize("name", list(registered()))
def test_forms_read_what_they_build(name: str) -> None:
    """Numbers drawn within the ranges, built to a law and read from it, are the same; the law has an answer."""
    side = Side(1e7, 1e5, 0.05)
    form, _ = form_of(name, Scales(side, side, 0.1))
    rng = np.random.default_rng(0)
    bounds = [r.bounds(Scales(side, side, 0.1)) for r in form.ranges]
    built = 0
    for _ in range(60):
        values = {b.name: float(b.value(rng.uniform(0.02, 0.98))) for b in bounds}
        try:
            law = form.build(values)
        except InputError:
            continue
        built += 1
        assert form.read(law) == pytest.approx(values, rel=1e-9, abs=1e-12)
        assert np.isfinite(Driven(CyclicTest("ramp", RAMP, RAMP)).outputs([law])).all()
    assert built >= 5
