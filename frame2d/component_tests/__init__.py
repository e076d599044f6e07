"""Component tests: loading protocols, measured cycles from CSV, and what they say about the device.

    protocol = eccs45(4 * mm)
    history = protocol.by_rate(0.2 * mm, dt=0.1)
    test = read_test("pin.csv", deformation="displacement", force="force", offset="first")
    print(extract(test))

| protocol | amplitudes | source |
| --- | --- | --- |
| `eccs45` | ¼ ½ ¾ 1 yield, then three cycles at 2, 4, 6 … | ECCS No. 45, 1986 |
| `fema461` | two cycles a step, ratio 1.4 | FEMA 461, 2007 |
| `aisc341_beam_column`, `aisc341_link` | drift and link rotation angles | AISC 341-16, K2.4 |
| `constant`, `increasing` | one's own | – |
"""

from frame2d.component_tests.cyclic_test import CyclicTest, write_csv
from frame2d.component_tests.excursions import Excursion, excursions
from frame2d.component_tests.extraction import Cycle, Direction, Extraction, extract
from frame2d.component_tests.preparing import from_arrays, prepare, read_test
from frame2d.component_tests.protocol import Protocol, ProtocolHistory, Step
from frame2d.component_tests.protocols import (
    aisc341_beam_column,
    aisc341_link,
    constant,
    eccs45,
    fema461,
    increasing,
)
from frame2d.component_tests.reading import RawTest, read_raw
from frame2d.component_tests.yielding import (
    Yield,
    drop_point,
    eccs_yield,
    equal_energy_yield,
    initial_stiffness,
    virgin_branch,
)

__all__ = [
    "Cycle",
    "CyclicTest",
    "Direction",
    "Excursion",
    "Extraction",
    "Protocol",
    "ProtocolHistory",
    "RawTest",
    "Step",
    "Yield",
    "aisc341_beam_column",
    "aisc341_link",
    "constant",
    "drop_point",
    "eccs45",
    "eccs_yield",
    "equal_energy_yield",
    "excursions",
    "extract",
    "fema461",
    "from_arrays",
    "increasing",
    "initial_stiffness",
    "prepare",
    "read_raw",
    "read_test",
    "virgin_branch",
    "write_csv",
]
