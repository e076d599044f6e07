"""Synthetic and adjusted records: they meet their target, end at rest, and say what they are."""

import numpy as np
import pytest

from frame2d.errors import Frame2dError, InputError
from frame2d.motions import (
    ElasticSpectrum,
    Envelope,
    GivenTarget,
    Pulse,
    Record,
    adjust,
    check_suite,
    end_of,
    response_spectra,
    synthetic_record,
    synthetic_suite,
    velocity,
    zero_end,
)
from frame2d.motions.adjustment import one_sided

TARGET = ElasticSpectrum(2.0, "B")
SHORT = {"dt": 0.01, "envelope": Envelope(1.0, 5.0, 3.0), "periods": np.geomspace(0.04, 3.0, 60)}


def test_a_synthetic_record_meets_its_target_between_the_periods_too():
    """Within 5 % at the periods asked for, within 20 % in between, at rest at its end, from zero to zero."""
    made = synthetic_record(TARGET, 11, **SHORT)
    found = response_spectra(made, SHORT["periods"]).PSA / TARGET.acceleration(SHORT["periods"])
    assert np.abs(found - 1.0).max() <= 0.05
    between = np.geomspace(0.04, 3.0, 397)
    assert np.abs(response_spectra(made, between).PSA / TARGET.acceleration(between) - 1.0).max() < 0.2
    v, d = end_of(made)
    assert abs(v) < 1e-12 and abs(d) < 1e-11 and abs(made.acceleration[0]) < 1e-12
    assert made.synthetic and made.stationary == 5.0 and "seed 11" in made.provenance[0]


def test_the_seed_decides():
    """The same seed gives the same bits, another seed another record, and a suite grows without changing."""
    one, same = synthetic_record(TARGET, 3, **SHORT), synthetic_record(TARGET, 3, **SHORT)
    assert np.array_equal(one.acceleration, same.acceleration)
    two, three = synthetic_suite(TARGET, 2, 3, **SHORT), synthetic_suite(TARGET, 3, 3, **SHORT)
    for first, second in zip(two, three, strict=False):
        assert np.array_equal(first.acceleration, second.acceleration)
    assert abs(np.corrcoef(three[0].acceleration, three[1].acceleration)[0, 1]) < 0.3
    assert [record.name for record in three] == ["synthetic 1", "synthetic 2", "synthetic 3"]


def test_a_suite_of_full_length_passes_the_rules_for_artificial_records():
    """Three records with 10 s of stationary part, matched to 5 % from 0.02 s, pass 3.2.3.1.2."""
    suite = synthetic_suite(TARGET, 3, 1, dt=0.01, periods=np.geomspace(0.03, 2.5, 60))
    report = check_suite(suite, TARGET, 0.8, kind="artificial", factors=[1.06] * 3)
    assert report.passed and not report.open, report.table()


def test_a_pulse_stays_in_the_record():
    """Near the pulse the velocity holds about one times the pulse, and the whole still meets the target."""
    pulse = Pulse(0.16, 1.4, 4.0)
    shares = []
    for seed in (1, 2, 3):
        made = synthetic_record(
            TARGET, seed, pulse=pulse, **(SHORT | {"periods": np.geomspace(0.04, 3.0, 40)})
        )
        found = response_spectra(made, np.geomspace(0.04, 3.0, 40)).PSA
        assert np.abs(found / TARGET.acceleration(np.geomspace(0.04, 3.0, 40)) - 1.0).max() <= 0.05
        inside = np.abs(made.time - 4.0) < 1.4
        own = velocity(Record(pulse.acceleration(made.time), made.dt, "pulse"))[inside]
        v = velocity(made)[inside]
        shares.append((v - v.mean()) @ own / (own @ own))
        assert str(pulse) in made.provenance
    assert 0.7 < np.mean(shares) < 1.3 and min(shares) > 0.5


