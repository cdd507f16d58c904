"""Curved limbs that a load pulls straight, against the formulas of `oracles.section_strength`."""

import numpy as np
import pytest
from loads.stick_trees import WEIGHTLESS, checked, configuration
from strategies import alone

from oracles.section_strength import GREEN_TENSION_ACROSS, straightens, transverse_by_equilibrium, transverse_tension_exact
from treescan.loads.material.tension_across import clear_tension_across, strength_across
from treescan.loads.rope.contacts import at_node
from treescan.loads.sections.curved_limb import bends, tension_across
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.load_path import load_path
from treescan.loads.statics.splitting import worst_split
from treescan.loads.statics.structural_model import whole_tree
from treescan.wood.topology.assemble import assemble


def bow(radius, thick, *, straight=1.0, step=0.05):
    """A plumb stem with a limb that leaves it level at 6 m, runs straight, turns up through a quarter circle and goes on upright.

    radius : of the bend [m]; thick : diameter of the limb [m]."""
    xyz, r, parent = [np.zeros(3)], [0.3], [-1]
    for i in range(1, 17):
        xyz.append(np.array([0, 0, 0.5 * i]))
        r.append(0.3)
        parent.append(i - 1)
    at, way = 12, []
    for s in np.arange(step, straight + 1e-9, step):
        way.append([s, 0.0, 6.0])
    for a in np.arange(step / radius, np.pi / 2 + 1e-9, step / radius):
        way.append([straight + radius * np.sin(a), 0.0, 6.0 + radius * (1 - np.cos(a))])
    for s in np.arange(step, 2.0, step):
        way.append([straight + radius, 0.0, 6.0 + radius + s])
    for p in way:
        xyz.append(np.array(p))
        r.append(thick / 2)
        parent.append(at)
        at = len(xyz) - 1
    return assemble(xyz, r, parent, radius_sd=0.02 * np.array(r))


@pytest.mark.parametrize(("radius", "thick"), [(0.3, 0.2), (0.5, 0.2), (1.0, 0.2), (0.4, 0.1)])
def test_the_bend_is_measured(radius, thick):
    """A quarter circle whose radius is known: within 10 % in its middle, about y, and nothing on the straight."""
    g = bow(radius, thick)
    found = bends(g)
    place = 0.5 * (g.xyz[found.node] + g.xyz[g.parent[found.node]])
    middle = np.argmin(np.linalg.norm(place - [1.0 + radius * np.sin(np.pi / 4), 0, 6.0 + radius * (1 - np.cos(np.pi / 4))], axis=1))
    assert found.radius[middle] == pytest.approx(radius, rel=0.10 if radius >= 2 * thick else 0.35)
    assert abs(found.axis[middle][1]) == pytest.approx(1.0, abs=1e-6)
    reach = 2 * 2 * thick
    assert (place[:, 0] > 1.0 - reach).all()
    assert (place[:, 2] < 6.0 + radius + reach).all()


@pytest.mark.parametrize("ratio", [0.65, 0.8, 0.95, 1.2, 2.0, 5.0, 10.0])
def test_no_published_form_tells_more_stress(ratio):
    """1.5 M / (R A), more where the bend is tight: above the round's 4 / 3 and above Winkler's curved beam, at most 13.5 % and 25 %."""
    d, moment = 0.2, 1000.0
    told = float(tension_across(np.array(moment), np.array(ratio * d), np.array(d / 2)))
    slender, thick = transverse_by_equilibrium(moment, ratio * d, d), transverse_tension_exact(moment, ratio * d, d, n=40001)
    assert told >= slender
    assert thick * 0.999 <= told <= 1.25 * thick
    if ratio >= 1.25:
        assert told == pytest.approx(1.125 * slender, rel=1e-3)


