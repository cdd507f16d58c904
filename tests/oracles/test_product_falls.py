"""What the failure chain tells of a fall, against the falls worked out beside it."""

import numpy as np
import pytest
from loads.stick_trees import PLAIN, tree
from strategies import alone

import treescan.loads.fall.failure_chain as room
from oracles.chain_of_falls import chain_by_energy
from treescan.loads.fall.fall_way import fall_way, first_met
from treescan.loads.fall.falling_wood import falling_wood
from treescan.loads.rope.contacts import at_node
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.reason import Reason
from treescan.wood.topology.assemble import assemble

BASE, CLIMBER = np.array([1.0, -0.6, 0.0]), np.array([1.0, 0.6, 15.0])
TOP, THIN, STOUT = 20.0, 18.5, 17.5


def three(thin, stout):
    """Level limbs above each other: the anchor (200 mm, 20 m), a thin one (18.5 m), a stout one (17.5 m); the rope 1 m out."""
    g = tree([(TOP, 0, 0, 3, 0.2, 0.2), (THIN, 0, 0, 3, thin, thin), (STOUT, 0, 0, 3, stout, stout)], height=24, stem=0.6, top=0.4)
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - TOP) < 0.1)
    state = whole_tree(g, alone(g), PLAIN, LoadSettings())
    contact = at_node(g, int(upper[1]), np.array([1.0, 0, TOP]))
    return g, room.failure_chain(state, True, [contact], CLIMBER, BASE, int(upper[0]))


@pytest.mark.parametrize("stout", [0.24, 0.25, 0.26, 0.28, 0.30])
def test_a_limb_that_cannot_hold_makes_nothing_redundant(stout):
    """49.8 mm grown to 52 mm: counted from the limb that broke, stout ones of 250 to 280 mm became redundant."""
    assert three(0.0498, stout)[1].redundant == three(0.052, stout)[1].redundant


def test_the_next_catch_takes_the_whole_drop():
    """4.25 kN from the limb that broke, 6.2 kN from the anchor; 6.1 kN with a rope that starts stretched by the climber."""
    _, chain = three(0.052, 0.13)
    want = chain_by_energy(100, 15, [TOP, STOUT + 0.065], [0, 1e9], 30e3, mu=0.5).catches[0].rope_peak
    peaks = [c.peak for c in chain.catches if not c.ground]
    assert peaks[-1] > 0.97 * want


def test_a_limb_is_told_the_force_of_all_contacts_on_it(monkeypatch):
    """The second catch lies on one node once; its two legs make 8.5 kN, not the 6.0 of one half of a doubled contact."""
    seen = []
    before = room._catch

    def spy(state, found, *rest):
        seen.append((state.graph, found))
        return before(state, found, *rest)

    monkeypatch.setattr(room, "_catch", spy)
    _, chain = three(0.052, 0.13)
    for (g, found), catch in zip(seen, chain.catches, strict=False):
        contacts = found.suspension.contacts
        assert len({c.node for c in contacts}) == len(contacts)
        each = found.run.contact_forces(np.full(len(found.run.leg), found.peak))
        here = g.limb[contacts[-1].node]
        whole = np.linalg.norm(sum(f for f, c in zip(each, contacts, strict=True) if g.limb[c.node] == here))
        assert catch.reason["force"] == pytest.approx(whole, rel=1e-6)


def test_the_legs_are_met_by_wood():
    """A plumb drop of 1.2 m over a limb 1.9 m under the harness: the feet go through it."""
    g = tree([(6.0, 0, 0, 3, 0.12, 0.12)], height=12, stem=0.4, top=0.3)
    start, pivot = np.array([1.0, 0.0, 7.9]), np.array([1.0, 0.0, 10.0])
    way, _ = fall_way(start, pivot, 3.3)
    met, _ = first_met(g, np.zeros(len(g), bool), way, way[:, 2] - 1.0, np.zeros(len(way)), 0.05)
    assert met == 1


def test_what_broke_before_takes_no_more_than_its_stated_work_out_of_the_fall():
    """A fracture work of 500 J eases the next stop as the energy balance has it, and the ground's drop stays the whole one."""
    _, plain = three(0.052, 0.13)
    g, _ = three(0.052, 0.13)
    state = whole_tree(g, alone(g), PLAIN, LoadSettings(fracture_work=500.0))
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - TOP) < 0.1)
    eased = room.failure_chain(state, True, [at_node(g, int(upper[1]), np.array([1.0, 0, TOP]))], CLIMBER, BASE, int(upper[0]))
    first, second = plain.catches[1], eased.catches[1]
    w = 100 * 9.80665  # (F - W)^2 = W^2 + 2 k (W h - out): what is left of it when the same rope is asked twice
    ratio = ((first.peak - w) ** 2 - (second.peak - w) ** 2) / ((first.peak - w) ** 2 - w**2)
    assert ratio == pytest.approx(500.0 / (w * first.drop), rel=1e-6)
    assert eased.catches[-1].drop == plain.catches[-1].drop


