"""A wire the scan saw in pieces is one line between its ends; what lies beside it is none of it."""

import numpy as np
import pytest

from treescan.planning.climb.wire_lines import wire_lines


def seen(start, end, gaps=(), step=0.2, height=7.0):
    """Places along a wire from start to end (x, y), without those whose share of the way lies in a gap; on a grid of 0.2 m as voxels lie."""
    a, b = np.array([*start, height]), np.array([*end, height])
    t = np.arange(0, 1, step / np.linalg.norm(b - a))
    t = t[~np.any([(t > g0) & (t < g1) for g0, g1 in gaps], axis=0)] if gaps else t
    return np.floor((a + t[:, None] * (b - a)) / 0.2) * 0.2 + 0.1


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.2, 2.5])
def test_a_wire_with_a_gap_is_one_line_between_its_ends(turn):
    """30 m of wire of which the middle 10 m are not in the scan, along any azimuth."""
    way = np.array([np.cos(turn), np.sin(turn)]) * 15
    (line,) = wire_lines(seen(-way, way, [(1 / 3, 2 / 3)]))

    assert line.gap
    assert np.linalg.norm(np.diff(line.ends[:, :2], axis=0)) == pytest.approx(30.0, abs=0.6)


def test_a_wire_seen_all_along_has_no_gap_and_keeps_all_its_places():
    """Every place belongs to it."""
    places = seen((-10, 4), (10, 6))
    (line,) = wire_lines(places)

    assert not line.gap and len(line.places) == len(places)


def test_wires_side_by_side_and_across_are_lines_of_their_own():
    """Two wires 2 m apart, each with a gap, and one across them 3 m higher: three lines, the longest first."""
    one, two = seen((-15, 4), (15, 4), [(0.4, 0.6)]), seen((-12, 6), (12, 6), [(0.3, 0.5)])
    across = seen((3, -8), (3, 8), height=10.0)
    found = wire_lines(np.concatenate([one, two, across]))

    assert [round(float(np.linalg.norm(np.diff(w.ends[:, :2], axis=0)))) for w in found] == [30, 24, 16]
    assert [w.gap for w in found] == [True, True, False]
    assert sum(len(w.places) for w in found) == len(one) + len(two) + len(across)


def test_specks_are_no_wire_of_their_own_and_specks_in_line_join_one():
    """Single places far off show no direction; one on the line beyond a gap carries it on."""
    wire = seen((-10, 4), (0, 4))
    specks = np.array([[3.0, -9.0, 5.0], [-8.0, 12.0, 5.0], [8.0, 4.0, 7.0]])
    (line,) = wire_lines(np.concatenate([wire, specks]))

    assert line.places.tolist() == [*range(len(wire)), len(wire) + 2]
    assert line.gap and line.ends[:, 0].max() == 8.0
    assert wire_lines(specks) == () and wire_lines(np.zeros((0, 3))) == ()
