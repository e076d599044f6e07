"""Instruments: from the channels of a laboratory to moments, rotations and energies, each with its uncertainty.

    sensors = read_map("map.toml", frame)
    readings = synchronise(sensors, [read_recording("a.csv", sensors, "main")])
    print(check_closure(sensors, readings))
    quantities = reduce(sensors, readings)

| file | what |
| --- | --- |
| scales, channel, places, sensor_map, reading_maps | units; channels; places on the frame; the whole map; TOML and CSV |
| derived, quantity | what each quantity is made of; its history, uncertainty, validity; works |
| relations, judge, faults, closure | statics, kinematics and energy that must close; the channel that keeps them from it |
| recording, findings, clocks, files | raw readings; what is wrong with them; common times; CSV and HDF5 |
| truth, virtual, follow | what faultless and faulty sensors read of a `Response`; a specimen led by displacements |
| laws, refit, signals, division | laws fitted again to measured loops; law, reduction, integration, rig in the error |

A test as a whole: truth → `virtual_recordings` → `synchronise` → `reduce` → `coverage` of `true_quantities`.
"""

from frame2d.instruments.channel import Channel
from frame2d.instruments.clocks import look_at, synchronise
from frame2d.instruments.closure import Closure, check_closure
from frame2d.instruments.derived import Derived, derive
from frame2d.instruments.division import AfterTest, Division, ErrorPart, after_test, divide_error
from frame2d.instruments.faults import Suspect
from frame2d.instruments.files import (
    load_readings,
    read_recording,
    save_readings,
    write_quantities,
    write_recording,
)
from frame2d.instruments.findings import Finding, check_times, find
from frame2d.instruments.follow import follow, follow_specimen
from frame2d.instruments.judge import Check
from frame2d.instruments.laws import with_laws
from frame2d.instruments.places import Actuator, Bar, End, Joint, Panel, Point, Section, Storey, Zone
from frame2d.instruments.quantity import Quantity, budget, coverage, reduce, work_of
from frame2d.instruments.reading_maps import read_map
from frame2d.instruments.recording import Readings, Recording
from frame2d.instruments.refit import Refit, Refitted, measured_loops, refit_devices
from frame2d.instruments.sensor_map import SensorMap, sensor_map
from frame2d.instruments.signals import signals_of
from frame2d.instruments.truth import section_forces, true_channels, true_quantities
from frame2d.instruments.virtual import Clock, virtual_recordings

__all__ = [
    "Actuator",
    "AfterTest",
    "Bar",
    "Channel",
    "Check",
    "Clock",
    "Closure",
    "Derived",
    "Division",
    "End",
    "ErrorPart",
    "Finding",
    "Joint",
    "Panel",
    "Point",
    "Quantity",
    "Readings",
    "Recording",
    "Refit",
    "Refitted",
    "Section",
    "SensorMap",
    "Storey",
    "Suspect",
    "Zone",
    "after_test",
    "budget",
    "check_closure",
    "check_times",
    "coverage",
    "derive",
    "divide_error",
    "find",
    "follow",
    "follow_specimen",
    "load_readings",
    "look_at",
    "measured_loops",
    "read_map",
    "read_recording",
    "reduce",
    "refit_devices",
    "save_readings",
    "section_forces",
    "sensor_map",
    "signals_of",
    "synchronise",
    "true_channels",
    "true_quantities",
    "virtual_recordings",
    "with_laws",
    "work_of",
    "write_quantities",
    "write_recording",
]
