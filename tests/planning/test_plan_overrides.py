"""The competent person's word: logged, and the list re-ranked at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, only, plain_tree, ranked, throw
from strategies import random_tree

from treescan.errors import BadInput
from treescan.estimate import Estimate
from treescan.loads.limb_check import Borne, PassedTest
from treescan.outputs.text.say import say
from treescan.planning.candidates.candidates import candidate_unions
from treescan.planning.ranking.overrides import Override, barred_unions, strength_left, with_overrides
from treescan.reason import Reason


def said(kind, **about):
    return Override(kind, "competent person", "cavity above the union", "2031-05-04 09:10", **about)


def three():
    graph = plain_tree()
    return graph, ranked(graph, [throw(graph, k) for k in range(3)])


def test_refused_anchor_falls_out_with_who_when_why():
    """A refused union is not ranked, its reason names who said it, when and why, and the next one moves up."""
    graph, points = three()
    first = points[0]
    out = with_overrides(graph, points, [said("refused", union=first.label)], S, 1)
    gone = only(out.points, first.label)

    assert not gone.usable and gone.verdict == "not ranked"
    assert gone.reasons[-1] == Reason(
        "stated_against", kind="refused", who="competent person", when="2031-05-04 09:10", why="cavity above the union"
    )
    assert say(gone.reasons[-1]) == "competent person, 2031-05-04 09:10: refused. “cavity above the union”"
    assert out.points[0].label == points[1].label
    assert (out.log[0].code, out.log[0]["unions"]) == ("statement_changes", (first.label,))
    assert (out.log[-1].code, out.log[-1]["before"]) == ("first_has_changed", first.named)


def test_dead_limb_takes_everything_it_carries():
    """Everything that bears on the limb or above is gated, nothing else."""
    graph, points = three()
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    out = with_overrides(graph, points, [said("dead", limb=limb)], S, 1)

    assert only(points, "U02").usable and not only(out.points, "U02").usable
    assert [only(out.points, u).gates for u in ("U01", "U03")] == [only(points, u).gates for u in ("U01", "U03")]


def test_defect_scales_the_margin_and_gates_when_it_must():
    """Half the strength halves the margin; a tenth brings it under the gate."""
    graph, points = three()
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    before = only(points, "U02").check.check.margin.p5
    out = [with_overrides(graph, points, [said("defect", limb=limb, value=v)], S, 1).points for v in (0.5, 0.1)]
    half, tenth = (only(p, "U02") for p in out)

    assert half.check.check.margin.p5 == pytest.approx(before / 2)
    assert half.usable and half.scores["margin"] < only(points, "U02").scores["margin"]
    assert not tenth.usable


def test_nothing_said_changes_nothing():
    """No statement, same ranking with the same reasons."""
    graph, points = three()

    assert with_overrides(graph, points, [], S, 1).points == points or [
        (p.label, p.rank, p.reasons) for p in with_overrides(graph, points, [], S, 1).points
    ] == [(p.label, p.rank, p.reasons) for p in points]


def test_a_passed_load_test_lifts_no_gate():
    """A load test that passed is noted; a candidate that does not hold by the numbers stays out."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)], median=0.8)
    out = with_overrides(graph, points, [said("load test passed", union="U01")], S, 1)

    assert not only(out.points, "U01").usable
    assert of_code(only(out.points, "U01").doubts, "load_test_passed")


def test_failed_load_test_falls_out():
    """A failed load test gates the union, whatever the numbers say."""
    graph, points = three()
    out = with_overrides(graph, points, [said("load test failed", union="U02")], S, 1)

    assert not only(out.points, "U02").usable


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"kind": "magic", "who": "a", "why": "b", "when": "c"}, "not known"),
        ({"kind": "refused", "who": "", "why": "b", "when": "c", "union": "U01"}, "who said it"),
        ({"kind": "refused", "who": "a", "why": "b", "when": "c"}, "which limb or union"),
        ({"kind": "defect", "who": "a", "why": "b", "when": "c", "limb": 1, "value": 7}, "share of strength"),
    ],
)
def test_half_a_statement_is_refused(row, words):
    """A statement without who, when, why, or about nothing, is bad input in words."""
    with pytest.raises(BadInput, match=words):
        Override(**row)


