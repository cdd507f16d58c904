"""Oval sections, reported and measured, and the tree with and without leaves."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.by_hand import check_anchors
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, configuration, tree
from shapely.affinity import rotate, scale
from shapely.geometry import Point
from strategies import alone
from validation.handbook import ellipse_modulus, section_modulus

from treescan.errors import BadInput
from treescan.loads.sections.section_stress import oval_stretch, section_forces
from treescan.loads.sections.tree_sections import tree_sections
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason
from treescan.trees.beside import Foliage

OAK = [(8.0, 0, 30, 3.0, 0.16, 0.08)]


def greatest_on_the_rim(height, width, m_up, m_side):
    """Largest bending stress on an ellipse's rim, point by point, from the moments in the plumb plane and across it."""
    a = np.linspace(0, 2 * np.pi, 20001)
    up, side = height / 2 * np.cos(a), width / 2 * np.sin(a)
    return np.max(m_up * up / (np.pi * width * height**3 / 64) + m_side * side / (np.pi * height * width**3 / 64))


@settings(max_examples=40, deadline=None)
@given(q=st.floats(0.4, 2.5), slope=st.floats(-1.2, 1.2), seed=st.integers(0, 999))
def test_oval_stress_is_that_of_the_ellipse(q, slope, seed):
    """The stretched moment on the round gives the rim's largest bending stress of the ellipse, whatever the direction of the load."""
    t = np.array([[np.cos(slope), 0.0, np.sin(slope)]])
    up, side = np.array([-np.sin(slope), 0, np.cos(slope)]), np.array([0.0, 1, 0])
    d = 0.1
    height, width = d * np.sqrt(q), d / np.sqrt(q)
    load = np.random.default_rng(seed).normal(0, 500, 3)
    args = (np.zeros((1, 3)), t, np.ones((1, 1), bool), t[None] * 0.8, load[None, None])
    plain, oval = section_forces(*args), section_forces(*args, stretch=oval_stretch(t, np.array([q])))
    exact = greatest_on_the_rim(height, width, abs(0.8 * load @ up), abs(0.8 * load @ side))
    assert oval.bending[0, 0] / section_modulus(d) == pytest.approx(exact, rel=1e-5)
    assert oval.axial[0, 0] == plain.axial[0, 0]


def any_section(seed):
    """An axis, a height across it and a load, all drawn: (3,) each, the axis and the height of length 1."""
    rng = np.random.default_rng(seed)
    t, h, load = rng.normal(size=(3, 3))
    t /= np.linalg.norm(t)
    h -= (h @ t) * t
    return t, h / np.linalg.norm(h), 500 * load


@settings(max_examples=60, deadline=None)
@given(q=st.floats(0.4, 2.5), seed=st.integers(0, 9999))
def test_oval_of_any_direction_is_stressed_as_its_rim(q, seed):
    """Limb, oval and load in any direction: the stress is the largest on the ellipse's rim, what of the height lies along the limb left out."""
    t, height, load = any_section(seed)
    d = 0.1
    high, wide = d * np.sqrt(q), d / np.sqrt(q)
    args = (np.zeros((1, 3)), t[None], np.ones((1, 1), bool), (0.8 * t)[None, None], load[None, None])
    found = section_forces(*args, stretch=oval_stretch(t[None], np.array([q]), (height + 0.3 * t)[None]))
    plain = section_forces(*args)
    exact = greatest_on_the_rim(high, wide, abs(0.8 * load @ height), abs(0.8 * load @ np.cross(t, height)))
    assert found.bending[0, 0] / section_modulus(d) == pytest.approx(exact, rel=1e-5)
    assert found.shear[0, 0] == pytest.approx(plain.shear[0, 0]) and found.axial[0, 0] == plain.axial[0, 0]


