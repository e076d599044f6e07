"""The area between a square corner and the quarter circle inside it: root fillets and rounded corners."""

from math import pi
from typing import NamedTuple


class Fillet(NamedTuple):
    """Area, distance of its centroid from either side of the corner, second moment about its own centroid."""

    A: float
    c: float
    I: float  # noqa: E741


def fillet(r: float) -> Fillet:
    """Fillet of radius `r` (m): square less quarter circle, by integration.

    A = (1 − π/4)r²,  c = (10 − 3π)/(12 − 3π)·r,  I = (1 − 5π/16)r⁴ − A·c².
    """
    A = (1.0 - pi / 4.0) * r**2
    c = (10.0 - 3.0 * pi) / (12.0 - 3.0 * pi) * r
    return Fillet(A, c, (1.0 - 5.0 * pi / 16.0) * r**4 - A * c**2)
