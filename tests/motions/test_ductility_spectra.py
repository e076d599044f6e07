"""Constant-ductility spectra: each oscillator against an adaptive solver, and the limits that theory gives."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from frame2d.errors import Frame2dError, InputError
from frame2d.motions import Record, bilinear_history, ductility_spectra, response_spectra


def burst(n=500, seed=2):  # type: ignore[no-untyped-def]
    a = np.random.default_rng(seed).normal(size=n).cumsum()
    a = (a - a.mean()) * np.sin(np.pi * np.arange(n) / n)
    return Record(a / np.abs(a).max(), 0.02, "burst", True)


def reference(record, period, strength, zeta, b):  # type: ignore[no-untyped-def]
    """Adaptive integration from event to event, sample by sample."""
    k, c = (2 * np.pi / period) ** 2, 4 * np.pi * zeta / period
    u, v, slip, side, largest, trace = 0.0, 0.0, 0.0, 0, 0.0, [0.0]
    for i, (a0, a1) in enumerate(zip(record.acceleration[:-1], record.acceleration[1:], strict=True)):
        t, end = i * record.dt, (i + 1) * record.dt

        def ground(x, a0=a0, a1=a1, t0=t):  # type: ignore[no-untyped-def]
            return a0 + (a1 - a0) * (x - t0) / record.dt

        while t < end - 1e-12:

            def rate(x, y, side=side, slip=slip, ground=ground):  # type: ignore[no-untyped-def]
                z = k * (y[0] - slip) if side == 0 else side * strength
                return [y[1], -ground(x) - c * y[1] - b * k * y[0] - (1 - b) * z]

            if side == 0:
                events = [
                    lambda x, y, s=s, slip=slip: s * k * (y[0] - slip) - strength * (1 + 1e-13)
                    for s in (1, -1)
                ]
            else:
                events = [lambda x, y, side=side: side * y[1] + 1e-13]
            for event in events:
                event.terminal, event.direction = True, -1 if side else 1
            run = solve_ivp(
                rate, (t, end), [u, v], rtol=1e-10, atol=1e-13, events=events, max_step=period / 20
            )
            t, (u, v) = run.t[-1], run.y[:, -1]
            largest = max(largest, np.abs(run.y[0]).max())
            if run.status == 1 and side == 0:
                side = 1 if len(run.t_events[0]) else -1
            elif run.status == 1:
                slip, side = u - side * strength / k, 0
        trace.append(u)
    return np.array(trace), largest


@pytest.mark.parametrize(
    ("period", "share", "b"), [(0.2, 0.3, 0.0), (0.5, 0.2, 0.05), (1.0, 0.4, 0.0), (3.0, 0.3, 0.1)]
)
def test_one_oscillator_agrees_with_an_adaptive_solver(period, share, b):
    """Displacements at all samples and the peak agree with event-driven adaptive integration."""
    record = burst(120)
    strength = share * float(response_spectra(record, period).PSA)
    trace, top = bilinear_history(record, period, strength, 0.05, b)
    expected, largest = reference(record, period, strength, 0.05, b)
    assert largest > 1.5 * strength * (period / 2 / np.pi) ** 2
    assert np.allclose(trace, expected, atol=1e-6 * largest)
    assert top == pytest.approx(largest, rel=1e-6)


def test_the_strength_gives_the_ductility_and_any_more_gives_less():
    """The ductility asked for is met, and no larger strength down from the elastic demand exceeds it."""
    record, T, mu = burst(), np.array([0.15, 0.6, 2.0]), np.array([4.0, 1.0, 2.0])
    found = ductility_spectra(record, T, mu, hardening=0.02)
    assert np.allclose(found.reached, mu[:, None], rtol=1e-6)
    elastic = response_spectra(record, T).PSA
    assert np.allclose(found.strength[1], elastic) and np.allclose(found.reduction[1], 1.0)
    for j, period in enumerate(T):
        uy = (period / 2 / np.pi) ** 2
        for strength in np.geomspace(found.strength[0, j] * 1.001, elastic[j], 25):
            assert (
                bilinear_history(record, period, strength, hardening=0.02)[1] / (strength * uy) <= 4.0 * 1.04
            )
        assert np.all(found.strength[0] < found.strength[2])
        assert found.displacement[0, j] == pytest.approx(4.0 * found.strength[0, j] * uy, rel=1e-6)


def test_soft_oscillators_keep_their_displacement():
    """For periods far beyond the motion displacements are equal, so strength falls as 1/μ (Newmark & Hall 1982)."""
    pulse = Record(np.sin(2 * np.pi * np.arange(26) / 25), 0.02, "one sine")
    found = ductility_spectra(pulse, 30.0, [2.0, 4.0], 0.0)
    assert np.allclose(found.reduction[:, 0], [2.0, 4.0], rtol=0.06)


def test_stiff_oscillators_need_the_ground_acceleration():
    """For periods far below those of the motion no ductility buys a reduction worth the name."""
    t = 0.01 * np.arange(1001)
    slow = Record(np.sin(2 * np.pi * t / 5.0) * np.sin(np.pi * t / 10.0), 0.01, "slow")
    found = ductility_spectra(slow, 0.05, 4.0)
    assert 1.0 <= found.reduction[0, 0] < 1.1


def test_records_get_an_axis_and_names():
    """Several records add a first axis, the same numbers come for each alone, and threads change nothing."""
    suite = [burst(seed=seed) for seed in (3, 4)]
    suite[1] = Record(suite[1].acceleration, 0.02, "other")
    both = ductility_spectra(suite, [0.3, 1.0], [2.0, 3.0], threads=2)
    assert both.strength.shape == (2, 2, 2) and both.names == ("burst (synthetic)", "other")
    alone = ductility_spectra(suite[1], [0.3, 1.0], [2.0, 3.0], threads=1)
    assert np.array_equal(both.strength[1], alone.strength)


def test_wrong_questions_are_named():
    """Ductility below 1, T = 0, damping in per cent and hardening out of range are named, and so is no answer."""
    record = burst()
    for arguments, words in (
        ((record, 1.0, 0.5), "ductility is"),
        ((record, 0.0, 2.0), "above 0 s"),
        ((record, 1.0, 2.0, 5.0), "damping"),
    ):
        with pytest.raises(InputError, match=words):
            ductility_spectra(*arguments)
    with pytest.raises(InputError, match="hardening"):
        ductility_spectra(record, 1.0, 2.0, hardening=1.0)
    with pytest.raises(Frame2dError, match="without motion"):
        ductility_spectra(Record(np.zeros(100), 0.01, "still"), 1.0, 2.0)
