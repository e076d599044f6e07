"""Choose ground motions for a test: a pool of records, a suite for the design, one record for each limit state.

Every record here is synthetic and invented; with real ones the same lines begin with `read_text` or
`read_strong_motion`. Building and criteria are invented too.
"""

from pathlib import Path
from typing import Any

import numpy as np

from frame2d.motions import (
    EN1998_3,
    Criterion,
    ElasticSpectrum,
    Envelope,
    Pulse,
    Record,
    bilinear_history,
    candidates,
    choose_per_limit_state,
    measures,
    select_suite,
    synthetic_record,
)

T1 = 0.7  # s, fundamental period of the invented frame
STRENGTH = 2.5  # m/s², its yield force over its mass
STROKE = 0.13  # m, what the invented actuator may use
TARGET = ElasticSpectrum(ag=2.5, ground="C", kind=1)  # 475 years


def invented_pool(count: int, short: bool) -> list[Record]:
    """Records for other sites and other ground, so that they fit the target about as well as recorded ones would."""
    envelope = Envelope(1.0, 4.0, 3.0) if short else Envelope(2.0, 10.0, 8.0)
    rng = np.random.default_rng(2024)
    pool = []
    for i in range(1, count + 1):
        ground = "ABCDE"[rng.integers(5)]
        site = ElasticSpectrum(ag=rng.uniform(1.0, 3.0), ground=ground)
        pulse = (
            Pulse(0.05 * site.peak_ground_acceleration, 1.0, 0.4 * envelope.duration) if i % 4 == 0 else None
        )
        # a loose fit at few periods leaves each record its own peaks and troughs
        pool.append(
            synthetic_record(
                site,
                rng,
                dt=0.01,
                envelope=envelope,
                pulse=pulse,
                periods=np.geomspace(0.05, 3.0, 12),
                tolerance=0.3,
                name=f"{ground}{i}",
            )
        )
    return pool


def run(count: int = 40, size: int = 7, short: bool = False) -> dict[str, Any]:
    """Pool, suite and choices; `count` records in the pool, `size` in the suite."""
    records = invented_pool(count, short)

    # Each record gets the factor that fits it best between 0.2·T1 and 2·T1, within bounds.
    pool = candidates(records, TARGET, T1, bounds=(0.25, 4.0))

    # The best set of all, raised by a common factor where the suite rule of EN 1998-1 asks for it.
    selection = select_suite(pool, size, kind="artificial")

    # A test takes one record for each limit state. Further criteria come from the reduced model and the rig: here a
    # made-up reduction error, and the stroke that a bilinear oscillator of the frame's period and strength needs.
    rng = np.random.default_rng(7)
    reduction_error = {record.name: rng.uniform(0.02, 0.12) for record in records}
    criteria = {}
    for state in EN1998_3:
        fitted = candidates(records, TARGET.scaled(state.factor()), T1)
        stroke = {
            record.name: bilinear_history(record.scaled(factor), T1, STRENGTH, hardening=0.05)[1]
            for record, factor in zip(records, fitted.factors, strict=True)
        }
        criteria[state.name] = [
            Criterion("reduction error", reduction_error, weight=1.0, limit=0.10),
            Criterion("stroke (m)", stroke, weight=0.5, limit=STROKE),
        ]
    choices = choose_per_limit_state(records, TARGET, T1, EN1998_3, criteria)
    return {"records": records, "pool": pool, "selection": selection, "choices": choices}


if __name__ == "__main__":
    from frame2d.show.look import save_figure
    from frame2d.show.motion_plots import plot_choice, plot_motion, plot_spectra, plot_suite

    out = Path("out/select_motions")
    out.mkdir(parents=True, exist_ok=True)
    found = run()
    print(found["pool"].table(), "\n")
    print(found["selection"].table(), "\n")
    best = found["selection"].best
    print(best.report.table(), "\n")
    save_figure(plot_spectra(found["records"], TARGET, T1, title="pool before scaling"), out / "pool.png")
    save_figure(plot_suite(best, TARGET, T1), out / "suite.png")
    for number, (name, choice) in enumerate(found["choices"].items(), 1):
        print(choice.table(), "\n")
        print(f"{name}: {measures(choice.best)}\n")
        save_figure(plot_choice(choice), out / f"choice_{number}.png")
        save_figure(plot_motion(choice.best), out / f"record_{number}.png")
