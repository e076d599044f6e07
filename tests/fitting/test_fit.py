"""Fits of virtual tests, whose hidden parameters are known."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from frame2d.compare import end_work_error, nrmse, peak_error
from frame2d.component_tests import CyclicTest, eccs45, fema461
from frame2d.errors import InputError
from frame2d.fitting import Effort, Fit, Weights, errors_of, fit, hidden_law, mirror, virtual_test
from frame2d.fitting.fitting import problem_of
from frame2d.fitting.problem import Problem
from frame2d.kernels import OK, law_kernel
from frame2d.materials import (
    Bilinear,
    BoucWen,
    BoucWenAsymmetric,
    DeterioratingPeakOriented,
    Elastic,
    Law,
    MenegottoPinto,
    Parallel,
    Pinched,
    registered,
)
from frame2d.materials.drive import drive

SMOOTH = BoucWen(k=1e7, Fy=1e5, a=0.03, n=1.7, beta=0.6)
PINCHED = BoucWen(k=1e7, Fy=1e5, a=0.02, n=1.6, beta=0.65, delta_nu=0.02, zeta_s=0.8, q=0.1, p=0.5, lam=0.3)
PROTOCOL = eccs45(0.01, (2, 4)).by_rate(0.01, 0.25)
OTHER = fema461(0.05).by_steps(40)
QUICK = Effort(generations=25, starts=2)


def quick(law: Any, test: Any, **options: Any) -> Fit:
    """A fit without a bar and with little effort."""
    return fit(law, test, progress=False, **({"effort": QUICK} | options))


@pytest.fixture(scope="module")
def smooth() -> Fit:
    """A smooth device fitted from the name of its law."""
    held_back = virtual_test(SMOOTH, OTHER, 9).test
    return quick("BoucWen", virtual_test(SMOOTH, PROTOCOL, 3).test, held_back=[held_back])


def test_a_smooth_device_is_found_from_the_name_of_its_law(smooth: Fit) -> None:
    """Hidden parameters lie near their intervals, noise is found, and both protocols are met within 3 and 5 %."""
    for p in smooth.fitted:
        assert p.low is not None and p.high is not None
        assert abs(getattr(SMOOTH, p.name) - p.value) < 2.0 * max(p.high - p.value, p.value - p.low)
    peak = np.abs(drive(SMOOTH, PROTOCOL.deformation).force).max()
    assert smooth.noise[0].sigma == pytest.approx(0.02 * peak, rel=0.15) and smooth.noise[0].white
    assert smooth.errors[0].force < 0.03 and smooth.held_back[0].force < 0.05
    assert smooth.accepted and "max − min" in str(smooth)


def test_the_same_seed_gives_the_same_law(smooth: Fit) -> None:
    """Repeated with the same seed, a fit returns the same bits."""
    again = quick("BoucWen", virtual_test(SMOOTH, PROTOCOL, 3).test)
    assert again.law == smooth.law
    assert [p.low for p in again.fitted] == [p.low for p in smooth.fitted]


def test_errors_are_those_of_the_comparison(smooth: Fit) -> None:
    """Force, energy and peak errors equal the indices of the comparison module."""
    test, errors = smooth.tests[0], smooth.errors[0]
    assert isinstance(test, CyclicTest)
    force = drive(smooth.law, test.deformation).force
    assert errors.force == pytest.approx(nrmse(test.force, force, "range").value, rel=1e-9)
    assert errors.end_energy == pytest.approx(
        end_work_error(test.deformation, test.force, test.deformation, force), abs=1e-12
    )
    assert errors.positive_peak == pytest.approx(peak_error(test.force, force, 1), rel=1e-9)
    assert errors.negative_peak == pytest.approx(peak_error(test.force, force, -1), rel=1e-9)


@pytest.mark.parametrize(
    ("law", "free"),
    [
        (PINCHED, ["zeta_s", "q", "p", "psi", "lam", "delta_nu", "k", "Fy", "a", "n", "beta"]),
        (BoucWenAsymmetric.from_phases(1e7, 1.2e5, 0.03, 1.5, (1.0, -0.5, 1.3, 2.4, -0.4, 1.2)), None),
        (Pinched.example(), None),
    ],
    ids=["pinched smooth", "unsymmetric", "pinched straight"],
)
def test_pinched_and_unsymmetric_devices_are_found(law: Law, free: Any) -> None:
    """Force errors stay under 3 % on the fitted and 5 % on the held-back protocol."""
    held_back = virtual_test(law, OTHER, 9).test
    found = quick(
        type(law), virtual_test(law, PROTOCOL, 3).test, free=free, held_back=[held_back], profile="none"
    )
    assert found.errors[0].force < 0.03
    assert found.held_back[0].force < 0.05


def test_a_doubtful_search_goes_on_until_what_is_left_is_noise() -> None:
    """A law of straight lines has many local optima: a short search ends in one, and one that may go on does not."""
    hidden = hidden_law(DeterioratingPeakOriented, 3, 0.5)
    test = virtual_test(hidden, eccs45(0.01, (2, 4, 6, 8)).by_steps(40).deformation, 3, 0.01).test
    short = Effort(generations=25, starts=2, doubt=1, again=0)
    stuck = quick("DeterioratingPeakOriented", test, effort=short, profile="none", seed=3)
    found = quick("DeterioratingPeakOriented", test, profile="none", seed=3)
    assert not stuck.noise[0].white and found.noise[0].white
    assert found.errors[0].force < 0.5 * stuck.errors[0].force


def test_a_wrong_law_is_not_searched_for_ever() -> None:
    """Starts that agree say that the law is wrong, not the search: then it ends as it would have without doubt."""
    test = virtual_test(BoucWen(k=1e7, Fy=1e5, a=0.03, n=1.0), PROTOCOL, 1).test
    found = [
        quick("Bilinear", test, effort=Effort(8, 20, 4, again=again), profile="none") for again in (0, 3)
    ]
    assert not found[0].noise[0].white and found[1].evaluations == found[0].evaluations


@pytest.mark.parametrize("name", list(registered()))
def test_every_registered_law_can_be_fitted(name: str) -> None:
    """From its name alone each law is fitted to a virtual test of its example within 6 % of the range."""
    law = registered()[name].example()
    reach = 0.05 / 8.0
    u = eccs45(reach, (2, 4, 8)).by_rate(0.02, 0.25)
    test = virtual_test(law, u, 1).test
    pinched = issubclass(type(law), BoucWen)
    free = ["degradation", "pinching"] if pinched else None
    effort = Effort(4, 8, 1, 15, doubt=1, again=0) if pinched else Effort(6, 30, 2, doubt=1, again=0)
    found = quick(name, test, free=free, effort=effort, profile="none")
    assert type(found.law) is type(law)
    assert found.errors[0].force < 0.06


@law_kernel
def _cubic(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    out[0] = p[0] * u + p[1] * u * u * u
    out[1] = p[0] + 3.0 * p[1] * u * u
    out[2] = 0.0
    out[3] = 0.5 * p[0] * u * u + 0.25 * p[1] * u**4
    return OK


@dataclass(frozen=True)
class OwnCubic(Law):
    """F = k·u + c·u³, as a user writes it."""

    k: float
    c: float
    kernel = _cubic

    @property
    def stiffness(self) -> float:
        return self.k


def test_a_law_of_ones_own_is_fitted_within_bounds() -> None:
    """A law that is not registered is fitted from an instance, within the bounds given."""
    test = virtual_test(OwnCubic(2e6, 4e8), PROTOCOL, 1).test
    found = quick(OwnCubic(1e6, 1e8), test, bounds={"c": (1e7, 1e10)})
    assert found["k"].value == pytest.approx(2e6, rel=0.02)
    assert found["c"].value == pytest.approx(4e8, rel=0.05)
    assert found["c"].bounds == (1e7, 1e10)
    with pytest.raises(InputError, match="no table of ranges"):
        fit(OwnCubic, test)


def test_parameters_can_be_fixed_and_tied() -> None:
    """Fixed values stay, tied ones follow their rule as text or function, and neither is searched."""
    test = virtual_test(SMOOTH, PROTOCOL, 2).test
    found = quick(
        "BoucWen", test, fixed={"a": 0.03}, tied={"n": "1 + beta", "q": lambda values: values["a"] / 2.0}
    )
    assert found["a"].value == 0.03 and found["a"].status == "fixed"
    assert found["n"].value == pytest.approx(1.0 + found["beta"].value)
    assert found["n"].rule == "1 + beta" and found["q"].value == 0.015
    assert {p.name for p in found.fitted} == {"k", "Fy", "beta"}


def test_groups_and_names_add_to_the_usual_parameters_names_alone_do_not() -> None:
    """A group frees its parameters, the usual ones and the names beside it; names free these alone."""
    test = virtual_test(SMOOTH, PROTOCOL, 2).test

    def free(asked: Any) -> set[str]:
        return {b.name for b in problem_of("BoucWen", [test], free=asked).free}

    usual, pinching = {"k", "Fy", "a", "n", "beta"}, {"zeta_s", "q", "p", "psi", "delta_psi", "lam"}
    assert free(None) == usual
    assert free("pinching") == usual | pinching
    assert free(("pinching", "delta_eta")) == usual | pinching | {"delta_eta"}
    assert free(("k", "delta_eta")) == {"k", "delta_eta"}


def test_both_sides_can_be_mirrored() -> None:
    """With `mirror` the negative envelope is that of the positive side."""
    law = Pinched(positive=((0.01, 1e5), (0.04, 1.3e5)), negative=((-0.01, -1e5), (-0.04, -1.3e5)))
    found = quick("Pinched", virtual_test(law, PROTOCOL, 2).test, tied=mirror("Pinched"))
    assert isinstance(found.law, Pinched)
    assert np.array(found.law.negative) == pytest.approx(-np.array(found.law.positive))
    assert found["positive.Fy"].value == pytest.approx(1e5, rel=0.02)
    with pytest.raises(InputError, match="two sides"):
        mirror("Bilinear")


def test_several_tests_are_fitted_at_once_each_with_its_noise() -> None:
    """A precise and a noisy test together: each gets its own noise, and the precise one rules."""
    precise = virtual_test(SMOOTH, PROTOCOL, 1, noise=0.002).test
    noisy = virtual_test(SMOOTH, OTHER, 2, noise=0.05).test
    found = quick("BoucWen", [precise, noisy])
    assert found.noise[1].sigma > 10.0 * found.noise[0].sigma
    alone = quick("BoucWen", noisy)
    width = {p.name: p.high - p.low for p in found.fitted}  # type: ignore[operator]
    assert all(width[p.name] < 0.3 * (p.high - p.low) for p in alone.fitted)  # type: ignore[operator]


def test_nested_laws_are_fitted_part_by_part() -> None:
    """The numbers of laws side by side bear the place of their law."""
    law = Parallel((Bilinear(1e7, 1e5, 0.02), Elastic(5e5)))
    found = quick(law, virtual_test(law, PROTOCOL, 1).test, fixed={"0.b": 0.02})
    assert found["1.k"].value == pytest.approx(5e5, rel=0.05)
    assert found["0.Fy"].value == pytest.approx(1e5, rel=0.02)


def test_weighted_fits_report_their_own_spread() -> None:
    """Least weighted squares end near the likelihood's law, with intervals that are no shorter."""
    test = virtual_test(SMOOTH, PROTOCOL, 3).test
    best = quick("BoucWen", test, profile="none")
    weighted = quick("BoucWen", test, estimate="weighted", weights=Weights(1.0, 1.0, 0.0))
    for p, q in zip(best.fitted, weighted.fitted, strict=True):
        assert abs(q.value - p.value) < 3.0 * (q.high - q.low)  # type: ignore[operator]
        assert q.high - q.low > 0.95 * (p.high - p.low)  # type: ignore[operator]
    assert "sandwich" in str(weighted)


