"""Powers of positive numbers in compiled laws: multiplication where the exponent is a small integer."""

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