@pytest.mark.parametrize("seed", range(6))
def test_oval_bends_as_the_second_moments_of_its_outline_say(seed):
    """Against the second moments of a polygon laid out as the oval: unsymmetrical bending of an outline of 2,000 corners gives the same stress."""
    t, height, load = any_section(seed)
    q, d = np.random.default_rng(seed).uniform(1.05, 1.6), 0.2
    e = np.cross(t, [0.3, -0.5, 0.8])
    e /= np.linalg.norm(e)
    f = np.cross(t, e)
    turn = np.degrees(np.arctan2(height @ f, height @ e))
    outline = rotate(scale(Point(0, 0).buffer(d / 2, quad_segs=500), np.sqrt(q), 1 / np.sqrt(q)), turn, origin=(0, 0))
    x, y = np.array(outline.exterior.coords).T
    u, v, a = x[1:], y[1:], x[:-1] * y[1:] - x[1:] * y[:-1]
    w, z = x[:-1], y[:-1]
    xx, yy = np.sum(a * (w * w + w * u + u * u)) / 12, np.sum(a * (z * z + z * v + v * v)) / 12
    xy = np.sum(a * (w * v + 2 * w * z + 2 * u * v + u * z)) / 24
    moment = np.cross(0.8 * t, load)
    bend = np.linalg.solve([[xx, xy], [xy, yy]], [-moment @ f, moment @ e])  # stress = bend . place: its moments about f and e
    exact = np.max(np.abs(np.column_stack([x, y]) @ bend))
    args = (np.zeros((1, 3)), t[None], np.ones((1, 1), bool), (0.8 * t)[None, None], load[None, None])
    found = section_forces(*args, stretch=oval_stretch(t[None], np.array([q]), height[None]))
    assert found.bending[0, 0] / section_modulus(d) == pytest.approx(exact, rel=1e-4)


def test_plumb_load_on_an_oval_limb_uses_the_ellipse_modulus():
    """F110 of the formula checks: Z = pi b h^2 / 32 for a plumb load on a level limb, wider or higher than it is."""
    t = np.array([[1.0, 0, 0]])
    for height, width in ((0.14, 0.10), (0.10, 0.14)):
        d = np.sqrt(height * width)
        f = section_forces(
            np.zeros((1, 3)), t, np.ones((1, 1), bool), t[None], np.array([[[0, 0, -1000.0]]]), stretch=oval_stretch(t, np.array([height / width]))
        )
        assert f.bending[0, 0] / section_modulus(d) == pytest.approx(1000.0 / ellipse_modulus(width, height), rel=1e-12)


def test_reported_oval_moves_the_margin_by_the_root_of_its_ratio():
    """A limb higher than wide carries a plumb load better, one wider than high worse, by sqrt(H / W); true moments stay as they are."""
    graph = tree(OAK)
    r = configuration(graph, "U01", "SRS canopy", distance=1.2)
    found = {
        q: checked(graph, [r], wood=WEIGHTLESS, reported=(f"U01 oval {q}",) if q != 1.0 else (), cases=("at rest",))[0].check for q in (0.64, 1.0, 1.44)
    }
    for q in (0.64, 1.44):
        assert found[q].margin.median / found[1.0].margin.median == pytest.approx(np.sqrt(q), rel=0.04)
        assert found[q].moment[0] == pytest.approx(found[1.0].moment[0], rel=0.02)


def measured(graph, ratio, height):
    """The same tree, every section oval as a scan would state it: the longest width along `height`, or across it where the ratio is below 1."""
    along = np.broadcast_to(np.asarray(height, float), graph.xyz.shape)
    along = along - np.sum(along * graph.direction, axis=1, keepdims=True) * graph.direction
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    long = along if ratio > 1 else np.cross(graph.direction, along)
    return replace(graph, oval=np.full(len(graph), max(ratio, 1 / ratio)), oval_dir=long)


@pytest.mark.parametrize("q", [0.8, 1.25])
def test_measured_oval_counts_as_the_same_oval_reported(q):
    """An oval the scan measured, long in the plumb plane or across it, gives the margin of the same oval reported."""
    graph = tree(OAK)
    r = configuration(graph, "U01", "SRS canopy", distance=1.2)
    by_hand = checked(graph, [r], wood=WEIGHTLESS, reported=(f"limb 1 oval {q}", f"stem oval {q}"), cases=("at rest",))[0].check
    up = np.where(np.abs(graph.direction[:, 2:]) > 0.99, [0.0, 1.0, 0.0], [0.0, 0.0, 1.0])
    by_scan = checked(measured(graph, q, up), [r], wood=WEIGHTLESS, cases=("at rest",))[0].check
    assert by_scan.margin.median == pytest.approx(by_hand.margin.median, rel=1e-9)
    assert by_scan.governing == by_hand.governing


