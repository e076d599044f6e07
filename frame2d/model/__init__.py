"""The model: what the user describes (`Frame`), and what the engine runs (`System`, `State`)."""

from frame2d.model.frame import Frame
from frame2d.model.state import State
from frame2d.model.system import System

__all__ = ["Frame", "State", "System"]
