"""Pictures of a fit: measured and computed loops, force histories and energies; parameters and their intervals."""

from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.compare import work
from frame2d.component_tests import CyclicTest
from frame2d.errors import InputError
from frame2d.fitting import Errors, Fit
from frame2d.show.look import BLUE, FAINT, INK, VERMILION, caption, dress, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MEASURED: dict[str, Any] = {"color": FAINT, "linewidth": 1.6}
_COMPUTED: dict[str, Any] = {"color": BLUE, "linewidth": 0.9}
#: Factors and their names, so that axes carry numbers of three digits.
_UNITS = {"m": (1e3, "mm"), "rad": (1e3, "mrad"), "N": (1e-3, "kN"), "N·m": (1e-3, "kNm")}


def plot_fit(fit: Fit, test: CyclicTest | None = None) -> "Figure":
    """Loops, force history and energy of one test, measured and computed; None: the first fitted one.

    A test that is neither among the fitted nor the held-back ones is shown as held back. Raises `InputError`
    for a vibration test.
    """
    test = fit.tests[0] if test is None else test  # type: ignore[assignment]
    if not isinstance(test, CyclicTest):
        raise InputError("plot_fit shows cyclic tests; allowed: a CyclicTest")
    force = fit.force(test)
    length, load = (_UNITS[unit] for unit in test.units)
    u, x = test.deformation * length[0], np.arange(test.deformation.size) if test.time is None else test.time
    figure = new_figure(9.0, 6.2)
    grid = figure.add_gridspec(2, 2, width_ratios=(1.15, 1.0))
    loops, history, energy = (figure.add_subplot(where) for where in (grid[:, 0], grid[0, 1], grid[1, 1]))
    loops.plot(u, test.force * load[0], label="measured", **_MEASURED)
    loops.plot(u, force * load[0], label="computed", **_COMPUTED)
    dress(loops, f"deformation ({length[1]})", f"force ({load[1]})", f"{fit.form}: {_role(fit, test)}")
    loops.legend(fontsize=8, frameon=False, loc="upper left")
    along = "sample" if test.time is None else "time (s)"
    history.plot(x, test.force * load[0], **_MEASURED)
    history.plot(x, force * load[0], **_COMPUTED)
    history.plot(x, (force - test.force) * load[0], color=VERMILION, linewidth=0.6)
    dress(history, along, f"force ({load[1]})")
    history.set_title("red: computed − measured", fontsize=8, loc="right", color=VERMILION)
    energy.plot(x, work(test.deformation, test.force) * 1e-3, **_MEASURED)
    energy.plot(x, work(test.deformation, force) * 1e-3, **_COMPUTED)
    dress(energy, along, "work (kJ)")
    caption(figure, str(_errors(fit, test)))
    return figure


def plot_parameters(fit: Fit) -> "Figure":
    """Fitted parameters within their ranges, with intervals, and the correlations of their estimates."""
    from matplotlib.colors import TwoSlopeNorm

    names = [p.name for p in fit.fitted]
    figure = new_figure(9.6, 1.6 + 0.28 * len(names) + 1.2)
    left, right = figure.subplots(1, 2, width_ratios=(1.0, 1.0))
    _intervals(left, fit)
    shown = right.imshow(fit.correlation, cmap="PuOr", norm=TwoSlopeNorm(0.0, -1.0, 1.0))
    right.set_xticks(range(len(names)), names, rotation=90, fontsize=7)
    right.set_yticks(range(len(names)), [""] * len(names))
    right.set_title("correlation of the estimates", fontsize=9.5, loc="left")
    figure.colorbar(shown, ax=right, shrink=0.7)
    loose = [p.name for p in fit.fitted if p.status == "not determined"]
    missing = "; ".join([*loose, *(str(direction) for direction in fit.uncertainty.directions)])
    caption(
        figure, f"{100 * fit.level:g} % intervals: {fit.estimator}. Not determined: {missing or 'nothing'}"
    )
    return figure


def _intervals(axes: "Axes", fit: Fit) -> None:
    for row, p in enumerate(fit.fitted):
        assert p.bounds is not None and p.low is not None and p.high is not None
        low, high = p.bounds
        log = low > 0.0 and high / low > 5.0
        place = (
            (lambda v, a=low, b=high: np.log(v / a) / np.log(b / a))
            if log
            else (lambda v, a=low, b=high: (v - a) / (b - a))
        )
        loose = p.status == "not determined"
        axes.plot([0, 1], [row, row], color="#e4e4e4", linewidth=5, solid_capstyle="butt", zorder=1)
        axes.plot(
            [place(p.low), place(p.high)],
            [row, row],
            color=VERMILION if loose else BLUE,
            linewidth=2.5,
            zorder=2,
        )
        axes.plot(place(p.value), row, "o", color=INK, markersize=4, zorder=3)
        axes.annotate(f"{p.value:.4g}", (1.02, row), fontsize=7.5, va="center", annotation_clip=False)
    dress(axes, "place in its range (logarithmic where it spans a factor of 5)", "", "value and interval")
    axes.set_yticks(range(len(fit.fitted)), [p.name for p in fit.fitted], fontsize=8)
    axes.invert_yaxis()
    axes.set_xlim(-0.02, 1.02)
    axes.grid(False)


def _role(fit: Fit, test: CyclicTest) -> str:
    return "fitted test" if any(test is other for other in fit.tests) else "held-back test"


def _errors(fit: Fit, test: CyclicTest) -> Errors:
    known = zip((*fit.tests, *fit.held_back_tests), (*fit.errors, *fit.held_back), strict=True)
    return next((errors for other, errors in known if other is test), None) or fit.check(test)
