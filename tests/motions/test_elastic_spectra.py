"""Elastic spectra against the published case, scipy's exact discretisation and a fine matrix exponential."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.signal import lsim

from frame2d.errors import InputError
from frame2d.motions import Record, response_history, response_spectra

CORNERS = np.array([0, 0.1, 0.3, 0.5, 0.7, 0.8, 1.0]), np.array([0, 3, -4, 3, -1.5, 0, 0])
#: T, SD, SD10, PSA, SA, SV of case RS-1 (Nigam & Jennings 1969).
CASE = np.array(
    [
        [0.1, 0.001032823, 0.0010321471916, 4.077421, 4.079687, 0.0190444],
        [0.2, 0.004822113, 0.0048203139198, 4.759235, 4.768947, 0.1139293],
        [0.5, 0.05388028, 0.053879048055, 8.508433, 8.554642, 0.6868827],
        [1.0, 0.04122776, 0.041200568634, 1.627607, 1.646879, 0.4221733],
        [2.0, 0.04255816, 0.042525439996, 0.4200322, 0.4381678, 0.277563],
    ]
)


def polygon(dt):  # type: ignore[no-untyped-def]
    t = dt * np.arange(round(1.0 / dt) + 1)
    return Record(np.interp(t, *CORNERS), dt, f"polygon at {dt:g} s")


@pytest.mark.parametrize("dt", [0.1, 0.05, 0.01])
def test_the_polygon_has_its_published_spectrum(dt):
    """The continuous peaks do not depend on the step that describes the polygon, even at one step a period."""
    found = response_spectra(polygon(dt), CASE[:, 0], 0.05, tail=9.0)
    for values, column in ((found.SD, 1), (found.PSA, 3), (found.SA, 4), (found.SV, 5)):
        assert np.allclose(values, CASE[:, column], rtol=2e-6)
    assert np.allclose(found.PSV, found.PSA * CASE[:, 0] / 2 / np.pi)


def test_the_sampled_peaks_are_those_of_the_recursion():
    """Peaks at samples of 0.01 s have all printed digits of the published case."""
    found = response_spectra(polygon(0.01), CASE[:, 0], 0.05, at="samples", tail=9.0)
    assert np.allclose(found.SD, CASE[:, 2], rtol=1e-8)


def test_the_default_tail_finds_the_last_peak():
    """Free vibration after the record is looked at long enough without being asked."""
    short = Record(polygon(0.1).acceleration[:9], 0.1, "cut at its end")
    assert np.allclose(response_spectra(short, CASE[:, 0]).SD, CASE[:, 1], rtol=2e-6)


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 1000),
    period=st.floats(0.02, 5.0),
    damping=st.sampled_from([0.0, 0.02, 0.05, 0.3, 0.95]),
    dt=st.sampled_from([0.01, 0.05]),
)
def test_peaks_inside_steps_are_those_of_a_fine_solution(seed, period, damping, dt):
    """SD, SV and SA of random polygons agree with the matrix exponential on a step 40 times finer, from below."""
    a = np.random.default_rng(seed).normal(size=30)
    record = Record(a, dt, "random")
    found = response_spectra(record, period, damping, tail=0.0)
    w, parts = 2 * np.pi / period, 40 * max(1, int(np.ceil(dt / period)))
    h = dt / parts
    system = np.zeros((4, 4))
    system[0, 1], system[1, :3], system[2, 3] = 1.0, (-w * w, -2 * damping * w, -1.0), 1.0
    step, x, peak = expm(system * h), np.zeros(4), np.zeros(3)
    for start, end in itertools.pairwise(a):
        x[2], x[3] = start, (end - start) / dt
        for _ in range(parts):
            x = step @ x
            total = w * w * x[0] + 2 * damping * w * x[1]
            peak = np.maximum(peak, np.abs([x[0], x[1], total]))
    for ours, reference in zip((found.SD, found.SV, found.SA), peak, strict=True):
        assert reference * (1 - 1e-9) <= ours <= reference * 1.005


@pytest.mark.parametrize("period", [0.05, 0.7, 30.0])
def test_histories_agree_with_a_general_solver(period):
    """u and its rate agree with scipy's solution for linear interpolation, long periods included."""
    a = np.random.default_rng(5).normal(size=800)
    w, z = 2 * np.pi / period, 0.05
    _, y, _ = lsim(
        ([[0, 1], [-w * w, -2 * z * w]], [[0], [-1]], np.eye(2), np.zeros((2, 1))), a, 0.01 * np.arange(800)
    )
    u, v = response_history(Record(a, 0.01, "r"), period, z)
    assert np.allclose(u, y[:, 0], atol=1e-10 * np.abs(y[:, 0]).max())
    assert np.allclose(v, y[:, 1], atol=1e-10 * np.abs(y[:, 1]).max())


