"""Component tests of the demo, invented for this purpose: one a device type, written as CSV, read, fitted, kept as cards.

A virtual specimen with a hidden law (of the first storey's size) is led through two protocols, measured in mm and kN with
noise and a converter's steps. The law is fitted to one protocol and checked on the other. Devices of the other storeys
are taken as similar: the same shape of loop, stiffness and strength in proportion.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from frame2d.component_tests import CyclicTest, Protocol, eccs45, fema461, read_test
from frame2d.demo.skeleton import Laws
from frame2d.fitting import Effort, Fit, fit, save_card, virtual_test
from frame2d.materials import BoucWen, BoucWenAsymmetric
from frame2d.materials.law import Law
from frame2d.written import folder_at


@dataclass(frozen=True)
class Tested:
    """One device type: its hidden law, what is measured, and the amplitude of its protocols (yield, largest)."""

    name: str
    what: str
    hidden: Law
    kind: str
    yielding: float
    largest: float
    free: Any
    seed: int


#: What a single pinched test cannot tell from the rest (delta_nu and delta_eta both cost strength) stays out of the fit.
REDUNDANT = {"delta_A": 0.0, "delta_nu": 0.0, "delta_psi": 0.0}


class Component(NamedTuple):
    """A device type after its tests: what was fitted, to which files."""

    tested: Tested
    fit: Fit
    files: tuple[Path, Path]


def hidden_laws() -> Laws:
    """What the invented devices of the first storey really are; the demo's specimen is made of them."""
    return Laws(
        link=BoucWen(k=1.13e8, Fy=116e3, a=0.012, n=1.6, beta=0.57),
        pin=BoucWen(
            k=2.05e8, Fy=338e3, a=0.021, n=2.1, beta=0.61, delta_eta=0.006,
            zeta_s=0.91, q=0.11, p=0.42, psi=0.28, lam=0.5,
        ),
        splice=BoucWenAsymmetric.from_phases(
            k=7.1e7, Fy=107e3, a=0.021, n=1.5, psi=(1.0, -0.1, 2.0, 2.15, -0.2, 1.0)
        ),
    )  # fmt: skip


def specimen_pin() -> BoucWen:
    """The pin that stands on the rig: of another batch than the component test's, a tenth weaker."""
    pin = hidden_laws().pin
    return replace(pin, Fy=0.9 * pin.Fy)  # type: ignore[no-any-return]


def tested_devices() -> tuple[Tested, ...]:
    """The three device types with their protocols."""
    laws = hidden_laws()
    return (
        Tested("link", "weakened end of a short link", laws.link, "rotation", 1.2e-3, 0.016, None, 11),
        Tested(
            "pin",
            "brace-end pin between plates",
            laws.pin,
            "translation",
            2.0e-3,
            0.045,
            "all",
            12,
        ),
        Tested("splice", "fuse splice beside the slab", laws.splice, "rotation", 1.5e-3, 0.013, None, 13),
    )


def measure(tested: Tested, folder: Path, points: int = 40) -> tuple[Path, Path]:
    """Lead the virtual specimen through both protocols; two CSV files in mm or mrad, kN or kNm."""
    multiples = np.unique(np.round(np.linspace(2.0, tested.largest / tested.yielding, 4)))
    protocols: tuple[Protocol, Protocol] = (
        eccs45(tested.yielding, tuple(multiples)),
        fema461(tested.largest, steps=10),
    )
    files = []
    for number, protocol in enumerate(protocols):
        test = virtual_test(
            tested.hidden, protocol.by_steps(points), tested.seed + 100 * number, 0.01, kind=tested.kind
        ).test
        path = folder / f"{tested.name}_{protocol.name.replace(' ', '_')}.csv"
        _write(path, test)
        files.append(path)
    return files[0], files[1]


def _write(path: Path, test: CyclicTest) -> None:
    names = (
        ("rotation [mrad]", "moment [kNm]")
        if test.kind == "rotation"
        else ("displacement [mm]", "force [kN]")
    )
    table = np.column_stack([test.deformation, test.force]) * (1e3, 1e-3)
    head = f"# invented component test of a virtual specimen\n{names[0]},{names[1]}"
    np.savetxt(path, table, delimiter=",", header=head, comments="", fmt="%.6f")


def read(path: Path, kind: str) -> CyclicTest:
    """One of the files, in SI."""
    names = ("rotation", "moment") if kind == "rotation" else ("displacement", "force")
    return read_test(path, deformation=names[0], force=names[1])


def components(folder: Path, quick: bool = False, progress: bool = True) -> dict[str, Component]:
    """Test and fit all three; CSV files and cards are written into `folder`."""
    folder_at(folder)
    effort = Effort(generations=15, starts=1) if quick else Effort()
    found = {}
    for tested in tested_devices():
        files = measure(tested, folder, points=20 if quick else 40)
        main, other = (read(path, tested.kind) for path in files)
        fitted = fit(
            type(tested.hidden).__name__, main, free=tested.free, fixed=REDUNDANT if tested.free else None,
            held_back=[other],
            effort=effort, progress=progress, profile="none" if quick else "auto",
        )  # fmt: skip
        save_card(fitted, folder / f"{tested.name}.json", note="invented device of the demo")
        found[tested.name] = Component(tested, fitted, files)
    return found


def fitted_laws(found: dict[str, Component]) -> Laws:
    """The fitted laws of the first storey's devices."""
    return Laws(**{name: component.fit.law for name, component in found.items()})  # type: ignore[arg-type]


__all__ = [
    "Component",
    "Tested",
    "components",
    "fitted_laws",
    "hidden_laws",
    "read",
    "specimen_pin",
    "tested_devices",
]
