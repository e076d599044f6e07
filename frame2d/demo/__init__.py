"""The demo: an invented building and its earthquakes, run from end to end."""

from frame2d.demo.building import demo_frame
from frame2d.demo.run import run_demo

__all__ = ["demo_frame", "run_demo"]
