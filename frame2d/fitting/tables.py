"""Ranges of the laws whose parameters are plain numbers, each with its source.

Units as in `Scales.unit`. "JOB" ranges of the smooth family are the usual ones of the trade (from memory);
what is not free by default is switched on by its name or its group.
"""

from frame2d.fitting.forms import FY, MEMORY, OWN, PHYSICS, PRACTICE, K
from frame2d.fitting.ranges import Range
from frame2d.materials import (
    Bilinear,
    BoucWen,
    BoucWenStiffened,
    BucklingBrace,
    Contact,
    Elastic,
    Law,
    MaxwellDamper,
    MenegottoPinto,
    PowerDamper,
    RambergOsgood,
    TensionOnly,
    ViscousDamper,
)

STIFFNESS = Range("k", "K", 1 / 3, 3.0, 1.0, K)
YIELD = Range("Fy", "F", 1 / 3, 3.0, 1.0, FY)
HARDENING = Range("b", "1", 0.0, 0.3, 0.02, "steel devices 0.005 to 0.1 (from memory), widened", log=False)

_ABOUT_BOUC = "Foliente 1995; Baber & Noori 1985 (ranges from memory), widened"

SMOOTH = (
    STIFFNESS,
    YIELD,
    Range("a", "1", 0.0, 0.3, 0.02, "steel 0.005 to 0.05 (from memory), widened", log=False),
    Range("n", "1", 1.0, 6.0, 1.8, "1 to 2, to 5 where sharp (from memory), widened"),
    Range(
        "beta", "1", 0.5, 1.5, 0.6, "at least 1/2: Erlicher & Bursi 2008; 0.5 to 0.9 (from memory)", log=False
    ),
    Range("delta_A", "1", 0.0, 0.05, 0.0, _ABOUT_BOUC, log=False, free=False, group="degradation"),
    Range(
        "delta_nu",
        "1",
        0.0,
        0.2,
        0.0,
        "0 to 0.1 (from memory), widened",
        log=False,
        free=False,
        group="degradation",
    ),
    Range(
        "delta_eta",
        "1",
        0.0,
        0.3,
        0.0,
        "0 to 0.1 (from memory), widened",
        log=False,
        free=False,
        group="degradation",
    ),
    Range(
        "zeta_s",
        "1",
        0.0,
        0.99,
        0.0,
        "0.7 to 0.95 where pinched (from memory)",
        log=False,
        free=False,
        group="pinching",
    ),
    Range(
        "q", "1", 0.0, 0.5, 0.1, "0 to 0.3 (from memory), widened", log=False, free=False, group="pinching"
    ),
    Range("p", "1", 0.02, 5.0, 0.5, "0.05 to 2 (from memory), widened", free=False, group="pinching"),
    Range("psi", "1", 0.05, 0.6, 0.2, "0.05 to 0.3 (from memory), widened", free=False, group="pinching"),
    Range(
        "delta_psi", "1", 0.0, 0.05, 0.0, "0 to 0.05 (from memory)", log=False, free=False, group="pinching"
    ),
    Range("lam", "1", 0.05, 1.0, 0.3, "0.1 to 0.6 (from memory), widened", free=False, group="pinching"),
)

#: Ranges by law.
TABLES: dict[type[Law], tuple[Range, ...]] = {
    Elastic: (Range("k", "K", 1e-3, 10.0, 1.0, OWN),),
    Bilinear: (
        STIFFNESS,
        YIELD,
        HARDENING,
        Range("isotropic", "1", 0.0, 1.0, 0.0, PHYSICS, log=False, free=False),
    ),
    RambergOsgood: (
        STIFFNESS,
        YIELD,
        Range("alpha", "1", 0.01, 10.0, 0.3, "3/7 for the 0.7 secant: Ramberg & Osgood 1943, widened"),
        Range("r", "1", 1.5, 40.0, 7.0, "5 to 30 for steel (from memory), widened"),
    ),
    MenegottoPinto: (
        STIFFNESS,
        YIELD,
        HARDENING,
        Range("R0", "1", 2.0, 40.0, 15.0, "20: Menegotto & Pinto 1973; 10 to 20 usual (from memory)"),
        Range("a1", "1", 0.0, 20.0, 5.0, "18.5: Menegotto & Pinto 1973 (from memory); below R0", log=False),
        Range("a2", "1", 0.02, 2.0, 0.15, "0.15: Menegotto & Pinto 1973 (from memory)"),
        Range(
            "a3", "1", 0.0, 0.1, 0.0, "about 0.01: Filippou et al. 1983 (from memory)", log=False, free=False
        ),
        Range("a4", "1", 0.1, 20.0, 1.0, OWN, free=False),
    ),
    BoucWen: SMOOTH,
    BoucWenStiffened: SMOOTH,
    Contact: (
        Range("k", "K", 0.1, 100.0, 1.0, OWN),
        Range("clearance", "U", 0.0, 1.0, 0.1, "within the deformations of the test", log=False),
    ),
    TensionOnly: (STIFFNESS, YIELD, HARDENING),
    BucklingBrace: (
        Range("k", "K+", 1 / 3, 3.0, 1.0, K),
        Range("Fy", "F+", 1 / 3, 3.0, 1.0, FY),
        Range("Fb", "F-", 1 / 5, 5.0, 1.0, "peak in compression (own rule)"),
        Range("s0", "u", 1e-3, 10.0, 0.1, OWN),
        Range("reduced", "1", 0.2, 1.0, 0.7, "0.3 to 1: SEAOC 1988 (from memory), widened", log=False),
    ),
    ViscousDamper: (Range("c", "C", 0.05, 20.0, 1.0, OWN),),
    PowerDamper: (
        Range("c", "C", 0.01, 100.0, 1.0, OWN),
        Range("alpha", "1", 0.1, 2.0, 0.5, "0.2 to 1: Constantinou & Symans 1992 (from memory), widened"),
        Range("v0", "V", 1e-4, 0.1, 1e-3, OWN, free=False),
    ),
    MaxwellDamper: (
        Range("k", "K", 0.2, 50.0, 2.0, PRACTICE),
        Range("c", "C", 0.01, 100.0, 1.0, OWN),
        Range("alpha", "1", 0.1, 2.0, 0.5, f"0.2 to 1 ({MEMORY}), widened"),
    ),
}
