"""Odd trees: whatever comes out of a poor scan is answered or refused in words, never with a crash or a number that is none."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.by_hand import check_anchors
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, configuration, tree
from strategies import alone

from treescan.loads.limb_check import VERDICTS, AnchorConfiguration
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.wood.topology.assemble import assemble

OAK = [(8.0, 0, 35, 3.0, 0.16, 0.06), (5.0, 120, 20, 3.0, 0.14, 0.06)]


def grown(rng, nodes, lying, poor):
    """A random tree with repeated points, hair-thin and thick pieces, limbs below the foot and errors beyond all reason."""
    xyz, parent = [np.zeros(3)], [-1]
    for i in range(1, nodes):
        p = i - 1 if rng.random() < 0.7 else int(rng.integers(0, i))
        step = rng.normal(0, 0.5, 3) + np.array([0.6, 0, 0] if lying else [0, 0, 0.5])
        xyz.append(xyz[p] + step * (0.0 if rng.random() < poor else 1.0))
        parent.append(p)
    radius = np.where(rng.random(nodes) < poor, 10.0 ** rng.uniform(-6, -2, nodes), rng.uniform(0.02, 0.4, nodes))
    sd = radius * np.where(rng.random(nodes) < poor, 10.0 ** rng.uniform(-1, 4, nodes), 0.03)
    return assemble(xyz, radius, parent, radius_sd=sd, seen=rng.random(nodes) > 0.02)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), nodes=st.integers(3, 40), lying=st.booleans(), poor=st.sampled_from([0.0, 0.1, 0.4]))
def test_any_tree_is_answered_or_refused(seed, nodes, lying, poor):
    """Zero-length pieces, hair-thin wood, lying stems, limbs below the foot, ropes on the foot itself: a verdict with finite numbers,
    or "not seen" with none."""
    rng = np.random.default_rng(seed)
    graph = grown(rng, nodes, lying, poor)
    u = graph.unions
    configurations = []
    for k in range(len(u)):
        for system in SYSTEMS:
            rest = int(u.arm_node[rng.choice(np.arange(u.arm_start[k], u.arm_start[k + 1]))])
            via = rng.integers(1, nodes, rng.integers(0, 3)) if SYSTEMS[system].basal else []
            configurations.append(AnchorConfiguration(k, system, "rope on bark", rest, float(rng.choice([0.0, 0.3, np.nan])), np.array(via, np.int32), rng.normal(0, 1, 3)))
    work = rng.normal(0, 3, (5, 3))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = check_anchors(graph, alone(graph), PLAIN, configurations[:12], work, LoadSettings(samples=200, catch_samples=100), seed)
    for c in found:
        assert c.check.verdict in VERDICTS
        if c.check.verdict == "not seen":
            assert np.isnan(c.check.margin.p5)
            assert c.check.reason.code in {"no_section_measured", "diameter_not_measured", "gap_bridged", "wood_misread", "not_seen_where_rope_slips"}
            continue
        assert np.isfinite([c.check.margin.p5, c.check.margin.median, c.multiple_of_weight, c.check.deflection]).all()
        assert np.isfinite(c.check.utilisation).all() and np.isfinite(c.check.stress).all() and np.isfinite(c.force).all()
        assert 0.0 <= c.check.overload_chance <= 1.0


@pytest.mark.parametrize("times", [0.51, 66.0, 4000.0])
def test_a_diameter_no_better_known_than_itself_was_not_measured(times):
    """A diameter whose error is as large as itself gives "not seen", not a margin near nothing (and no crash)."""
    graph = tree(OAK)
    sd = 0.02 * graph.radius
    sd[8] = times * graph.radius[8]
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=sd)
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")])
    assert check.check.verdict == "not seen"
    assert check.check.reason.code == "diameter_not_measured"


def test_a_cavity_open_all_round_is_refused_with_numbers():
    """A shell that is no shell any more does not hold, and its margin is a number next to nothing."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")], reported=("U02 cavity 0.4 open 360",))
    assert check.check.verdict == "does not hold"
    assert 0.0 <= check.check.margin.p5 < 0.1
    assert np.isfinite(check.check.utilisation).all()


def test_weightless_tree_at_rest_keeps_a_finite_margin_everywhere():
    """Sections that carry next to nothing have a large margin, not an endless one that poisons the rest."""
    graph = tree(OAK)
    (check,) = checked(graph, [configuration(graph, "U02", "MRS")], wood=WEIGHTLESS, cases=("at rest",), self_weight=False)
    assert np.isfinite(check.check.utilisation).all()
