"""Bundles: named tuples that compiled code takes as one address."""

import copy
import pickle
from typing import NamedTuple

import numpy as np
import pytest

from frame2d.bundle import bundle, handle
from frame2d.kernels import compiled


@bundle
class Inner(NamedTuple):
    """A bundle in a bundle."""

    weight: np.ndarray
    share: float


@bundle
class Things(NamedTuple):
    """One field of every kind."""

    count: int
    table: np.ndarray
    inner: Inner
    pair: tuple[np.ndarray, float]
    index: np.ndarray
    rng: np.random.Generator


def things(seed=5, order="C"):
    return Things(
        3,
        np.asarray(np.arange(6.0).reshape(2, 3), order=order),
        Inner(np.array([2.0, 4.0]), 0.25),
        (np.array([7.0]), 0.5),
        np.array([1, 0], dtype=np.uint32),
        np.random.default_rng(seed),
    )


@compiled
def read(given):
    """Something of every field; writes the last entry of the table."""
    first, second = given.pair
    total = given.count + given.inner.share * given.inner.weight[given.index[0]] + first[0] + second
    for i in range(given.table.shape[0]):
        for j in range(given.table.shape[1]):
            total += given.table[i, j] * (i + 1)
    given.table[1, 2] = -1.0
    return total + given.rng.standard_normal()


@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("wrap", [lambda value: value, handle], ids=["bundle", "handle"])
def test_compiled_code_reads_every_kind_of_field(wrap, order):
    """Numbers, arrays of either order, tuples, inner bundles and random generators arrive as Python sees them."""
    given = things(order=order)
    expected = (
        3 + 0.25 * 4.0 + 7.5 + (0 + 1 + 2) + 2 * (3 + 4 + 5) + np.random.default_rng(5).standard_normal()
    )
    assert read(wrap(given)) == pytest.approx(expected, rel=1e-14)
    assert given.table[1, 2] == -1.0


def test_a_changed_field_makes_a_new_address():
    """A bundle made from another by a changed field is read with that field, the old one as before."""
    old = things()
    read(old)
    new = old._replace(count=103, rng=np.random.default_rng(5))
    assert read(new) - read(things()._replace(table=old.table)) == pytest.approx(100.0)


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda value: pickle.loads(pickle.dumps(value))])
def test_a_copy_has_a_table_of_its_own(again):
    """Copies and pickles carry the fields, never the address of the original's arrays."""
    original = Inner(np.array([2.0, 4.0]), 0.25)
    first_of(original)
    made = again(original)
    assert "_address" not in vars(made) if hasattr(made, "__dict__") else True
    made.weight[0] = 9.0
    assert first_of(made) == 9.0
    assert first_of(original) == original.weight[0]


@compiled
def first_of(given):
    """First entry of an inner bundle."""
    return given.weight[0]
