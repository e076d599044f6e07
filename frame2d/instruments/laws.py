"""Laws of a frame by the names that responses use, where they sit among the parts, and frames with other laws."""

from copy import copy
from dataclasses import replace
from typing import Any

from frame2d.errors import InputError, known
from frame2d.materials.law import Law
from frame2d.model.frame import Frame, Placed
from frame2d.model.system import PartPlace, System

#: Field of a member that holds the law of each role, where the two names differ.
FIELDS = {"start hinge": "start", "end hinge": "end"}


def laws_of(system: System) -> dict[str, PartPlace]:
    """Parts with a law by the name of `Response.laws`: "member", or "member: role" where there are several."""
    lawful = [place for place in system.parts if place.part.law is not None]
    count: dict[str, int] = {}
    for place in lawful:
        count[place.member] = count.get(place.member, 0) + 1
    return {
        f"{place.member}: {place.part.role}" if count[place.member] > 1 else place.member: place
        for place in lawful
    }


def with_laws(frame: Frame, laws: dict[str, Law]) -> Frame:
    """The frame with other laws in the places called as in `Response.laws`; the given frame stays as it is."""
    found = laws_of(frame.compile())
    members = dict(frame.members)
    for name, law in laws.items():
        place = found[known("device", name, found)]
        placed = members[place.member]
        role = place.part.role
        field = FIELDS.get(role, role)
        if not hasattr(placed.member, field):
            field = "law"
        if not hasattr(placed.member, field):
            raise InputError(
                f"member {place.member!r} keeps the law of its {role} where it cannot be changed"
            )
        member: Any = placed.member
        members[place.member] = Placed(
            placed.name, placed.i, placed.j, replace(member, **{field: law}), placed.device
        )
    other = copy(frame)
    other.members = members
    return other
