"""Throws logged wrongly are refused in a sentence."""

from __future__ import annotations

import numpy as np
import pytest

from treescan.throw.ballistics.own_record import _comes_down


def test_a_flight_that_is_still_up_at_the_end_of_its_table_is_carried_on():
    """Straight on where it falls, to its end where it rises."""
    assert _comes_down(np.array([0.0, 2.0, 1.0, -1.0])) == pytest.approx(2.5)
    assert _comes_down(np.array([0.0, 4.0, 3.0, 2.0])) == pytest.approx(5.0)
    assert _comes_down(np.array([0.0, 1.0, 2.0])) == 3.0
