"""Sensor map: every channel at its place on a frame, complete and checked before anything is read."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from frame2d.errors import InputError, known
from frame2d.instruments.channel import Channel
from frame2d.instruments.laws import laws_of
from frame2d.instruments.places import KINDS, Panel, Place, Section, Zone, check_place, face_sign
from frame2d.model.frame import Frame
from frame2d.model.system import System


@dataclass(frozen=True)
class SensorMap:
    """Channels by name and places by name on `frame`.

    `balanced`: readings count from the start of the test, so that what stood before is not in them; without it the
    gauges were zeroed on the unloaded frame. `specimen` names the members that are really built (all, if empty).
    Raises `InputError` for channels without a place, pairs that lack a sensor, and whatever a place refuses.
    """

    frame: Frame = field(repr=False)
    places: dict[str, Place]
    channels: dict[str, Channel]
    name: str = "sensor map"
    balanced: bool = True
    specimen: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.channels:
            raise InputError(f"{self.name} has no channels; allowed: at least one")
        for member in self.specimen:
            known(f"{self.name}: specimen", member, self.frame.members)
        resolved: dict[str, Place] = {}
        ordered = sorted(self.places.values(), key=lambda place: not isinstance(place, Section))
        for place in ordered:
            resolved[place.name] = check_place(place, self.frame, self.places | resolved)
        object.__setattr__(self, "places", {name: resolved[name] for name in self.places})
        for channel in self.channels.values():
            place = self.places[known(f"channel {channel.name!r}: place", channel.place, self.places)]
            channel.factor(place)
        self._check_pairs()
        for place in self.places.values():
            if isinstance(place, Zone | Panel):
                known(f"place {place.name!r}: device", place.device.lstrip("-"), laws_of(self.system))
        for place in self.places.values():
            if isinstance(place, Zone) and not self.balanced:
                self._check_unloaded(place)

    @cached_property
    def system(self) -> System:
        """The frame, compiled once."""
        return self.frame.compile()

    def at(self, place: str, kind: str, side: float | str | None = None) -> Channel | None:
        """The channel of a kind at a place: of the local +y (1.0) or −y (−1.0) side, or of a named face."""
        for channel in self.channels.values():
            if channel.place != place or channel.kind != kind:
                continue
            if side is None or (isinstance(side, str) and channel.face == side):
                return channel
            if isinstance(side, float) and self.side(channel) == side:
                return channel
        return None

    def side(self, channel: Channel) -> float:
        """+1 or −1: the local side of the member on which a gauge or transducer sits."""
        place = self.places[channel.place]
        assert isinstance(place, Section | Zone)
        return face_sign(self.frame, place.member, channel.face, f"channel {channel.name!r}")

    def built(self) -> set[str]:
        """Members of the specimen."""
        return set(self.specimen) or set(self.frame.members)

    def _check_pairs(self) -> None:
        seen: dict[tuple[str, str, object], str] = {}
        for channel in self.channels.values():
            side: object = channel.face
            if channel.kind in ("strain", "transducer"):
                side = self.side(channel)
            key = (channel.place, channel.kind, side)
            if key in seen:
                raise InputError(
                    f"channels {seen[key]!r} and {channel.name!r} are both the {channel.kind} of {channel.place!r} on one "
                    "side; allowed: one a side. Likely mistake: the face of one of them"
                )
            seen[key] = channel.name
        for place in self.places.values():
            if isinstance(place, Section):
                kind, least = "strain", 2
            elif isinstance(place, Zone):
                kind, least = "transducer", 2 if place.arm else 0
            elif isinstance(place, Panel):
                kind, least = "diagonal", 2
            else:
                continue
            found = [c.name for c in self.channels.values() if c.place == place.name and c.kind == kind]
            if len(found) != least and (least or found):
                hint = " with arm, start and end" if isinstance(place, Zone) and not place.arm else ""
                raise InputError(
                    f"{type(place).__name__.lower()} {place.name!r} has {len(found)} {kind} channels {found}; allowed: "
                    f"two, on opposite sides{hint}"
                )

    def _check_unloaded(self, zone: Zone) -> None:
        loaded = [load for load in self.frame.member_loads if load.member == zone.member]
        if loaded:
            raise InputError(
                f"zone {zone.name!r}: member {zone.member!r} carries a load along it, so its moment is not linear; "
                "allowed: balanced = true, when the load does not change during the test"
            )

    def describe(self) -> dict[str, Any]:
        """Plain data with the keys of a TOML map; `frame2d.instruments.reading_maps.from_data` makes the map again."""
        kinds = {kind: name for name, kind in KINDS.items()}
        places = {}
        for name, place in self.places.items():
            values = {key: value for key, value in vars(place).items() if key != "name"}
            places[name] = {
                "kind": kinds[type(place)],
                **{k: list(v) if isinstance(v, tuple) else v for k, v in values.items()},
            }
        channels = {
            name: {key: value for key, value in vars(channel).items() if key != "name"}
            for name, channel in self.channels.items()
        }
        return {
            "name": self.name,
            "balanced": self.balanced,
            "specimen": list(self.specimen),
            "places": places,
            "channels": channels,
        }

    def summary(self) -> str:
        """Channels with unit, sign and place as text."""
        rows = [f"{self.name}: {len(self.channels)} channels at {len(self.places)} places"]
        for channel in self.channels.values():
            rows.append(
                f"  {channel.name:<12} {channel.kind:<12} {channel.unit:<6} {channel.sign:+d}  {channel.place}"
                + (f", {channel.face}" if channel.face else "")
            )
        return "\n".join(rows)


def sensor_map(
    frame: Frame, places: Iterable[Place], channels: Iterable[Channel], **options: object
) -> SensorMap:
    """Sensor map of lists of places and channels; raises `InputError` for a name used twice."""
    tables: list[dict[str, object]] = [{}, {}]
    for table, entries, kind in zip(tables, (places, channels), ("place", "channel"), strict=True):
        for entry in entries:
            if entry.name in table:
                raise InputError(f"{kind} {entry.name!r} stands twice in the map; allowed: each name once")
            table[entry.name] = entry
    return SensorMap(frame, tables[0], tables[1], **options)  # type: ignore[arg-type]
