"""Shear areas for shear deformation by equal energy, As = I²/∫q²/t ds (Grashof)."""

from collections.abc import Sequence


def thin_walled(h: float, web: float, b: float, tf: float) -> float:
    """Shear area (m²) of an I or box: wall-centre height `h`, total web thickness `web`, flanges `b` × `tf`.

    Flow in the web and along the flanges. Equals Cowper, "The shear coefficient in Timoshenko's beam
    theory", 1966, table 1 (thin-walled I and box) at ν = 0.
    """
    m, n = 2.0 * b * tf / (h * web), b / h
    k = (
        10.0
        * (1.0 + 3.0 * m) ** 2
        / (12.0 + 72.0 * m + 150.0 * m**2 + 90.0 * m**3 + 30.0 * n**2 * (m + m**2))
    )
    return k * h * web * (1.0 + m)


def hollow_round(A: float, ratio: float) -> float:
    """Shear area (m²) of a round section of area `A`, inner to outer radius `ratio` (0 solid).

    Cowper 1966, table 1, at ν = 0: 6/7 A solid, A/2 thin-walled.
    """
    s = (1.0 + ratio**2) ** 2
    return A * 6.0 * s / (7.0 * s + 20.0 * ratio**2)


def stacked(strips: Sequence[tuple[float, float, float]], centroid: float, I: float) -> float:  # noqa: E741
    """Shear area (m²) of strips (bottom, top, width) that touch one another, shear stress uniform over each
    width.

    As = I²/∫S²/t dy with S the first moment of what lies above y; exact in each strip, where S is a parabola.
    """
    energy, above = 0.0, 0.0
    for bottom, top, width in sorted(strips, reverse=True):
        y1 = top - centroid
        # S(y) = above + width/2 (y1² − y²): its square is integrated exactly by three Gauss points.
        half, mid = (top - bottom) / 2.0, (top + bottom) / 2.0 - centroid
        for weight, x in ((5.0 / 9.0, -(0.6**0.5)), (8.0 / 9.0, 0.0), (5.0 / 9.0, 0.6**0.5)):
            y = mid + half * x
            energy += weight * half * (above + width / 2.0 * (y1**2 - y**2)) ** 2 / width
        above += width * (top - bottom) * mid
    return I**2 / energy
