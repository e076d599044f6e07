"""Records, spectra, targets and synthetic motions against closed forms and published cases."""

import numpy as np
import pytest
from scipy.signal import lsim

from frame2d.errors import InputError
from frame2d.motions import (
    ElasticSpectrum,
    Envelope,
    Record,
    arias,
    hazard_factor,
    pga,
    read_text,
    response_history,
    response_spectra,
    synthetic_record,
    zero_end,
)


def record(seed=1, n=600, dt=0.01):  # type: ignore[no-untyped-def]
    """Seeded noise under a half-sine envelope."""
    a = np.random.default_rng(seed).normal(size=n) * np.sin(np.pi * np.arange(n) / n)
    return Record(a, dt, "noise", True)


def test_the_spectrum_agrees_with_a_general_solver():
    """Largest sampled displacement equals that of scipy's exact discretisation for linear interpolation."""
    motion = record()
    period, damping = 0.5, 0.05
    omega = 2 * np.pi / period
    system = ([-1.0], [1.0, 2 * damping * omega, omega**2])
    _, u, _ = lsim(system, motion.acceleration, motion.dt * np.arange(motion.acceleration.size))
    ours, _ = response_history(motion, period, damping)
    assert np.allclose(ours[: u.size], u, atol=1e-9 * np.abs(u).max())


def test_the_spectrum_scales_with_the_record():
    """Twice the motion gives twice the spectrum."""
    one = response_spectra(record(), [0.2, 1.0], 0.05)
    double = response_spectra(Record(2 * record().acceleration, 0.01, "double", True), [0.2, 1.0], 0.05)
    assert np.allclose(double.SD, 2 * one.SD, rtol=1e-12)


def test_the_target_has_its_code_values():
    """EN 1998-1 type 1, ground C, ag = 2.5 m/s²: values at corner periods (CHECKS of eqs 3.2 to 3.5)."""
    values = ElasticSpectrum(ag=2.5, ground="C").acceleration([0.03, 0.1, 0.5, 1.0, 3.0])
    assert np.allclose(values, [3.521875, 5.03125, 7.1875, 4.3125, 0.958333333], rtol=1e-6)


def test_a_synthetic_record_matches_and_says_so():
    """The synthetic record meets its target within the tolerance, ends at rest, and is labelled."""
    target = ElasticSpectrum(ag=2.0, ground="B")
    periods = np.geomspace(0.1, 2.0, 20)
    made = synthetic_record(
        target, seed=4, dt=0.01, envelope=Envelope(1, 4, 3), periods=periods, tolerance=0.1
    )
    found = response_spectra(made, periods, 0.05).PSA
    assert made.synthetic
    assert np.abs(found / target.acceleration(periods) - 1).max() <= 0.1 + 1e-9
    velocity = np.cumsum(0.5 * (made.acceleration[1:] + made.acceleration[:-1])) * made.dt
    assert abs(velocity[-1]) < 1e-6 * np.abs(velocity).max()
    again = synthetic_record(
        target, seed=4, dt=0.01, envelope=Envelope(1, 4, 3), periods=periods, tolerance=0.1
    )
    assert np.array_equal(made.acceleration, again.acceleration)


def test_measures_and_hazard_have_closed_forms():
    """Arias intensity of a constant is π/(2g)·a²·T, and 95 years has 0.585 of the 475-year acceleration."""
    flat = Record(np.full(1001, 2.0), 0.01, "flat", True)
    assert pga(flat) == 2.0
    assert arias(flat) == pytest.approx(np.pi / (2 * 9.80665) * 4.0 * 10.0, rel=1e-3)
    assert hazard_factor(95.0) == pytest.approx(0.585, abs=5e-4)


def test_processing_keeps_the_raw_samples():
    """A processed record still holds what was read."""
    raw = record()
    done = zero_end(raw)
    assert np.array_equal(done.raw.acceleration, raw.acceleration)


def test_text_is_read_with_explicit_units(tmp_path):
    """Columns, step and units are told, and wrong ones are named."""
    path = tmp_path / "motion.txt"
    np.savetxt(path, np.column_stack([0.01 * np.arange(50), 100.0 * np.sin(np.arange(50))]))
    found = read_text(path, units="gal", column=1, time_column=0)
    assert found.dt == pytest.approx(0.01) and pga(found) <= 1.0
    with pytest.raises(InputError):
        read_text(path, units="furlong", column=1, time_column=0)
    with pytest.raises(InputError):
        Record(np.array([0.0, np.nan]), 0.01, "gap", True)
