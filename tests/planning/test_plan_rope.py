"""Metres of rope and kit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, only, plain_tree, ranked, throw, tree

from treescan.loads.rope.bark_pressure import bark_pressure
from treescan.outputs.text.say import say
from treescan.planning.access.rope_and_kit import kit_of_all, polyline_length, rope_parts, rope_to_ground
from treescan.planning.work.work_points import work_at_points


def total(system, height, farthest=0.0, base_leg=0.0):
    return sum(m for _, m in rope_parts(system, height, farthest, base_leg, S))


def test_lengths_follow_the_formulas():
    """Twice the height and a tail for MRS; height, tails and one retrieval height for a canopy anchor; legs, tails and one
    lowering height
    for a basal one."""
    assert total("MRS", 12) == 2 * 12 + S.tail
    assert total("SRS canopy", 12) == 2 * 12 + S.tail + S.canopy_tail
    assert total("SRS basal", 12, base_leg=13) == 12 + 13 + 12 + 2 * S.tail


def test_far_work_asks_for_more_rope_than_the_height():
    """The leg reaches the farther of the ground and the work."""
    assert total("MRS", 10, farthest=14) == 2 * 14 + S.tail


def test_base_leg_follows_its_supports():
    """The base leg is the polyline from the union over its supports to the base."""
    graph = plain_tree()
    p = only(ranked(graph, [throw(graph, 2, 0.5, 3)], systems=("SRS basal",)), "U03", "SRS basal")
    configuration = p.check.configuration

    assert dict(p.rope.parts)["base leg"] == pytest.approx(polyline_length(np.vstack([p.place, graph.xyz[configuration.via], configuration.base])))
    assert polyline_length(np.array([[0.0, 0, 0], [3, 4, 0], [3, 4, 12]])) == 17


def test_stock_is_the_next_length_up_and_too_short_is_said():
    """The shortest stocked rope that is long enough; when none is, the kit says so and nothing is rounded down."""
    graph = plain_tree()
    throws = [throw(graph, k) for k in range(3)]
    plan = only(ranked(graph, throws), "U03").rope
    short = only(ranked(graph, throws, settings=replace(S, stock_lengths=(10.0, 12.0))), "U03").rope

    assert plan.stock == min(s for s in S.stock_lengths if s >= plan.length)
    assert plan.reaches_ground
    assert not short.reaches_ground and np.isnan(short.stock)
    assert short.kit[0].code == "kit_rope_too_short" and short.kit[0]["length"] == short.length


def test_slope_changes_the_height_that_counts():
    """On ground that falls away under the limb the rope is longer by the fall."""
    from treescan.trees.beside import Beside, Terrain

    graph = plain_tree()
    level = only(ranked(graph, [throw(graph, 0)]), "U01").rope.length
    low = only(ranked(graph, [throw(graph, 0)], beside=Beside(Terrain.flat(-2.0))), "U01").rope.length

    assert low == pytest.approx(level + 4.0)


def bank(degrees, step=0.0):
    """Ground that falls eastward, with a wall of `step` m at 2 m."""
    from treescan.trees.beside import Beside, Terrain

    cell = 0.25
    x = (np.arange(160) + 0.5) * cell - 20.0
    z = -np.tan(np.radians(degrees)) * x - np.where(x > 2.0, step, 0.0)
    return Beside(Terrain(np.tile(z, (160, 1)), np.array([-20.0, -20.0]), cell, np.ones((160, 160), bool)))


@pytest.mark.parametrize("degrees", [0.0, 10.0, 25.0, 40.0])
@pytest.mark.parametrize("height", [2.0, 6.0, 15.0])
def test_the_rope_reaches_down_a_bank(degrees, height):
    """Three metres down a bank of the angle a the ground lies h + 3 tan a below the place: the leg is sqrt(9 + (h + 3 tan a)^2) - 1, or h where
    that is more; the least distance of an upright line to the tilted plane is no help, for nobody comes down uphill."""
    graph = plain_tree()
    leg = rope_to_ground(graph, bank(degrees), np.array([0.0, 0.0, height]))
    down = height + 3 * np.tan(np.radians(degrees))

    assert leg == pytest.approx(max(height, np.hypot(3, down) - 1), abs=0.01)


def test_the_rope_reaches_the_foot_of_a_wall_beside_the_tree():
    """A drop of 4 m two metres away: 4 m more of rope, aslant; ground not seen counts as the lowest seen."""
    graph = plain_tree()
    leg = rope_to_ground(graph, bank(0.0, step=4.0), np.array([0.0, 0.0, 9.0]))
    unseen = bank(0.0, step=4.0)
    height = np.where(np.arange(160) * 0.25 - 20.0 > 2.6, np.nan, unseen.terrain.height)
    hidden = replace(unseen, terrain=replace(unseen.terrain, height=height))

    assert leg == pytest.approx(np.hypot(3, 13) - 1, abs=0.01)
    assert rope_to_ground(graph, hidden, np.array([0.0, 0.0, 9.0])) == pytest.approx(leg, abs=0.01)


def test_an_anchor_on_a_bank_is_told_that_rope():
    """Through the plan: twice the leg down the bank and a tail."""
    graph = plain_tree()
    p = only(ranked(graph, [throw(graph, 0)], beside=bank(25.0)), "U01")

    assert p.rope.length >= 2 * rope_to_ground(graph, bank(25.0), p.place) + S.tail - 1e-9


def test_bark_pressure_is_line_pressure_over_the_rope_width():
    """1 kN round a 10 cm limb presses 20 kN a metre, 2 MPa under a 10 mm rope."""
    assert bark_pressure(1000.0, 0.1, 0.01) == pytest.approx(2e6)


def test_kit_fits_the_way_it_is_set():
    """A launcher is in the kit only when the throw needs one; basal kit only for basal lines; a rescuer's rope always."""
    graph = plain_tree()
    points = ranked(graph, [throw(graph, 0), throw(graph, 2, method="launcher")], systems=())
    launched, thrown = only(points, "U03", "SRS basal").rope.kit, only(points, "U01").rope.kit

    assert of_code(launched, "kit_launcher") and not of_code(thrown, "kit_launcher")
    assert of_code(launched, "kit_base_anchor") and not of_code(thrown, "kit_base_anchor")
    assert all(of_code(p.rope.kit, "kit_rescue") for p in points)


