"""Sections of the demo's report: results of each stage as blocks of `frame2d.report.contents`, pictures drawn beside."""

from pathlib import Path
from typing import Any

from frame2d.analysis import Modes, Response
from frame2d.component_tests import extract
from frame2d.demo.component_tests import Component, read
from frame2d.demo.ladder import Ladder
from frame2d.demo.motions import LIMIT_STATES, TARGET, Motions
from frame2d.model import Frame
from frame2d.motions import measures
from frame2d.reduction import Fidelity
from frame2d.report import fact, picture, table

Block = dict[str, Any]


def job_block() -> Block:
    """What is asked, and with what cautions."""
    return {
        "text": [
            "Prove by a hybrid test that the replaceable devices of this frame take the damage of an earthquake, that "
            "the rest stays elastic, and that replaced devices give the stiffness back. One brace with its pin is "
            "tested by one actuator; all the rest is computed while the test runs.",
            "Everything here is invented: building, devices, component tests, laboratory and records. The specimen is "
            "a simulated rig. The demo shows the way from a building to a verdict with the same calls that a real "
            "campaign uses.",
        ],
        "facts": [
            fact("Limit states", ", ".join(f"{s.name} ({s.return_period:g} years)" for s in LIMIT_STATES)),
            fact("Return periods after", "EN 1998-3:2005, 2.1", note="ag scales with (T/475)^(1/3)"),
        ],
    }


def building_block(
    folder: Path, ladder: Ladder, frame: Frame, found: Modes, curve: Response, twist: float
) -> Block:
    """Building, plane frame, modes, push."""
    from frame2d import show
    from frame2d.show.reduction_plots import plot_plan

    show.save_figure(plot_plan(ladder.building), folder / "plan.png")
    show.save_figure(show.plot_frame(frame), folder / "frame.png")
    show.save_figure(show.plot_modes(found, 3), folder / "modes.png")
    share = found.effective_mass / found.total_mass
    return {
        "facts": [
            fact("Mass of the plane frame", found.total_mass, "kg"),
            fact("Devices", len(frame.devices()), note="links, brace-end pins, fuse splices; one of each a storey"),
            fact("Largest base shear of the push", float(curve.factor.max()), "N"),
            fact("Largest rotation of the roof in plan", 1e3 * twist, "mrad", "two records at once"),
        ],
        "tables": [
            table(
                "Modes of the plane frame under gravity.",
                ["Mode", ("Period", "s"), ("Effective mass", "%")],
                [[k + 1, float(found.period[k]), 100.0 * float(share[k])] for k in range(found.period.size)],
            ),
            table(
                "Modes of the building, with torsion.",
                ["Mode", ("Period", "s"), "Kind"],
                [[k + 1, float(T), ladder.modes.kind(k + 1)] for k, T in enumerate(ladder.modes.period)],
            ),
        ],
        "pictures": [
            picture("plan.png", "Plan of the invented building: frames, centres of mass and of stiffness (m).",
                    "Plan of a rectangular building with two long and two cross frames and its centres"),
            picture("frame.png", "The plane frame with its devices and the leaning gravity column (m).",
                    "Elevation of a five-storey frame: twin columns with links, splices, a braced bay, a leaning column"),
            picture("modes.png", "First three modes of the plane frame: periods and effective masses.",
                    "Three mode shapes of the frame"),
        ],
        "curves": [{
            "caption": "Push of the plane frame with the pattern of its first mode: base shear (kN) against roof displacement (mm).",
            "alt": "Push curve of the plane frame", "x": "roof displacement (mm)", "y": "base shear (kN)",
            "series": [{"name": "plane frame", "x": (1e3 * curve.displacement("A5")).tolist(),
                        "y": (1e-3 * curve.factor).tolist()}],
        }],
    }  # fmt: skip


def fits_block(folder: Path, found: dict[str, Component]) -> Block:
    """Component tests, what they say, fitted laws with intervals and errors."""
    from frame2d import show
    from frame2d.show.fit_plots import plot_fit

    blocks = []
    for name, (tested, fit, files) in found.items():
        file = f"fit_{name}.png"
        show.save_figure(plot_fit(fit), folder / file)
        length, load = fit.tests[0].units
        directions = extract(read(files[0], tested.kind)).directions
        rows = [
            ["positive" if d.sign > 0 else "negative", d.stiffness,
             None if d.yield_eccs is None else d.yield_eccs.force, d.peak_force, 100.0 * d.largest_drop]
            for d in directions
        ]  # fmt: skip
        blocks.append({
            "title": f"{name.capitalize()}: {tested.what}",
            "tables": [
                table("What the test says by itself.",
                      ["Direction", ("Initial stiffness", f"{load}/{length}"), ("Yield, ECCS 45", load), ("Peak", load),
                       ("Largest drop in repeats", "%")], rows),
                table(f"{fit.form} fitted to {fit.tests[0].name}: parameters with their 95 % intervals (SI).",
                      ["Parameter", "Value", "From", "To", "Status"],
                      [[p.name, p.value, p.low, p.high, p.status] for p in fit.parameters],
                      f"{fit.estimator}; bounds of acceptance {'met' if fit.accepted else 'not met'}"),
                table("Errors on the fitted protocol and on the one held back (D = max − min of the force).",
                      ["Test", ("NRMSE", "%"), ("Energy at the end", "%"), ("Peak +", "%"), ("Peak −", "%"), "Bounds"],
                      [[e.test, *(None if v is None else 100.0 * v for v in
                                  (e.force, e.end_energy, e.positive_peak, e.negative_peak)),
                        "within" if e.accepted else "exceeded"] for e in (*fit.errors, *fit.held_back)]),
            ],
            "pictures": [picture(file, f"{name.capitalize()}: measured and fitted loops, force history and energy.",
                                 f"Loops of the {name} test with the fitted law over them")],
        })  # fmt: skip
    return {
        "text": ["One virtual specimen a device type, measured with noise in mm and kN, read from CSV, fitted to one "
                 "protocol and checked on the other. Devices of the other storeys are taken as similar in shape."],
        "blocks": blocks,
    }  # fmt: skip


