"""Target spectra: code values, continuity, limits, and tables that are never extrapolated."""

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.motions import (
    EN1998_1,
    EN1998_3,
    EN1998_DRAFT,
    DesignSpectrum,
    ElasticSpectrum,
    GivenTarget,
    Shape,
    VerticalSpectrum,
    damping_correction,
    displacement_spectrum,
    hazard_factor,
    return_period,
)
from frame2d.motions.en1998 import GROUNDS, LONG_PERIODS

#: Se in m/s² of case RS-2 (EN 1998-1:2004, 3.2.2.2) for ag = 2.5 m/s² at these periods.
PERIODS = [0.0, 0.03, 0.1, 0.5, 1.0, 3.0]
ELASTIC = {
    (1, "A"): [2.5, 3.25, 5, 5, 2.5, 0.555555556],
    (1, "B"): [3, 3.9, 6, 7.5, 3.75, 0.833333333],
    (1, "C"): [2.875, 3.521875, 5.03125, 7.1875, 4.3125, 0.958333333],
    (1, "D"): [3.375, 4.134375, 5.90625, 8.4375, 6.75, 1.5],
    (1, "E"): [3.5, 4.55, 7, 8.75, 4.375, 0.972222222],
    (2, "A"): [2.5, 4.75, 6.25, 3.125, 1.5625, 0.208333333],
    (2, "B"): [3.375, 6.4125, 8.4375, 4.21875, 2.109375, 0.28125],
    (2, "C"): [3.75, 5.4375, 9.375, 4.6875, 2.34375, 0.3125],
    (2, "D"): [4.5, 6.525, 11.25, 6.75, 3.375, 0.45],
    (2, "E"): [4, 7.6, 10, 5, 2.5, 0.333333333],
}
EVERY = [(kind, ground) for kind in (1, 2) for ground in "ABCDE"]


@pytest.mark.parametrize(("kind", "ground"), EVERY)
def test_elastic_spectra_have_their_values(kind, ground):
    """Both types and all grounds have the tabulated values."""
    found = ElasticSpectrum(2.5, ground, kind).acceleration(PERIODS)
    assert np.allclose(found, ELASTIC[kind, ground], rtol=1e-8)


def test_damping_is_corrected():
    """η has its values, its lower bound, and enters the spectrum."""
    eta = [1.41421356, 1.19522861, 1.0, 0.816496581, 0.632455532, 0.55]
    assert np.allclose([damping_correction(x) for x in (0, 0.02, 0.05, 0.1, 0.2, 0.4)], eta, rtol=1e-8)
    for damping, values in ((0.02, [5.73285281, 5.15442338]), (0.2, [3.71038707, 2.72746448])):
        found = ElasticSpectrum(2.5, "C", damping=damping).acceleration([0.1, 1.0])
        assert np.allclose(found, values, rtol=1e-8)
    with pytest.raises(InputError, match=r"0\.05 for 5 %"):
        damping_correction(5.0)


@pytest.mark.parametrize(("kind", "ground"), EVERY)
def test_all_spectra_are_continuous(kind, ground):
    """No spectrum jumps at its corner periods, nor at TF; at TE by the code's 0.025 for 1/4π², 1.3 %."""
    spectra = [ElasticSpectrum(1.0, ground, kind), VerticalSpectrum(1.0, ground, kind)]
    spectra += [
        DesignSpectrum(1.0, ground, kind, q=4.0),
        DesignSpectrum(1.0, ground, kind, q=1.5, vertical=True),
    ]
    shape = GROUNDS[kind][ground]
    for corner in (0.05, 0.15, 1.0, shape.TB, shape.TC, shape.TD):
        for spectrum in spectra:
            before, after = spectrum.acceleration([corner * (1 - 1e-9), corner * (1 + 1e-9)])
            assert after == pytest.approx(before, rel=1e-7)
    if kind == 1:
        for corner in LONG_PERIODS[ground]:
            before, after = spectra[0].displacement([corner * (1 - 1e-9), corner * (1 + 1e-9)])
            allowed = 0.0133 if corner == LONG_PERIODS[ground][0] else 1e-7
            assert after == pytest.approx(before, rel=allowed)


def test_the_displacement_spectrum_ends_at_the_ground_displacement():
    """Between TD and TE it is 2.5·η·dg, beyond TF dg = 0.025·ag·S·TC·TD; type 2 stops at 4 s."""
    spectrum = ElasticSpectrum(2.5, "C", damping=0.1)
    dg = 0.025 * 2.5 * 1.15 * 0.6 * 2.0
    eta = np.sqrt(10 / 15)
    assert np.allclose(spectrum.displacement([2.0, 4.0, 6.0]), 2.5 * eta * dg, rtol=0.02)
    assert np.allclose(spectrum.displacement([8.0, 10.0, 20.0]), dg * np.array([0.5 + 1.25 * eta, 1.0, 1.0]))
    assert np.allclose(displacement_spectrum(spectrum, [0.0, 1.0]), spectrum.displacement([0.0, 1.0]))
    with pytest.raises(InputError, match="up to 4 s"):
        ElasticSpectrum(2.5, "C", 2).acceleration(5.0)


