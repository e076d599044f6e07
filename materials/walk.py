"""Walk along a polyline that bounds the force, never steeper than elastic; work is exact for any step.

The laws with reloading rules (pinched, peak-oriented, deteriorating) describe the path ahead as points (x,
f), x growing. Loading is elastic below the path and follows it afterwards.
"""

from typing import Any

from frame2d.kernels import compiled

#: Deformation that no history reaches: the path was not touched.
NOWHERE = -1e300


@compiled
def advance(x, f, end, k, path, count, last):  # type: ignore[no-untyped-def]
    """Load from (x, f) to x = `end` ≥ x below the `path` of `count` points that goes on at the slope `last`.

    Returns force, slope, ∫f dx, and the last point (x, f) on the path; that x is `NOWHERE` without one.
    """
    work = 0.0
    slope = k
    touch, touch_f = NOWHERE, 0.0
    i = 1
    while x < end:
        while i < count and (path[2 * i] <= x or path[2 * i] <= path[2 * i - 2]):
            i += 1
        if i < count:
            xa, fa = path[2 * i - 2], path[2 * i - 1]
            s = (path[2 * i + 1] - fa) / (path[2 * i] - xa)
            to = min(end, path[2 * i])
        else:
            xa, fa = path[2 * count - 2], path[2 * count - 1]
            s = last
            to = end
        bound0, bound1 = fa + s * (x - xa), fa + s * (to - xa)
        elastic = f + k * (to - x)
        if elastic < bound1 or s >= k:
            work += 0.5 * (f + elastic) * (to - x)
            f = elastic
            slope = k
        else:
            free = min(max((bound0 - f) / (k - s), 0.0), to - x)
            joint = f + k * free
            work += 0.5 * (f + joint) * free + 0.5 * (joint + bound1) * (to - x - free)
            f = bound1
            slope = s
            touch, touch_f = to, f
        x = to
    return f, slope, work, touch, touch_f


@compiled
def insert(path: Any, start: int, count: int, x: float, f: float) -> int:
    """Insert (x, f) among the points from `start` on, sorted by x; returns the new number of points."""
    i = count
    while i > start and path[2 * i - 2] > x:
        path[2 * i], path[2 * i + 1] = path[2 * i - 2], path[2 * i - 1]
        i -= 1
    path[2 * i], path[2 * i + 1] = x, f
    return count + 1
