"""What a push does where Newton's iteration finds no equilibrium: line search, shorter steps, the initial stiffness."""

import numpy as np
import pytest

from frame2d import Frame, Link, Outcome, push
from frame2d.analysis.runner import Options
from frame2d.engine.plan import FACTORISATIONS, ITERATIONS, SEARCHES
from frame2d.materials import Bilinear, DeterioratingPeakOriented, Elastic
from frame2d.materials.deterioration import Backbone

#: Two springs that lose strength after a peak (N, m), in a row; the weaker one decides. Invented numbers.
STRONG, WEAK = Backbone(24e3, 31e3, 0.032, 0.11, 0.2), Backbone(16e3, 20e3, 0.0125, 0.067, 0.12)


def chain(*laws):  # type: ignore[no-untyped-def]
    """Springs one behind the other, pulled at the end."""
    frame = Frame("chain")
    frame.node("0", 0, 0, support="fixed")
    for k, law in enumerate(laws, 1):
        frame.node(str(k), k, 0, support=("uy", "rz"))
        frame.member(f"s{k}", str(k - 1), str(k), Link(axial=law))
    frame.load(str(len(laws)), fx=1.0, case="pull")
    return frame.compile()


def softening():  # type: ignore[no-untyped-def]
    return chain(Elastic(2e7), DeterioratingPeakOriented(3e6, STRONG), DeterioratingPeakOriented(2.8e6, WEAK))


def on_the_weak_backbone(response) -> None:  # type: ignore[no-untyped-def]
    """The load is the weak spring's backbone at its deformation, the strong spring unloads behind the peak."""
    weak, strong = response.device("s3"), response.device("s2")
    yields = WEAK.Fy / 2.8e6
    peak = yields + WEAK.plastic
    points = [0.0, yields, peak, peak + (1.0 - 0.12 * WEAK.Fy / WEAK.Fc) * WEAK.post, 1.0]
    backbone = np.interp(weak.deformation, points, [0.0, WEAK.Fy, WEAK.Fc, 0.12 * WEAK.Fy, 0.12 * WEAK.Fy])
    assert np.allclose(response.factor, backbone, rtol=1e-5, atol=1.0)
    assert np.allclose(strong.force, response.factor, rtol=1e-6, atol=0.1)
    assert 0.9 * WEAK.Fc < response.factor.max() <= WEAK.Fc * (1.0 + 1e-6)
    assert response.factor[-1] < 0.5 * WEAK.Fc


def kept_a_factor(response) -> bool:  # type: ignore[no-untyped-def]
    """Whether there were more iterations than factors: only the initial stiffness is kept from one to the next."""
    return bool(response.totals[ITERATIONS] > response.totals[FACTORISATIONS])


def test_the_initial_stiffness_leads_over_a_peak():
    """Without halved steps Newton finds no equilibrium behind the peak; the initial stiffness does, on the backbone."""
    response = push(
        softening(), pattern="pull", node="3", target=0.1, steps=20, options=Options(deepest_halving=0)
    )
    assert response.outcome is Outcome.COMPLETED and response.counts()["halvings"] == 0
    on_the_weak_backbone(response)


def test_an_arc_passes_a_peak_with_the_initial_stiffness():
    """At a sharp peak Newton fails at the shortest arc as well; the initial stiffness finds the way down."""
    response = push(softening(), pattern="pull", arc_length=0.01, most_steps=20)
    assert response.outcome is Outcome.COMPLETED
    assert kept_a_factor(response)
    on_the_weak_backbone(response)


def test_an_arc_is_searched_along_before_it_is_halved():
    """Where Newton's whole steps jump to and fro over kinks, shorter ones settle: no arc is halved."""
    laws = Bilinear(1e7, 1e5, 0.001), Elastic(5e6), Bilinear(2e7, 1.3e5, 0.001)
    response = push(
        chain(*laws), pattern="pull", arc_length=0.02, most_steps=20, options=Options(deepest_halving=0)
    )
    assert response.outcome is Outcome.COMPLETED
    assert response.totals[SEARCHES] > 0 and not kept_a_factor(response)
    u, factor = response.displacement("3"), response.factor
    # λ beyond both yields: 1/k = 1/(0.001·k1) + 1/k2 for the first, the second's where λ passes 130 kN.
    soft = factor > 1.01e5
    first = 1e5 / 1e7 + (factor[soft] - 1e5) / 1e4 + factor[soft] / 5e6
    second = np.minimum(factor[soft], 1.3e5) / 2e7 + np.maximum(factor[soft] - 1.3e5, 0.0) / 2e4
    assert soft.sum() > 3
    assert u[soft] == pytest.approx(first + second, rel=1e-5)