def test_an_interrupted_fit_keeps_the_best_so_far(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C in the global search returns the best law met, flagged."""
    calls, scores = [0], Problem.scores

    def interrupted(self: Problem, X: np.ndarray) -> np.ndarray:
        calls[0] += 1
        if calls[0] == 8:
            raise KeyboardInterrupt
        return scores(self, X)

    monkeypatch.setattr(Problem, "scores", interrupted)
    found = quick("BoucWen", virtual_test(SMOOTH, PROTOCOL, 3).test)
    assert found.interrupted and "INTERRUPTED" in str(found)
    assert found.errors[0].force < 0.1


def test_unknown_names_and_wrong_bounds_are_refused() -> None:
    """Errors name the parameter, the value and what is allowed."""
    test = virtual_test(SMOOTH, PROTOCOL, 3).test
    with pytest.raises(InputError, match="did you mean 'BoucWen'"):
        fit("BoucWenn", test)
    with pytest.raises(InputError, match=r"fixed parameter of BoucWen is 'fy'.*did you mean 'Fy'"):
        fit("BoucWen", test, fixed={"fy": 1.0})
    with pytest.raises(InputError, match="bounds of k"):
        fit("BoucWen", test, bounds={"k": (2.0, 1.0)})
    with pytest.raises(InputError, match="fixed and tied"):
        fit("BoucWen", test, fixed={"n": 2.0}, tied={"n": "a"})
    with pytest.raises(InputError, match="no parameter of Elastic is free"):
        fit("Elastic", test, fixed={"k": 1.0})
    with pytest.raises(InputError, match="arithmetic"):
        fit("BoucWen", test, tied={"n": "__import__('os')"})
    with pytest.raises(InputError, match="tests is empty"):
        fit("BoucWen", [])


def test_hidden_laws_vary_only_what_a_fit_frees() -> None:
    """What `free` leaves out stays as it is in the law that was given."""
    law = MenegottoPinto.example()
    hidden = hidden_law(law, 1, free=None)
    assert hidden.a3 == law.a3 and hidden.Fy != law.Fy  # type: ignore[attr-defined]
    assert hidden_law(law, 1).a3 != law.a3  # type: ignore[attr-defined]
    assert hidden_law(law, 1, free=["Fy"]).k == law.k  # type: ignore[attr-defined]


def test_hidden_laws_and_virtual_tests_are_seeded() -> None:
    """The same seed hides the same law; noise and steps are those asked for, and steps are whole."""
    assert hidden_law(SMOOTH, 5) == hidden_law(SMOOTH, 5) != hidden_law(SMOOTH, 6)
    made = virtual_test(SMOOTH, PROTOCOL, 4, noise=0.02, quantum=0.01)
    again = virtual_test(SMOOTH, PROTOCOL, 4, noise=0.02, quantum=0.01)
    assert np.array_equal(made.test.force, again.test.force)
    peak = np.abs(made.force).max()
    steps = made.test.force / (0.01 * peak)
    assert steps == pytest.approx(np.round(steps), abs=1e-9)
    spread = np.std(made.test.force - made.force) / peak
    assert spread == pytest.approx(np.hypot(0.02, 0.01 / np.sqrt(12.0)), rel=0.1)
    assert "virtual" in made.test.name and "noise 2 %" in made.test.processing[0]
    assert errors_of(made.hidden, made.test).force == pytest.approx(
        spread * peak / np.ptp(made.test.force), rel=0.05
    )
