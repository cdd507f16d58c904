"""Sections of the tree: where they are taken, what weight they carry, how reports and bark change them."""

import numpy as np
import pytest
from loads.stick_trees import PLAIN, configuration, tree
from scipy.integrate import quad
from strategies import alone, random_tree

from treescan.errors import BadInput
from treescan.loads.judging.judged import contacts_of
from treescan.loads.material.defects import hollow_keep, kept_shear, lay_out
from treescan.loads.sections.section_stress import SectionForces, utilisation
from treescan.loads.sections.tree_sections import tree_sections
from treescan.loads.settings import INSIDE, ONE_SHARE, LoadSettings
from treescan.loads.statics.load_path import load_path
from treescan.loads.statics.structural_model import whole_tree
from treescan.trees.beside import Beside, Foliage, Terrain
from treescan.units import G
from treescan.wood.topology.assemble import assemble

S = LoadSettings()


def test_limb_sections_start_at_the_parents_bark():
    """The first section of a limb lies on the parent's bark; nothing inside the parent is counted."""
    graph = tree([(6.0, 0, 0, 3.0, 0.16, 0.08)], stem=0.5, top=0.4, step=0.1)
    s = tree_sections(graph, alone(graph), PLAIN, S)
    line = graph.limbs.nodes[1]
    bark = graph.unions.parent_diameter[0] / 2
    first = next(i for i in line if s.counted[i])
    assert np.hypot(*s.point[first, :2]) == pytest.approx(bark, abs=1e-9)
    assert not s.counted[line[line < first]].any()
    assert s.fork[first]
    assert s.k[first, 1] == 1.0  # slender limb


def test_codominant_stems_both_carry_the_factor():
    """At a fork of equal stems both arms carry the union factor of the published codominant tests."""
    stem = [np.array([0, 0, z]) for z in np.arange(0, 5.1, 0.5)]
    xyz, radius, parent = list(stem), [0.25] * len(stem), list(range(-1, len(stem) - 1))
    for side in (-1, 1):
        at = len(stem) - 1
        for i in range(1, 9):
            xyz.append(stem[-1] + np.array([side * 0.15 * i, 0, 0.5 * i]))
            radius.append(0.18)
            parent.append(at)
            at = len(xyz) - 1
    graph = assemble(xyz, radius, parent)
    s = tree_sections(graph, alone(graph), PLAIN, LoadSettings(strength_model=ONE_SHARE))
    assert sorted(s.k[s.counted & (s.k[:, 1] < 1.0), 1]) == pytest.approx([0.55, 0.55])


def test_own_weight_of_a_plumb_stem():
    """A plumb stem carries its weight without bending; the lowest section carries nearly all of the frusta's weight."""
    graph = tree([], height=10.0, stem=0.3, top=0.1, step=0.5)
    s = tree_sections(graph, alone(graph), PLAIN, S)
    volume = sum(np.pi * graph.length[i] / 3 * (a * a + a * b + b * b) for i in range(1, len(graph))
                 for a, b in [(graph.radius[graph.parent[i]], graph.radius[i])])  # fmt: skip
    assert s.weight[1] == pytest.approx(volume * PLAIN.density * G, rel=1e-9)
    assert np.abs(s.own_moment).max() < 1e-9


def test_own_moment_is_the_sum_of_weights_times_arms():
    """The moment of the wood's own weight about any section is the plain sum over all pieces above it."""
    graph = random_tree(6, limbs=6)
    s = tree_sections(graph, alone(graph), PLAIN, LoadSettings(twig_share=0.0))
    seg = graph.segments
    a, b = seg.r_start, seg.r_end
    mass = np.pi / 3 * graph.length[1:] * (a * a + a * b + b * b) * PLAIN.density
    share = (a * a + 2 * a * b + 3 * b * b) / (4 * (a * a + a * b + b * b))
    centre = seg.start + share[:, None] * (seg.end - seg.start)
    for i in (1, 5, 40, len(graph) - 1):
        up = graph.above(i)[1:]
        arm = centre[up] - s.point[i]
        assert s.weight[i] == pytest.approx(mass[up].sum() * G)
        expected = np.cross(arm, mass[up, None] * G * np.array([0, 0, -1.0])).sum(axis=0)
        assert s.own_moment[i] == pytest.approx(expected, abs=1e-6)


def test_frustum_by_hand():
    """A frustum 2 m long from 0.12 to 0.06 m holds 0.0131947 m3 with its centroid 0.785714 m from the thick end (computed)."""
    graph = assemble([[0, 0, 0], [2.0, 0, 0]], [0.06, 0.03], [-1, 0])
    s = tree_sections(graph, alone(graph), PLAIN, S)
    assert s.weight[1] / (PLAIN.density * G) == pytest.approx(0.013194689, rel=1e-6)
    assert s.own_moment[1, 1] / s.weight[1] == pytest.approx(0.78571429, rel=1e-6)