def fidelity_table(title: str, found: Fidelity) -> Block:
    """The worst value of each kind beside its bound."""
    rows = [
        [" ".join(text for text in (row.part, row.record) if text), row.quantity, row.index, row.value, row.bound,
         {True: "within", False: "exceeded", None: "not judged"}[row.passed]]
        for row in found.worst()
    ]  # fmt: skip
    failed = len(found.failures())
    note = f"{found.reduced} against {found.reference}: {failed} of {len(found.rows)} values beyond their bound. "
    return table(
        f"{title}: worst value of each kind.",
        ["Where", "Quantity", "Index", "Value", "Bound", "Verdict"],
        rows,
        note + " ".join(found.notes),
    )


def reduction_block(folder: Path, ladder: Ladder) -> Block:
    """Fidelity tables of all levels."""
    from frame2d import show
    from frame2d.show.reduction_plots import plot_fidelity, plot_stick

    plane = ladder.plane
    pictures = []
    for number, (name, found) in enumerate(ladder.tables.items(), 1):
        found.to_csv(folder / f"fidelity_{number}.csv")
        show.save_figure(plot_fidelity(found), folder / f"fidelity_{number}.png")
        pictures.append(picture(f"fidelity_{number}.png", f"Fidelity, {name}: each index as a share of its bound.",
                                f"Bars of the indices of the step {name}"))  # fmt: skip
    show.save_figure(plot_stick(ladder.stick), folder / "stick.png")
    pictures.append(picture("stick.png", "Springs of the stick model over the storeys' loops of the cyclic push.",
                            "Storey loops of the frame with the fitted springs"))  # fmt: skip
    return {
        "facts": [
            fact("Share of the frame in floor mass and weight", plane.share, "", "V_frame/V_total"),
            fact("Share added by torsion", 100.0 * plane.torsion / plane.share, "% of the share", "not in the plane frame"),
            fact("Error of the hypothesis, push", None if plane.push_error is None else 100.0 * plane.push_error, "%"),
            fact("Error of the first period", 100.0 * plane.period_error, "%"),
        ],
        "tables": [fidelity_table(name.capitalize(), found) for name, found in ladder.tables.items()],
        "pictures": pictures,
    }  # fmt: skip


def cuts_block(folder: Path, ladder: Ladder) -> Block:
    """All candidates in order, and the picture."""
    from frame2d import show
    from frame2d.show.reduction_plots import plot_cuts

    ranking = ladder.ranking
    ranking.to_csv(folder / "cuts.csv")
    show.save_figure(plot_cuts(ranking), folder / "cuts.png")
    rows = [
        [e.cut.name, e.error, 100.0 * e.nrmse, e.actuators, 1e-3 * e.force, 1e3 * e.stroke, 1e-3 * e.lost,
         100.0 * e.tested_energy, e.score, "within" if e.feasible else e.refused]
        for e in ranking.entries
    ]  # fmt: skip
    return {
        "text": [f"Candidates are generated, built, run under a near-collapse record and ranked; the best is {ranking.best.cut.name}. "
                 f"The laboratory has {ranking.rig.actuators} actuator(s) of {ranking.rig.force / 1e3:g} kN."],
        "tables": [table("Candidate cuts, best first.",
                         ["Cut", "Error over bound", ("Worst floor NRMSE", "%"), "Actuators", ("Force", "kN"),
                          ("Stroke", "mm"), ("Moment lost", "kN·m"), ("Energy tested", "%"), "Score", "Laboratory"], rows,
                         "Score: error, actuators, capacities and moment lost, weighted; smaller is better")],
        "pictures": [picture("cuts.png", "The best cuts: what is tested (dark) and what the choice costs.",
                             "Frames with their tested part and bars of error, actuators and moment lost")],
    }  # fmt: skip


