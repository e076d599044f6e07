"""Fit a device's law to its component tests, and say how well the tests determine it.

    test = read_test("pin.csv", deformation="displacement", force="force", offset="first")
    found = fit("BoucWen", test, free=["pinching", "degradation"], held_back=[other])
    print(found)
    save_card(found, "pin.json")
    law = load_card("pin.json").law

Any registered law can be fitted by its name; the ranges of its parameters are multiples of stiffness and yield
force found in the test, or come from the literature, with the source beside each. A law made of laws is given
as an instance that says what it is made of, and so is a law of one's own, with `bounds`.

| part | where |
| --- | --- |
| one call, global then local search | `fit`, `Effort`, `Weights` |
| result: law, intervals, correlations, errors | `Fit`, `Parameter`, `Errors`, `errors_of` |
| JSON card | `save_card`, `load_card` |
| both sides alike | `mirror` |
| vibration tests of one mass | `OscillatorTest` |
| unnormalised, possibly inadmissible Bouc-Wen law | `unnormalised` |
| proof on virtual tests | `hidden_law`, `virtual_test` |

Intervals are those of the likelihood under white Gaussian noise on the force (`frame2d.fitting.noise`,
`frame2d.fitting.intervals`); what a test cannot determine is named, not hidden.
"""

from frame2d.fitting.card import Card, load_card, save_card
from frame2d.fitting.choose import mirror
from frame2d.fitting.fitting import fit
from frame2d.fitting.oscillator import OscillatorTest
from frame2d.fitting.result import Fit, Parameter, errors_of
from frame2d.fitting.scores import ACCEPTED, Errors, Weights
from frame2d.fitting.search import Effort
from frame2d.fitting.unnormalised import unnormalised
from frame2d.fitting.virtual import VirtualTest, hidden_law, virtual_test

__all__ = [
    "ACCEPTED",
    "Card",
    "Effort",
    "Errors",
    "Fit",
    "OscillatorTest",
    "Parameter",
    "VirtualTest",
    "Weights",
    "errors_of",
    "fit",
    "hidden_law",
    "load_card",
    "mirror",
    "save_card",
    "unnormalised",
    "virtual_test",
]
