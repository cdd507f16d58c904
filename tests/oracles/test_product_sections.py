"""Use of a section under bending with torsion, against the published ellipse worked out beside it."""

import numpy as np
import pytest
from loads.by_hand import margins
from loads.stick_trees import PLAIN, tree
from strategies import alone

from oracles.section_strength import round_section
from oracles.section_strength import utilisation as oracle
from treescan.loads.chance.reliability import RopeFriction
from treescan.loads.checks.limb_walk import steps
from treescan.loads.rope.contacts import at_node
from treescan.loads.sections.section_stress import SectionForces, utilisation
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.load_path import LegLoads, load_path, margin_case, used
from treescan.loads.statics.structural_model import whole_tree


def test_bending_and_torsion_act_together():
    """d = 0.1 m, bending 0.7 and torsion 0.7 of their strengths: 0.99 by the ellipse, not 0.7."""
    f, fv, d = 20e6, 4e6, 0.1
    m, t = 0.7 * f * np.pi * d**3 / 32, 0.7 * fv * np.pi * d**3 / 16
    one = np.array([[1.0]])
    parts = utilisation(SectionForces(0 * one, 0 * one, m * one, t * one), d / 2, f, f, fv)
    assert max(float(np.max(p)) for p in parts) >= oracle(0.7 * f, 0.0, 0.7 * fv, f, fv) - 1e-9


@pytest.mark.parametrize("bending", [0.0, 0.3, 0.9])
@pytest.mark.parametrize("torsion", [0.0, 0.4, 0.8])
@pytest.mark.parametrize("shear", [0.0, 0.2])
def test_the_worse_of_outer_fibre_and_neutral_axis_governs(bending, torsion, shear):
    """Any mixture of the three, one diameter."""
    f, fv, d = 20e6, 4e6, 0.1
    m, t, v = bending * f * np.pi * d**3 / 32, torsion * fv * np.pi * d**3 / 16, shear * fv * 3 * np.pi * d**2 / 16
    one = np.array([[1.0]])
    told = max(float(p.item()) for p in utilisation(SectionForces(0 * one, v * one, m * one, t * one), d / 2, f, f, fv))
    assert told == pytest.approx(oracle(*round_section(d, m, v, t), f, fv), abs=1e-12)


def test_use_and_drawn_margin_agree_under_bending_with_torsion():
    """A pull square to a level limb, beside its axis: what `used` says is one over the margin with nothing uncertain, and the ellipse's."""
    g = tree([(8.0, 0, 0, 3.0, 0.12, 0.12)], height=12, stem=0.5, top=0.4)
    settings = LoadSettings(self_weight=False)
    state = whole_tree(g, alone(g), PLAIN, settings)
    line = next(n for i, n in enumerate(g.limbs.nodes) if i)
    contact = at_node(g, int(line[3]), g.xyz[line[3]])
    path = load_path(state, [contact])
    beside = contact.point + np.array([0.0, 0.4, 0.0])
    loads = LegLoads(np.stack([[beside, beside]]), np.array([[[0.0, 0, -400.0], [0, 0, -400.0]]]))
    use = used(path, loads)
    case = margin_case(state, path, [contact], loads, 0, RopeFriction.none(2), use)
    middle = margins(case, np.zeros((1, case.dimensions))).min()
    assert middle == pytest.approx(1 / use.max(), rel=1e-6)
    row = int(np.argmax(use))
    arm = contact.point[0] - path.point[row, 0]
    f, fv = path.bending[row] * path.k[row, 1], path.shear[row]
    assert use[row] == pytest.approx(oracle(*round_section(2 * path.radius[row], 800 * arm, 800.0, 800 * 0.4), f, fv), rel=1e-3)


def test_a_step_far_out_bends_the_limb_as_the_formula_has_it():
    """Median strength over 32 M / pi d^3 at the bark, M = 1.5 W times the arm; off the wood nothing is told, behind a gap neither."""
    g = tree([(8.0, 0, 0, 3.0, 0.12, 0.12)], height=12, stem=0.5, top=0.4)
    settings = LoadSettings(self_weight=False)
    state = whole_tree(g, alone(g), PLAIN, settings)
    out, beside, far = steps(state, np.array([[2.0, 0.0, 8.1], [2.0, 0.2, 8.0], [2.0, 2.0, 8.0]]))
    line = next(n for i, n in enumerate(g.limbs.nodes) if i)
    first = next(int(i) for i in line if state.sections.counted[i])
    arm = 2.0 - state.sections.point[first, 0]
    strength = state.sections.bending[first] * state.sections.k[first, 1]
    stress = 32 * 1.5 * 100 * 9.80665 * arm / np.pi / 0.12**3
    assert out.median == pytest.approx(strength / stress, rel=0.06)
    assert beside == out
    assert not far.known
    assert out.p5 < out.median