def test_what_a_person_reports_wins_over_the_measured_oval():
    """A reported ratio replaces the measured one on the wood it names, even where the report is that the limb is round."""
    graph = tree(OAK)
    r = configuration(graph, "U01", "SRS canopy", distance=1.2)
    oval = measured(graph, 1.3, [0.0, 0.2, 1.0])
    whole = ("limb 1 oval 1.0", "stem oval 1.0")

    def margin(of, *reports):
        return checked(of, [r], wood=WEIGHTLESS, reported=reports, cases=("at rest",))[0].check.margin.median

    assert margin(oval, *whole) == pytest.approx(margin(graph), rel=1e-12)
    assert margin(oval, "limb 1 oval 0.7", "stem oval 0.7") == pytest.approx(margin(graph, "limb 1 oval 0.7", "stem oval 0.7"), rel=1e-12)
    assert margin(oval) != pytest.approx(margin(graph), rel=0.01)


@pytest.mark.parametrize("report", ["U01 oval", "U01 oval wide", "U01 oval 9"])
def test_an_oval_without_a_sensible_ratio_says_so(report):
    """An oval needs its height over width."""
    with pytest.raises(BadInput, match="oval"):
        checked(tree(OAK), [configuration(tree(OAK), "U01", "MRS")], reported=(report,))


def test_leaves_off_takes_the_foliage_away_and_on_adds_some_to_a_bare_tree():
    """As scanned counts the scan's foliage, off none of it; a bare scan judged in leaf has its limbs, not its stem, a tenth heavier."""
    graph = tree(OAK)
    bare = alone(graph)
    cells = np.zeros((4, 4, 4), np.float32)
    cells[:] = 2.0
    leafy = replace(bare, foliage=Foliage(cells, np.array([1.0, -0.4, 8.5]), 0.2))
    weight = {
        (name, how): tree_sections(graph, b, PLAIN, LoadSettings(leaves=how)).weight
        for name, b in (("bare", bare), ("leafy", leafy))
        for how in ("as scanned", "on", "off")
    }
    assert np.allclose(weight["leafy", "off"], weight["bare", "as scanned"])
    assert np.allclose(weight["leafy", "on"], weight["leafy", "as scanned"])
    assert weight["leafy", "as scanned"][1] > weight["leafy", "off"][1]
    limb = graph.limbs.nodes[1][0]
    assert weight["bare", "on"][limb] == pytest.approx(1.1 * weight["bare", "off"][limb])
    assert weight["bare", "on"][1] - weight["bare", "off"][1] == pytest.approx(0.1 * weight["bare", "off"][limb], rel=1e-6)
    top = graph.limbs.nodes[0][-1]
    assert weight["bare", "on"][top] == weight["bare", "off"][top]


@pytest.mark.parametrize(
    ("scan", "how", "told"),
    [("bare", "as scanned", Reason("judged_bare")), ("bare", "off", Reason("judged_bare")), ("bare", "on", Reason("judged_in_leaf", share=0.10)),
     ("leafy", "as scanned", None), ("leafy", "on", None), ("leafy", "off", Reason("judged_without_leaves"))],
)  # fmt: skip
def test_an_anchor_says_in_what_leaf_its_tree_was_judged(scan, how, told):
    """One note where the scan was bare or the leaves are left out, none where the scan's own foliage was counted."""
    graph = tree(OAK)
    beside = alone(graph)
    if scan == "leafy":
        beside = replace(beside, foliage=Foliage(np.full((4, 4, 4), 2.0, np.float32), np.array([1.0, -0.4, 8.5]), 0.2))
    (found,) = check_anchors(graph, beside, PLAIN, [configuration(graph, "U01", "MRS")], np.zeros((0, 3)), LoadSettings(leaves=how), 1)
    leaf = [n for n in found.check.notes if n.code.startswith("judged_")]
    assert leaf == ([] if told is None else [told])