def test_unknown_union_is_refused():
    """A statement about a union this tree does not have is bad input."""
    graph, points = three()
    with pytest.raises(BadInput, match="U99"):
        with_overrides(graph, points, [said("refused", union="U99")], S, 1)


def test_a_large_list_is_ranked_again_whole():
    """Nothing falls out of a large list when statements rank it again."""
    graph = random_tree(3, height=24, dbh=0.9, limbs=34, step=0.15)
    points = ranked(graph, [throw(graph, k, 0.3) for k in candidate_unions(graph, S)], systems=())
    again = with_overrides(graph, points, [said("refused", union=points[0].label), said("dead", limb=3)], S, 1)

    assert len(points) > 150
    assert len(again.points) == len(points)


def test_a_passed_test_and_a_note_leave_verdict_and_place():
    """A candidate whose load test passed stays a candidate in its place; the words stand first among its reasons."""
    graph, points = three()
    said_of = points[0].label
    for kind in ("load test passed", "note"):
        out = with_overrides(graph, points, [said(kind, union=said_of)], S, 1)

        assert [(p.label, p.rank, p.verdict) for p in out.points] == [(p.label, p.rank, p.verdict) for p in points]
        assert len(out.points[0].reasons) == len(points[0].reasons) + 1


def test_refused_dead_and_defect_by_union_or_by_limb():
    """As the readme says: each kind takes a union or a limb; a refused limb and a dead union's limb take their anchors out, a defect at a union
    scales it and all above it."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, k) for k in range(3)])
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])

    def usable(**kind):
        after = with_overrides(graph, points, [Override(who="A", why="soft", when="now", **kind)], S, 1).points
        return {p.label for p in after if p.usable}

    before = {p.label for p in points if p.usable}
    assert "U02" in before
    for kind in ("refused", "dead", "load test failed"):
        assert usable(kind=kind, limb=limb) == usable(kind=kind, union="U02") == before - {"U02"}
    low = with_overrides(graph, points, [Override("defect", "A", "crack", "now", union="U02", value=0.5)], S, 1).points
    for p in low:
        (was,) = [q for q in points if q.name == p.name]
        left = 0.5 if p.label in {"U02", "U03"} else 1.0
        assert p.check.check.margin.median == pytest.approx(left * was.check.check.margin.median)
    bearing = [int(graph.unions.node[2])]
    assert strength_left(graph, bearing, [Override("defect", "A", "crack", "now", union="U02", value=0.5)]) == 0.5
    assert barred_unions(graph, [Override("refused", "A", "soft", "now", limb=limb)]) == {1}


def test_words_of_a_competent_person_are_printed_letter_for_letter():
    """In quotes, with who and when; nothing shortens or respells them; a note says that it changes nothing."""
    words = "U1, U2, U3, U4, U5, U6, U7, U8 and U9: beech fork <fork|crotch> [see {x}], 12 ft"
    for kind in ("refused", "note", "load test passed"):
        said = say(Override(kind, "A. Example", words, "1 May, 10:15", union="U01").reason)
        assert f"“{words}”" in said and "A. Example" in said and "1 May, 10:15" in said
    for code in ("noted", "load_test_passed"):
        assert f"“{words}”" in say(Reason(code, who="A", when="now", why=words))
    assert "changes nothing" in say(Reason("noted", who="A", when="now", why=words))


def with_tests(p, verdict="holds if tested"):
    """The candidate as loads would give it with what tests of 3 and 4.5 people would show."""
    tested = tuple(PassedTest(size, 3000.0 * size, 3.0 * size, 9000.0, 1.2, low, chance) for size, low, chance in ((1.0, 1.3, 4e-3), (1.5, 1.45, 6e-4)))
    limb = replace(p.check.check, verdict=verdict, margin=Estimate(3.0, 1.2, 7.0), overload_chance=0.012, tested=tested)
    return replace(p, check=replace(p.check, check=limb))


@pytest.mark.parametrize(
    ("people", "more", "low", "chance", "verdict"),
    [
        (2, {}, 1.2, 0.015, "holds if tested"),
        (3, {}, 1.3, 5e-3, "holds if tested"),
        (5, {}, 1.45, 1.6e-3, "holds"),
        (3, {"bounce": 1.5}, 1.45, 1.6e-3, "holds"),
        (3, {"bounce": 1.5, "inspected": True}, 1.45, 9e-4, "holds"),
        (5, {"direction": "straight down, work is to the side"}, 1.2, 0.015, "holds if tested"),
    ],
)
def test_a_passed_load_test_counts_for_what_it_was(people, more, low, chance, verdict):
    """As hard as the climb it raises the numbers, half as hard again it is the test that was asked for; too light or pulled another way it is only noted."""
    graph, points = three()
    points = [with_tests(p) for p in points]
    out = with_overrides(graph, points, [said("load test passed", union="U02", people=people, **more)], S, 1)
    found, before = only(out.points, "U02"), only(points, "U02")

    assert found.check.check.margin.p5 == pytest.approx(low)
    assert found.check.check.chance_told == pytest.approx(chance)
    assert found.check.check.verdict == verdict
    assert found.gates == before.gates
    assert of_code(found.doubts, "load_test_passed")
    assert only(out.points, "U01").check == only(points, "U01").check


def test_no_test_lifts_what_does_not_hold():
    """A passed test of any size leaves "does not hold" and "not seen" as they are, and every gate."""
    graph, points = three()
    for verdict in ("does not hold", "not seen"):
        bad = [with_tests(p, verdict) for p in points]
        out = with_overrides(graph, bad, [said("load test passed", union="U02", people=6, bounce=2.0, inspected=True)], S, 1)
        assert only(out.points, "U02").check == only(bad, "U02").check
        assert only(out.points, "U02").gates == only(bad, "U02").gates


def test_a_defect_lowers_margin_and_chance_alike():
    """With half the strength the margin is half, the chance higher, the verdict follows, and no test of sound wood is promised."""
    graph, points = three()
    points = [with_tests(p, "holds") for p in points]
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    out = with_overrides(graph, points, [said("defect", limb=limb, value=0.5)], S, 1)
    found = only(out.points, "U02").check.check

    assert found.margin.p5 == pytest.approx(0.6)
    assert found.overload_chance > 0.03
    assert (found.verdict, found.tested) == ("does not hold", ())


def test_coverage_counts_what_the_anchor_holds():
    """The same tree with anchors that hold only for work within 20 degrees: no farther work is served, and the reader is told."""
    graph = plain_tree()
    throws = [throw(graph, k) for k in range(3)]
    wide = ranked(graph, throws)
    narrow = ranked(graph, throws, within=np.deg2rad(20.0))
    for a, b in zip(sorted(wide, key=lambda p: p.label), sorted(narrow, key=lambda p: p.label), strict=True):
        assert np.array_equal(b.reach.served, a.reach.served & (a.reach.angle <= np.deg2rad(20.0)))
        assert b.reach.share <= a.reach.share
        assert not of_code(a.doubts, "works_within")
        assert of_code(b.doubts, "works_within")


def test_what_the_wood_has_borne_is_gone_with_a_defect_and_yields_to_a_test():
    """A defect voids it, in the numbers and in the words; a passed test takes its place in the words, and the chance is the lower of both."""
    graph, points = three()
    stood = Borne(5, 15.0, Estimate(0.8, 0.5, 1.2), 1.25, 0.007)
    note = Reason("history_borne", rain=False, snow=False, years=5, gust=15.0, share=0.8, least=0.5, low=1.25, low_before=1.2, chance=0.007, chance_before=0.012)

    def with_history(p):
        found = p.check.check
        return replace(p, check=replace(p.check, check=replace(found, borne=stood, notes=(*found.notes, note))))

    points = [with_history(with_tests(p)) for p in points]
    limb = int(graph.unions.arm_limb[graph.unions.laterals(1)[0]])
    before = only(points, "U02").check.check
    weak = only(with_overrides(graph, points, [said("defect", limb=limb, value=0.5)], S, 1).points, "U02").check.check
    tested = only(with_overrides(graph, points, [said("load test passed", union="U02", people=3)], S, 1).points, "U02").check.check

    assert before.chance_told == pytest.approx(0.007 + 3e-3)
    assert weak.borne is None
    assert [n.code for n in weak.notes if n.code.startswith("history")] == ["history_reported"]
    assert weak.chance_told > before.chance_told
    assert not [n for n in tested.notes if n.code.startswith("history")]
    assert tested.sound_chance == pytest.approx(4e-3)
