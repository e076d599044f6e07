"""A `Response` as named signals (times, history), the form in which runs of one test are compared."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from frame2d.errors import known

if TYPE_CHECKING:
    from frame2d.analysis.response import Response


def signals_of(
    response: "Response", devices: Sequence[str] | None = None
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Floor displacements (m), base shear (N), and deformation, force and work of `devices` (all laws, unless named).

    Names: "FLOOR displacement", "base shear", "DEVICE deformation", "DEVICE force", "DEVICE work". Times count from the
    start of the response; work counts from there too.
    """
    time = response.time - response.time[0]
    signals = {
        f"{name} displacement": (time, response.floor(name)) for name, _ in response.system.frame.levels()
    }
    signals["base shear"] = (time, response.base_shear())
    for name in response.laws() if devices is None else devices:
        loop = response.device(known("device", name, response.laws()))
        signals[f"{name} deformation"] = (time, loop.deformation)
        signals[f"{name} force"] = (time, loop.force)
        signals[f"{name} work"] = (time, loop.work - loop.work[0])
    return signals
