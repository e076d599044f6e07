"""Records from text: every number goes where it was said, and what cannot be right is named."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.motions import Record, RecordWarning, pga, read_text


def write(folder, text, name="motion.txt"):  # type: ignore[no-untyped-def]
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_flowing_text_is_read_row_after_row(tmp_path):
    """Several values a line are one history in reading order, after the skipped lines."""
    path = write(tmp_path, "station nowhere\n# remark\n 0.1 0.2 -0.3\n\n 0.4\n")
    record = read_text(path, units="g", dt=0.02, skip=1)
    assert np.allclose(record.acceleration, 9.80665 * np.array([0.1, 0.2, -0.3, 0.4]), rtol=1e-15)
    assert record.dt == 0.02 and record.name == "motion" and record.raw is None and not record.synthetic
    assert "motion.txt" in record.provenance[0] and "g" in record.provenance[0]


def test_a_header_gives_columns_and_units(tmp_path):
    """Named columns, their units, and the step come from the header and the time column."""
    path = write(tmp_path, "time [ms],a NS (cm/s2),a EW (cm/s2)\n0,10,1\n5,-20,2\n10,30,3\n", "two.csv")
    record = read_text(path, column="a NS", time_column="time")
    assert np.allclose(record.acceleration, [0.1, -0.2, 0.3]) and record.dt == pytest.approx(0.005)


def test_decimal_commas_are_an_option(tmp_path):
    """Decimal commas with semicolons are read when told so, and named as the likely mistake otherwise."""
    path = write(tmp_path, "0,00;0,5\n0,01;-0,5\n0,02;0,25\n")
    record = read_text(path, units="m/s²", column=1, time_column=0, delimiter=";", decimal=",")
    assert np.allclose(record.acceleration, [0.5, -0.5, 0.25])
    with pytest.raises(InputError, match="decimal commas"):
        read_text(path, units="m/s²", column=1, time_column=0, delimiter=";")


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("", {"dt": 0.01, "units": "g"}, "no numbers"),
        ("head\n", {"dt": 0.01, "units": "g", "skip": 1}, "no numbers"),
        ("0.1 nan 0.2\n", {"dt": 0.01, "units": "g"}, "value 1 is nan"),
        ("0 0.1\n0.01 inf\n", {"column": 1, "time_column": 0, "units": "g"}, "line 2"),
        ("a b\n0.1 0.2\n", {"dt": 0.01, "units": "g"}, "line 1.*header"),
        ("0.1;0.2;;0.3\n", {"dt": 0.01, "units": "g", "delimiter": ";"}, "empty cell"),
        ("0.1 0.2\n0.3\n", {"dt": 0.01, "units": "g", "column": 1}, "line 2 has 1 columns"),
        ("0.1 0.2\n", {"dt": 0.01, "units": "g", "column": -1}, "counted|0 \\(the first\\)"),
        ("0.1 0.2\n", {"units": "g"}, "no step"),
        ("0.1 0.2\n", {"dt": 0.01}, "no units"),
        ("0.1 0.2\n", {"dt": 0.01, "units": "counts"}, "sensitivity"),
        ("0.1 0.2\n", {"dt": 0.01, "units": "gall"}, "did you mean 'gal'"),
        ("0.1 0.2\n", {"dt": -0.01, "units": "g"}, "step of record"),
        ("0.1\n", {"dt": 0.01, "units": "g"}, "at least 2 samples"),
        ("0 1\n0.01 2\n0.01 3\n", {"units": "gal", "column": 1, "time_column": 0}, "line 3.*growing"),
        ("0 1\n0.02 2\n0.01 3\n", {"units": "gal", "column": 1, "time_column": 0}, "line 3.*growing"),
        (
            "0 1\n.01 2\n.02 3\n.04 4\n.05 1\n.06 1\n",
            {"units": "gal", "column": 1, "time_column": 0},
            "line 4.*constant step",
        ),
        ("0 1\n.01 2\n.02 3\n", {"units": "gal", "column": 1, "time_column": 0, "dt": 0.02}, "drop one"),
        ("t a\n0 1\n.01 2\n", {"column": "b", "time_column": "t", "units": "gal"}, "column of"),
        ("t a[g]\n0 1\n.01 2\n", {"column": "a", "time_column": "t", "units": "gal"}, "header says 'g'"),
        ("0 1\n.01 2\n", {"time_column": 0, "units": "gal"}, "without column"),
    ],
)
def test_wrong_files_are_named(tmp_path, text, options, words):
    """Each way in which a file does not fit what was said about it is one clear error."""
    with pytest.raises(InputError, match=words):
        read_text(write(tmp_path, text), **options)


def test_files_that_are_not_text_are_named(tmp_path):
    """Binary content is refused with the way to read strong-motion formats."""
    path = tmp_path / "binary.dat"
    path.write_bytes(bytes([0xFF, 0xFE, 0x80, 0x81]) * 10)
    with pytest.raises(InputError, match="read_strong_motion"):
        read_text(path, units="g", dt=0.01)


@pytest.mark.parametrize(("peak", "units"), [(3.0, "g"), (25.0, "m/s²"), (1e-4, "m/s²"), (0.0, "g")])
def test_a_peak_that_smells_of_a_wrong_unit_warns(tmp_path, peak, units):
    """More than 2 g, less than 0.0002 g and a dead channel warn."""
    with pytest.warns(RecordWarning):
        read_text(write(tmp_path, f"{peak} {-peak} 0\n"), units=units, dt=0.01)


def test_gal_read_as_g_is_refused(tmp_path):
    """A peak above 10 g is an error, unless the user says that it is meant."""
    path = write(tmp_path, "150 -150 0\n")
    with pytest.raises(InputError, match="gal, mm/s² or raw counts"):
        read_text(path, units="g", dt=0.01)
    with pytest.warns(RecordWarning):
        assert pga(read_text(path, units="g", dt=0.01, any_size=True)) == pytest.approx(150 * 9.80665)


@settings(max_examples=25, deadline=None)
@given(
    n=st.integers(3, 400),
    dt=st.sampled_from([0.005, 0.01, 0.02, 1 / 128, 1 / 256, 1 / 60]),
    digits=st.integers(3, 6),
    start=st.sampled_from([0.0, 10.0, 123.45]),
)
def test_rounded_times_still_give_the_step(tmp_path_factory, n, dt, digits, start):
    """Times printed with few digits are accepted, and their mean step is the true one to the rounding."""
    t = np.round(start + dt * np.arange(n), digits)
    text = "\n".join(f"{x:.{digits}f} {y:.6f}" for x, y in zip(t, np.sin(np.arange(n)), strict=True))
    path = write(tmp_path_factory.mktemp("rounded"), text)
    record = read_text(path, units="m/s²", column=1, time_column=0)
    assert record.dt == pytest.approx(dt, abs=10.0**-digits / (n - 1))


@settings(max_examples=15, deadline=None)
@given(n=st.integers(6, 300), hole=st.integers(1, 298), digits=st.integers(2, 5))
def test_a_missing_row_is_never_swallowed(tmp_path_factory, n, hole, digits):
    """One row cut out of the middle of a file is found."""
    t = 0.01 * np.arange(n)
    rows = [f"{x:.{digits}f} 1.0" for x in t]
    rows.pop(1 + hole % (n - 2))
    path = write(tmp_path_factory.mktemp("hole"), "\n".join(rows))
    with pytest.raises(InputError, match="constant step"):
        read_text(path, units="m/s²", column=1, time_column=0)


def test_a_record_is_immutable_and_remembers():
    """The samples cannot be changed, scaling is written down, and the first raw record stays beside."""
    raw = Record([0.0, 1.0, -2.0], 0.01, "r", synthetic=True)
    with pytest.raises(ValueError, match="read-only"):
        raw.acceleration[0] = 1.0
    twice = raw.scaled(2.0).scaled(0.5)
    assert twice.raw is raw and len(twice.provenance) == 2 and twice.label == "r (synthetic)"
    assert np.array_equal(twice.acceleration, raw.acceleration) and raw.duration == pytest.approx(0.02)


@pytest.mark.parametrize("bad", [[1.0], [[1.0, 2.0], [3.0, 4.0]], [0.0, np.nan], [0.0, np.inf]])
def test_what_is_no_history_is_refused(bad):
    """One sample, a matrix, NaN and infinity are no record."""
    with pytest.raises(InputError, match="record 'x'"):
        Record(bad, 0.01, "x")