def motions_block(folder: Path, motions: Motions, T1: float) -> Block:
    """Target, suite with its rules, choices by limit state."""
    from frame2d import show
    from frame2d.show.motion_plots import plot_choice, plot_motion, plot_suite

    suite = motions.suite.best
    show.save_figure(plot_suite(suite, TARGET, T1), folder / "suite.png")
    pictures = [picture("suite.png", "The suite, its mean and the 475-year target (m/s², s).",
                        "Response spectra of the suite with mean and target")]  # fmt: skip
    rows = []
    for number, (name, choice) in enumerate(motions.choices.items(), 1):
        best, m = choice.best, measures(choice.best)
        rows.append(
            [
                name,
                best.label,
                float(choice.factors[0]),
                float(choice.score[0]),
                m.pga,
                m.pgv,
                m.arias,
                m.duration_5_95,
            ]
        )
        show.save_figure(plot_choice(choice), folder / f"choice_{number}.png")
        show.save_figure(plot_motion(best), folder / f"record_{number}.png")
        pictures += [
            picture(f"choice_{number}.png", f"Choice for {name}: candidates by score and criteria.",
                    f"Ranking of records for {name}"),
            picture(f"record_{number}.png", f"The record of {name}: acceleration, velocity, displacement.",
                    f"Histories of the record of {name}"),
        ]  # fmt: skip
    checks = [
        [check.clause, check.asked, check.found,
         {True: "within", False: "exceeded", None: "not judged"}[check.passed]]
        for check in suite.report.checks
    ]  # fmt: skip
    return {
        "text": ["All records are synthetic, made for other sites and grounds of our invention, so that they fit about as "
                 "recorded ones would."],
        "tables": [
            table("Rules for the suite, EN 1998-1.", ["Clause", "Asked", "Found", "Verdict"], checks),
            table("The record of each limit state.",
                  ["Limit state", "Record", "Factor", "Score", ("PGA", "m/s²"), ("PGV", "m/s"), ("Arias", "m/s"),
                   ("Duration 5-95 %", "s")], rows),
        ],
        "pictures": pictures,
    }  # fmt: skip


def capacity_block(rehearsed: dict[str, Any]) -> Block:
    """Demands of the rehearsals beside the rig's capacities."""
    rows = [
        [name, c["median"], c["most"], c["available"], c["unit"], 100.0 * c["share"],
         "within" if c["share"] <= 0.85 else "exceeded"]
        for name, c in rehearsed["rehearsal"]["capacities"].items()
    ]  # fmt: skip
    return {
        "tables": [table("Demand of the near-collapse test beside what the rig has (SI); gate 85 % (common practice).",
                         ["Quantity", "Median", "Largest", "Capacity", "Unit", ("Share", "%"), "Verdict"], rows)],
    }  # fmt: skip


def rehearsal_block(rehearsed: dict[str, Any]) -> Block:
    """Monte Carlo and the remote test."""
    many, remote = rehearsed["rehearsal"], rehearsed["remote_test"]
    chances = [
        [name, 100.0 * c["value"], 100.0 * c["low"], 100.0 * c["high"]] for name, c in many["chances"].items()
    ]
    facts = [
        fact("Virtual tests", many["runs"], note="strength ±20 %, delay 2 to 8 ms, noise halved to doubled"),
        fact("Roof NRMSE of the range, median", 100.0 * many["nrmse_median"], "%"),
        fact("Recommended time scale", many["recommended_time_scale"] or "none"),
        fact("Recommended step", 1e3 * many["recommended_step_s"], "ms"),
        fact("Remote test ended", remote["ending"], note="simulated rig in a second process, over loopback"),
        fact("Remote test: roof NRMSE of the range", 100.0 * remote["indices"]["roof_nrmse_of_range"], "%"),
        fact("Remote test: largest energy error (HSEM)", 100.0 * remote["largest_energy_error"], "%"),
        fact("Remote test: step time, 99.9 %", 1e3 * remote["step_time_s"]["p999"], "ms"),
        fact("Remote test: missed deadlines", remote["missed_deadlines"]),
    ]
    if many["least_damping"] is not None:
        note = "predicted with the worst of the lags"
        facts.insert(
            3, fact("Least damping ratio of the loop there", 100.0 * many["least_damping"], "%", note=note)
        )
    shares = [[name, 100.0 * value] for name, value in remote["guard_shares"].items()]
    checks = [[name, c["text"], "within" if c["ok"] else "exceeded"] for name, c in remote["checks"].items()]
    return {
        "text": ["In words: " + "; ".join(many["words"][len(many["chances"]) + len(many["capacities"]) :]) + "."],
        "facts": facts,
        "tables": [
            table("Chance that a limit is hit, with its 95 % interval (Wilson 1927).",
                  ["Limit", ("Chance", "%"), ("From", "%"), ("To", "%")], chances),
            table("Checks before the remote test.", ["Check", "Found", "Verdict"], checks),
            table("Remote test: largest use of each limit of the guard.", ["Limit", ("Use", "%")], shares),
        ],
    }  # fmt: skip


__all__ = [
    "building_block", "capacity_block", "cuts_block", "fits_block", "job_block", "motions_block", "reduction_block",
    "rehearsal_block",
]  # fmt: skip
