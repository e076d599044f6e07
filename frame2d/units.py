"""Unit constants: multiply to enter a unit, divide to read one; inside everything is SI (m, N, kg, s, rad,
Pa).

    from frame2d.units import *
    span, load = 3.5 * m, 250 * kN
    print(load / kN)

Exact by definition of the SI (BIPM, The International System of Units, 9th ed. 2019), `g` included (standard
gravity, 3rd CGPM 1901); `gal` is the unit of strong-motion records, 1 cm/s².
"""

from math import pi

# length, area
m = 1.0
mm = 1e-3
cm = 1e-2
km = 1e3
mm2, cm2, m2 = mm**2, cm**2, 1.0
mm3, cm3, m3 = mm**3, cm**3, 1.0
mm4, cm4, m4 = mm**4, cm**4, 1.0

# mass
kg = 1.0
tonne = 1e3

# time, frequency
s = 1.0
ms = 1e-3
minute = 60.0
hour = 3600.0
Hz = 1.0

# angle
rad = 1.0
mrad = 1e-3
deg = pi / 180.0
percent = 1e-2

# force, moment, energy
N = 1.0
kN = 1e3
MN = 1e6
Nm = 1.0
kNm = 1e3
MNm = 1e6
J = 1.0
kJ = 1e3

# stress
Pa = 1.0
kPa = 1e3
MPa = 1e6
GPa = 1e9

# acceleration
g = 9.80665
gal = 1e-2

__all__ = [
    "MN",
    "GPa",
    "Hz",
    "J",
    "MNm",
    "MPa",
    "N",
    "Nm",
    "Pa",
    "cm",
    "cm2",
    "cm3",
    "cm4",
    "deg",
    "g",
    "gal",
    "hour",
    "kJ",
    "kN",
    "kNm",
    "kPa",
    "kg",
    "km",
    "m",
    "m2",
    "m3",
    "m4",
    "minute",
    "mm",
    "mm2",
    "mm3",
    "mm4",
    "mrad",
    "ms",
    "percent",
    "rad",
    "s",
    "tonne",
]
