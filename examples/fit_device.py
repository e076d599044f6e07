"""Fit a device's law to a component test, prove it on another test, and keep it as a card.

The component tests are invented: a hidden pinched law led through two protocols, with noise, written as the CSV a
laboratory would send. With measured files only `invented_files` falls away.
"""

from pathlib import Path
from typing import Any

from frame2d.component_tests import CyclicTest, eccs45, extract, fema461, read_test, write_csv
from frame2d.fitting import Card, Effort, Fit, fit, load_card, save_card, virtual_test
from frame2d.materials import BoucWen
from frame2d.units import kN, mm, s


def invented_files(folder: Path, points: int) -> tuple[Path, Path]:
    """Two CSV files of one invented brace pin: ECCS 45, and FEMA 461."""
    hidden = BoucWen(
        k=100 * kN / mm, Fy=220 * kN, a=0.015, n=1.4, beta=0.6, delta_nu=0.004, delta_eta=0.01,
        zeta_s=0.85, q=0.08, p=0.4, psi=0.2, lam=0.25,
    )  # fmt: skip
    protocols = (eccs45(2 * mm, (2, 4, 6)), fema461(10 * mm))
    paths = folder / "pin_eccs.csv", folder / "pin_fema.csv"
    for seed, (protocol, path) in enumerate(zip(protocols, paths, strict=True)):
        rate = protocol.travel / (points * 0.5 * s)
        test = virtual_test(hidden, protocol.by_rate(rate, 0.5 * s), seed, name="invented pin").test
        write_csv(path, test, comment="invented: a hidden law, noise of 2 % of the peak force")
    return paths


def run(folder: Path, points: int = 2000, effort: Effort | None = None) -> dict[str, Any]:
    """Tests, fit and card; `points` in each test."""
    first, second = invented_files(folder, points)

    # What was measured: columns are named, nothing is guessed.
    test = read_test(first, deformation="displacement", force="force", time="time")
    other = read_test(second, deformation="displacement", force="force", time="time")

    # What the loops say by themselves: stiffness, yield, energy, pinching.
    loops = extract(test)

    # One call: ranges from the test, global then local search. The loops are pinched and lose strength, so the
    # parameters for that are freed; the second test is held back, to see whether the law predicts.
    found = fit("BoucWen", test, free=["pinching", "degradation"], fixed={"delta_A": 0.0, "delta_psi": 0.0},
                held_back=[other], effort=effort, seed=1)  # fmt: skip

    # The card rebuilds the law, and says what its numbers rest on.
    card = load_card(save_card(found, folder / "pin.json", note="invented pin, for the manual"))
    assert card.law == found.law and card.fits(test)
    return {"test": test, "loops": loops, "other": other, "fit": found, "card": card}


if __name__ == "__main__":
    from frame2d.show.fit_plots import plot_fit, plot_parameters
    from frame2d.show.look import save_figure

    out = Path("out/fit_device")
    out.mkdir(parents=True, exist_ok=True)
    results = run(out)
    found: Fit = results["fit"]
    other: CyclicTest = results["other"]
    card: Card = results["card"]
    print(results["loops"])
    print(found)
    print(f"law of the card: {card.law}")
    save_figure(plot_fit(found), out / "fitted.png")
    save_figure(plot_fit(found, other), out / "held_back.png")
    save_figure(plot_parameters(found), out / "parameters.png")
