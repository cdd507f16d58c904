"""A basal line that runs over further limbs on the climber's side: what they bear, what the union bears then, and what follows if they break."""

from dataclasses import replace

import numpy as np
import pytest
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, configuration, tree
from strategies import alone

from treescan.loads.checks.line_check import one_line_lost
from treescan.loads.judging.judged import contacts_of
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.rope.contacts import supports_of
from treescan.loads.rope.rope_run import taut_rope
from treescan.loads.rope.strung_rope import hanging_between
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.units import G

W = 100 * G


def two_limbs(outer=0.07):
    """The wanted limb to the east at 10 m, and another to the north-east at 7 m, out under a rope that comes over the first from the south-west."""
    return tree([(10.0, 0, 20, 2.0, 0.20, 0.14), (7.0, 60, 25, 3.0, outer, outer)], stem=0.5, top=0.4)


def line(graph, beyond=True):
    """Over the wanted limb from a base at the stem's foot, and out over the lower one a metre and a half from the stem."""
    r = configuration(graph, "U02", "SRS basal", distance=1.0, base=(0.2, -0.6, 1.0))
    limb = graph.limbs.nodes[graph.unions.arm_limb[graph.unions.laterals(graph.unions.index("U01"))[0]]]
    node = int(limb[np.argmin(np.abs(np.linalg.norm(graph.xyz[limb] - graph.xyz[graph.parent[limb[0]]], axis=1) - 2.0))])
    return replace(r, beyond=np.array([node] if beyond else [], np.int32))


def test_the_limb_the_climber_hangs_from_is_in_the_sums():
    """Frictionless, every leg pulls with the climber's weight: the forces of union and outer limb are those of the taut rope over both, the outer
    one first for the climber; the union bears less than twice the weight, and the force told is its own."""
    graph = two_limbs()
    r = line(graph)
    (found,) = checked(graph, [r], wood=WEIGHTLESS, cases=("at rest",))
    t = whole_tree(graph, alone(graph), WEIGHTLESS, LoadSettings(cases=("at rest",)))
    contacts = contacts_of(t, r)
    top = contacts[-1].point
    run = taut_rope(np.asarray(r.base), np.array([*top[:2], 0.0]), supports_of(contacts), hung=True)
    pull = run.contact_forces(np.full(len(run.leg), W))
    assert [c.node for c in contacts] == [contacts[0].node, int(r.beyond[0])]
    assert found.contact_forces == pytest.approx(pull, abs=0.03 * W)  # the climber hangs below the bark's top, not the axis
    assert found.force == pytest.approx(found.contact_forces[0])
    (cut,) = checked(graph, [line(graph, beyond=False)], wood=WEIGHTLESS, cases=("at rest",))
    assert np.linalg.norm(found.force) < 0.97 * np.linalg.norm(cut.force)
    assert np.linalg.norm(found.contact_forces[1]) > 0.4 * W
    loads = configuration_loads(r.system, r.hardware, contacts, np.asarray(r.base), 0.0, np.zeros((0, 3)), t.settings)
    assert found.contact_turns == pytest.approx(loads.turn[0])  # here in the order of the forces
    assert found.contact_turns[0] > 2.0 > found.contact_turns[1] > 0
    assert np.linalg.norm(found.force) == pytest.approx(2 * W * np.sin(found.contact_turns[0] / 2), rel=0.03)  # its legs lie nearly in one plane
    assert cut.friction_multiple < cut.multiple_of_weight and 0 < found.friction_multiple < found.multiple_of_weight


def test_a_thin_outer_limb_governs_and_its_break_is_in_the_chain():
    """7 cm under the climber's leg: the weakest wood is there, its margin is the one told and stands by itself too, and when it breaks the rope
    drops onto the union. Thick enough, it does not govern."""
    graph = two_limbs(0.05)
    (thin,) = checked(graph, [line(graph)])
    (cut,) = checked(graph, [line(graph, beyond=False)])
    outer_limb = int(graph.limb[line(graph).beyond[0]])
    assert thin.outer is not None and cut.outer is None
    assert thin.check.margin.p5 == pytest.approx(thin.outer.p5, rel=0.05)  # of the weakest sections of all, and of those of that limb
    assert thin.check.margin.p5 < 0.5 * cut.check.margin.p5
    assert graph.limb[thin.check.governing] == outer_limb
    first = next(b for b in thin.breaks if graph.limb[b.node] == outer_limb)
    assert first.catches[0].label == "U02"
    assert not any(graph.limb[b.node] == outer_limb for b in cut.breaks)
    thick_graph = two_limbs(0.18)
    (thick,) = checked(thick_graph, [line(thick_graph)])
    assert thick.outer.p5 > 4 * thin.outer.p5


def test_an_outer_limb_that_was_not_seen_gives_no_figure():
    """The climber would hang from it: where the scan cannot tell its strength it cannot tell the configuration's."""
    graph = two_limbs()
    radius = graph.radius.copy()
    limb = graph.limb[line(graph).beyond[0]]
    radius[graph.limb == limb] = np.nan
    blind = replace(graph, radius=radius, segment_radius=np.where(graph.limb == limb, np.nan, graph.segment_radius))
    (found,) = checked(blind, [line(blind)])
    assert found.check.verdict == "not seen"
    assert len(found.contact_forces) == 2


def test_a_union_the_rope_lifts_off_is_still_judged():
    """An outer limb higher than the union takes the rope off it: the union is judged as if that limb were not there, and the worse is told."""
    graph = tree([(6.0, 0, 20, 2.0, 0.07, 0.07), (10.0, 180, 10, 2.0, 0.25, 0.22)], stem=0.5, top=0.4)
    r = configuration(graph, "U01", "SRS basal", distance=1.0, base=(0.2, -0.6, 1.0))
    high = graph.limbs.nodes[graph.unions.arm_limb[graph.unions.laterals(graph.unions.index("U02"))[0]]]
    over, without = (checked(graph, [x])[0] for x in (replace(r, beyond=np.array([high[3]], np.int32)), r))
    assert over.check.margin.p5 <= without.check.margin.p5 * 1.0001
    assert np.linalg.norm(over.force) == pytest.approx(np.linalg.norm(without.force))
    assert over.contact_forces.shape == (2, 3)


def test_rigs_without_outer_limbs_are_as_before():
    """No further limb: contacts, order and force are the base side and the union alone."""
    graph = two_limbs()
    t = whole_tree(graph, alone(graph), PLAIN, LoadSettings())
    r = line(graph, beyond=False)
    assert len(contacts_of(t, r)) == 1
    swing = one_line_lost(t, r, hanging_between([contacts_of(t, r)[-1].point, [5.0, 0, 12.0]], [2.0, 0, 6.0], W))
    assert swing.check.margin.known
