"""What a climber who attacked the plans from outside found: lines called apart that one break takes, and tests that
hanging people cannot make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from planning.test_plan_overrides import S, of_code, only, said, three, with_tests

from treescan.loads.checks.load_test import LoadTest, pulled_aside
from treescan.loads.limb_check import Break
from treescan.loads.statics.likely_breaks import STEM
from treescan.outputs.text.say import say
from treescan.planning.ranking.overrides import with_overrides
from treescan.planning.sets.independent import independent, shared_governing
from treescan.reason import Reason


def breaking(p, node, kind="union tear-out", likely=True):
    """The candidate with one more break told."""
    more = Break(kind, node, 0.6, Reason("noted", who="A", when="now", why="b"), (), False, None, likely)
    return replace(p, check=replace(p.check, breaks=(more,)))


def pair_apart():
    graph, points = three()
    for a in points:
        for b in points:
            if a is not b and independent(graph, a, b):
                return graph, a, b
    raise AssertionError("the made-up tree has two lines apart")


def test_a_likely_break_that_takes_both_lines_is_shared_wood():
    """One that governs nothing but is told as likely is enough; one told besides, or of the stem, is not."""
    graph, a, b = pair_apart()
    both = set(map(int, graph.path_to_base(int(a.check.configuration.rest_node)))) & set(
        map(int, graph.path_to_base(int(b.check.configuration.rest_node)))
    )
    node = max(both - {0})
    assert shared_governing(graph, breaking(a, node), b) == node
    assert not independent(graph, breaking(a, node), b) and not independent(graph, b, breaking(a, node))
    assert independent(graph, breaking(a, node, likely=False), b)
    assert independent(graph, breaking(a, node, kind=STEM), b)


def off_plumb(p):
    steps = (Reason("test_cannot_pull", leg=0.7, azimuth=0.0, share=0.14),)
    test = LoadTest(2000.0, 4000.0, np.array([0.6, 0.0, -0.8]), 2, 4, 1.0, np.zeros(2), 5.0, steps)
    return replace(p, load_test=test)


@pytest.mark.parametrize(("direction", "counts"), [("", False), ("as in use", True)])
def test_people_who_hang_do_not_test_a_leg_off_plumb(direction, counts):
    """A passed test without a stated direction raises nothing there, and says why."""
    graph, points = three()
    points = [off_plumb(with_tests(p)) for p in points]
    out = with_overrides(graph, points, [said("load test passed", union="U02", people=5, direction=direction)], S, 1)
    found = only(out.points, "U02")
    assert pulled_aside(found.load_test)
    assert (found.check.check.margin.p5 > 1.21) == counts
    assert bool(of_code(found.doubts, "test_hung_not_pulled")) != counts


def test_no_test_is_told_as_hung_that_must_be_pulled():
    """The steps of one card agree: where people hang at a share, no step lets them hang for the whole."""
    figures = {"people": 2, "size": 1.0, "moment": 5500.0, "share": 1.0, "low": 1.2, "chance": 1e-3}
    assert "hang still" in say(Reason("test_would_show", aside=False, **figures))
    told = say(Reason("test_would_show", aside=True, **figures))
    assert "hang still" not in told and "as in use" in told
    figures = {"people": 2, "pullers": 3, "pull": 2000.0, "on_union": 4000.0, "share": 1.0, "case": "rescue"}
    assert "hanging" in say(Reason("test_build_up", aside=False, **figures))
    assert "hanging" not in say(Reason("test_build_up", aside=True, **figures))
