"""How unsure a radius is follows from the arc, the disagreement of pieces, the scatter and the way to the nearest reading."""

from dataclasses import replace

import numpy as np
import pytest

from treescan.wood.fitting.limb_axes import LimbAxes, first_axes
from treescan.wood.fitting.radius_uncertainty import ARC_SHARE, DRIFT_SHARE, UNREAD, arc_lever, radius_uncertainty, unread_sd

COUNT = 21
"""Pieces of the made-up limb, one every 10 cm, 5 cm thick in radius, known to 0.5 mm by the fit."""


def limb(**changed: np.ndarray) -> LimbAxes:
    line = np.column_stack([np.zeros(COUNT), np.zeros(COUNT), 0.1 * np.arange(COUNT)])
    plain = first_axes([line], [np.full(COUNT, 0.05)], np.array([-1], np.int32), np.zeros((1, 3)))
    whole = {
        "r_sd": np.full(COUNT, 0.001), "raw_r": np.full(COUNT, 0.05), "raw_sd": np.full(COUNT, 0.0005), "arc": np.full(COUNT, 2 * np.pi),
        "noise": np.full(COUNT, 0.003), "share": np.ones(COUNT), "points": np.full(COUNT, 100),
    }  # fmt: skip
    return replace(plain, **{**whole, **changed})


@pytest.mark.parametrize("arc_deg", [360, 270, 180, 120])
def test_lever_of_an_arc_is_that_of_least_squares(arc_deg):
    """Against the normal equations of 4,000 points on the arc: sd of the radius over that of a mean."""
    turn = np.radians(np.linspace(-arc_deg / 2, arc_deg / 2, 4000))
    design = np.column_stack([np.cos(turn), np.sin(turn), np.ones(len(turn))])
    want = np.sqrt(len(turn) * np.linalg.inv(design.T @ design)[2, 2])

    assert arc_lever(np.radians([float(arc_deg)]))[0] == pytest.approx(want, rel=2e-3)


def test_a_limb_seen_all_round_whose_pieces_agree_adds_no_doubt():
    """Nothing speaks against the fit: its own sd stands."""
    assert radius_uncertainty(limb(), 0.0) == pytest.approx(np.full(COUNT, 0.001))


def test_a_small_arc_leaves_more_doubt_and_more_so_under_a_thick_shell():
    """Half a round is less sure than all of it, a third less than half; of 2 cm of shell, a moving scanner's drift, nearly half is multiplied by the lever."""
    half, third = (radius_uncertainty(limb(arc=np.full(COUNT, np.radians(a))), 0.0)[10] for a in (180, 120))
    thick = radius_uncertainty(limb(arc=np.full(COUNT, np.radians(180))), 0.02)[10]

    assert 0.001 < half < third
    lever = arc_lever(np.radians([180.0]))[0]
    assert half == pytest.approx(np.hypot(0.001, ARC_SHARE * np.sqrt(lever**2 - 1) * 0.003), rel=1e-6)
    assert thick == pytest.approx(np.hypot(0.001, DRIFT_SHARE * np.sqrt(lever**2 - 1) * 0.02), rel=1e-6)


def test_pieces_that_disagree_are_less_sure_where_they_do():
    """Three pieces 2 cm off: doubt there, none a metre away."""
    raw = np.full(COUNT, 0.05)
    raw[4:7] += 0.02
    sd = radius_uncertainty(limb(raw_r=raw), 0.0)

    assert sd[5] > 3 * sd[15]
    assert sd[15] == pytest.approx(0.001)


def test_scatter_beyond_the_shell_and_points_off_the_bark_are_doubts():
    """A piece whose points scatter by 3 cm in a shell of 1 cm, and one with half of its points off the bark."""
    noise, share = np.full(COUNT, 0.01), np.ones(COUNT)
    noise[3], share[15] = 0.03, 0.5
    sd = radius_uncertainty(limb(noise=noise, share=share), 0.01)

    assert sd[3] > 2 * sd[9]
    assert sd[15] > sd[9]


def test_a_radius_that_was_carried_is_less_sure_by_the_way_it_was_carried():
    """No reading over the outer metre: the tip is as unsure as one metre makes it; a limb without any reading is not known."""
    raw_sd = np.full(COUNT, 0.0005)
    raw_sd[11:] = np.inf
    sd = radius_uncertainty(limb(raw_sd=raw_sd), 0.0)

    assert sd[20] > unread_sd(np.array([1.0]))[0] == UNREAD
    assert np.all(np.diff(sd[11:]) > 0)
    assert np.all(radius_uncertainty(limb(raw_sd=np.full(COUNT, np.inf)), 0.0) > 0.05)
