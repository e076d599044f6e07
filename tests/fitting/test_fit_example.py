"""The fitting example runs and its card rebuilds a law that predicts the second test."""

import importlib.util
import sys
from pathlib import Path

from frame2d.fitting import Effort

SCRIPT = Path(__file__).resolve().parents[2] / "examples" / "fit_device.py"


def test_the_fitted_pin_predicts_its_second_test(tmp_path: Path) -> None:
    """With short tests and little effort the held-back error stays under 5 %, and the file's checksum is on the card."""
    spec = importlib.util.spec_from_file_location("example_fit_device", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    results = module.run(tmp_path, points=600, effort=Effort(4, 20, 1))
    assert results["fit"].held_back[0].force < 0.05
    assert results["card"].data["tests"][0]["file sha256"] == results["test"].checksum != ""
