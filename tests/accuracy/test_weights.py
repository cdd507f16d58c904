"""The shipped weights of wood against leaf are those the script gives."""

import numpy as np
import pytest
from fit_wood_and_leaf import SCANS, logistic, sample

from treescan.trees.wood_and_leaf import WEIGHT


def test_logistic_fit_finds_the_weights_the_data_were_drawn_with():
    """A hundred thousand draws from known weights give them back within three standard errors or so."""
    rng = np.random.default_rng(2)
    x = rng.normal(0, 1, (100_000, 3))
    truth = (rng.random(len(x)) < 1 / (1 + np.exp(-(0.5 + x @ [1.0, -2.0, 0.3])))).astype(float)

    assert logistic(x, truth, np.full(len(x), 10.0 / len(x)) * 1000) == pytest.approx([0.5, 1.0, -2.0, 0.3], abs=0.03)


@pytest.mark.slow
def test_shipped_weights_come_from_the_script():
    """Fitted anew on the same made-up scans the weights are the shipped ones, to the digits that are shipped."""
    signs, truth, weight = (np.concatenate(column) for column in zip(*(sample(*s) for s in SCANS), strict=True))

    assert logistic(signs, truth, weight) == pytest.approx(WEIGHT, rel=0.005)
