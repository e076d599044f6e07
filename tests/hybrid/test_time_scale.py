"""Which time scale is recommended: capacities within the gate, a stable loop, confirmed by trial runs."""

import math

import numpy as np
import pytest

from frame2d.demo import laboratory
from frame2d.errors import InputError
from frame2d.hybrid.compensation import polynomial
from frame2d.hybrid.margin import Margin
from frame2d.hybrid.time_scale import Stability, recommended_time_scale, stability
from frame2d.motions.record import Record

T = np.arange(161) * 0.005
PULSE = Record(3.0 * np.sin(9.0 * T) * np.sin(np.pi * T / T[-1]), 0.005, "invented pulse", synthetic=True)


def margin(damping):
    return Margin(1.0 - 1e-3 * damping, damping >= 0.0, np.ones(1), np.array([damping]))


def falling(scale, fixed=0.02, at_one=8.0):
    """Used share of a rig that follows with an error that falls with λ, and noise that does not."""
    return fixed + at_one / scale


@pytest.mark.parametrize("rehearsed", [5.0, 10.0, 20.0, 50.0, 70.0, 200.0])
def test_the_recommendation_does_not_depend_on_where_it_was_rehearsed(rehearsed):
    """From every time scale the same one is found, the fastest whose own runs stay within the gate: a fixed point."""
    choice = recommended_time_scale(rehearsed, falling(rehearsed), falling)
    assert choice.time_scale == 20.0 and "stability was not asked" in choice.words[0]
    assert f"rehearsed at {rehearsed:g}" in choice.words[0] and choice.words[1].startswith(
        "not faster, for at λ = 10"
    )


def test_a_loop_that_would_lose_its_damping_is_not_recommended():
    """A scale that is unstable, or leaves less than half of the damping without lag, is passed over, whatever it uses."""
    left = {1.0: -0.001, 2.0: 0.002, 5.0: 0.0049, 10.0: 0.0051}

    def stability_at(scale):
        return Stability(scale, 0.012, margin(left.get(scale, 0.009)), margin(0.01))

    choice = recommended_time_scale(50.0, 0.1, lambda scale: 0.1, stability_at)
    assert choice.time_scale == 10.0 and choice.stability.margin.least == 0.0051
    assert "least damping ratio 0.510%" in choice.words[0] and "at least 0.500% wanted" in choice.words[0]
    assert "λ = 5 damping falls too low" in choice.words[1] and "0.490%" in choice.words[1]


def test_a_run_that_breaks_down_and_a_lag_that_cannot_be_compensated_refuse_a_scale():
    """Both are reasons, told in words, and if every scale has one, none is recommended."""

    def lag_too_long(scale):
        if scale < 5.0:
            polynomial(2, 0.05 / scale, 0.005)
        return Stability(scale, 0.05, margin(0.01), margin(0.01))

    choice = recommended_time_scale(20.0, 0.5, lambda scale: math.inf if scale < 10.0 else 0.6, lag_too_long)
    assert choice.time_scale == 10.0 and "λ = 5: a run breaks down" in choice.words[1]
    none = recommended_time_scale(
        200.0, 0.9, lambda scale: pytest.fail("no faster one is tried"), lag_too_long
    )
    assert none.time_scale is None and none.stability is None and "none of those up to 200" in none.words[0]
    with pytest.raises(InputError, match="lag over step"):
        polynomial(2, 0.05, 0.005)


def test_the_demo_is_not_sent_to_a_time_scale_at_which_its_loop_is_unstable():
    """At a weak motion the rig could follow at λ = 1, but with the largest lag the loop is unstable there and is refused."""
    found = laboratory.rehearse_demo(PULSE, 0.05, 2, time_scale=5.0)
    declared, lag = laboratory.demo_specimen().declared(0.1), laboratory.demo_lag()
    lags = (lag - 0.002, lag, lag + 0.004)

    def at(scale):
        weights = polynomial(2, lag / scale, laboratory.DT).weights
        solver = laboratory.demo_solver(PULSE, time_scale=scale)
        return stability(solver, declared.credible, lags, weights)

    assert not at(1.0).margin.stable and at(1.0).lag == lag + 0.004
    assert found.recommended_time_scale > 1.0 and found.stability.enough
    alone = at(found.recommended_time_scale)
    assert found.stability.margin.least == pytest.approx(alone.margin.least, rel=1e-6)
    assert any(str(found.stability) in line and "least damping ratio" in line for line in found.words)
    assert found.plain()["least_damping"] == found.stability.margin.least > 0.004