def test_design_spectra_have_their_branches():
    """2/3 at T = 0, 2.5/q on the plateau, never below β·ag beyond TC; vertical with S = 1 (eqs 3.13 to 3.16)."""
    found = DesignSpectrum(2.5, "C", q=4.0, beta=0.2).acceleration([0.0, 0.1, 0.4, 1.0, 4.0])
    S = 2.875
    expected = [S * 2 / 3, S * (2 / 3 + 0.5 * (0.625 - 2 / 3)), S * 0.625, S * 0.625 * 0.6, 0.5]
    assert np.allclose(found, expected)
    vertical = DesignSpectrum(2.5, "C", 2, q=1.5, vertical=True).acceleration([0.0, 0.1])
    assert np.allclose(vertical, 0.45 * 2.5 * np.array([2 / 3, 2.5 / 1.5]))


def test_the_vertical_spectrum_has_its_values():
    """avg, 3·avg on the plateau, 1/T, 1/T² (eqs 3.8 to 3.11, table 3.4)."""
    found = VerticalSpectrum(2.0, kind=1).acceleration([0.0, 0.1, 0.5, 2.0])
    assert np.allclose(found, 1.8 * np.array([1.0, 3.0, 3.0 * 0.3, 3.0 * 0.15 / 4.0]))


def test_every_target_scales():
    """A target times a factor has its accelerations times the factor, and a name that shows it."""
    table = GivenTarget([0.0, 1.0, 2.0], [1.0, 2.0, 0.5])
    for target in (ElasticSpectrum(1.0), VerticalSpectrum(1.0), DesignSpectrum(1.0, q=3.0), table):
        assert np.allclose(target.scaled(1.7).acceleration([0.1, 1.5]), 1.7 * target.acceleration([0.1, 1.5]))
        assert target.damping == 0.05 and target.name


def test_a_table_is_interpolated_and_never_extrapolated():
    """Linear and log-log interpolation meet the points; outside the table is an error."""
    T, S = [0.1, 1.0, 4.0], [2.0, 1.0, 0.1]
    straight, power = GivenTarget(T, S), GivenTarget(T, S, interpolation="log-log")
    assert np.allclose(straight.acceleration(T), S) and np.allclose(power.acceleration(T), S)
    assert straight.acceleration(0.55) == pytest.approx(1.5)
    assert power.acceleration(np.sqrt(0.1)) == pytest.approx(np.sqrt(2.0))
    for outside in (0.05, 4.1):
        with pytest.raises(InputError, match=r"known from 0.1 to 4 s"):
            straight.acceleration(outside)


@pytest.mark.parametrize(
    ("T", "S", "options"),
    [
        ([0, 1], [1], {}),
        ([1, 0], [1, 2], {}),
        ([0, 1], [1, -2], {}),
        ([0, np.nan], [1, 2], {}),
        ([0, 1], [1, 2], {"interpolation": "log-log"}),
        ([0, 1], [1, 2], {"interpolation": "spline"}),
        ([0, 1], [1, 2], {"damping": 5}),
    ],
)
def test_wrong_tables_are_named(T, S, options):
    """Tables that do not grow, are negative, or have another length are refused."""
    with pytest.raises(InputError):
        GivenTarget(T, S, **options)


@pytest.mark.parametrize("arguments", [(0.0,), (250.0,), (2.5, "F"), (2.5, "A", 3)])
def test_wrong_code_parameters_are_named(arguments):
    """ag in gal, unknown grounds and types are refused."""
    with pytest.raises(InputError):
        ElasticSpectrum(*arguments)
    with pytest.raises(InputError):
        Shape(1.0, 0.5, 0.4, 2.0)


def test_a_national_shape_takes_the_place_of_the_recommended_one():
    """Corner periods of a national annex are used for the elastic spectrum up to 4 s."""
    own = ElasticSpectrum(2.0, "B", own_shape=Shape(1.1, 0.1, 0.4, 3.0))
    assert own.acceleration([0.0, 0.2, 0.8])[0] == pytest.approx(2.2)
    assert np.allclose(own.acceleration([0.2, 0.8]), [5.5, 2.75])


def test_return_periods_have_their_factors():
    """Factors for k = 3 of the usual limit states, and 10 % in 50 years is 475 years."""
    years = [2475, 475, 225, 95, 1600, 60]
    assert np.allclose([hazard_factor(x) for x in years], [1.73, 1, 0.78, 0.585, 1.50, 0.50], atol=6e-3)
    assert return_period(0.1, 50) == pytest.approx(474.6, abs=0.05)
    assert return_period(0.02, 50) == pytest.approx(2475, abs=1)
    assert [state.return_period for state in (*EN1998_3, *EN1998_1, *EN1998_DRAFT)] == [
        225, 475, 2475, 95, 475, 60, 475, 1600,
    ]  # fmt: skip
    assert EN1998_3[2].factor(k=2.0) == pytest.approx(np.sqrt(2475 / 475))
    with pytest.raises(InputError, match="not 1/k"):
        hazard_factor(95, 1 / 3)
