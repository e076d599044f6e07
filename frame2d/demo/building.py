"""The demo frame: one long frame of the invented building (`frame2d.demo.prototype`) with its half of mass and weight.

Its share is a half by symmetry; the reduction of the prototype finds the same.
"""

from frame2d.demo.prototype import DEMO_FRAME, SHARE, prototype
from frame2d.demo.skeleton import AXES, FLOOR_MASS, HEIGHT, NOMINAL, OWN_SHARE, STOREYS, Laws
from frame2d.model import Frame
from frame2d.reduction.share import loaded_frame


def demo_frame(laws: Laws = NOMINAL) -> Frame:
    """The invented frame with masses, weights, floors and devices; SI units."""
    frame, _ = loaded_frame(prototype(laws=laws), DEMO_FRAME, SHARE, leaning_at=20.0)
    return frame


__all__ = [
    "AXES", "FLOOR_MASS", "HEIGHT", "OWN_SHARE", "STOREYS", "Laws", "demo_frame",
]  # fmt: skip
