"""Limb walks are offered only as far as their anchor holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, rank, table, throw, tree
from strategies import alone

from treescan.loads.checks.anchor import check_anchor
from treescan.loads.checks.limb_walk import steps
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.planning.candidates.candidates import candidate_configurations
from treescan.planning.climb.walks import walks_that_hold
from treescan.planning.reach.ways_to_work import ways_to_work
from treescan.planning.settings import PlanningSettings
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import work_at_points
from treescan.trees.beside import Site

LIMITS: PlanningSettings = replace(S, rope_angle_limit_deg=20.0, walk_limit_deg=75.0)
LOADS = LoadSettings(samples=400, rope_angle_limit_deg=20.0)


def planned(stem):
    """A stem `stem` metres in radius: a limb to walk at 5 m with work along it, and the anchor on a rising
    limb near the top; what leans out hardest bends the stem."""
    graph = tree(
        ([[0, 0, 0], [0, 0, 10]], stem, 0.8 * stem),
        ([[0, 0, 8.5], [-1.5, 0, 10]], 0.06, 0.04),
        ([[0, 0, 5], [7, 0, 5.5]], 0.15, 0.10),
    )
    work = work_at_points(
        graph,
        [[x, 0, 5.0 + x / 14] for x in np.arange(0.6, 6.6, 0.6)],
        [f"at {x:.1f}" for x in np.arange(0.6, 6.6, 0.6)],
    )
    union = int(np.argmax(graph.unions.height))
    wood, beside = wood_of("Quercus robur", LOADS), alone(graph)
    whole = whole_tree(graph, beside, wood, LOADS, 1)
    configurations = [
        r
        for r in candidate_configurations(
            graph, beside, table(graph, [throw(graph, union)]), ("MRS",), LIMITS
        )
        if r[0].union == union
    ]
    checks = [check_anchor(whole, r, work.xyz) for r, _ in configurations]
    points = rank(
        TreeContext(graph, beside, Site(), work, LIMITS),
        table(graph, [throw(graph, union)]),
        configurations,
        checks,
    )
    ways = ways_to_work(graph, points, work, LIMITS)
    return whole, points, work, ways, walks_that_hold(whole, points, work, ways, (), LIMITS)


@pytest.mark.parametrize("stem", [0.135, 0.14, 0.15, 0.25])
def test_every_walk_kept_holds_and_the_first_one_dropped_does_not(stem):
    """Each kept walk, judged by itself out there, passes the gate, and its limb bears a step; with the next
    steeper one whose limb does, the anchor fails it."""
    whole, points, work, before, after = planned(stem)
    assert points[0].usable
    offered = [i for i, w in enumerate(before) if w.how == "limb walk"]
    kept = [i for i, w in enumerate(after) if w.how == "limb walk"]
    assert offered
    assert [w for i, w in enumerate(before) if i not in offered] == [
        w for i, w in enumerate(after) if i not in offered
    ]
    wide = replace(whole, settings=replace(whole.settings, rope_angle_limit_deg=75.0))
    margin = [
        check_anchor(wide, points[0].check.configuration, work.xyz[[i]]).check.margin.p5 for i in offered
    ]

    assert all(m >= LIMITS.margin_gate for i, m in zip(offered, margin, strict=True) if i in kept)
    bears = [m.known and m.p5 >= LIMITS.margin_gate for m in steps(whole, work.xyz[offered])]
    assert all(b for i, b in zip(offered, bears, strict=True) if i in kept)
    dropped = [i for i, b in zip(offered, bears, strict=True) if b and i not in kept]
    if dropped:
        steepest = min(dropped, key=lambda i: before[i].angle)
        found = check_anchor(wide, points[0].check.configuration, work.xyz[[*kept, steepest]]).check
        assert found.margin.p5 < LIMITS.margin_gate or found.verdict == "does not hold"


def test_a_weak_anchor_loses_walks_that_a_stout_one_keeps():
    """The slender stem keeps fewer of the same walks; the stout one keeps them all."""
    count = {t: [sum(w.how == "limb walk" for w in ways) for ways in planned(t)[3:]] for t in (0.12, 0.25)}

    assert count[0.25][0] == count[0.25][1] > 0
    assert count[0.12][1] < count[0.12][0]