@pytest.mark.parametrize(("cycles", "phase"), [(1.5, 0.0), (2.0, np.pi / 2), (3.0, -0.4)])
def test_the_pulse_is_smooth_and_has_its_amplitude(cycles, phase):
    """Acceleration is the derivative of the published velocity, is zero at both ends, and leaves no velocity."""
    pulse = Pulse(0.5, 1.2, 3.0, cycles, phase)
    t = np.linspace(0.0, 6.0, 60001)
    s = t - 3.0
    w = 2 * np.pi / 1.2
    inside = np.abs(s) <= 0.6 * cycles
    v = np.where(inside, 0.25 * (1 + np.cos(w * s / cycles)) * np.cos(w * s + phase), 0.0)
    a = pulse.acceleration(t)
    middle = slice(1, -1)
    assert np.allclose(a[middle], np.gradient(v, t)[middle], atol=2e-3)
    assert np.abs(np.diff(a)).max() < 2e-3 and abs(np.trapezoid(a, t)) < 1e-6


def test_wrong_pulses_are_named():
    """A pulse over the target, outside the record, or of one cycle is refused with what is allowed."""
    with pytest.raises(InputError, match="allowed: at most"):
        synthetic_record(TARGET, 5, pulse=Pulse(2.0, 1.4, 4.0), **SHORT)
    with pytest.raises(InputError, match="within 0 to 9 s"):
        synthetic_record(TARGET, 5, pulse=Pulse(0.1, 1.4, 0.5), **SHORT)
    with pytest.raises(InputError, match="cycles"):
        Pulse(0.1, 1.0, 1.0, cycles=1.0)


def test_a_tolerance_out_of_reach_is_an_error():
    """A record that cannot meet its target says how close it came."""
    spike = GivenTarget([0.0, 0.09, 0.1, 0.11, 4.0], [1.0, 1.0, 20.0, 1.0, 1.0])
    with pytest.raises(Frame2dError, match="comes within"):
        synthetic_record(
            spike, 1, dt=0.02, envelope=Envelope(0.5, 1.0, 0.5), periods=np.geomspace(0.08, 1.0, 12)
        )


def test_an_adjusted_record_keeps_its_character_and_its_end():
    """A scaled record of another ground is brought within 5 %, ends as it did, and still resembles itself."""
    seed = synthetic_record(ElasticSpectrum(2.0, "C"), 8, **SHORT)
    seed = zero_end(Record(seed.acceleration, seed.dt, "stand-in of a recorded motion", True))
    fit = adjust(seed, TARGET, SHORT["periods"])
    assert (
        fit.converged and np.abs(fit.ratio_after - 1.0).max() <= 0.05 < np.abs(fit.ratio_before - 1.0).max()
    )
    v, d = end_of(fit.record)
    assert abs(v) < 1e-11 and abs(d) < 1e-10
    assert np.corrcoef(fit.record.acceleration, seed.acceleration)[0, 1] > 0.8
    assert fit.record.raw is not None and "wavelets" in fit.record.provenance[-1]
    found = response_spectra(fit.record, fit.periods).PSA / TARGET.acceleration(fit.periods)
    assert np.allclose(found, fit.ratio_after)


def test_an_adjustment_that_fails_says_so_and_raises_nothing():
    """With no iterations allowed the record stays as it is, and the ratios tell the truth."""
    seed = Record(np.sin(np.arange(500) / 5.0), 0.01, "sine", True)
    fit = adjust(seed, TARGET, [0.2, 1.0], iterations=0)
    assert not fit.converged and fit.iterations == 0
    assert np.allclose(fit.record.acceleration, seed.acceleration)
    with pytest.raises(InputError, match="at least two steps"):
        adjust(seed, TARGET, [0.01])
    with pytest.raises(InputError, match="undamped"):
        adjust(seed, ElasticSpectrum(1.0, damping=0.0))


def test_one_sided_least_squares_meets_what_can_be_met():
    """Rows that are met already do not pull; the others are met up to the ridge, as a general minimiser finds."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(0)
    G, h = rng.normal(size=(30, 12)), rng.normal(size=30)
    x = one_sided(G, h, 0.1)

    def cost(y):  # type: ignore[no-untyped-def]
        return 0.05 * y @ y + 0.5 * np.sum(np.maximum(0.0, h - G @ y) ** 2)

    best = minimize(cost, np.zeros(12), method="BFGS", options={"gtol": 1e-9})
    assert cost(x) == pytest.approx(best.fun, rel=1e-8)


@pytest.mark.parametrize("options", [{"rise": 0.0}, {"strong": -1.0}, {"fade": np.inf}])
def test_wrong_envelopes_are_named(options):
    """Envelope parts that are not positive are refused."""
    with pytest.raises(InputError, match="envelope"):
        Envelope(**options)
