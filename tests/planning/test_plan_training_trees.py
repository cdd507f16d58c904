"""Six training trees with known answers. Each ranking is argued in its docstring; loads come from the loads room itself.

The trees are drawn by hand with round numbers. Throws are given by hand (their chance is the exercise's premise), except where
the lesson is the throw itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, only, rank, table, throw, tree
from loads.by_hand import check_anchors
from strategies import alone

from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.planning.access.access_order import BASAL_LINE
from treescan.planning.access.approach import BASAL, recommend
from treescan.planning.candidates.candidates import candidate_configurations
from treescan.planning.reach.work_scene import WorkScene
from treescan.planning.redirects.redirects import redirects
from treescan.planning.sets.sets import anchor_set
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import work_at_points
from treescan.reason import has
from treescan.trees.beside import Site

LOADS = LoadSettings(samples=400)
STEADY = replace(LOADS, cases=("at rest", "ascent", "work positioning"), self_weight=False)
"""Without the abrupt stop, where the rope behind the union softens the stop of a basal line, and without the wood's own weight."""


def plan(graph, throws, work, systems=("MRS",), settings=S, rest=None, loads=LOADS, species="Quercus robur"):
    """Candidates, real load checks, ranking. `rest` moves the rope out along the limb of chosen unions. [m]"""
    beside, t = alone(graph), table(graph, throws)
    found = candidate_configurations(graph, beside, t, systems, settings)
    if rest:
        found = tuple((replace(r, rest_distance=rest.get(r.union, r.rest_distance)), x) for r, x in found)
    checks = check_anchors(graph, beside, wood_of(species, loads), [r for r, _ in found], work.xyz, loads, 1)
    return rank(TreeContext(graph, beside, Site(), work, settings), t, found, checks)


def stem_work(graph, *places):
    return work_at_points(graph, places)


def test_t1_lever_arm():
    """T-1, lever arm. Two equal level limbs of 20 cm, mirrored, at nearly the same height; on one the rope lies at the union, on
    the other it lies 1 m out. Bending grows with the lever arm, all else is equal: the rope at the union ranks first, the one a
    metre out has several times less margin, and margin is named as what puts it behind, or that it is doubtful for it.
    """
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 9], [4, 0, 9.4]], 0.10, 0.05), ([[0, 0, 9.25], [-4, 0, 9.65]], 0.10, 0.05))
    points = plan(graph, [throw(graph, 0), throw(graph, 1)], stem_work(graph, [0, 0, 3], [0, 0, 5], [0, 0, 7]), rest={1: 1.3})
    at, out = only(points, "U01"), only(points, "U02")

    assert at.rank == 1
    assert at.check.check.margin.median > 2 * out.check.check.margin.median
    by_score = any(s["criterion"] == "margin" for r in of_code(out.reasons, "ranked_after") for s in r["behind"])
    by_verdict = [r["doubtful"] for r in of_code(out.reasons, "ranked_after_what_holds")] == [True]
    assert not out.usable or by_score or by_verdict


def test_t2_included_angle():
    """T-2, included angle. One union, rigged moving and basal. The basal line's legs both hang down, the angle between them is
    small, and the union bears close to twice the climber's leg; the moving rope bears once. Same throw, same reach: the moving
    rope has about twice the margin and comes first; the basal line follows as the second system of the same union.
    """
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 10], [2.5, 0, 12]], 0.09, 0.04))
    work = stem_work(graph, [0, 0, 3], [0, 0, 6], [0, 0, 8])
    points = plan(graph, [throw(graph, 0)], work, systems=("MRS", "SRS basal"), loads=STEADY)
    moving, basal = only(points, "U01"), only(points, "U01", "SRS basal")

    assert moving.check.multiple_of_weight == pytest.approx(1.0, abs=0.05)
    assert 1.7 < basal.check.multiple_of_weight < 2.01
    assert 1.5 < moving.check.check.margin.median / basal.check.check.margin.median < 2.6
    assert moving.rank == 1
    assert not basal.usable or basal.rank == 2


def test_t3_redirect_spoils_the_primary():
    """T-3, redirect spoils the primary. A slender leader carries the main anchor; a strong limb lower down would redirect the
    rope to work far out. Hanging plumb the leader is pressed along its axis; towards the redirect it is pulled sideways and
    bends: its stress rises several times. The redirect is listed with that factor and, as the leader has little margin to lose,
    is marked as spoiling it.
    """
    graph = tree(
        ([[0, 0, 0], [0, 0, 16]], 0.22, 0.05),
        ([[0, 0, 13], [0.25, 0, 14], [0.4, 0, 15]], 0.05, 0.03),
        ([[0, 0, 8], [4, 0, 11], [8, 0, 10]], 0.15, 0.06),
        ([[4, 0, 11], [4.3, 0, 12.5]], 0.06, 0.03),
    )
    work = work_at_points(graph, [[6.5, 0, 10.4], [0, 0, 5]], ["far", "stem"])
    loose = replace(S, min_limb=0.05, margin_gate=0.01, rope_angle_limit_deg=75.0, walk_limit_deg=85.0)
    points = plan(graph, [throw(graph, k) for k in range(len(graph.unions))], work, settings=loose)
    main = max((p for p in points if p.usable), key=lambda p: p.place[2])
    short = replace(main, reach=replace(main.reach, served=np.array([False, True])))
    strict = replace(loose, margin_gate=main.check.check.margin.p5 / 1.5)
    found = redirects(WorkScene.of(TreeContext(graph, alone(graph), Site(), work, strict)), short, points)

    assert found
    assert all(r.way.main_ratio > 1.5 for r in found)
    assert all(r.margins.spoils and has(r.reasons, "redirect_spoils_main", "redirect_too_weak") for r in found)


