"""Rigs of two plans paired and summed up, by hand."""

import numpy as np
from bench_decisions import Decisions, same_rigs, table


def rig(x: float, system: str = "MRS", hardware: str = "ring", way: tuple = (1.0, 0.0, 0.0)) -> dict:
    return {"bears": [x, 0.0, 8.0], "below": [], "way": list(way), "system": system, "hardware": hardware, "tied_to": None}


def test_rigs_are_paired_once_the_nearest_first_and_only_alike():
    scan = [rig(0.0), rig(0.28), rig(5.0), rig(9.0, "SRS basal"), rig(12.0)]
    truth = [rig(0.25), rig(5.6), rig(9.0), rig(12.0, way=(0.0, 0.0, 1.0))]
    assert [(a["bears"][0], b["bears"][0]) for a, b in same_rigs(scan, truth)] == [(0.28, 0.25)]


def test_lines_over_other_limbs_on_the_way_to_the_base_are_other_rigs():
    one, same, other = ({**rig(0.0), "below": [[1.0, 0.0, z]]} for z in (6.0, 6.2, 5.0))
    assert len(same_rigs([one], [same])) == 1
    assert same_rigs([one], [other]) == same_rigs([one], [rig(0.0)]) == []


def test_the_table_sums_over_scans():
    one = Decisions("A", np.array([1.0, 2.0]), np.array([True, False]), np.array([True, True]), ("x",), (3, 4), (0.2, 0.4), (10, 12))
    two = Decisions("B", np.array([0.5]), np.array([True]), np.array([False]), (), (1, 1), (0.6, 0.6), (5, 5))
    last = table([one, two]).strip().splitlines()[-1]
    assert last == "| all | 15, 17, 3 | 1.00 | 0.57 | 67 % | 67 % | 4, 5 | 1 | 40, 50 |"
