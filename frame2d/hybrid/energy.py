"""Energy monitor: the energy that tracking errors put into the test, over the energy of the structure.

E_err = ∫ r_m·du_c − ∫ r_m·du_m (trapezoidal), HSEM = E_err/(E_input + E_strain,max). Lag makes it negative: energy is
added to the structure. Source: G. Mosqueda, B. Stojadinovic & S. A. Mahin, Real-time error monitoring for hybrid
simulation, 2007 (normalisation from memory; E_err is derived: the work of the measured force on the difference between
what was commanded and what was reached); warning at 1 % and stop at 5 % are common practice.
"""

import numpy as np

from frame2d.hybrid.computed import Energies
from frame2d.hybrid.specimen import Reading


class EnergyMonitor:
    """Running error energy; `floor` (J) is the least energy that the error is weighed against.

    Without the structure's energies (the specimen's side does not know them) the error is weighed against the
    absolute work ∫|r_m·du_m| done on the specimen.
    """

    def __init__(self, freedoms: int, floor: float) -> None:
        self.floor = floor
        self.error = 0.0
        self.work = 0.0
        self.ratio = 0.0
        self._command = np.zeros(freedoms)
        self._last = Reading(np.zeros(freedoms), np.zeros(freedoms))

    def begin(self, command: np.ndarray, reading: Reading) -> None:
        """Where the run starts."""
        self._command, self._last = command, reading

    def update(self, command: np.ndarray, reading: Reading, energies: Energies | None = None) -> float:
        """HSEM after this step."""
        mean = 0.5 * (reading.force + self._last.force)
        moved = reading.displacement - self._last.displacement
        self.error += float(mean @ (command - self._command) - mean @ moved)
        self.work += abs(float(mean @ moved))
        self._command, self._last = command, reading
        scale = self.work if energies is None else energies.input + energies.strain
        self.ratio = self.error / max(scale, self.floor)
        return self.ratio