def test_t4_isolation_trap():
    """T-4, isolation trap. Both unions are shot easily, but the higher one only together with the limb below it (class 3); the
    lower one isolates cleanly. The trap is to pull a moving rope up over both. For the moving rope at the higher union no throw
    counts: its way is a basal line first, climb, set by hand. That costs it the isolation score but it serves twice the work, so
    it stays first, and the recommended approach is the basal line. The basal line itself is ranked with the advice to inspect
    the other union under it. When the limb below is too weak to hang anything on, no step uses it, but the line over both still
    reaches the higher one.
    """
    graph = tree(([[0, 0, 0], [0, 0, 18]], 0.35, 0.12), ([[0, 0, 8], [2.5, 0, 10]], 0.12, 0.05), ([[0, 0, 15], [-2, 0, 16.5]], 0.10, 0.05))
    throws = [throw(graph, 0, 0.4, 1), replace(throw(graph, 1, 0.6, 3), captured_unions=("U01",))]
    work = stem_work(graph, [0, 0, 4], [0, 0, 6], [0, 0, 10], [0, 0, 12])
    points = plan(graph, throws, work, systems=("MRS", "SRS basal"))
    high, low, basal = only(points, "U02"), only(points, "U01"), only(points, "U02", "SRS basal")

    assert high.throw is None and high.scores["isolation"] == 0
    assert high.access[1].how == BASAL_LINE
    assert low.throw.isolation_class == 1
    assert points[0].label == "U02"
    assert recommend(graph, points, S).recommended.way == BASAL
    assert [d["unions"] for d in of_code(basal.doubts, "line_over_unions")] == [("U01",)]


def test_t5_smooth_and_rough_bark():
    """T-5, smooth against rough bark. A basal line judged with friction: on rough bark the base leg takes less, so the union
    bears less than on smooth bark; frictionless bears the most and is the default, because preload can defeat friction. Force
    and margin follow in that order on one and the same limb, with the rope a little out from the union so that bending governs
    (right at the union it is the twist of the two unequal legs, which friction makes worse).
    """
    graph = tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 10], [2.5, 0, 12]], 0.09, 0.04))
    work = stem_work(graph, [0, 0, 3], [0, 0, 6])

    def judged(**change):
        (p,) = plan(graph, [throw(graph, 0)], work, systems=("SRS basal",), rest={0: 1.2}, loads=replace(STEADY, **change))
        return p.check.multiple_of_weight, p.check.check.margin.median

    slick, smooth, rough = (
        judged(),
        judged(basal_bound="friction", mu_bark=(0.15, 0.2, 0.25)),
        judged(basal_bound="friction", mu_bark=(0.4, 0.5, 0.6)),
    )

    assert slick[0] > smooth[0] > rough[0] > 1.0
    assert slick[1] < smooth[1] < rough[1]


def test_t6_thin_high_against_thick_low():
    """T-6, thin and high against thick and low. The high union of 9 cm serves all the work, the low one of 24 cm serves only
    the lower stem. In strong wood (oak) the low side of the high one's margin with two people on it still passes the gate, though not
    by much: it is doubtful, and the low one, which holds, comes first; for the work above it the set names the high one and that it is doubtful.
    Thick enough to hold, the high one comes first: the work decides. In weak wood (poplar) the thin limb falls under the gate with two people on it:
    it holds one climber only, who may work no higher than the rescuer's line over the low one reaches, so the low one is first. Where the rescue is
    not judged apart it is not ranked: no score hides a gate.
    """
    def thick(high):
        return tree(([[0, 0, 0], [0, 0, 18]], 0.35, 0.07), ([[0, 0, 8], [3, 0, 10]], 0.12, 0.06), ([[0, 0, 15], [-1.2, 0, 16.3]], high, 0.03))

    graph = thick(0.046)
    work = stem_work(graph, [0, 0, 4], [0, 0, 6], [0, 0, 10], [0, 0, 12], [0, 0, 13])
    throws = [throw(graph, 0), throw(graph, 1)]
    oak, poplar = plan(graph, throws, work), plan(graph, throws, work, species="Populus trichocarpa")

    assert [(p.label, p.holds) for p in oak[:2]] == [("U01", True), ("U02", False)]
    assert oak[1].score > oak[0].score and oak[1].verdict == "inspect first"
    whole = anchor_set(oak, work, S)
    assert {p.label for p in whole.points} == {"U01", "U02"} and [r["anchors"] for r in of_code(whole.reasons, "set_doubtful")] == [(oak[1].name,)]
    thicker = plan(thick(0.065), throws, work)
    assert [(p.label, p.holds) for p in thicker[:2]] == [("U02", True), ("U01", True)]
    assert poplar[0].label == "U01" and poplar[0].usable
    high, low = only(poplar, "U02"), only(poplar, "U01")
    assert of_code(high.doubts, "one_climber_only") and high.rank > low.rank
    assert high.reach.served.any() and not (high.reach.served & ~low.reach.served).any()
    together = plan(graph, throws, work, species="Populus trichocarpa", loads=replace(LOADS, rescue_apart=False))
    assert of_code(only(together, "U02").gates, "margin_low")
