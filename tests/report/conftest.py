"""A folder of results from a short all-computed campaign of the demo frame, and its report."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d.analysis import Rayleigh, gravity, push
from frame2d.campaign import Campaign, ComputedRunner, Criteria, DeviceCapacity, LimitState, StaysElastic
from frame2d.demo.building import demo_frame
from frame2d.report import build_report, fact, limit_state_entry, picture, table, write_summary
from frame2d.show import plot_frame, save_figure

NAMES = ("damage limitation", "near collapse", "damage limitation again")


def short_record() -> SimpleNamespace:
    """Four seconds of invented shaking."""
    time = np.arange(0.0, 4.0, 0.01)
    envelope = np.sin(np.pi * time / 4.0)
    shape = np.sin(2 * np.pi * 1.3 * time) + 0.5 * np.sin(2 * np.pi * 2.9 * time + 1.0)
    return SimpleNamespace(acceleration=2.0 * envelope * shape, dt=0.01, name="invented shaking")


@pytest.fixture(scope="session")
def campaign(tmp_path_factory):
    """Results of the campaign, and of a reference with more damping."""
    root = tmp_path_factory.mktemp("results")
    system = demo_frame().compile()
    record = short_record()
    states = [
        LimitState(NAMES[0], record, 0.5, "dl", quiet=1.0),
        LimitState(NAMES[1], record, 2.0, "nc", quiet=1.0, replace="all"),
        LimitState(NAMES[2], record, 0.5, "dl2", quiet=1.0, repeats=NAMES[0]),
    ]
    criteria = Criteria(
        devices=(
            DeviceCapacity("link *", 0.01, 5e3, 0.2, elastic=0.002, fit=0.01, source="invented"),
            DeviceCapacity("pin *", 0.056, 2e3, fit=0.002, source="invented"),
        ),
        elastic=(StaysElastic("column *", 0.15, 355e6 / 210e9, "S355"),),
    )
    runs = [
        Campaign(
            ComputedRunner(system, {"damping": Rayleigh(zeta, (1, 3))}, origin=origin),
            states,
            criteria,
            folder,
        ).run()
        for zeta, origin, folder in ((0.03, "computed", root / "campaign"), (0.04, "reference", None))
    ]
    return root, system, runs


@pytest.fixture(scope="session")
def folder(campaign):
    """Folder with summary and report."""
    root, system, (tests, references) = campaign
    save_figure(plot_frame(system.frame), root / "frame.png")
    curve = push(system, gravity(system).state, "modal", node="A5", target=0.2, steps=30)
    curve.save(root / "push.h5")
    entries = [limit_state_entry(t, root, r.measured) for t, r in zip(tests, references, strict=True)]
    write_summary(root, {
        "title": "Invented frame: a short campaign", "subtitle": "Made by a test", "date": "2026-01-01", "invented": True,
        "job": {"text": ["Prove that devices can be replaced & <nothing> else is damaged."]},
        "building": {
            "facts": [fact("Storeys", 5), fact("Mass", 300e3, "kg", "floors only")],
            "pictures": [picture("frame.png", "The invented frame.", "Elevation of a five-storey frame with its devices")],
            "curves": [{"caption": "Pushed over (kN, mm).", "alt": "Push curve", "x": "roof (mm)", "y": "shear (kN)",
                        "series": [{"name": "frame", "file": "push.h5", "x": "tables/floor 5 ux (m)",
                                    "y": "tables/base shear (N)", "x_factor": 1e3, "y_factor": 1e-3},
                                   {"name": "limit", "x": [0, 200], "y": [500, 500]}]}],
        },
        "capacity": {"tables": [table("Rig.", ["What", ("Demand", "kN"), "Verdict"],
                                      [["force", 812.5, "within"], ["stroke", None, "not judged"]])]},
        "limit_states": entries, "seconds": {"all": 1.5},
    })  # fmt: skip
    build_report(root)
    return root
