"""A vibration test of one mass on a device: the law is judged by the motion that it would have made.

    m·ü + c·u̇ + F(u, u̇) = p(t),   at rest at first

Average acceleration (Newmark 1959), each sample divided in sub-steps between which p is straight, Newton's
method on the law's own tangent.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from frame2d.compare.histories import pair
from frame2d.errors import InputError, finite, positive
from frame2d.fitting.simulate import in_threads, padded
from frame2d.kernels import at, call_law, compiled
from frame2d.materials.law import Law


@compiled
def _vibrate(address, P, M, load, h, parts, m, c, u_out):  # type: ignore[no-untyped-def]
    """Displacements of every row of P; a row without equilibrium stays NaN from there."""
    out = np.zeros(8)
    memory = np.zeros(M.shape[1])
    trial = np.zeros(M.shape[1])
    for row in range(P.shape[0]):
        for j in range(memory.size):
            memory[j] = trial[j] = M[row, j]
        p = P[row]
        u = v = 0.0
        a = load[0] / m
        u_out[row, 0] = 0.0
        good = True
        for i in range(1, load.size):
            for part in range(parts):
                force = load[i - 1] + (load[i] - load[i - 1]) * (part + 1) / parts
                ahead = u + h * v + 0.5 * h * h * a
                good = False
                for _ in range(30):
                    rate = 2.0 / h * (ahead - u) - v
                    acceleration = 4.0 / (h * h) * (ahead - u) - 4.0 / h * v - a
                    if (
                        call_law(address, at(p, 0), at(memory, 0), ahead, rate, h, at(out, 0), at(trial, 0))
                        != 0
                    ):
                        break
                    error = force - m * acceleration - c * rate - out[0]
                    change = error / (4.0 / (h * h) * m + 2.0 / h * (c + out[2]) + out[1])
                    ahead += change
                    if abs(change) <= 1e-10 * (abs(ahead) + h * abs(v) + 1e-30):
                        good = True
                        break
                if not good:
                    break
                rate = 2.0 / h * (ahead - u) - v
                a = 4.0 / (h * h) * (ahead - u) - 4.0 / h * v - a
                u, v = ahead, rate
                memory, trial = trial, memory
            if not good:
                break
            u_out[row, i] = u
    return 0


@dataclass(frozen=True)
class OscillatorTest:
    """Excitation p (N) and measured displacement (m), `dt` seconds apart, of a known `mass` (kg) on the device.

    `damping` c (N·s/m) is what does not belong to the law. `parts` sub-steps lie between two samples. Raises
    `InputError`.
    """

    name: str
    excitation: np.ndarray = field(repr=False)
    displacement: np.ndarray = field(repr=False)
    dt: float
    mass: float
    damping: float = 0.0
    parts: int = 8

    kind = "translation"
    units = ("N", "m")

    def __post_init__(self) -> None:
        p, u = pair(self.excitation, self.displacement, ("excitation", "displacement"))
        object.__setattr__(self, "excitation", p)
        object.__setattr__(self, "displacement", u)
        positive(f"test {self.name}: dt", self.dt)
        positive(f"test {self.name}: mass", self.mass)
        if finite(f"test {self.name}: damping", self.damping) < 0.0:
            raise InputError(f"test {self.name}: damping is {self.damping!r}; allowed: 0 or more")
        if self.parts < 1:
            raise InputError(f"test {self.name}: parts is {self.parts!r}; allowed: 1, 2, 3 …")

    def outputs(self, laws: Sequence[Law]) -> np.ndarray:
        """Displacements (m) of the mass on each law, one row a law."""
        P = padded([law.parameters() for law in laws])
        M = padded([law.initial_memory() for law in laws])
        found = np.full((len(laws), self.excitation.size), np.nan)
        address = laws[0].kernel.address

        def run(rows: slice) -> None:
            _vibrate(
                address,
                P[rows],
                M[rows],
                self.excitation,
                self.dt / self.parts,
                self.parts,
                self.mass,
                self.damping,
                found[rows],
            )

        in_threads(run, len(laws))
        return found

    @property
    def resonance(self) -> float:
        """Frequency (Hz) at which displacement over excitation is largest, where there is excitation."""
        P, U = np.abs(np.fft.rfft(self.excitation)), np.abs(np.fft.rfft(self.displacement))
        excited = P / P.max() > 0.1
        excited[0] = False
        gain = np.where(excited, U / np.maximum(P, 1e-300), 0.0)
        return float(np.fft.rfftfreq(self.excitation.size, self.dt)[int(np.argmax(gain))])
