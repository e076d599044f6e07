"""Energy monitor: the energy that tracking errors put into the test, over the energy of the structure.

E_err = ∫ r_m·du_c − ∫ r_m·du_m (trapezoidal), HSEM = E_err/(E_input + E_strain,max). Lag makes it negative: energy is
added to the structure. Source: G. Mosqueda, B. Stojadinovic & S. A. Mahin, Real-time error monitoring for hybrid
simulation, 2007 (normalisation from memory; E_err is derived: the work of the measured force on the difference between
what was commanded and what was reached); warning at 1 % and stop at 5 % are common practice.
"""

import numpy as np

from frame2d.hybrid.computed import Energies
from frame2d.hybrid.specimen import Reading
from frame2d.kernels import compiled

#: Rows of what a step leaves: measured displacement and force, displacement that was wanted.
MEASURED, FORCE, WANTED = range(3)
#: Sums of the monitor: error energy, absolute work, their last ratio.
ERROR, WORK, RATIO = range(3)


@compiled
def add_error(sums, last, now, scale, floor):  # type: ignore[no-untyped-def]
    """Add the step from `last` to `now` (3, freedoms) to `sums`; `scale` below 0: the work is the scale."""
    put, done = 0.0, 0.0
    for i in range(now.shape[1]):
        mean = 0.5 * (now[FORCE, i] + last[FORCE, i])
        put += mean * (now[WANTED, i] - last[WANTED, i])
        done += mean * (now[MEASURED, i] - last[MEASURED, i])
    for row in range(3):
        for i in range(now.shape[1]):
            last[row, i] = now[row, i]
    sums[ERROR] += put - done
    sums[WORK] += abs(done)
    sums[RATIO] = sums[ERROR] / max(sums[WORK] if scale < 0.0 else scale, floor)


class EnergyMonitor:
    """Running error energy; `floor` (J) is the least energy that the error is weighed against.

    Without the structure's energies (the specimen's side does not know them) the error is weighed against the
    absolute work ∫|r_m·du_m| done on the specimen.
    """

    def __init__(self, freedoms: int, floor: float) -> None:
        self.floor = floor
        self.sums = np.zeros(3)
        self.last, self.now = np.zeros((3, freedoms)), np.zeros((3, freedoms))

    def begin(self, command: np.ndarray, reading: Reading) -> None:
        """Where the run starts."""
        self.sums[:] = 0.0
        self.last[:] = (*reading, command)

    def update(self, command: np.ndarray, reading: Reading, energies: Energies | None = None) -> float:
        """HSEM after this step."""
        self.now[:] = (*reading, command)
        add_error(self.sums, self.last, self.now, scale_of(energies), self.floor)
        return self.ratio

    @property
    def error(self) -> float:
        """Error energy, J."""
        return float(self.sums[ERROR])

    @property
    def ratio(self) -> float:
        """HSEM."""
        return float(self.sums[RATIO])


def scale_of(energies: Energies | None) -> float:
    """What the error is weighed against, J; −1 if it is not known."""
    return -1.0 if energies is None else energies.input + energies.strain
