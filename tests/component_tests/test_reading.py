"""Measured cycles from CSV: every option explicit, every error with its line."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from frame2d.component_tests import from_arrays, read_raw, read_test, write_csv
from frame2d.component_tests.cyclic_test import CyclicTest
from frame2d.errors import InputError

GOOD = """# invented numbers
time [s],displacement [mm],force (kN)
0,1.0,0.5
1,2.0,10.5
2,3.0,20.5
3,2.0,10.5
4,-1.0,-19.5
"""

COLUMNS = {"deformation": "displacement", "force": "force"}


def written(folder: Path, text: str) -> Path:
    path = folder / "test.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_units_and_raw_columns(tmp_path: Path) -> None:
    """Columns come in SI by their header's units, and the raw ones stay beside them as they were."""
    test = read_test(written(tmp_path, GOOD), **COLUMNS, time="time")
    assert test.deformation == pytest.approx([1e-3, 2e-3, 3e-3, 2e-3, -1e-3])
    assert test.force == pytest.approx([500, 10500, 20500, 10500, -19500])
    assert (test.kind, test.name) == ("translation", "test")
    assert test.raw is not None
    assert test.raw.columns["displacement"] == pytest.approx([1, 2, 3, 2, -1])
    assert list(test.raw.lines) == [3, 4, 5, 6, 7]
    assert len(test.checksum) == 64
    assert any("mm × 0.001" in line for line in test.processing)


def test_signs_offset_and_arms(tmp_path: Path) -> None:
    """Signs, offset and arms act only when asked, in the stated order, and are recorded."""
    test = read_test(
        written(tmp_path, GOOD), **COLUMNS, force_sign=-1, offset="first", displacement_arm=2.0, force_arm=3.0
    )
    assert test.kind == "rotation"
    assert test.deformation == pytest.approx(np.array([0, 1, 2, 1, -2]) * 1e-3 / 2.0)
    assert test.force == pytest.approx(np.array([0, -10, -20, -10, 20]) * 3e3)
    assert test.processing[-1].startswith("offset")
    plain = read_test(written(tmp_path, GOOD), **COLUMNS, offset=(1e-3, 500.0))
    assert plain.deformation[0] == plain.force[0] == 0.0


def test_gaps(tmp_path: Path) -> None:
    """A gap is refused with its line unless dropped or bridged on purpose."""
    path = written(tmp_path, GOOD.replace("2,3.0,20.5", "2,,20.5"))
    with pytest.raises(InputError, match=r"line 5 \(displacement\).*gaps='drop'"):
        read_test(path, **COLUMNS)
    assert read_test(path, **COLUMNS, gaps="drop").force == pytest.approx([500, 10500, 10500, -19500])
    bridged = read_test(path, **COLUMNS, gaps="line")
    assert bridged.deformation == pytest.approx([1e-3, 2e-3, 2e-3, 2e-3, -1e-3])
    assert "line 5" in bridged.processing[0]
    with pytest.raises(InputError, match="start or end"):
        read_test(written(tmp_path, GOOD.replace("0,1.0,0.5", "0,,0.5")), **COLUMNS, gaps="line")
    named = written(tmp_path, GOOD.replace("2,3.0,20.5", "2,n/a,20.5"))
    assert read_test(named, **COLUMNS, gaps="drop", missing=("", "n/a")).force.size == 4


def test_repeated_rows(tmp_path: Path) -> None:
    """Repeated rows are kept, dropped or refused as asked; repeated times point to that option."""
    path = written(tmp_path, GOOD.replace("1,2.0,10.5\n", "1,2.0,10.5\n1,2.0,10.5\n"))
    assert read_test(path, **COLUMNS).force.size == 6
    assert read_test(path, **COLUMNS, repeated="drop").force.size == 5
    with pytest.raises(InputError, match="line 5"):
        read_test(path, **COLUMNS, repeated="refuse")
    with pytest.raises(InputError, match=r"line 5: time does not increase.*repeated='drop'"):
        read_test(path, **COLUMNS, time="time")


def test_smoothing_keeps_parabolas(tmp_path: Path) -> None:
    """The smoothing filter removes noise and leaves a quadratic history alone."""
    t = np.linspace(-1, 1, 101)
    rows = "".join(f"{u},{F}\n" for u, F in zip(t, t**2, strict=True))
    test = read_test(written(tmp_path, "u [m],F [N]\n" + rows), deformation="u", force="F", smoothing=11)
    assert test.force == pytest.approx(t**2, abs=1e-12)