def test_limits_of_the_spectrum():
    """Stiff oscillators see the ground acceleration, soft ones its displacement; T = 0 is rigid by definition."""
    a = np.sin(2 * np.pi * np.arange(201) / 200) * np.pi * 2
    record = Record(a, 0.01, "one sine of acceleration")
    stiff = response_spectra(record, [0.0, 0.02], tail=0.0)
    assert stiff.PSA[0] == stiff.SA[0] == np.abs(a).max() and stiff.SD[0] == 0.0
    assert stiff.PSA[1] == pytest.approx(np.abs(a).max(), rel=0.01)
    soft = response_spectra(record, 100.0, 0.0, tail=0.0)
    assert pytest.approx(4.0, rel=0.01) == soft.SD  # m: A·t/ω less the sine, at its end


def test_shapes_follow_the_question():
    """One record, damping or period takes no axis; several do, and threads change no bit."""
    suite = [
        Record(np.random.default_rng(i).normal(size=300), 0.01 + 0.01 * (i % 2), f"r{i}") for i in range(5)
    ]
    T, zeta = np.geomspace(0.05, 2, 47), [0.02, 0.05, 0.1]
    whole = response_spectra(suite, T, zeta, threads=2)
    assert whole.SD.shape == whole.PSA.shape == (5, 3, 47)
    assert response_spectra(suite[0], 1.0).SD.shape == () and response_spectra(suite, T).SD.shape == (5, 47)
    assert np.array_equal(whole.SA, response_spectra(suite, T, zeta, threads=1).SA)
    assert np.array_equal(whole.SD[3, 1], response_spectra(suite[3], T, 0.05, tail=None).SD)
    sampled = response_spectra(suite, T, zeta, at="samples")
    assert (
        np.all(sampled.SD <= whole.SD) and np.all(sampled.SV <= whole.SV) and np.all(sampled.SA <= whole.SA)
    )


@settings(max_examples=10, deadline=None)
@given(factor=st.floats(-100, 100).filter(lambda x: abs(x) > 1e-3))
def test_spectra_are_homogeneous(factor):
    """A record times a factor, of either sign, has its spectrum times the factor's size."""
    one = Record(np.random.default_rng(1).normal(size=200), 0.02, "one")
    other = Record(factor * one.acceleration, 0.02, "other")
    T = [0.1, 1.0]
    assert np.allclose(response_spectra(other, T).SA, abs(factor) * response_spectra(one, T).SA, rtol=1e-9)


@pytest.mark.parametrize(
    ("periods", "damping", "options", "words"),
    [
        (-1.0, 0.05, {}, "periods are"),
        ([1.0, 400.0], 0.05, {}, "frequencies"),
        ([], 0.05, {}, "periods are"),
        (1.0, 5.0, {}, "5 for 5 %"),
        (1.0, np.nan, {}, "damping is"),
        (1.0, 0.05, {"at": "peaks"}, "spectra at"),
        (1.0, 0.05, {"tail": -1.0}, "tail is"),
    ],
)
def test_wrong_questions_are_named(periods, damping, options, words):
    """Periods, damping and options out of range are named."""
    with pytest.raises(InputError, match=words):
        response_spectra(polygon(0.1), periods, damping, **options)
    with pytest.raises(InputError, match="records"):
        response_spectra([], 1.0)
    with pytest.raises(InputError, match="bare array"):
        response_spectra([np.zeros(10)], 1.0)
