"""The whole of planning: what one call fills in, and that a statement re-ranks at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import plain_tree, table, throw
from strategies import alone, random_tree

from treescan import assess
from treescan.assess import Settings, judged_again, plan, revised
from treescan.cloud.point_cloud import LOCAL
from treescan.loads.judging.judged import contacts_of
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.outputs.data.anchors_file import anchors_out
from treescan.planning.ranking.overrides import Override
from treescan.settings import merged
from treescan.trees.beside import Site
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures


def traced(graph) -> TracedTree:
    beside = alone(graph)
    return TracedTree(graph, beside, LOCAL, stem_figures(graph, beside.terrain), ScanFitness("assessable", ()), "made up")


@pytest.fixture(scope="module")
def planned():
    return plan(traced(plain_tree()), species="oak")


def test_every_part_of_the_plan_is_filled_in(planned):
    """Ranked points carry a load test, a retrieval and a rescue plan; the set, the ways to the work and the approach are there."""
    usable = [p for p in planned.points if p.usable]

    assert usable
    assert all(p.load_test is not None and p.retrieval is not None for p in usable)
    assert all(p.load_test is None for p in planned.points if not p.usable)
    assert [r.work_anchor for r in planned.climb.rescue] == [f"{p.label} {p.system}" for p in usable]
    assert planned.climb.anchors.points
    assert len(planned.climb.ways) == len(planned.work)
    assert planned.approach.recommended.point is usable[0]


def test_a_load_test_pulls_as_in_use(planned):
    """The test's pull is that asked for, at least the settings' people times the climber's weight, along the force of use, never more on the union than the legs make of it."""
    loads = planned.settings.loads
    for p in planned.points:
        if p.load_test is not None:
            t = p.load_test
            weight = loads.climber_mass * 9.80665
            assert t.pull >= loads.test_people * weight * (1 - 1e-9)
            assert t.share >= 0.999 or not p.check.check.tested  # as hard as the hardest ordinary use
            assert np.linalg.norm(t.direction) == pytest.approx(1.0)
            assert t.on_union == pytest.approx(t.pull * (p.check.multiple_of_weight if p.system == "SRS basal" else 1.0))


@pytest.mark.parametrize("limit", [45.0, 60.0])
def test_every_place_that_is_served_was_judged(limit):
    """Whatever rope angle counts as served, the loads of every configuration are those of all places it serves, and of none beyond the limit."""
    settings = merged(Settings(), {"planning": {"rope_angle_limit_deg": limit}})
    planned = plan(traced(plain_tree()), settings=settings, species="oak")
    tree = planned.checks.model
    for p in planned.points:
        if p.check.check.verdict != "not seen":
            configuration = p.check.configuration
            contacts = contacts_of(tree, configuration)
            judged = configuration_loads(configuration.system, configuration.hardware, contacts, configuration.base, 0.0, planned.work.xyz, tree.settings).pulls.work
            assert set(np.flatnonzero(p.reach.served)) <= set(judged)
            assert (p.reach.angle[judged[judged >= 0]] <= np.deg2rad(limit) + 1e-6).all()


def test_a_refusal_moves_the_next_one_up_and_can_be_taken_back(planned):
    """The first union refused: another comes first, set and approach no longer use it, the log says who and why; without statements all is as before."""
    first = planned.points[0].label
    said = Override("refused", "inspector", "fungus at the union", "on the day", union=first)
    after = revised(planned, [said])
    back = revised(after, [])

    assert after.points[0].label != first
    assert all(p.label != first for p in after.climb.anchors.points)
    assert after.approach.recommended.point.label != first
    assert (after.statements[0]["statement"]["who"], after.statements[0]["statement"]["why"]) == ("inspector", "fungus at the union")
    assert [(p.rank, p.label, p.system, p.reasons) for p in back.points] == [(p.rank, p.label, p.system, p.reasons) for p in planned.points]
    assert back.statements == ()


def test_a_large_tree_is_planned_and_ranked_again_whole(monkeypatch):
    """60 unions, three systems, 200 work points: every one is judged, and a statement ranks all of them again."""
    graph = random_tree(5, height=24, dbh=0.9, limbs=80)
    tree = traced(graph)
    throws = table(graph, [throw(graph, k, 0.3) for k in range(len(graph.unions))])
    monkeypatch.setattr("treescan.assess.search_throws", lambda *_: throws)
    loose = replace(Settings(), planning=replace(Settings().planning, min_candidate_diameter=0.01, min_candidate_height=0.5))
    done = plan(tree, settings=loose, species="oak")
    said = Override("refused", "inspector", "soft", "on the day", union=done.points[0].label)
    again = revised(done, [said])

    assert len({p.union for p in done.points}) == 60
    assert len(done.points) == 180
    assert len(done.work) == 200
    assert len(again.points) == 180
    assert again.points[0].label != done.points[0].label


CHANGES = (
    {"species": "willow"},
    {"species": None},
    {"climber_mass": 140.0},
    {"systems": ("SRS basal",)},
    {"reported": ("U02 crack", "limb 1 hollow 0.4")},
    {"species": "beech", "climber_mass": 70.0, "systems": ("MRS", "SRS canopy"), "reported": ("stem oval 0.8",)},
)


@pytest.mark.parametrize("change", CHANGES, ids=str)
def test_another_wood_climber_system_or_defect_is_answered_as_a_new_plan_would(planned, change, monkeypatch):
    """Word for word what `plan` gives with the same changes; nothing is searched or traced for it, and going back gives the first plan."""
    loads = replace(planned.settings.loads, **{k: change[k] for k in ("climber_mass", "reported") if k in change})
    anew = plan(
        traced(plain_tree()),
        species=change.get("species", "oak"),
        systems=change.get("systems", planned.asked.systems),
        settings=replace(planned.settings, loads=loads),
    )

    def forbidden(*_, **__):
        raise AssertionError("searched again")

    for name in ("search_throws", "standing_places", "build_graph", "default_work"):
        monkeypatch.setattr(assess, name, forbidden)
    again = judged_again(planned, **change)
    back = judged_again(again, species="oak", systems=planned.asked.systems, climber_mass=planned.settings.loads.climber_mass, reported=())

    assert anchors_out(again) == anchors_out(anew)
    assert anchors_out(again) != anchors_out(planned)
    assert anchors_out(back) == anchors_out(planned)


def test_a_drawn_base_and_anchor_reach_the_whole_plan():
    """What the site plan draws comes out at the end: basal lines tied to the base and judged there, lines to the other tree with what the own
    union bears; judged again for another species it stays so."""
    site = Site(anchors=(("the beech", np.array([8.0, 0.5, 13.0])),), bases=(("the ash", np.array([-6.0, 2.0, 1.0])),))
    done = plan(traced(plain_tree()), species="oak", site=site)
    again = judged_again(done, species="ash")

    for a in (done, again):
        assert {p.check.configuration.tied_to for p in a.points if p.system == "SRS basal"} == {"the ash"}
        ends = [h.end for h in a.climb.neighbours.hung]
        assert any(e.check is not None for e in ends)
        assert all(e.lost is None if e.check is None else e.check.margin.known for e in ends)
    margins = [[h.end.check.margin.p5 for h in a.climb.neighbours.hung if h.end.lost is not None] for a in (done, again)]
    assert margins[0] != margins[1]