def test_the_kit_of_several_points_holds_everything_once():
    """Every tie-in point's rope by its stock length, the longest throwline once, and each other item of any of them exactly once."""
    graph = plain_tree()
    points = [p for p in ranked(graph, [throw(graph, k, method="launcher" if k == 2 else "hand") for k in range(3)], systems=()) if p.usable]
    chosen = [only(points, "U01", "MRS"), only(points, "U02", "SRS basal"), only(points, "U03", "MRS")]
    kit = kit_of_all(chosen)

    assert [(r["stock"], r["anchor"]) for r in kit[0]["ropes"]] == [(p.rope.stock, p.named) for p in chosen]
    assert len(kit) == len(set(kit))
    (line,) = of_code(kit, "kit_throwline")
    assert line["length"] == max(p.rope.throwline for p in chosen)
    assert of_code(kit, "kit_launcher") and of_code(kit, "kit_base_anchor")
    for p in chosen:
        assert all(item in kit or item.code == "kit_throwline" for item in p.rope.kit[1:])
    assert kit_of_all(()) == ()


def test_the_limb_most_in_the_way_is_named_with_the_work_behind_it():
    """Two stems: the second stands between the tie-in point and the limb beyond it; it is named first, with the counted share of the work."""
    graph = tree(
        ([[0, 0, 0], [0, 0, 12]], 0.2, 0.1),
        ([[0, 0, 1], [2, 0, 2], [2, 0, 12]], 0.25, 0.2),
        ([[0, 0, 11], [-1, 0, 11.8]], 0.08, 0.05),
        ([[2, 0, 7], [4, 0, 7.2]], 0.06, 0.03),
    )
    work = work_at_points(graph, [[4.0, 0, 7.2], [3.5, 0, 7.1], [0.5, 0, 5.0], [0.4, 0, 4.0]], farthest=5.0)
    p = max(ranked(graph, work=work), key=lambda p: p.place[2])
    blocked = float((p.reach.fouled >= 0).mean())

    assert blocked == 0.5
    assert (p.fouling[0].code, p.fouling[0]["share"]) == ("limb_fouls", pytest.approx(blocked))
    assert say(p.fouling[0]).endswith("50 % of the work lies behind it")