def test_leaves_weigh_on_the_limb_that_carries_them():
    """Foliage round a limb's tip is hung on it: mass = density x volume x mass per area, and it bends the limb more than bare."""
    graph = tree([(6.0, 0, 0, 3.0, 0.16, 0.08)])
    tip = graph.xyz[graph.limbs.nodes[1][-1]]
    cells = np.zeros((4, 4, 4), np.float32)
    cells[:] = 1.5
    leafy = Beside(Terrain.flat(0.0), Foliage(cells, tip - 0.4, 0.2))
    bare, full = (tree_sections(graph, b, PLAIN, S) for b in (alone(graph), leafy))
    mass = 64 * 1.5 * 0.2**3 * S.leaf_mass
    assert full.weight[1] - bare.weight[1] == pytest.approx(mass * G, rel=1e-6)
    first = graph.limbs.nodes[1][0]
    assert np.linalg.norm(full.own_moment[first]) > np.linalg.norm(bare.own_moment[first])


@pytest.mark.parametrize("wall", [0.27, 0.3, 0.5, 0.8, 1.0])
def test_transverse_shear_of_a_ring_is_integrated(wall):
    """The judged shear stress of a hollow is the peak V Q / (I b) of the ring at its middle, integrated over its height; a thin ring bears
    twice the mean."""
    outer, inner, force, strength = 0.1, 0.1 * (1 - wall), 1000.0, 5e6

    def width(y):
        return 2 * (np.sqrt(outer**2 - y**2) - np.sqrt(max(inner**2 - y**2, 0.0)))

    first = quad(lambda y: y * width(y), 0, outer, points=[inner] if 0 < inner < outer else None)[0]
    second = 2 * quad(lambda y: y * y * width(y), 0, outer, points=[inner] if 0 < inner < outer else None)[0]
    peak = force * first / (second * width(0.0))
    load = SectionForces(*(np.full((1, 1), x) for x in (0.0, force, 0.0, 0.0)))
    _, use = utilisation(load, np.array([outer]), 50e6, 20e6, strength * kept_shear(hollow_keep(wall)))
    assert use.item() == pytest.approx(peak / strength, rel=1e-6)
    assert 4 / 3 - 1e-6 <= peak * np.pi * (outer**2 - inner**2) / force < 2.0


def test_a_reported_hollow_reaches_the_shear_of_the_load_path():
    """The path below a rope on a hollow limb carries the ring's share, and only there."""
    graph = tree([(8.0, 0, 30, 3.0, 0.16, 0.10)])
    whole = whole_tree(graph, alone(graph), PLAIN, LoadSettings(reported=("limb 1 hollow 0.4",)))
    path = load_path(whole, contacts_of(whole, configuration(graph, "U01", "MRS")))
    share = np.where(graph.limb[path.node] == 1, float(kept_shear(hollow_keep(0.4))), 1.0)
    assert path.shear == pytest.approx(whole.sections.shear[path.node] * share)


def test_hollow_report_keeps_the_published_share():
    """A hollow with t/R 0.3 keeps 76 % of the bending strength (Huang et al. 2017) on that limb alone."""
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)])
    reported = lay_out(graph, LoadSettings(reported=("limb 1 hollow 0.3",)))
    assert reported.keep[graph.limb == 1] == pytest.approx(float(hollow_keep(0.3)))
    assert np.all(reported.keep[graph.limb == 0] == 1.0)
    assert not reported.gate


@pytest.mark.parametrize(
    ("report", "code"),
    [("U01 dead", "reported_dead"), ("stem decay", "reported_decayed"), ("limb 1 crack", "reported_cracked"), ("limb 1 hollow 0.2", "wall_too_thin"),
     ("limb 1 cavity 0.4 open 150", "cavity_too_open")],
)  # fmt: skip
def test_gates_name_their_reason(report, code):
    """Dead, decayed, cracked, too thin a wall and too wide an opening are refused, each with its own code and the report."""
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)])
    gate = lay_out(graph, LoadSettings(reported=(report,))).gate
    assert gate
    assert {(reason.code, reason["report"]) for reason in gate.values()} == {(code, report)}


@pytest.mark.parametrize("report", ["U99 dead", "limb 77 dead", "U01 rotten-ish", "limb 1 hollow", "limb 1 hollow 3", "branch dead", ""])
def test_reports_that_cannot_be_read_say_so(report):
    """A report that names no wood of the tree or no known defect is bad input, quoted in the sentence."""
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)])
    with pytest.raises(BadInput, match="report"):
        lay_out(graph, LoadSettings(reported=(report,)))


def test_bark_comes_off_only_inside():
    """Choosing 'inside bark' takes the bark's share off every radius; outside keeps the scan's circle."""
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)])
    out, inside = (tree_sections(graph, alone(graph), PLAIN, LoadSettings(section=x)) for x in (S.section, INSIDE))
    assert inside.radius == pytest.approx(out.radius * (1 - PLAIN.bark_share))
    assert out.radius == pytest.approx(graph.segment_radius)


def test_unstated_spread_is_wide_and_none_is_too_narrow():
    """A diameter without a stated spread gets the wide default; one stated too well gets the floor."""
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)], radius_sd=None)
    s = tree_sections(graph, alone(graph), PLAIN, S)
    assert np.all(s.sd == S.diameter_sd_unstated)
    graph = tree([(6.0, 0, 30, 3.0, 0.2, 0.1)])
    sure = tree_sections(tree([(6.0, 0, 30, 3.0, 0.2, 0.1)], radius_sd=1e-6 * graph.radius), alone(graph), PLAIN, S)
    assert np.all(sure.sd == S.diameter_sd_least)
