"""What is extracted from tests of laws with known answers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from frame2d.component_tests import (
    Protocol,
    constant,
    eccs45,
    eccs_yield,
    equal_energy_yield,
    extract,
    from_arrays,
    increasing,
)
from frame2d.component_tests.cyclic_test import CyclicTest
from frame2d.component_tests.excursions import stretches
from frame2d.errors import InputError
from frame2d.materials import Bilinear, Elastic, Law
from frame2d.materials.drive import drive

K, FY, B = 2e7, 1e5, 0.04
UY = FY / K


def driven(law: Law, protocol: Protocol, steps: int = 200) -> CyclicTest:
    u = protocol.by_steps(steps).deformation
    return from_arrays("virtual", u, drive(law, u).force)


def test_bilinear_device() -> None:
    """Stiffness, both yields, peak and envelope of a bilinear device are its own."""
    found = extract(driven(Bilinear(K, FY, B), eccs45(UY)))
    for side in found.directions:
        assert side.stiffness == pytest.approx(K, rel=1e-6)
        assert side.yield_energy is not None
        assert side.yield_energy.deformation == pytest.approx(UY, rel=1e-6)
        assert side.yield_energy.force == pytest.approx(FY, rel=1e-6)
        assert side.yield_energy.hardening == pytest.approx(B, rel=1e-6)
        # tangent of slope K/10 touches the corner (uy, Fy)
        assert side.yield_eccs is not None
        assert side.yield_eccs.deformation == pytest.approx(UY, rel=1e-6)
        assert side.peak_force == pytest.approx(FY * (1 + 7 * B), rel=1e-6)
        assert side.largest == pytest.approx(8 * UY)
        assert side.ultimate is None
        assert side.ductility == pytest.approx(8.0)
    assert found.positive is not None
    u, F = found.positive.envelope
    assert u / UY == pytest.approx([0, 0.25, 0.5, 0.75, 1, 2, 4, 6, 8])
    assert pytest.approx([0, 0.25, 0.5, 0.75, 1, *(1 + B * (m - 1) for m in (2, 4, 6, 8))]) == F / FY


def test_damping_and_energy_of_elastoplastic_cycles() -> None:
    """Steady elastic-plastic cycles at ductility μ dissipate 4Fy(μ−1)uy, damping 2(μ−1)/(πμ)."""
    mu = 4.0
    found = extract(driven(Bilinear(K, FY), constant(mu * UY, 4), 400), envelope="virgin")
    steady = found.cycles[1:]
    assert len(steady) == 3
    for cycle in steady:
        assert cycle.secant == pytest.approx(FY / (mu * UY), rel=1e-6)
        assert cycle.energy == pytest.approx(4 * FY * (mu - 1) * UY, rel=2e-3)
        assert cycle.damping == pytest.approx(2 * (mu - 1) / (np.pi * mu), rel=2e-3)
    assert [cycle.repeat for cycle in found.cycles] == [1, 2, 3, 4]


def test_unsymmetric_device() -> None:
    """Each direction has its own stiffness and yield."""
    protocol = eccs45(UY, yield_down=2 * UY)
    u = protocol.by_steps(200).deformation
    F = np.where(u > 0, drive(Bilinear(K, FY, B), np.maximum(u, 0)).force, 0.0)
    F += np.where(u < 0, drive(Bilinear(0.5 * K, FY, B), np.minimum(u, 0)).force, 0.0)
    found = extract(from_arrays("two", u, F))
    assert found.positive is not None
    assert found.negative is not None
    assert found.positive.stiffness == pytest.approx(K, rel=1e-6)
    assert found.negative.stiffness == pytest.approx(0.5 * K, rel=1e-6)
    assert found.negative.yield_energy is not None
    assert found.negative.yield_energy.deformation == pytest.approx(2 * UY, rel=1e-2)


def softening(u: np.ndarray) -> np.ndarray:
    """Envelope: elastic to 1, plateau to 3, falling to 0 at 8."""
    return np.interp(u, [0, 1, 3, 8], [0, 10, 10, 0])


def test_ultimate_at_twenty_percent_drop() -> None:
    """Ultimate deformation is where the envelope has lost a fifth of its peak, between envelope points."""
    u = np.linspace(0, 6, 601)
    found = extract(from_arrays("mono", u, softening(u)), envelope="virgin")
    assert found.negative is None
    assert found.positive is not None
    assert found.positive.ultimate == pytest.approx(4.0)
    assert found.positive.stiffness == pytest.approx(10.0)
    u = increasing([0.5, 1.0, 2.0, 3.0, 4.5]).by_steps(80).deformation
    F = np.sign(u) * softening(np.abs(u))
    side = extract(from_arrays("peaks", u, F)).positive
    assert side is not None
    assert side.ultimate == pytest.approx(4.0)


def test_strength_drop_between_repeats() -> None:
    """A device that loses 10 % at the second and 19 % at the third visit shows these drops, and no others."""
    protocol = increasing([1.0, 2.0, 3.0], [1, 1, 3])
    u = protocol.by_steps(80).deformation
    force = 10 * u
    for visit, factor in ((2, 0.9), (3, 0.81)):
        inside = slice(80 * (1 + visit), 80 * (2 + visit))
        force[inside] *= factor
    side = extract(from_arrays("drops", u, force)).positive
    assert side is not None
    drops = {(round(e.deformation), e.repeat): e.drop for e in side.excursions}
    assert drops[3, 1] == drops[1, 1] == 0.0
    assert drops[3, 2] == pytest.approx(0.1)
    assert drops[3, 3] == pytest.approx(0.19)
    assert side.largest_drop == pytest.approx(0.19)


def test_pinching_ratio() -> None:
    """A fat loop passes zero deformation at its yield force, a slipping one at its slip force."""
    fat = extract(driven(Bilinear(K, FY), eccs45(UY))).positive
    assert fat is not None
    assert fat.pinching == pytest.approx(1.0, abs=1e-6)
    # slip force 0.15 until the last deformation is reached again, then up to 1
    knots = [
        (0, 0),
        (1, 1),
        (0.9, 0),
        (0.9, -0.15),
        (-0.9, -0.15),
        (-1, -1),
        (-0.9, 0),
        (-0.9, 0.15),
        (0.9, 0.15),
    ]
    knots += [
        (1, 1),
        (2, 1.1),
        (1.9, 0),
        (1.9, -0.15),
        (-0.9, -0.15),
        (-1, -1),
        (-2, -1.1),
        (-1.9, 0),
        (-1.9, 0.15),
    ]
    knots += [(1.9, 0.15), (3, 1.2), (2.9, 0.0)]
    path = np.array(knots)
    s = np.arange(0, len(knots) - 1, 0.01)
    u, F = (np.interp(s, np.arange(len(knots)), path[:, i]) for i in (0, 1))
    slipping = extract(from_arrays("slip", u, F), envelope="virgin").positive
    assert slipping is not None
    assert slipping.pinching == pytest.approx(0.15 / 1.2, rel=1e-6)


def test_noise_about_zero_makes_no_excursions() -> None:
    """Force noise below the threshold splits no excursion, and the stiffness stays within 2 %."""
    clean = driven(Bilinear(K, FY, B), eccs45(UY))
    noise = 0.005 * FY * np.random.default_rng(5).uniform(-1, 1, clean.force.size)
    noisy = from_arrays("noisy", clean.deformation, clean.force + noise)
    expected, found = extract(clean), extract(noisy)
    assert len(found.cycles) == len(expected.cycles)
    assert found.positive is not None
    assert found.positive.stiffness == pytest.approx(K, rel=0.02)
    assert found.positive.yield_energy is not None
    assert found.positive.yield_energy.deformation == pytest.approx(UY, rel=0.03)


def test_slack_does_not_spoil_the_stiffness() -> None:
    """The initial stiffness of a device behind a clearance is that of the device."""
    u = eccs45(UY).by_steps(400).deformation
    F = drive(Bilinear(K, FY, B), u).force
    shifted = u + np.sign(F) * 0.3 * UY
    side = extract(from_arrays("slack", shifted, F)).positive
    assert side is not None
    assert side.stiffness == pytest.approx(K, rel=1e-6)


def test_elastic_device_does_not_yield() -> None:
    """An elastic device has a stiffness and no yield, and the notes say why."""
    side = extract(driven(Elastic(K), eccs45(UY))).positive
    assert side is not None
    assert side.stiffness == pytest.approx(K)
    assert side.yield_energy is None
    assert side.yield_eccs is None
    assert side.ductility is None
    assert any("straight" in note for note in side.notes)
    assert any("never flattens" in note for note in side.notes)


def test_yield_rules_of_a_smooth_curve() -> None:
    """On F = 1 − exp(−u) both yield rules give their closed forms."""
    u = np.linspace(0, 5, 50001)
    F = 1 - np.exp(-u)
    # slope 1/10 at u = ln 10, F = 0.9: intercept 0.9 − 0.1·ln 10, over 0.9
    assert eccs_yield(u, F, 1.0).deformation == pytest.approx((0.9 - 0.1 * np.log(10)) / 0.9, rel=1e-6)
    area, Fm = 5 - (1 - np.exp(-5)), 1 - np.exp(-5)
    assert equal_energy_yield(u, F, 1.0).deformation == pytest.approx(
        (2 * area - 5 * Fm) / (5 - Fm), rel=1e-6
    )


def test_sign_mistake_is_named() -> None:
    """Opposite signs of force and deformation are refused as a sensor turned round."""
    test = driven(Bilinear(K, FY, B), eccs45(UY))
    with pytest.raises(InputError, match="sign of one sensor"):
        extract(from_arrays("turned", test.deformation, -test.force))


def test_few_amplitudes_point_to_the_virgin_envelope() -> None:
    """A monotonic test asked for peaks is told to take the virgin branch."""
    with pytest.raises(InputError, match="envelope='virgin'"):
        extract(from_arrays("mono", np.linspace(0, 1, 100), np.linspace(0, 1, 100)))


def test_no_stiffness_where_first_loading_is_plastic() -> None:
    """A side that yields at once, or is sampled too coarsely, has no stiffness and a note that says so."""
    found = extract(driven(Bilinear(K, FY), constant(4 * UY, 2)), envelope="virgin")
    assert found.positive is not None
    assert found.positive.stiffness == pytest.approx(K)
    assert found.negative is not None
    assert found.negative.stiffness is None
    assert found.negative.yield_energy is None
    assert "plastic already" in found.negative.notes[0]
    assert "initial stiffness          none" in str(found)
    coarse = extract(from_arrays("coarse", [0, 1.0, 2.0], [0, 1.0, 1.5]), envelope="virgin").positive
    assert coarse is not None
    assert "coarse sampling" in coarse.notes[0]


def test_stretches_meet_where_the_sign_changes() -> None:
    """Stretches share their borders and cover the history."""
    F = np.array([0.0, 1, 2, 1, 0.01, -0.01, 0.01, -1, -2, -0.01, 3])
    assert stretches(F, 0.5) == [(1, 0, 6), (-1, 6, 9), (1, 9, 10)]


def test_report_as_text_and_data() -> None:
    """An extraction prints its numbers with units and gives plain data."""
    found = extract(driven(Bilinear(K, FY, B), eccs45(UY)))
    assert "yield, ECCS 45" in str(found)
    data = found.as_dict()
    assert data["directions"]["negative"]["stiffness"] == pytest.approx(K)
    assert len(data["cycles"]) == len(found.cycles)


@settings(max_examples=60, deadline=None)
@given(
    arrays(
        np.float64, 40, elements=st.one_of(st.floats(-1.0, 1.0), st.sampled_from([0.0, 5e-324, 1e-101, 1e99]))
    ),
    arrays(
        np.float64, 40, elements=st.one_of(st.floats(-1e5, 1e5), st.sampled_from([0.0, 5e-324, 1e-101, 1e99]))
    ),
    st.sampled_from(["peaks", "virgin"]),
)
def test_any_histories_give_numbers_or_an_input_error(u: np.ndarray, F: np.ndarray, envelope: str) -> None:
    """Whatever finite histories come in, the extraction holds finite numbers or says what is wrong."""
    try:
        found = extract(from_arrays("any", u, F), envelope=envelope)
    except InputError:
        return
    for number in _numbers(found.as_dict()):
        assert np.isfinite(number)


def _numbers(data: object) -> list[float]:
    if isinstance(data, dict):
        return [number for value in data.values() for number in _numbers(value)]
    if isinstance(data, list):
        return [number for value in data for number in _numbers(value)]
    return [data] if isinstance(data, float) else []
