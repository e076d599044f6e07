"""Error indices for hybrid tests."""

import numpy as np

from benchmarks.textbook import Answers
from frame2d.compare import end_work_error, largest_work_error, nrmse, peak_error, rmse, work


def ix_1() -> Answers:
    """Two short histories and their loops."""
    r = np.array([0.0, 1.0, 2.0, 1.0, 0.0, -1.0, -2.0, -1.0, 0.0])
    s = np.array([0.0, 1.1, 1.9, 1.2, 0.1, -0.9, -2.2, -1.0, 0.0])
    Fr = 10.0 * r
    Fs = 9.5 * s + np.array([0.0, 0.5, 0.0, -0.5, 0.0, -0.5, 0.0, 0.5, 0.0])
    return {
        "rmse": rmse(r, s),
        "n1": float(nrmse(r, s, "rms")),
        "n2": float(nrmse(r, s, "range")),
        "n3": float(nrmse(r, s, "peak")),
        "p1": abs(peak_error(r, s)),
        "Ermax": float(np.max(np.abs(work(r, Fr)))),
        "Es_end": float(work(s, Fs)[-1]),
        "e1": end_work_error(r, Fr, s, Fs),
        "e2": largest_work_error(r, Fr, s, Fs),
    }
