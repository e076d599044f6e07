"""`PartSystem`: the arrays of one part of a frame, which may float because its interface holds it."""

from copy import copy

from frame2d.model.frame import Frame
from frame2d.model.system import System


class PartSystem(System):
    """A `System` whose parts' union stands, so that it need not stand alone."""

    def __init__(self, frame: Frame) -> None:
        if not frame.supports:
            floating = copy(frame)
            floating.supports = {next(iter(frame.nodes)): ()}
            frame = floating
        super().__init__(frame)

    def _check_stands(self) -> None:
        """Left to the whole frame."""
