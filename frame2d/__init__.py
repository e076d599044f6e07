"""Nonlinear plane frames with replaceable dissipative devices: model, analyse, test, compare, report."""

from pathlib import Path

__version__ = "0.1.0"

# In a source checkout the folders `materials` and `elements` stand beside this package; an installed
# package holds them inside. This lets `frame2d.materials` be found in both, on every system.
_checkout = Path(__file__).resolve().parent.parent
if (_checkout / "pyproject.toml").is_file() and (_checkout / "materials" / "__init__.py").is_file():
    __path__.append(str(_checkout))
