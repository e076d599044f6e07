"""Reduction of linear parts keeps what it promises."""

import numpy as np
import pytest
from scipy.linalg import eigh

from benchmarks.checks.substructuring import chain
from frame2d import InputError
from frame2d.analysis.reduction import couple, craig_bampton, guyan


def test_all_modes_kept_give_the_full_model():
    """Two components with all their modes have the frequencies of the whole."""
    K, M = chain(8, [1000.0] * 8)
    lower, upper = chain(4, [1000.0] * 4), chain(4, [0.0] + [1000.0] * 4)
    joined = couple([craig_bampton(*lower, [3], 3), craig_bampton(*upper, [0], 4)], [[0], [0]])
    assert np.allclose(joined.frequencies(), np.sqrt(eigh(K, M, eigvals_only=True)), rtol=1e-10)


def test_static_reduction_is_exact_for_massless_freedoms():
    """Condensing freedoms without mass changes no frequency."""
    K, M = chain(4, [1000.0, 0.0, 500.0, 0.0])
    reduced = guyan(K, M, [0, 2])
    flexible = np.linalg.inv(K)[np.ix_([0, 2], [0, 2])]
    assert np.allclose(np.linalg.inv(reduced.stiffness), flexible, rtol=1e-12)
    assert np.allclose(reduced.mass, np.diag([1000.0, 500.0]), rtol=1e-12)


def test_wrong_boundaries_are_named():
    """Freedoms that do not exist, twice the same, or too many modes are refused."""
    K, M = chain(4, [1.0] * 4)
    for boundary, count in (([9], 1), ([1, 1], 1), ([], 1), ([3], 9)):
        with pytest.raises(InputError):
            craig_bampton(K, M, boundary, count)
