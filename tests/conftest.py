"""The tests run against the installed package; benchmarks and examples come from the checkout, after it."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parent.parent))
