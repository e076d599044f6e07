"""Device laws fitted again to the loops that a test measured, beside those that were assumed before it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from frame2d.component_tests import CyclicTest, from_arrays
from frame2d.errors import InputError, known
from frame2d.fitting import Errors, errors_of, fit
from frame2d.instruments.laws import laws_of, with_laws
from frame2d.instruments.places import Bar, Panel, Zone
from frame2d.instruments.quantity import Quantity
from frame2d.instruments.sensor_map import SensorMap
from frame2d.materials.law import Law
from frame2d.model.frame import Frame

Fitter = Callable[[Law, Sequence[CyclicTest]], Any]


class Refitted(NamedTuple):
    """One device: the law assumed before, the one fitted after, and the errors of both on the measured loop."""

    before: Law
    after: Law
    error_before: Errors
    error_after: Errors
    #: What the fitting returned, with intervals if it was `frame2d.fitting.fit`.
    fit: Any


@dataclass(frozen=True)
class Refit:
    """All devices that were fitted again, and the frame with their new laws."""

    frame: Frame
    devices: dict[str, Refitted]

    @property
    def laws(self) -> dict[str, Law]:
        """New laws by device."""
        return {name: device.after for name, device in self.devices.items()}

    def __str__(self) -> str:
        rows = []
        for name, device in self.devices.items():
            before, after = device.error_before, device.error_after
            text = f"{name}: force {100 * before.force:.2f} → {100 * after.force:.2f} %"
            if before.end_energy is not None and after.end_energy is not None:
                text += (
                    f", energy at the end {100 * before.end_energy:+.2f} → {100 * after.end_energy:+.2f} %"
                )
            rows.append(text)
        return "\n".join(rows)


def measured_loops(sensors: SensorMap, quantities: Mapping[str, Quantity]) -> dict[str, CyclicTest]:
    """Loops of all devices whose force and deformation the map yields, by the device's name in `Response.laws`.

    Only the samples up to the first at which a section left its elastic range are taken.
    """
    laws = laws_of(sensors.system)
    loops: dict[str, CyclicTest] = {}
    for place in sensors.places.values():
        pair = {Zone: ("moment", "rotation"), Panel: ("moment", "distortion"), Bar: ("force", "elongation")}
        if type(place) not in pair:
            continue
        names = [f"{place.name} {kind}" for kind in pair[type(place)]]
        if any(name not in quantities for name in names):
            continue
        force, deformation = (quantities[name] for name in names)
        if isinstance(place, Bar):
            device = next(name for name, part in laws.items() if part.member == place.member)
            sign = 1.0
        else:
            assert isinstance(place, Zone | Panel)
            device = place.device.lstrip("-")
            sign = -1.0 if isinstance(place, Zone) and place.device.startswith("-") else 1.0
        valid = force.valid & deformation.valid
        end = valid.size if valid.all() else int(np.argmin(valid))
        if end < 2:
            raise InputError(
                f"{device}: its sections are beyond the elastic strain from the start; no loop is left"
            )
        kind = "translation" if isinstance(place, Bar) else "rotation"
        loops[device] = from_arrays(
            device, deformation.value[:end], sign * force.value[:end], time=force.time[:end], kind=kind
        )
    return loops


def refit_devices(
    frame: Frame,
    loops: Mapping[str, CyclicTest],
    *,
    groups: Sequence[Sequence[str]] = (),
    fitter: Fitter | None = None,
    **options: Any,
) -> Refit:
    """Fit the law of each device in `loops` again, starting from the one in `frame`.

    Devices in one of the `groups` are of one kind and get one law, fitted to all of their loops together. `fitter`
    takes (law, tests) and returns a law or something with `.law`; `options` go to `frame2d.fitting.fit`, which is used
    otherwise. Raises `InputError` for names without a law or in two groups.
    """
    found = laws_of(frame.compile())
    for name in loops:
        known("device", name, found)
    if not loops:
        raise InputError("there are no loops to fit; allowed: at least one device")
    together: list[list[str]] = [list(group) for group in groups]
    named = [name for group in together for name in group]
    for name in named:
        known("device of a group", name, loops)
    if len(set(named)) < len(named):
        raise InputError(
            f"groups name {sorted({n for n in named if named.count(n) > 1})} twice; allowed: once"
        )
    together += [[name] for name in loops if name not in named]
    devices: dict[str, Refitted] = {}
    for group in together:
        before = found[group[0]].part.law
        tests = [loops[name] for name in group]
        result = fitter(before, tests) if fitter is not None else fit(before, tests, **options)
        after = result if isinstance(result, Law) else result.law
        for name, test in zip(group, tests, strict=True):
            own = found[name].part.law
            devices[name] = Refitted(own, after, errors_of(own, test), errors_of(after, test), result)
    ordered = {name: devices[name] for name in loops}
    return Refit(with_laws(frame, {name: d.after for name, d in ordered.items()}), ordered)
