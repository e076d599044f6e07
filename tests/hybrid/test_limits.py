"""Limits and the table that the operator reads: units that are believed, and what is off."""

from dataclasses import replace

import pytest

from frame2d.errors import InputError
from frame2d.hybrid import Limits, Table

LIMITS = Limits((-0.05, 0.05), 2.5e5, 0.05, 0.01, 0.002)


def test_a_stroke_in_millimetres_is_refused():
    """A stroke of ±50 is no stroke in metres, and the message says which unit was meant."""
    with pytest.raises(InputError, match="millimetres"):
        Limits((-50, 50), 2.5e5, 0.05, 0.01, 0.002)
    with pytest.raises(InputError, match="millimetres"):
        replace(LIMITS, stroke=((-0.05, -0.01), (0.05, 50.0)))


def test_the_table_says_what_is_off():
    """A deadline of zero and flat lines that are not counted stand as off, and not as an action."""

    def line(limits, start):
        return next(text for text in Table().text(limits).splitlines() if text.strip().startswith(start))

    assert "off" in line(LIMITS, "deadline ") and "HOLD" not in line(LIMITS, "deadline ")
    assert line(LIMITS, "deadline =").endswith("off")
    timed = replace(LIMITS, deadline=0.5)
    assert "HOLD" in line(timed, "deadline ") and line(timed, "deadline =").endswith("0.5")
    assert "STOP" in line(replace(LIMITS, flat_force=0), "flat line")
    blind = replace(LIMITS, flat_force=0, flat_displacement=0)
    assert "off" in line(blind, "flat line") and line(blind, "flat_force =").endswith("off")


def test_the_table_says_which_forces_it_means():
    """The operator reads that limits count the force as it is read, without the tare."""
    assert "tare" in Table().text(LIMITS)
