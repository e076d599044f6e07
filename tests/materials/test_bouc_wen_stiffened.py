"""The drift of the Bouc-Wen law under partial cycles, and the stiffened law that does not drift."""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from frame2d.materials import BoucWen, BoucWenStiffened
from frame2d.materials.drive import drive

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "partial_cycle_drift.py"


@pytest.fixture(scope="module")
def example() -> ModuleType:
    """The example script, imported."""
    spec = importlib.util.spec_from_file_location("partial_cycle_drift", EXAMPLE)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_plain_law_drifts_and_the_stiffened_does_not(example: ModuleType) -> None:
    """Fifty partial cycles between 0.9 and 0.8 uy take the plain force from 0.72 to 0.22 Fy, the stiffened nowhere."""
    loops = example.loops(example.partial_cycles())
    plain = example.forces_at_return(loops["Bouc-Wen"])
    assert plain[0] == pytest.approx(0.72, abs=0.005)
    assert plain[-1] == pytest.approx(0.22, abs=0.005)
    assert np.all(np.diff(plain) < 0.0)
    stiffened = example.forces_at_return(loops["stiffened"])
    assert stiffened == pytest.approx(np.full(51, plain[0]), rel=1e-9)


def test_the_example_draws(example: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The script prints the drift and writes its figure."""
    example.main(str(tmp_path / "drift.png"))
    assert "0.216 Fy after 50" in capsys.readouterr().out
    assert (tmp_path / "drift.png").stat().st_size > 10_000


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"beta": 0.8},
        {"n": 1.0},
        {"n": 1.5, "beta": 0.7},
        {"delta_nu": 0.02, "delta_eta": 0.05, "zeta_s": 0.9},
    ],
)
def test_partial_cycles_close_for_every_shape(more: dict[str, float]) -> None:
    """Also with γ ≠ β, degradation and pinching a partial cycle ends where it began; the plain law loses force."""
    shape = {"k": 1.0, "Fy": 1.0, "a": 0.02, **more}
    u = np.concatenate([np.linspace(0.0, 3.0, 301), np.tile([2.9, 2.75, 2.6, 2.7, 2.85, 3.0], 60)])
    for law, lost in ((BoucWenStiffened(**shape), False), (BoucWen(**shape), True)):
        force = drive(law, u).force
        if lost:
            assert force[-1] < 0.8 * force[300]
        else:
            assert force[-1] == pytest.approx(force[300], rel=2e-3)


def test_full_cycles_are_those_of_the_plain_law(example: ModuleType) -> None:
    """A steady cycle through both strengths is the plain law's, so that fitted parameters stay valid."""
    u = example.full_cycles(amplitude=4.0, cycles=3)
    shape = {"k": 1.0, "Fy": 1.0, "a": 0.02, "beta": 0.7, "delta_nu": 0.01, "zeta_s": 0.5}
    plain, stiffened = drive(BoucWen(**shape), u), drive(BoucWenStiffened(**shape), u)
    assert stiffened.force == pytest.approx(plain.force, abs=0.02)


def test_what_the_other_side_was_loaded_in_between_is_not_elastic() -> None:
    """The further a cycle goes to the other side, the more it dissipates, from nothing to the plain law's."""
    shape = {"k": 1.0, "Fy": 1.0, "a": 0.0}
    works = []
    for turn in (0.5, -0.5, -1.5, -4.0):
        legs = [np.linspace(3.0, turn, 2001)[1:], np.linspace(turn, 3.0, 2001)[1:]]
        u = np.concatenate([np.linspace(0.0, 3.0, 2001), *legs])
        stiff, plain = drive(BoucWenStiffened(**shape), u), drive(BoucWen(**shape), u)
        works.append((stiff.work[-1] - stiff.work[2000], plain.work[-1] - plain.work[2000]))
    stiff_works, plain_works = np.array(works).T
    assert np.all(np.diff(stiff_works) > 0.0)
    assert np.all(stiff_works >= -1e-6)
    assert stiff_works[-1] == pytest.approx(plain_works[-1], rel=0.02)
