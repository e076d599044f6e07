"""Every example runs, and so does the script on the README's first page."""

import importlib.util
import re
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent


def example(name):  # type: ignore[no-untyped-def]
    """Import a script of examples/ without running its drawing part."""
    import sys

    spec = importlib.util.spec_from_file_location(f"example_{name}", ROOT / "examples" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_readme_script_runs_as_printed(capsys):
    """The script of the README prints periods, drift and a closed energy account."""
    script = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text(), re.S).group(1)
    exec(compile(script, "README.md", "exec"), {})
    out = capsys.readouterr().out
    assert "periods (s)" in out
    assert float(out.split("imbalance:")[1]) < 1e-3


def test_new_links_start_free_and_work_again():
    """Replaced links are free of force, and the frame survives the same earthquake again."""
    first, settled, again = example("replace_links").run(storeys=2, strong=2.0)
    assert settled.state.released > 0.0
    assert all(again.device(name).force[0] == pytest.approx(0.0, abs=1.0) for name in again.laws())
    assert sum(first.device(name).work[-1] for name in first.laws()) > 1e3
    assert np.isfinite(again.log.q).all()


def test_an_own_law_dissipates_its_cycle():
    """The ring spring's closed cycle dissipates about r·k·u² in each direction."""
    assert example("own_law").run() == pytest.approx(2 * 0.3 * 1e6 * 0.02**2, rel=0.15)


def test_strain_gauges_give_the_truth_back():
    """Quantities hold the truth within ±2σ mostly (gain and zero are drawn once a test), a flipped diagonal is named, and the brace's law is found again."""
    script = example("strain_gauges")
    found = script.run(points=20)
    assert 0.8 < np.mean(list(found["coverage"].values())) <= 1.0
    assert found["closure"].passed
    assert [suspect.channel for suspect in found["turned"].suspects] == ["D2"]
    assert found["refit"].laws["brace"].Fy == pytest.approx(script.PIN.Fy, rel=0.05)


def test_a_specimen_with_one_method_drives_a_test():
    """A user's class with one method is tested to the end; the frame feels its slip and nothing beyond."""
    own = example("own_specimen")
    outcome, response = own.run(seconds=1.5)
    assert outcome.ending == "completed" and outcome.step == 300
    assert np.abs(outcome.force).max() == pytest.approx(own.SLIP)
    assert np.trapezoid(outcome.force[:, 0], outcome.displacement[:, 0]) > 1e3
    assert response.time.size == 301 and response.imbalance() < 5e-3
