"""A rope over a limb runs out along it when the climber pulls from the side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import tree as planning_tree
from loads.stick_trees import PLAIN, checked, configuration, tree
from scipy.optimize import brentq
from strategies import alone

from treescan.loads.judging.judged import contacts_of
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.reason import has

STEP = 0.1
CALM = {"cases": ("at rest", "work positioning")}
STRONG = replace(PLAIN, mor=500e6, compression=220e6, shear=70e6)
"""Holds wherever the rope lies, so that work out there stays within what is judged."""


def limb(slope):
    """One limb 4 m long at a rise of `slope` degrees from a stout stem, 8 m up, with nodes every `STEP` metres."""
    return tree([(8.0, 0, slope, 4.0, 0.16, 0.10)], stem=0.5, top=0.4, step=STEP)


def pull_along(at, slope, place, basal, kept=1.0):
    """Part of the pull along a straight limb over the part across it, the rope lying `at` metres from the stem's axis (vectors by hand); `kept`: the
    part of the pull in the leg to the base."""
    t = np.array([np.cos(slope), 0.0, np.sin(slope)])
    p = np.array([0.0, 0.0, 8.0]) + at * t
    to = [np.asarray(place) - p] + ([np.array([0.25, 0.0, 1.0]) - p] if basal else [])
    force = sum(part * v / np.linalg.norm(v) for part, v in zip((1.0, kept), to, strict=False))
    along = force @ t
    return along / np.linalg.norm(force - along * t)


@pytest.mark.parametrize("slope", [-9.0, 0.0, 5.0])
@pytest.mark.parametrize("system", ["MRS", "SRS basal"])
def test_the_rope_rests_where_friction_holds_it(slope, system):
    """With the climber out along the limb the rope stands where the pull's part along the limb is the least friction times the rest,
    within one piece of the limb outward (root found by scipy from plain vectors), and is judged there; a basal line also where that friction
    eases the leg that holds it back."""
    graph, place = limb(slope), [3.2, 0.0, 4.8]
    r = configuration(graph, "U01", system, distance=0.35)
    found = checked(graph, [r], work=[place], wood=STRONG, **CALM)[0]
    rad, basal = np.radians(slope), system == "SRS basal"
    t = whole_tree(graph, alone(graph), PLAIN, LoadSettings())
    turn = configuration_loads(system, r.hardware, contacts_of(t, r), r.base, 0.0, np.array([place]), t.settings).turn[-1, -1]
    eased = (1.0, np.exp(-0.15 * turn)) if basal else (1.0,)
    rest = max(brentq(lambda d, kept=kept: pull_along(d, rad, place, basal, kept) - 0.15, 0.36, 3.9) for kept in eased)

    assert rest - 0.35 - STEP / 2 <= found.rope_slip <= rest - 0.35 + 2 * STEP
    there = checked(graph, [configuration(graph, "U01", system, distance=0.35 + found.rope_slip)], work=[place], wood=STRONG, **CALM)[0]
    assert found.check.margin.p5 == pytest.approx(there.check.margin.p5, rel=0.05)
    assert has(found.check.notes, "slips_to_friction")


def test_a_rope_stays_where_it_is_held():
    """Choked round the limb, on a limb that rises enough, with more friction, or with the climber straight below, nothing moves."""
    place = [[3.2, 0.0, 4.8]]
    level, steep = limb(0.0), limb(35.0)

    assert checked(level, [configuration(level, "U01", "SRS canopy", distance=0.35)], work=place, wood=STRONG, **CALM)[0].rope_slip == 0
    assert checked(steep, [configuration(steep, "U01", "SRS basal", distance=0.35)], work=place, wood=STRONG, **CALM)[0].rope_slip == 0
    assert checked(level, [configuration(level, "U01", "MRS", distance=0.35)], **CALM)[0].rope_slip == 0
    ways = [
        checked(level, [configuration(level, "U01", "MRS", distance=0.35)], work=place, wood=STRONG, mu_bark=(mu, mu, mu), **CALM)[0].rope_slip for mu in (0.1, 0.2, 0.4, 1.5)
    ]
    assert ways == sorted(ways, reverse=True)
    assert ways[-1] == 0 < ways[2]


def test_a_side_limb_stops_it_and_a_thin_one_does_not():
    """A side limb of 8 cm a metre and a half out holds the rope; one of 3 cm, or one that hangs straight down, is passed."""

    def ran(size, toward):
        stem, bough = ([[0, 0, 0], [0, 0, 12]], 0.25, 0.2), ([[0, 0, 8], [4, 0, 8]], 0.08, 0.05)
        graph = planning_tree(stem, bough, ([[1.5, 0, 8], np.add([1.5, 0, 8], toward)], size / 2, 0.4 * size), step=STEP)
        u = graph.unions
        label = next(name for name, node in zip(u.label, u.node, strict=True) if graph.limb[node] == 0)
        return checked(graph, [configuration(graph, label, "MRS", distance=0.35)], work=[[3.2, 0.0, 4.8]], wood=STRONG, **CALM)[0]

    stopped, passed, hanging = ran(0.08, [0.3, 1.2, 0.4]), ran(0.03, [0.3, 1.2, 0.4]), ran(0.08, [0.0, 0.1, -1.2])
    assert stopped.rope_slip == pytest.approx(1.5 - 0.35, abs=STEP)
    assert has(stopped.check.notes, "slips_to_side_limb")
    assert passed.rope_slip == pytest.approx(hanging.rope_slip, abs=1e-9)
    assert passed.rope_slip > 1.5
