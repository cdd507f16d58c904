"""The error budget of a scan, held against figures worked out by hand."""

import numpy as np
import pytest
from scan_limits import INSTRUMENTS, lever, parts, thinnest


def test_half_a_round_knows_a_radius_2_3_times_worse():
    """1 / sqrt(1 - (2 / pi)^2 / 0.5); all round 1."""
    assert lever(180.0) == pytest.approx(2.297, abs=1e-3)
    assert lever(360.0) == pytest.approx(1.0)


def test_the_parts_of_one_limb_by_hand():
    """Four tripods, 10 m off, a limb of 10 cm: step 12.2 mm, 4 x 0.1 x 0.1 / 0.0122^2 = 268 returns; noise 2.8 mm; beam 7.2 mm."""
    found = parts(INSTRUMENTS[0], 10.0, 0.10)
    assert found["returns"] == pytest.approx(268, abs=1)
    assert found["chance"] == pytest.approx(0.0028 / np.sqrt(268) / 0.05, rel=0.01)
    assert found["beam"] == pytest.approx(0.0072 / 8 / 0.10, rel=0.01)
    assert found["places"] == pytest.approx(2 / np.pi * 0.002 / 2 / 0.05, rel=0.01)
    assert found["total"] == pytest.approx(np.sqrt(sum(v * v for k, v in found.items() if k not in ("returns", "total"))))


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda i: i.name)
def test_farther_off_and_in_wind_limbs_must_be_thicker(instrument):
    calm = [thinnest(instrument, d) for d in instrument.distances]
    assert calm == sorted(calm)
    assert all(thinnest(instrument, d, 0.02) >= c for d, c in zip(instrument.distances, calm, strict=True))
