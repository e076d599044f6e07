"""The example of a split runs and says what it promises."""

import importlib.util
from pathlib import Path


def test_split_example_loses_little_at_the_inflection() -> None:
    """Cut at the inflection, the column loses hardly any moment, and the coupled parts move as the joined frame."""
    path = Path(__file__).resolve().parents[2] / "examples" / "split_and_couple.py"
    spec = importlib.util.spec_from_file_location("example_split_and_couple", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found = module.run()
    assert 0.0 < found["height"] < 3.6
    assert found["moment lost"] < 0.05
    assert found["Gravouil-Combescure, 1 steps"] < 1e-7
    assert found["Prakash-Hjelmstad, 4 steps"] < 0.02
