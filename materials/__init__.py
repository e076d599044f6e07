"""Laws: what turns one deformation into one force. One law a file; the list below is the registry.

| law | for | source |
| --- | --- | --- |
| Elastic | what stays elastic | Hooke |
| Bilinear | first look at a yielding device | Simo & Hughes 1998 |
| Multilinear | concave backbones, different on either side | Besseling 1958, Iwan 1966 |
| RambergOsgood | rounded backbone with Masing branches | Ramberg & Osgood 1943, Masing 1926 |
| MenegottoPinto | steel bars and braces in few parameters | Menegotto & Pinto 1973, Filippou et al. 1983 |
| BoucWen | smooth loops, degradation, pinching; rate form | Wen 1976, Baber & Wen 1981, Baber & Noori 1985 |
| BoucWenStiffened | the same, for small cycles that must not relax the force; rate form | own rule |
| BoucWenAsymmetric | smooth loops of six slopes; rate form | Song & Der Kiureghian 2006 |
| PinchedMultilinear | four-point envelopes, pinching, three kinds of damage | Lowes & Altoontash 2003 |
| Pinched | pinching through a break point, no deterioration | Ibarra, Medina & Krawinkler 2005 |
| DeterioratingBilinear | softening and loss by energy, fat loops | Ibarra, Medina & Krawinkler 2005 |
| DeterioratingPeakOriented | the same, reloading to the largest excursion | Ibarra, Medina & Krawinkler 2005 |
| DeterioratingPinching | the same, through a break point | Ibarra, Medina & Krawinkler 2005 |
| Contact | one side only, after a clearance | common practice |
| Slack | bolt clearance on both sides of any law | common practice |
| TensionOnly | rods and flat bars | common practice |
| BucklingBrace | braces that buckle, straighten and yield | Nonaka 1973, Ikeda et al. 1984, SEAOC 1988 |
| ViscousDamper | linear damper | F = c·v |
| PowerDamper | fluid dampers | Constantinou & Symans 1992 |
| MaxwellDamper | a fluid damper and its brace | Maxwell 1867, trapezoidal rule |
| Series, Parallel | any laws in a row or side by side, nested at will | equilibrium, compatibility |
| LowCycleFatigue | wear and fracture of any law | Coffin 1954, Manson 1953, Miner 1945, ASTM E1049 |

Hinges of axial force and moment (two deformations, two forces) have a registry of their own in `pair_hinge`: listed is
`AxialMomentHinge` (`axial_moment`, surfaces in `yield_surface`), and `register_hinge` adds one's own.
"""

from typing import Any

from frame2d.errors import InputError, known
from frame2d.materials.axial_moment import AxialMomentHinge
from frame2d.materials.bilinear import Bilinear
from frame2d.materials.bouc_wen import BoucWen
from frame2d.materials.bouc_wen_asymmetric import BoucWenAsymmetric
from frame2d.materials.bouc_wen_stiffened import BoucWenStiffened
from frame2d.materials.buckling_brace import BucklingBrace
from frame2d.materials.contact import Contact
from frame2d.materials.deterioration import (
    DeterioratingBilinear,
    DeterioratingPeakOriented,
    DeterioratingPinching,
)
from frame2d.materials.elastic import Elastic
from frame2d.materials.fatigue import LowCycleFatigue
from frame2d.materials.law import Law
from frame2d.materials.maxwell_damper import MaxwellDamper
from frame2d.materials.menegotto_pinto import MenegottoPinto
from frame2d.materials.multilinear import Multilinear
from frame2d.materials.pair_hinge import PairHinge, build_hinge, register_hinge, registered_hinges
from frame2d.materials.parallel import Parallel
from frame2d.materials.pinched import Pinched
from frame2d.materials.pinched_multilinear import PinchedMultilinear
from frame2d.materials.power_damper import PowerDamper
from frame2d.materials.ramberg_osgood import RambergOsgood
from frame2d.materials.series import Series
from frame2d.materials.slack import Slack
from frame2d.materials.tension_only import TensionOnly
from frame2d.materials.viscous_damper import ViscousDamper

_listed: tuple[type[Law], ...] = (
    Elastic,
    Bilinear,
    Multilinear,
    RambergOsgood,
    MenegottoPinto,
    BoucWen,
    BoucWenStiffened,
    BoucWenAsymmetric,
    PinchedMultilinear,
    Pinched,
    DeterioratingBilinear,
    DeterioratingPeakOriented,
    DeterioratingPinching,
    Contact,
    Slack,
    TensionOnly,
    BucklingBrace,
    ViscousDamper,
    PowerDamper,
    MaxwellDamper,
    Series,
    Parallel,
    LowCycleFatigue,
)
_registry: dict[str, type[Law]] = {law.__name__: law for law in _listed}


def register(law: type[Law]) -> type[Law]:
    """Add a law class to the registry (usable as a decorator); it can then be saved, loaded and fitted by name."""
    _registry[law.__name__] = law
    return law


def registered() -> dict[str, type[Law]]:
    """Every law by name."""
    return dict(_registry)


def build(description: dict[str, Any]) -> Law:
    """Make a law of what `Law.describe` returned; raises `InputError` for unknown names and parameters."""
    values = dict(description)
    name = known("law", values.pop("law", None), _registry)
    values = {key: _built(value) for key, value in values.items()}
    try:
        return _registry[name](**values)
    except TypeError as error:
        raise InputError(f"law {name} does not take these parameters: {error}") from None


def _built(value: Any) -> Any:
    if isinstance(value, dict) and "law" in value:
        return build(value)
    if isinstance(value, list):
        return tuple(_built(entry) for entry in value)
    return value


__all__ = [
    "AxialMomentHinge",
    "Bilinear",
    "BoucWen",
    "BoucWenAsymmetric",
    "BoucWenStiffened",
    "BucklingBrace",
    "Contact",
    "DeterioratingBilinear",
    "DeterioratingPeakOriented",
    "DeterioratingPinching",
    "Elastic",
    "Law",
    "LowCycleFatigue",
    "MaxwellDamper",
    "MenegottoPinto",
    "Multilinear",
    "PairHinge",
    "Parallel",
    "Pinched",
    "PinchedMultilinear",
    "PowerDamper",
    "RambergOsgood",
    "Series",
    "Slack",
    "TensionOnly",
    "ViscousDamper",
    "build",
    "build_hinge",
    "register",
    "register_hinge",
    "registered",
    "registered_hinges",
]