def split_of(g, pull, where=-1):
    """Use across the grain under one force on the limb's end, its section, and the model."""
    state = whole_tree(g, alone(g), WEIGHTLESS, LoadSettings(self_weight=False))
    line = next(n for i, n in enumerate(g.limbs.nodes) if i)
    contact = at_node(g, int(line[where]), g.xyz[line[where]])
    path = load_path(state, [contact])
    half = np.repeat(np.asarray(pull, float)[None, None] / 2, 2, axis=1)
    use, row = worst_split(state, path, np.stack([[contact.point, contact.point]])[None], half[None])
    return use, row, path, contact.point


def test_only_a_pull_that_straightens_the_bend_splits_it():
    """The limb's top pulled outward and down straightens the bend, pulled back to the stem closes it."""
    g = bow(0.4, 0.2)
    assert straightens(np.array([1.0, 0, 0]), np.array([0.0, 0, 1.0]), np.cross([0.4, 0, 2.0], [1000.0, 0, 0]))
    assert split_of(g, [1000.0, 0, 0])[0] > 0
    assert split_of(g, [-1000.0, 0, 0])[1] == -1


def test_its_use_is_moment_over_radius_and_section():
    """P at the top of the upright part: M = P h at the worst section of the bend, 1.5 M / (R A) over the strength of a large piece."""
    g, pull = bow(0.6, 0.2), 1500.0
    use, row, path, top = split_of(g, [pull, 0.0, 0.0])
    moment = pull * (top[2] - path.point[row, 2])
    found = bends(g)
    radius = found.radius[np.searchsorted(found.node, path.node[row])]
    strength = 1.4 * 179 * 6894.757 * (6.6e-5 / (2 * np.pi * 0.2**2 / 4 * 0.2)) ** 0.2
    assert use == pytest.approx(1.5 * moment / (radius * np.pi * 0.01) / strength, rel=0.02)


def test_strength_across_never_exceeds_the_published_row():
    """Weakest row of every genus, from the table of small clear pieces; pieces the size of a limb keep less."""
    names = {"ash": "Fraxinus americana", "beech": "Fagus sylvatica", "oak": "Quercus robur", "pine": "Pinus sylvestris", "maple": "Acer rubrum"}
    for common, botanical in names.items():
        least = min(min(pair) for name, pair in GREEN_TENSION_ACROSS.items() if name.split(",")[0] == common)
        assert clear_tension_across(botanical) <= least * 1.001
    assert clear_tension_across("somewhere else") == pytest.approx(min(min(p) for p in GREEN_TENSION_ACROSS.values()), rel=1e-3)
    assert strength_across(4.0e6, np.array([0.1]))[0] < 4.0e6


def test_an_anchor_on_a_hooked_limb_is_judged_by_its_split():
    """A limb of 0.3 m that turns up through a bend of one diameter: strength over stress is that across the grain, by the bend's own
    figures, and the mode is named; the same limb with a wide bend is judged by bending."""
    hooked, straight = (on_the_end(bow(r, 0.3)) for r in (0.33, 6.0))
    assert straight.check.mode != "splitting lengthwise"
    assert hooked.check.mode == "splitting lengthwise"
    g = bow(0.33, 0.3)
    found = bends(g)
    row = int(np.searchsorted(found.node, hooked.check.governing))
    arm = 1.33 - g.xyz[g.parent[hooked.check.governing], 0]  # the rope hangs from the upright part
    moment = np.linalg.norm(hooked.force) * arm
    tight = np.interp(found.radius[row] / 0.3, (0.9, 1.0, 1.1, 1.25), (1.72, 1.62, 1.56, 1.5))
    strength = 1.4 * 179 * 6894.757 * (6.6e-5 / (np.pi * 0.3**3 / 2)) ** 0.2
    stress = tight * moment / (found.radius[row] * np.pi * 0.15**2)
    assert hooked.check.margin.median == pytest.approx(strength / stress, rel=0.15)
    assert hooked.check.margin.median < 0.9 / hooked.check.utilisation.max()


def on_the_end(g):
    """The check of a rope near the end of the limb."""
    line = next(n for i, n in enumerate(g.limbs.nodes) if i)
    c = configuration(g, "U01", "SRS canopy", distance=float(0.3 + len(line) * 0.045))
    return checked(g, [c], wood=WEIGHTLESS)[0]