def test_slack_is_taken_out(tmp_path: Path) -> None:
    """An elastic device behind a clearance of −1/+2 mm is elastic again once the slack is taken out."""
    device = np.concatenate([np.linspace(0, 5, 51), np.linspace(5, -5, 101), np.linspace(-5, 5, 101)])
    force = 10.0 * device
    rows = []
    for d, F in zip(device, force, strict=True):
        rows.append((d + (2.0 if F > 0 else -1.0 if F < 0 else 0.0), F))
    text = "u [mm],F [kN]\n" + "".join(f"{u},{F}\n" for u, F in rows)
    test = read_test(written(tmp_path, text), deformation="u", force="F", slack=(1e-3, 2e-3), slack_force=1.0)
    assert test.deformation[1:-1] == pytest.approx(device[1:-1] * 1e-3, abs=1e-9)
    with pytest.raises(InputError, match="slack_force"):
        read_test(written(tmp_path, text), deformation="u", force="F", slack=(1e-3, 2e-3))


def test_decimal_comma(tmp_path: Path) -> None:
    """Semicolons and decimal commas are read when named."""
    text = "u [mm];F [kN]\n0,5;1,5\n1,5;2,5\n"
    test = read_test(written(tmp_path, text), deformation="u", force="F", delimiter=";", decimal=",")
    assert test.force == pytest.approx([1500, 2500])


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        ("", {}, "empty"),
        ("# only\n", {}, "empty"),
        ("1,2\n3,4\n", {}, "line 1: '1' is no column name"),
        ("u [mm],u [mm]\n1,2\n3,4\n", {}, "occurs twice"),
        ("u [mm],F [kN]\n1,2\n3,4,5\n", {}, "line 3: 3 columns; allowed: 2"),
        ("u [mm],F [kN]\n1,2\n3,x\n", {}, "line 3: F is 'x'"),
        ("u [mm],F [kN]\n1,2\n3,inf\n", {}, "line 3: F is 'inf'"),
        ("u [mm],F [kN]\n1,2\n", {}, "1 rows"),
        ("u [mm],P [kN]\n1,2\n3,4\n", {}, "column of .* is 'F'"),
        ("u,F [kN]\n1,2\n3,4\n", {}, "no unit in the header"),
        ("u [inch],F [kN]\n1,2\n3,4\n", {}, "unit of column u"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"units": {"u": "m"}}, "in mm by its header and in m"),
        ("u [mrad],F [kN]\n1,2\n3,4\n", {}, "no work"),
        ("u [mm],F [mm]\n1,2\n3,4\n", {}, "no work"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"gaps": "fill"}, "gaps is 'fill'"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"force_sign": 2}, "force_sign is 2"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"smoothing": 4}, "odd number"),
        ("u [mm],F [kN]\n1,2\n1,4\n", {}, "deformation never changes"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"time": "u"}, "not different"),
        ("u [rad],F [kNm]\n1,2\n3,4\n", {"displacement_arm": 2.0}, "is a angle|allowed: for a length"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"decimal": ";"}, "decimal"),
        ("u [mm],F [kN]\n1,2\n3,4\n", {"decimal": ","}, "two different characters"),
    ],
)
def test_bad_files(tmp_path: Path, text: str, options: dict, says: str) -> None:
    """What a file or an option has wrong is said with its line or column."""
    with pytest.raises(InputError, match=says):
        read_test(written(tmp_path, text), **{"deformation": "u", "force": "F", **options})


def test_missing_and_binary_files(tmp_path: Path) -> None:
    """A file that is not there, or is no text, is named."""
    with pytest.raises(InputError, match="can't be read"):
        read_raw(tmp_path / "none.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not UTF-8"):
        read_raw(tmp_path / "b.csv")


def test_written_and_read_again(tmp_path: Path) -> None:
    """A test written as CSV is read back to the last bit."""
    rng = np.random.default_rng(0)
    test = from_arrays("a", rng.normal(size=20), rng.normal(size=20), time=np.arange(20.0), kind="rotation")
    write_csv(tmp_path / "out.csv", test, comment="invented data")
    again = read_test(tmp_path / "out.csv", deformation="rotation", force="moment", time="time")
    assert np.array_equal(again.deformation, test.deformation)
    assert np.array_equal(again.force, test.force)
    assert again.kind == "rotation"
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: from_arrays("a", [0, 1], [0, 1, 2]), "deformation has 2 samples"),
        (lambda: from_arrays("a", [0, np.nan], [0, 1]), "not finite"),
        (lambda: from_arrays("a", [0, 1], [0, 1], time=[0, 0]), "time does not increase at sample 1"),
        (lambda: CyclicTest("a", np.array([0.0, 1]), np.array([0.0, 1]), "torsion"), "kind"),
    ],
)
def test_bad_arrays(make: Callable[[], object], says: str) -> None:
    """Arrays that are no test are refused."""
    with pytest.raises(InputError, match=says):
        make()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(alphabet='u[m],F(kN)0123456789.-+e"#;\n\r\t é', max_size=80))
def test_any_text_gives_a_test_or_an_input_error(tmp_path: Path, text: str) -> None:
    """Whatever text a file holds, it is a table or an error that names the file."""
    try:
        raw = read_raw(written(tmp_path, text))
    except InputError as error:
        assert "test.csv" in str(error)
    else:
        assert all(column.size >= 2 for column in raw.columns.values())
