"""Laws that a user writes in a script: under any name of the script, and in the tests of every law on request."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from frame2d.materials.drive import drive

ROOT = Path(__file__).resolve().parents[2]

SCRIPT = """
from dataclasses import dataclass

from frame2d.kernels import OK, law_kernel
from frame2d.materials import Law


@law_kernel
def kernel(p, m0, u, v, dt, out, m1):
    out[0], out[1], out[2], out[3] = p[0] * u, p[0], 0.0, 0.5 * p[0] * u * u
    return OK


@dataclass(frozen=True)
class Straight(Law):
    k: float
    kernel = kernel
    recoverable = "all of it"
"""


def test_a_script_may_change_its_name(tmp_path):
    """What was compiled under one module name is no obstacle when the same script is loaded under another."""
    file = tmp_path / "straight.py"
    file.write_text(SCRIPT)
    for name in ("first_name_of_a_script", "second_name_of_a_script"):
        spec = importlib.util.spec_from_file_location(name, file)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        try:
            spec.loader.exec_module(module)
            loop = drive(module.Straight(2e6), np.linspace(0.0, 0.01, 5))
        finally:
            del sys.modules[name]
        assert loop.force[-1] == pytest.approx(2e4)


def test_a_script_is_put_through_the_tests_of_every_law():
    """`pytest --law my_law.py` tests the laws that the script registers like those of the library."""
    done = subprocess.run(
        [
            sys.executable, "-P", "-m", "pytest", str(ROOT / "tests/materials/test_every_law.py"), "-n", "0", "-p", "no:cacheprovider",
            "--law", str(ROOT / "examples/own_law.py"), "-k", "RingSpring and (description or memory or tangents)",
        ],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.returncode == 0 and "no tests ran" not in done.stdout, done.stdout[-2000:]
