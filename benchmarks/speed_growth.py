"""Cost of an iteration against the number of freedoms, beside scipy's `splu` on the same matrices.

`splu` finds its column order anew at every call: that is how it is used. The fair second figure gives it the matrix in our
elimination order, found beforehand, so that it only factors ("NATURAL"); scipy offers no way to keep its symbolic part.
"""

import time
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.sparse.linalg import splu

from benchmarks.speed_frame import frame
from frame2d.engine.evaluate import assemble, place_constant
from frame2d.engine.factor import factorise, solve_factored
from frame2d.engine.newton import residual
from frame2d.engine.plan import new_room
from frame2d.engine.solve import factor_tangent, solve_tangent
from frame2d.kernels import compiled

SIZES = ((6, 2), (24, 4), (48, 8), (48, 32))


@compiled
def iterations(plan, room, motion, count):
    """Do the work of `count` Newton iterations at one displacement: residual, tangent, factor, solve."""
    for _ in range(count):
        residual(plan, room, motion, room.shift, 0.005, 0.5, 100.0)
        assemble(plan, room, 0.5, False)
        factor_tangent(plan, room, room.z)
        solve_tangent(plan, room, room.r, room.dx)


@compiled
def factors(pattern, room, right, count):
    """Factor `room.values` and solve for `right`, `count` times."""
    for _ in range(count):
        factorise(pattern, room.values, room.lower, room.pivot, room.column, room.z)
        for i in range(right.size):
            room.dx[i] = right[i]
        solve_factored(pattern, room.lower, room.pivot, room.dx)


def processor_seconds(run: Callable[[], Any], repeats: int) -> np.ndarray:
    """Processor seconds of this thread in each repeat, after one that is not counted."""
    run()
    seconds = []
    for _ in range(repeats):
        start = time.thread_time()
        run()
        seconds.append(time.thread_time() - start)
    return np.array(seconds)


def growth(figure: Callable[..., dict[str, Any]], sizes: tuple[tuple[int, int], ...]) -> list[dict[str, Any]]:
    """Lines of all sizes: iteration, factor with solve, and `splu` over the latter in both ways."""
    lines = []
    for storeys, bays in sizes:
        system = frame(storeys, bays).compile()
        plan, room, motion = system.plan, new_room(system.plan), system.rest().copy_motion()
        room.effective[:] = plan.stiffness + 1e4 * plan.mass
        place_constant(plan, room)
        room.g[:] = 1.0
        count = max(1, 20_000 // system.count)
        whole = processor_seconds(lambda p=plan, r=room, m=motion, c=count: iterations(p, r, m, c), 7) / count
        assemble(plan, room, 1.0, True)
        matrix = (system.tangent() + 1e4 * system.mass).tocsc()
        right = np.ones(system.count)

        def theirs(order: str, matrix: Any = matrix, right: Any = right) -> np.ndarray:
            options = {"SymmetricMode": True}
            return splu(matrix, permc_spec=order, diag_pivot_thresh=0.0, options=options).solve(right)

        mine = (
            processor_seconds(lambda p=plan.pattern, r=room, b=right, c=count: factors(p, r, b, c), 7) / count
        )
        error = np.abs(theirs("NATURAL") - room.dx).max() / np.abs(room.dx).max()
        if not error < 1e-6:
            raise RuntimeError(f"splu and the engine disagree by {error:.1e}")
        name = f"{storeys} x {bays}, {system.count} freedoms"
        lines.append(figure(f"{name}: iteration", 1e6 * whole, "µs", "reported", None))
        lines.append(figure(f"{name}: factor and solve", 1e6 * mine, "µs", "reported", None))
        for order, said in (("MMD_AT_PLUS_A", "orders each time"), ("NATURAL", "order given")):
            other = processor_seconds(lambda order=order: theirs(order), 5) / np.median(mine)
            fast = bool(np.median(other) >= 1.0)
            lines.append(figure(f"{name}: splu, {said}, to ours", other, "ratio", "at least 1", fast))
    return lines
