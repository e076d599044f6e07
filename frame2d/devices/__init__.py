"""Devices from their geometry: starting points and sanity checks for what component tests then measure.

| maker | device | source |
| --- | --- | --- |
| `pin_in_bending` | brace-end pin between plates | Vayas & Thanopoulos 2005 |
| `weakened_beam` | beam with circular flange cuts | EN 1998-3 annex B, AISC 358 |
| `link` | short, intermediate, long link | EN 1998-1 6.8, AISC 341 F3 |
| `vierendeel_storey` | twin columns with short beams | equilibrium |
| `fuse_splice` | beam splice beside a continuous slab | equilibrium |

Each returns its numbers and, by `law`, a law to start fitting from.
"""

from frame2d.devices.fuse_splice import FusePlate, FuseSplice, Slab, fuse_splice
from frame2d.devices.link import Link, link
from frame2d.devices.pin import PinDevice, pin_in_bending
from frame2d.devices.plastic_equilibrium import PlasticMoment, Strip, plastic_moment
from frame2d.devices.vierendeel import VierendeelStorey, vierendeel_storey
from frame2d.devices.weakened_beam import WeakenedBeam, weakened_beam

__all__ = [
    "FusePlate",
    "FuseSplice",
    "Link",
    "PinDevice",
    "PlasticMoment",
    "Slab",
    "Strip",
    "VierendeelStorey",
    "WeakenedBeam",
    "fuse_splice",
    "link",
    "pin_in_bending",
    "plastic_moment",
    "vierendeel_storey",
    "weakened_beam",
]
