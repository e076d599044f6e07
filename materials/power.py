"""Powers of positive numbers in compiled laws: multiplication or a short series where either suffices."""

from frame2d.kernels import compiled


@compiled
def power(y: float, n: float) -> float:
    """Return yⁿ for y ≥ 0, n ≥ 0; the library's power function costs ten multiplications."""
    if n == 2.0:
        return y * y
    if n == 1.0:
        return y
    whole = int(n)
    if whole == n and whole <= 16:
        product = 1.0
        for _ in range(whole):
            product *= y
        return product
    result: float = y**n
    return result


@compiled
def power_near(y: float, n: float, near: float, known: float) -> float:
    """Return yⁿ where `known` = nearⁿ: six terms of the binomial series, exact to rounding, if y lies close."""
    off = y - near
    if n != int(n) and abs(off) * (1.0 + n) < 0.01 * near:
        return known * root_of(off / near, n)
    return power(y, n)


@compiled
def root_of(d: float, n: float) -> float:
    """(1 + d)ⁿ for |d|·(1 + |n|) < 0.01."""
    rest = 1.0 + (n - 4.0) / 5.0 * d * (1.0 + (n - 5.0) / 6.0 * d)
    rest = 1.0 + (n - 2.0) / 3.0 * d * (1.0 + (n - 3.0) / 4.0 * d * rest)
    return 1.0 + n * d * (1.0 + (n - 1.0) / 2.0 * d * rest)
