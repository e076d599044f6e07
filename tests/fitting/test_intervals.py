"""Intervals, noise, and what a test does not determine."""

import json

import numpy as np
import pytest
from scipy.stats import t as student

from benchmarks.fitting import DEVICES, SMOOTH, UNSYMMETRIC, coverage_figures, covered
from frame2d.component_tests import CyclicTest, eccs45
from frame2d.fitting import Effort, fit, virtual_test
from frame2d.fitting.noise import noise_of
from frame2d.materials import BoucWen, Elastic

PROTOCOL = eccs45(0.01, (2, 4)).by_steps(40)
LOCAL = Effort(generations=0, starts=1)


def test_a_linear_law_has_the_textbook_interval() -> None:
    """For F = k·u, the estimate, its standard error and both kinds of interval are those of linear regression."""
    test = virtual_test(Elastic(1e7), PROTOCOL, 1, quantum=0.0).test
    u, F = test.deformation, test.force
    k = float(u @ F / (u @ u))
    sigma = np.sqrt(np.sum((F - k * u) ** 2) / (u.size - 1))
    half = student.ppf(0.975, u.size - 1) * sigma / np.sqrt(u @ u)
    for profile in ("none", "all"):
        p = fit("Elastic", test, effort=LOCAL, profile=profile, progress=False)["k"]
        assert p.value == pytest.approx(k, rel=1e-7)
        assert p.high - p.value == pytest.approx(half, rel=0.03)  # type: ignore[operator]
        assert p.value - p.low == pytest.approx(half, rel=0.03)  # type: ignore[operator]


@pytest.mark.parametrize(("law", "seeds"), [(SMOOTH, 12), (UNSYMMETRIC, 3)], ids=["smooth", "unsymmetric"])
def test_intervals_hold_the_hidden_values(law: object, seeds: int) -> None:
    """Short form of the coverage benchmark: of 60 and 27 intervals at 95 %, at least 85 % hold the truth."""
    held = [covered(law, None, seed, PROTOCOL.deformation)[0] for seed in range(seeds)]  # type: ignore[arg-type]
    share = np.mean([list(each.values()) for each in held])
    assert 0.85 <= share <= 1.0


def test_what_an_elastic_test_does_not_say_is_named() -> None:
    """Below yield, yield force and sharpness are not determined, and a direction with their names says so."""
    test = virtual_test(SMOOTH, PROTOCOL.deformation / 40.0, 1).test
    found = fit(SMOOTH, test, bounds={"Fy": (3e4, 1e6)}, effort=LOCAL, progress=False)
    assert found["k"].status == "fitted"
    assert found["Fy"].status == "not determined"
    named = {name for direction in found.uncertainty.directions for name, _ in direction.shares}
    assert {"n", "beta"} & named and "k" not in named
    assert "not determined" in str(found)


def test_correlations_are_a_correlation_matrix() -> None:
    """Ones on the diagonal, symmetric, positive; k and beta of the smooth law are known to be correlated."""
    found = fit(SMOOTH, virtual_test(SMOOTH, PROTOCOL, 1).test, effort=LOCAL, profile="none", progress=False)
    R = found.correlation
    assert np.diag(R) == pytest.approx(1.0) and pytest.approx(R.T) == R
    assert np.linalg.eigvalsh(R).min() > 0.0
    names = [p.name for p in found.fitted]
    assert R[names.index("k"), names.index("beta")] < -0.5


def test_an_interval_at_a_bound_ends_there() -> None:
    """A device without degradation: the estimate lies at the bound or near, its profile begins there."""
    test = virtual_test(SMOOTH, PROTOCOL, 5).test
    found = fit(
        SMOOTH,
        test,
        free=["degradation"],
        fixed={"delta_A": 0.0, "delta_eta": 0.0},
        progress=False,
        effort=Effort(15, 15, 1),
    )
    p = found["delta_nu"]
    assert p.low == 0.0 and p.interval == "profile" and 0.0 < p.high < 0.02  # type: ignore[operator]


def test_noise_is_told_from_model_error() -> None:
    """White residuals keep τ = 1; those of an autoregressive process have τ = (1 + φ)/(1 − φ)."""
    rng = np.random.default_rng(1)
    e = rng.normal(size=4000)
    white = noise_of("white", e, 0.0)
    assert white.white and white.tau == 1.0 and white.sigma == pytest.approx(1.0, rel=0.05)
    r = np.zeros_like(e)
    for i in range(1, e.size):
        r[i] = 0.8 * r[i - 1] + e[i]
    correlated = noise_of("correlated", r, 0.0)
    assert not correlated.white
    assert correlated.tau == pytest.approx(9.0, rel=0.35)


def test_a_wrong_law_is_found_out_and_its_intervals_grow() -> None:
    """A bilinear law fitted to a smooth device leaves correlated residuals, and says so."""
    test = virtual_test(BoucWen(k=1e7, Fy=1e5, a=0.03, n=1.0, beta=0.6), PROTOCOL, 1).test
    assert isinstance(test, CyclicTest)
    found = fit("Bilinear", test, effort=Effort(10, 20, 1), progress=False)
    assert not found.noise[0].white and found.noise[0].tau > 2.0
    assert "does not explain everything" in str(found)


def test_a_pinched_device_fitted_without_pinching_is_told_what_to_try() -> None:
    """Correlated residuals with groups of parameters left out: the print names them."""
    law = BoucWen(k=1e7, Fy=1e5, a=0.03, n=1.7, beta=0.6, zeta_s=0.9, p=2.0)
    test = virtual_test(law, PROTOCOL, 1).test
    found = fit("BoucWen", test, effort=Effort(6, 10, 1), profile="none", progress=False)
    assert found.unused == ("degradation", "pinching")
    assert "perhaps free=['degradation', 'pinching']" in str(found)


def test_figures_of_the_benchmark_are_plain_data() -> None:
    """A short coverage run gives figures that JSON takes, judged by the goals printed beside them."""
    lines = coverage_figures(seeds=1, points_per_cycle=20, devices=DEVICES[:1])
    read = json.loads(json.dumps(lines))
    assert read == lines and {"name", "value", "unit", "low", "high", "goal", "ok"} == set(read[0])
    assert read[-1]["ok"] == (92.0 <= read[-1]["value"] <= 98.0)
