"""What a climber who attacked the plans from outside found: lines called apart that one break takes, and tests that
hanging people cannot make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from planning.test_plan_overrides import S, of_code, only, said, three, with_tests

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.loads.checks.load_test import LoadTest, pulled_aside
from treescan.loads.limb_check import Break, Exceptional
from treescan.loads.material.wood_names import meant, taxa
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.likely_breaks import STEM
from treescan.outputs.text.say import say
from treescan.planning.ranking.overrides import with_overrides
from treescan.planning.sets.independent import independent, shared_governing
from treescan.reason import Reason
from treescan.trees.beside import Conductor


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
    """One that governs nothing but is told as likely is enough, of a limb as of the stem; one told besides is not."""
    graph, a, b = pair_apart()
    both = set(map(int, graph.path_to_base(int(a.check.configuration.rest_node)))) & set(
        map(int, graph.path_to_base(int(b.check.configuration.rest_node)))
    )
    node = max(both - {0})
    assert shared_governing(graph, breaking(a, node), b) == node
    assert not independent(graph, breaking(a, node), b) and not independent(graph, b, breaking(a, node))
    assert independent(graph, breaking(a, node, likely=False), b)
    assert not independent(graph, breaking(a, node, kind=STEM), b)
    assert independent(graph, breaking(a, node, kind=STEM, likely=False), b)


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


def carried():
    """Candidates, and two of them of which the upper hangs on wood above the union of the lower."""
    graph, points = three()
    for low in points:
        above = graph.above(int(graph.unions.node[graph.unions.index(low.label)]))
        for high in points:
            if high.label != low.label and above[int(high.check.configuration.rest_node)]:
                return graph, points, low.label, high.label
    raise AssertionError("the made-up tree has one union over another")


@pytest.mark.parametrize("kind", ["refused", "load test failed"])
def test_what_hangs_over_a_union_that_was_refused_or_failed_is_inspected_first(kind):
    """The union lies on its way down: its card opens with the finding."""
    graph, points, low, high = carried()
    out = with_overrides(graph, points, [said(kind, union=low)], S, 1)
    found = only(out.points, high)
    assert of_code(found.gates, "stated_against") or "cavity above the union" in say(found.doubts[0])
    assert of_code(only(out.points, low).gates, "stated_against")


def test_a_fork_into_leaders_that_failed_takes_all_above_it():
    """Whatever hangs over it is not ranked, and no way up goes over it."""
    graph, points, low, high = carried()
    k = graph.unions.index(low)
    rows = graph.unions.arms(k)
    even = graph.unions.arm_diameter.copy()
    even[rows] = even[rows].max()
    forked = replace(graph, unions=replace(graph.unions, arm_diameter=even))
    out = with_overrides(forked, points, [said("load test failed", union=low)], S, 1)
    assert of_code(only(out.points, high).gates, "stated_against")
    assert only(out.points, high).rank == 0 or not only(out.points, high).usable


@pytest.mark.parametrize("left", [0.9, 0.5, 0.2])
def test_a_defect_lowers_the_stop_as_much_as_the_rest(left):
    """The same section with a share of its strength has that share of the margin in every case."""
    graph, points = three()
    hard = Exceptional("abrupt stop", -1, np.array([0.0, 0.0, -5000.0]), 6.0, Estimate(2.5, 1.15, 5.0), 0.03, 1, "bending", (1.0, 1.0))
    points = [replace(p, check=replace(p.check, exceptional=hard)) for p in points]
    out = with_overrides(graph, points, [said("defect", union="U02", value=left)], S, 1)
    found = only(out.points, "U02")
    assert found.check.exceptional.margin.p5 == pytest.approx(left * 1.15)
    assert found.check.exceptional.overload_chance >= 0.03
    assert bool(of_code(found.doubts, "exceptional_margin_low")) == (left * 1.15 < 1.0)
    assert (not found.usable) or left * 2.5 >= 1.0


@pytest.mark.parametrize("more", [{"people": 10, "bounce": 6.0}, {"kind": "defect", "value": 1.0}])
def test_slips_of_the_pen_are_asked_back(more):
    """Sixty climbers on a rope, and rot that leaves all the strength."""
    kind = more.pop("kind", "load test passed")
    with pytest.raises(BadInput):
        said(kind, union="U02", **more)


@pytest.mark.parametrize("name", ["dead oak", "Fraxinus excelsior dieback", "Fagus sylvatica fungus", "hollow beech"])
def test_a_word_of_how_the_wood_is_does_not_buy_sound_wood(name):
    """The low end of the table is used, and the reader is told to state it as a finding; warnings of the species stay."""
    assert meant(name).how == "unknown" and meant(name).why.code == "name_says_condition"
    sound = " ".join(w for w in name.split() if w not in {"dead", "dieback", "fungus", "hollow"})
    assert taxa(name) == taxa(sound) != ()
    assert wood_of(name, LoadSettings()).mor <= wood_of(sound, LoadSettings()).mor
    assert "finding" in say(wood_of(name, LoadSettings()).label)


def test_a_conductor_of_eleven_volts_is_asked_back_and_low_voltages_are_told_in_volts():
    """11 was meant in kilovolts: told as 0.0 kV it would be kept as near as a house line."""
    line = np.array([[0.0, 0.0, 8.0], [5.0, 0.0, 8.0]])
    with pytest.raises(BadInput, match="11 V"):
        Conductor(line, voltage=11.0)
    assert Conductor(line, voltage=230.0).voltage == 230.0 and np.isnan(Conductor(line).voltage)
    assert "(230 V)" in say(Reason("conductor_drawn", number=1, name=None, voltage=230.0))
    assert "(11.0 kV)" in say(Reason("conductor_drawn", number=1, name=None, voltage=11000.0))
