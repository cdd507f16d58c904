"""The shipped weights of wood against leaf, and of bundles against limbs, are those the scripts give."""

import numpy as np
import pytest
from fit_bundles import SCANS as BUNDLE_SCANS
from fit_bundles import sample as bundle_sample
from fit_wood_and_leaf import SCANS, logistic, sample

from treescan.trees.material.wood_and_leaf import WEIGHT
from treescan.wood.topology.allometry import BUNDLE


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


def _surprise(weights, signs, truth):
    """Mean negative log-likelihood of the truth."""
    logit = weights[0] + signs @ np.array(weights[1:])
    return float(np.mean(np.logaddexp(0, np.where(truth > 0, -logit, logit))))


@pytest.mark.slow
def test_shipped_bundle_weights_serve_as_well_as_fitted_ones():
    """Half of the script's scans: the shipped weights explain them within 5 % as well as weights fitted to these alone, and far better than none."""
    signs, truth, weight = (np.concatenate(column) for column in zip(*(bundle_sample(s) for s in BUNDLE_SCANS[::2]), strict=True))
    fitted, shipped = (_surprise(w, signs, truth) for w in (logistic(signs, truth, weight), BUNDLE))
    rate = truth.mean()

    assert shipped <= 1.05 * fitted
    assert shipped < 0.7 * -(rate * np.log(rate) + (1 - rate) * np.log(1 - rate))