def test_a_limb_of_unknown_strength_stops_nobody():
    """Behind a gap in the scan the thin limb's strength is not seen: the stout one below takes the whole drop."""
    g, _ = three(0.30, 0.13)
    thin = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - THIN) < 0.1)
    seen = np.ones(len(g), bool)
    seen[thin[1]] = False
    g = assemble(g.xyz, g.radius, g.parent, radius_sd=g.radius_sd, seen=seen)
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - TOP) < 0.1)
    contact = at_node(g, int(upper[1]), np.array([1.0, 0, TOP]))
    chain = room.failure_chain(whole_tree(g, alone(g), PLAIN, LoadSettings()), True, [contact], CLIMBER, BASE, int(upper[0]))
    want = chain_by_energy(100, 15, [TOP, STOUT + 0.065], [0, 1e9], 30e3, mu=0.5).catches[0].rope_peak
    assert [c.reason["stops"] for c in chain.catches[:2]] == [False, False]
    assert 0.97 * want < chain.catches[1].peak < 1.1 * want


def test_a_climber_above_the_next_limb_is_caught_by_falling_past_it():
    """The bar stands outside the loop at the break; the leg sweeps over it in the fall (tests/oracles/test_rigid_fall): force and feet
    are told, and that it hangs on which side the climber falls does not count as held."""
    g = tree([(20, 0, 0, 3, 0.2, 0.2), (17, 0, 0, 3, 0.1, 0.1)], height=24, stem=0.6, top=0.4)
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - 20) < 0.1)
    contact = at_node(g, int(upper[1]), np.array([1.0, 0, 20.0]))
    base, climber = np.array([1.0, -7, 0.3]), np.array([1.0, 0.35, 18.0])
    chain = room.failure_chain(whole_tree(g, alone(g), PLAIN, LoadSettings()), True, [contact], climber, base, int(upper[0]))
    first = chain.catches[0]
    assert first.reason["height"] == pytest.approx(17.0, abs=0.05)
    below = np.hypot(7, 19.7) + np.hypot(0.35, 2) - np.hypot(7, 16.7)
    assert climber[2] - first.drop == pytest.approx(17 - below, abs=0.3)
    assert first.peak > 5e3
    assert "catch_only_if_passed" in [r.code for r in chain.reason["against"]]


def test_a_second_break_of_one_limb_is_said():
    """The rope over a side limb lands on the limb that carried it: that has already lost a part, and it is said."""
    g, _ = three(0.30, 0.30)
    stout = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - STOUT) < 0.1)
    thin = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - THIN) < 0.1)
    gone = np.zeros(len(g), bool)
    gone[thin[3:]] = True
    state = whole_tree(g, alone(g), PLAIN, LoadSettings())
    assert room._second_break(state, gone, int(thin[0]), int(thin[0])) == Reason("limb_itself", limb=int(g.limb[thin[0]]))
    assert room._second_break(state, gone, int(stout[0]), int(stout[0])) is None


def test_wood_within_the_stretch_is_met():
    """The hanging place is 0.7 m above a limb as the rope lies, but the stop stretches it onto that limb: met, feet first."""
    g = tree([(20, 0, 0, 3, 0.2, 0.2), (18.5, 0, 0, 3, 0.3, 0.3), (9.5, 0, 0, 3, 0.12, 0.12)], height=24, stem=0.6, top=0.4)
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - 20) < 0.1)
    low = next(i for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - 9.5) < 0.1)
    contact = at_node(g, int(upper[1]), np.array([1.0, 0, 20.0]))
    climber = np.array([1.0, 0.6, 15.0])
    chain = room.failure_chain(whole_tree(g, alone(g), PLAIN, LoadSettings()), True, [contact], climber, BASE, int(upper[0]))
    hangs = climber[2] - chain.catches[0].drop
    assert hangs - 1.0 - 0.5 > 9.56  # as the rope lies, the feet are more than half a body clear of it
    assert hangs - 1.0 - chain.catches[0].reason["stretch"] < 9.5
    assert chain.catches[0].reason["met"] == Reason("limb_itself", limb=low)


def test_the_piece_that_breaks_is_told_with_its_weight_in_the_rope():
    """Where its wood stands, how far it reaches, what it weighs in the rope, and the stop with it: that of a climber as heavy as both."""
    g, chain = three(0.30, 0.30)
    state = whole_tree(g, alone(g), PLAIN, LoadSettings())
    upper = next(n for i, n in enumerate(g.limbs.nodes) if i and abs(g.xyz[n[-1], 2] - TOP) < 0.1)
    contact = at_node(g, int(upper[1]), np.array([1.0, 0, TOP]))
    told = falling_wood(state, int(upper[0]), [contact], CLIMBER, chain.catches)
    bark = float(np.linalg.norm(state.sections.point[upper[0]] - [0, 0, TOP]))
    weight = np.pi * 0.1**2 * (3 - bark) * PLAIN.density * 9.80665  # of the limb outside the bark, twigs and leaves beside
    assert told["aside"] == pytest.approx(0.6)
    assert not told["over"] and told["within"]
    assert told["drop"] == pytest.approx(5.0)
    assert told["length"] == pytest.approx(3 - bark)
    assert weight < told["weight"] < 1.3 * weight
    w, both = 100 * 9.80665, 100 * 9.80665 + told["weight"]  # the drop and the rope are the climber's own: h K / L from their peak
    spring = ((chain.catches[0].peak - w) ** 2 - w**2) / (2 * w)
    assert told["peak"] == pytest.approx(both + np.sqrt(both**2 + 2 * both * spring), rel=1e-6)
    away = falling_wood(state, int(upper[0]), [contact], np.array([-4.0, 0.6, 15.0]), chain.catches)
    assert not away["over"] and not away["within"]
    under = falling_wood(state, int(upper[0]), [contact], np.array([2.0, 0.2, 15.0]), chain.catches)
    assert under["over"]
