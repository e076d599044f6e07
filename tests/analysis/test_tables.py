"""What leaves a response: tables with units, CSV and HDF5 of any size, labelled arrays."""

import csv
from types import SimpleNamespace

import h5py
import numpy as np
import pytest

from frame2d import BeamColumn, Brace, Frame, InputError, gravity, push, time_history
from frame2d.analysis.response import TABLES
from frame2d.analysis.storage import load
from frame2d.materials import Bilinear


@pytest.fixture(scope="module")
def run():
    frame = Frame("portal")
    for name, x, y in (("A", 0, 0), ("B", 0, 3.5), ("C", 6, 3.5), ("D", 6, 0)):
        frame.node(name, x, y, support=None if y else "fixed", mass=2e4 if y else 0.0)
    for name, i, j in (("AB", "A", "B"), ("DC", "D", "C")):
        frame.member(name, i, j, BeamColumn(2.1e11, 0.0149, 2.5e-4))
    frame.member("BC", "B", "C", BeamColumn(2.1e11, 8e-3, 2e-4, start=Bilinear(3e7, 1e5, 0.02)), device=True)
    frame.member("diagonal, left", "A", "C", Brace(Bilinear(1e7, 1e5, 0.02)), device=True)
    frame.load("B", fy=-2e5)
    frame.floor("roof", ["B", "C"])
    wave = 6.0 * np.sin(2 * np.pi * 1.5 * 0.01 * np.arange(100))
    system = frame.compile()
    record = SimpleNamespace(acceleration=wave, dt=0.01, name="wave")
    return time_history(system, record, gravity(system).state)


@pytest.mark.parametrize("kind", TABLES)
def test_every_table_goes_to_csv_and_back(run, kind, tmp_path):
    """Columns have names with units; the file holds them all, to the last digit printed."""
    run.to_csv(tmp_path / "table.csv", kind)
    with open(tmp_path / "table.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    columns = run.table(kind)
    assert rows[0] == list(columns) and all(name.endswith(")") for name in rows[0])
    assert np.allclose(np.array(rows[1:], dtype=float), np.column_stack(list(columns.values())))
    assert [path.name for path in tmp_path.iterdir()] == ["table.csv"]


def test_units_follow_what_the_law_is_of(run):
    """A hinge turns, a brace stretches."""
    columns = list(run.table("devices"))
    assert "BC deformation (rad)" in columns and "BC force (N·m)" in columns
    assert "diagonal, left deformation (m)" in columns
    with pytest.raises(InputError, match="did you mean 'energies'"):
        run.table("energy")


def test_the_file_holds_every_table(run, tmp_path):
    """Another program finds all tables in the HDF5 file by their names."""
    run.save(tmp_path / "run.h5")
    with h5py.File(tmp_path / "run.h5") as file:
        for kind in TABLES[1:]:
            assert set(file[f"tables/{kind}"]) == set(run.table(kind))
        assert set(file["tables"]) == {
            *(name.replace("/", " per ") for name in run.table("main")),
            *TABLES[1:],
        }
        assert np.array_equal(file["tables/energies/imbalance (J)"][()], run.energies()["imbalance"])


def test_a_large_frame_is_saved_too(tmp_path):
    """A description longer than an attribute can hold comes back."""
    frame = Frame("long")
    frame.node("0", 0, 0, support="fixed")
    for k in range(1, 400):
        frame.node(str(k), 0.5 * k, 0)
        frame.member(f"member number {k}", str(k - 1), str(k), BeamColumn(2e11, 1e-2, 1e-4))
    frame.load("399", fy=-1.0)
    response = gravity(frame.compile())
    response.save(tmp_path / "long.h5")
    again = load(tmp_path / "long.h5")
    assert np.array_equal(again.displacement("399", "uy"), response.displacement("399", "uy"))


def test_a_push_has_its_own_columns(run):
    """A curve is told by steps and its load factor."""
    columns = push(run.system, pattern="uniform", node="B", target=0.02, steps=3).table()
    assert "step (-)" in columns and "load factor (-)" in columns
