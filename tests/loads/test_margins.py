"""Margins: what must always be so, whatever the tree; and how well their spread is known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.by_hand import check_anchors, first_order, margins, monte_carlo
from loads.stick_trees import PLAIN, WEIGHTLESS, checked, configuration, tree
from scipy.stats import norm
from strategies import alone, random_tree

from treescan.estimate import Estimate
from treescan.loads.chance.margin_kernel import FIXED
from treescan.loads.chance.reliability import MarginCase, both_margins, correlation_factor
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.sections.section_stress import peaks, section_forces, utilisation
from treescan.loads.settings import INSIDE, ONE_SHARE, LoadSettings
from treescan.loads.statics import governing
from treescan.wood.topology.assemble import assemble

FEW = settings(max_examples=12, deadline=None)
SYSTEM = st.sampled_from(["MRS", "SRS canopy", "SRS basal"])


def one(system="MRS", *, thick=0.16, stem=0.4, slope=35, wood=PLAIN, distance=None, work=None, **changes):
    graph = tree([(8.0, 0, slope, 3.0, thick, thick / 2), (5.0, 120, 20, 3.0, 0.14, 0.06)], stem=stem)
    return checked(graph, [configuration(graph, "U02", system, distance=distance)], wood=wood, work=work, **changes)[0]


@FEW
@given(system=SYSTEM, thick=st.floats(0.07, 0.2), more=st.floats(1.02, 1.6), slope=st.floats(-10, 60))
def test_thicker_is_never_weaker(system, thick, more, slope):
    """A thicker limb on the same stem, the rope at the same distance from its axis, never has less margin at its union.

    The union factor falls with the aspect ratio, so the whole tree is thickened alike. What holds one climber only is judged for one, so
    the same people are compared (`rescue_apart` off).
    """
    same = {"slope": slope, "distance": 0.9, "wood": WEIGHTLESS, "rescue_apart": False}
    thin = one(system, thick=thick, stem=0.4, **same)
    thick_ = one(system, thick=thick * more, stem=0.4 * more, **same)
    assert thick_.check.margin.median >= thin.check.margin.median * 0.999
    assert thick_.check.margin.p5 >= thin.check.margin.p5 * 0.999


@FEW
@given(system=SYSTEM, mass=st.floats(60, 120), more=st.floats(1.0, 2.0))
def test_heavier_is_never_safer(system, mass, more):
    """A heavier climber never has more margin."""
    a, b = (one(system, climber_mass=m, climber_mass_sd=0.05 * m) for m in (mass, mass * more))
    assert b.check.margin.median <= a.check.margin.median * (1 + 1e-9)
    assert b.check.margin.p5 <= a.check.margin.p5 * (1 + 1e-9)


@FEW
@given(mu=st.floats(0.0, 0.5), more=st.floats(0.0, 0.4), bound=st.sampled_from(["frictionless", "friction"]))
def test_friction_never_raises_the_basal_force(mu, more, bound):
    """More friction never makes the force on the union of a basal anchor larger."""
    a, b = (one("SRS basal", mu_bark=(m, m + 0.01, m + 0.02), basal_bound=bound, cases=("at rest",)) for m in (mu, mu + more))
    assert np.linalg.norm(b.force) <= np.linalg.norm(a.force) + 1e-9
    assert b.friction_multiple <= a.friction_multiple + 1e-12


@FEW
@given(system=SYSTEM, out=st.floats(0.3, 1.5), more=st.floats(0.0, 1.0))
def test_longer_lever_is_never_better(system, out, more):
    """The further out on a level limb the rope rests, the less margin."""
    a, b = (one(system, slope=0, distance=d, cases=("at rest",)) for d in (out, out + more))
    assert b.check.margin.median <= a.check.margin.median * (1 + 1e-9)


@FEW
@given(system=SYSTEM, swap=st.sampled_from([(30e6, 50e6), (50e6, 90e6)]))
def test_stronger_wood_is_never_worse(system, swap):
    """Stronger wood never has less margin."""
    a, b = (one(system, wood=replace(PLAIN, mor=m, compression=0.45 * m, shear=0.14 * m)) for m in swap)
    assert b.check.margin.p5 >= a.check.margin.p5


def test_margin_scales_with_the_cube_of_the_diameter():
    """Pure bending of a level limb under a plumb rope: twice the diameter everywhere, eight times the margin.

    The rope hangs at the same place of the axis, the limb has no weight and the shear is small, so only the section modulus counts.
    """
    base = {"slope": 0, "wood": WEIGHTLESS, "distance": 2.5, "cases": ("at rest",), "min_lever": 0.0}
    a = one("MRS", thick=0.04, stem=0.2, **base)
    b = one("MRS", thick=0.08, stem=0.4, **base)
    assert a.check.mode in ("bending", "union tear-out")
    assert a.check.governing == b.check.governing
    lever_a, lever_b = 2.5 - 0.5 * a_parent(0.2), 2.5 - 0.5 * a_parent(0.4)
    i = list(a.check.nodes).index(a.check.governing)
    assert (a.check.utilisation[i] / b.check.utilisation[i]) == pytest.approx(8 * lever_a / lever_b, rel=0.02)


def a_parent(stem):
    """Diameter of the test tree's stem at 8 m of 12."""
    return stem + (0.2 - stem) * 8 / 12


def test_utilisation_of_a_section_scales_with_the_cube():
    """Stress over strength of one bent section falls exactly with d^3."""
    point, axis = np.zeros((1, 3)), np.array([[1.0, 0, 0]])
    pure = section_forces(point, axis, np.ones((1, 2), bool), np.array([[[1, 0, 0], [2.0, 0, 0]]]), np.array([[[0, 0, 100.0], [0, 0, -100.0]]]))
    u = [utilisation(pure, np.array([r]), 1e7, 1e7, 1e6)[0][0, 0] for r in (0.05, 0.10)]
    assert u[0] / u[1] == pytest.approx(8.0)


def test_inside_and_outside_bark_are_not_mixed():
    """The two published pairs (section, share) are used whole: outside 0.40 of MOR, inside 0.72 on the smaller round."""
    a = one("MRS", strength_model=ONE_SHARE)
    b = one("MRS", section=INSIDE, strength_model=ONE_SHARE)
    i = 0
    ratio = b.check.strength[i] / a.check.strength[i]
    spread = np.sqrt((1 + 0.446**2) / (1 + 0.255**2))
    assert ratio == pytest.approx(0.72 / 0.40 * spread, rel=1e-9)


def case_of(sections=5, seed=0, **changes):
    rng = np.random.default_rng(seed)
    s = sections
    base = dict(
        axis=np.tile([0.0, 0, 1], (s, 1)), radius=rng.uniform(0.05, 0.09, s), sd=np.full(s, 0.05),
        cholesky=correlation_factor(np.array([0] * (s // 2) + [1] * (s - s // 2)), np.linspace(0, 2, s), LoadSettings().diameter_reach, LoadSettings().diameter_common),
        bending=np.full(s, 18e6), crushing=np.full(s, 8e6), shear=np.full(s, 2e6), spread=np.full(s, 0.16), limb_spread=np.full(s, 0.42), plane=np.ones(s),
        limb=np.array([0] * (s // 2) + [1] * (s - s // 2)), limbs=2, column=np.arange(s), k=np.tile([0.6, 0.75, 0.9], (s, 1)), force=rng.normal(0, 600, (s, 2, 3)), moment=rng.normal(0, 400, (s, 2, 3)),
        turn_sum=np.zeros(2), mu=np.array([0.15, 0.3, 0.5]), mu_used=0.15, shift=rng.normal(0, 400, (s, 3)), min_shift=-1.0,
        own_weight=rng.uniform(50, 300, s), own_moment=rng.normal(0, 60, (s, 3)), mass_sd=0.05, rest_sd=0.02,
    )  # fmt: skip
    return MarginCase(**(base | changes))


@pytest.mark.parametrize("seed", range(6))
def test_first_order_agrees_with_drawing(seed):
    """For the single weakest section the slope at the middle and 40,000 draws give the same median and low end within 5 %."""
    whole = case_of(seed=seed)
    weakest = int(np.argmin(margins(whole, np.zeros((1, whole.dimensions)))[0]))
    pick = slice(weakest, weakest + 1)
    alone_ = case_of(
        1, 0, axis=whole.axis[pick], radius=whole.radius[pick], sd=whole.sd[pick], cholesky=np.eye(1), k=whole.k[pick], force=whole.force[pick],
        moment=whole.moment[pick], shift=whole.shift[pick], own_weight=whole.own_weight[pick], own_moment=whole.own_moment[pick],
    )  # fmt: skip
    drawn, _ = monte_carlo(alone_, np.random.default_rng(seed), 40000)
    slope = first_order(alone_)
    assert drawn.median == pytest.approx(slope.median, rel=0.05)
    assert drawn.p5 == pytest.approx(slope.p5, rel=0.05)
    together, _ = monte_carlo(whole, np.random.default_rng(seed), 40000)
    assert together.p5 <= drawn.p5 * 1.01  # more sections that may break: never better


def test_first_order_agrees_with_drawing_over_a_whole_tree(monkeypatch):
    """In every check of a random tree that gives a number both ways give the same low end and the same median: within 8 %, and within
    9 % where the tree's standing is used as knowledge."""
    seen = []

    def both(case, normals, *, stands, also=(), low_share=0.05):
        rng = np.random.default_rng(len(seen))
        found = monte_carlo(case, rng, 20000, stands=stands)
        if both_margins(case, np.zeros((1, case.dimensions)))[1][0] > 1.0:  # else it is "not seen"
            seen.append((found[0], first_order(case, stands=stands), 0.09))
            seen.append((monte_carlo(case, rng, 20000, stands=False)[0], first_order(case, stands=False), 0.08))
        return found

    monkeypatch.setattr(governing, "sampled_reliability", both)
    graph = random_tree(3, limbs=10, height=18, dbh=0.6)
    u = graph.unions
    configurations = [
        AnchorConfiguration(k, s, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), u.parent_diameter[k] / 2, np.zeros(0, np.int32), np.array([0.5, 0.2, 1.0]))
        for k in range(0, len(u), 2)
        for s in ("MRS", "SRS canopy", "SRS basal")
    ]  # fmt: skip
    check_anchors(graph, alone(graph), PLAIN, configurations, graph.xyz[::7], LoadSettings(), 1)
    assert len(seen) > 40
    for found, slope, within in seen:
        assert slope.p5 == pytest.approx(found.p5, rel=within)
        assert slope.median == pytest.approx(found.median, rel=within)


@pytest.mark.parametrize("limbs", [1, 2, 4])
def test_the_weakest_of_several_limbs_governs(limbs):
    """As many equal sections, each on a limb of its own, with nothing uncertain but the strength of every limb: the margin is the least of
    so many independent lognormal values, whose quantiles are known in closed form; by drawing within 3 %, by first order within 1 %."""
    one_section = case_of(
        1, radius=np.array([0.07]), sd=np.full(1, 1e-6), k=np.ones((1, 3)), spread=np.zeros(1), mass_sd=0.0, rest_sd=0.0, cholesky=np.eye(1),
        own_weight=np.zeros(1), own_moment=np.zeros((1, 3)),
    )  # fmt: skip
    names = ("axis", "radius", "sd", "bending", "crushing", "shear", "spread", "limb_spread", "plane", "k", "force", "moment", "shift", "own_weight", "own_moment")
    case = replace(
        one_section, cholesky=np.eye(limbs), column=np.arange(limbs), limb=np.arange(limbs), limbs=limbs, **{n: np.repeat(getattr(one_section, n), limbs, axis=0) for n in names}
    )
    middle = float(margins(case, np.zeros((1, case.dimensions)))[0, 0])
    known = [middle * np.exp(case.limb_spread[0] * norm.ppf(1 - (1 - q) ** (1 / limbs))) for q in (0.5, 0.05)]
    drawn, _ = monte_carlo(case, np.random.default_rng(0), 40000)
    slope = first_order(case)

    assert (drawn.median, drawn.p5) == pytest.approx(known, rel=0.03)
    assert (slope.median, slope.p5) == pytest.approx(known, rel=0.01)


def test_a_tree_that_stands_is_not_weaker_than_its_own_weight():
    """Knowing that a heavy limb stands only takes away draws in which it could not: the low end rises, and without any climber it is at
    least 1; a light limb's margin does not change."""
    heavy = case_of(1, own_moment=np.array([[0.0, 2800.0, 0.0]]), force=np.zeros((1, 2, 3)), moment=np.zeros((1, 2, 3)), shift=np.zeros((1, 3)),
                    radius=np.array([0.07]), axis=np.array([[0.0, 0, 1]]), cholesky=np.eye(1))  # fmt: skip
    blind, _ = monte_carlo(heavy, np.random.default_rng(3), 20000, stands=False)
    knowing, chance = monte_carlo(heavy, np.random.default_rng(3), 20000)
    assert blind.p5 < 1.0 < blind.median
    assert knowing.p5 >= 1.0
    assert chance == 0.0
    light = case_of(own_moment=np.zeros((5, 3)), own_weight=np.full(5, 1.0))
    assert monte_carlo(light, np.random.default_rng(4), 2000) == monte_carlo(light, np.random.default_rng(4), 2000, stands=False)


def test_a_tree_that_hardly_could_stand_is_not_judged():
    """Where next to no draw stands, the tree as measured is not this tree: no number."""
    broken = case_of(1, own_moment=np.array([[0.0, 20000.0, 0.0]]), cholesky=np.eye(1))
    margin, chance = monte_carlo(broken, np.random.default_rng(3), 2000)
    assert not margin.known
    assert np.isnan(chance)


def test_the_middle_of_the_draws_is_the_stress_that_is_shown(monkeypatch):
    """At the middle values the margin kernel gives one over the utilisation the check shows, in every check of a random tree: the two ways
    through the mechanics are one."""
    cases = []

    def kept(case, normals, *, stands, also=(), low_share=0.05):
        cases.append(case)
        return monte_carlo(case, np.random.default_rng(0), 200, stands=stands)

    monkeypatch.setattr(governing, "sampled_reliability", kept)
    graph = random_tree(5, limbs=8, height=16, dbh=0.5)
    u = graph.unions
    compared = 0
    for k in range(len(u)):
        for system in ("MRS", "SRS canopy", "SRS basal"):
            cases.clear()
            r = AnchorConfiguration(k, system, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), 0.4, np.zeros(0, np.int32), np.array([0.5, 0.2, 1.0]))
            (found,) = check_anchors(graph, alone(graph), PLAIN, [r], graph.xyz[::11], LoadSettings(reported=("limb 1 oval 0.7",)), 1)
            if found.check.verdict == "not seen":
                continue
            middles = [margins(c, np.zeros((1, c.dimensions)))[0].min() for c in cases]  # one a place of the rope and an angle that was tried
            shown = 1.0 / found.check.utilisation.max()
            assert min(middles, key=lambda m: abs(m - shown)) == pytest.approx(shown, rel=1e-9)
            compared += 1
    assert compared > 30


def test_friction_draws_only_help():
    """Where friction is counted at its low end, drawing it never leaves less margin than that end."""
    turns = np.array([3.0, 0.0])
    held, _ = monte_carlo(case_of(turn_sum=turns, mu=np.full(3, 0.15)), np.random.default_rng(0), 4000)
    drawn, _ = monte_carlo(case_of(turn_sum=turns), np.random.default_rng(0), 4000)
    assert drawn.known
    assert held.known
    case = case_of(1, turn_sum=turns, moment=np.array([[[300.0, 0, 0], [300.0, 0, 0]]]), force=np.zeros((1, 2, 3)), cholesky=np.eye(1))
    fixed = case_of(1, turn_sum=turns, moment=np.array([[[300.0, 0, 0], [300.0, 0, 0]]]), force=np.zeros((1, 2, 3)), cholesky=np.eye(1), mu=np.full(3, 0.15))
    z = np.random.default_rng(1).standard_normal((500, case.dimensions))
    assert np.all(margins(case, z) >= margins(fixed, z) * (1 - 1e-9))


def test_interval_covers_the_truth():
    """In 600 simulated trees the 90 % interval holds the true margin 85 to 95 times in 100.

    Each simulated tree has true diameters, strength, union factor, climber and rope place drawn from the stated spreads; the check sees
    only measured diameters (true ones with the scan's error) and the means, and its interval must hold the true margin.
    """
    rng = np.random.default_rng(7)
    inside = 0
    runs = 600
    for _ in range(runs):
        seen = case_of(seed=int(rng.integers(1_000_000)))
        truth = float(margins(seen, rng.standard_normal((1, seen.dimensions))).min())
        interval, _ = monte_carlo(seen, rng, 1000)
        inside += interval.p5 <= truth <= interval.p95
    assert 0.85 <= inside / runs <= 0.95


def test_interval_covers_the_truth_of_heavy_limbs_that_stand():
    """The same for limbs that carry much of their own weight: among the simulated limbs those that fell long ago are not there to be
    checked, and of those that stand the interval holds 85 to 95 in 100."""
    rng = np.random.default_rng(8)
    inside, runs = 0, 0
    while runs < 400:
        base = case_of(seed=int(rng.integers(1_000_000)))
        seen = replace(base, own_moment=base.own_moment * rng.uniform(5, 12))
        z = rng.standard_normal((1, seen.dimensions))
        truth, own = both_margins(seen, z)
        if own[0] <= 1.0 or both_margins(seen, np.zeros_like(z))[1][0] < 1.0:
            continue  # fell, or is "not seen"
        interval, _ = monte_carlo(seen, rng, 1000)
        inside += interval.p5 <= truth[0] <= interval.p95
        runs += 1
    assert 0.85 <= inside / runs <= 0.95


def test_interval_covers_whole_trees_measured_with_error():
    """The same through the whole check: trees re-measured with the stated error, strength drawn, 200 of them, 85 to 95 in 100."""
    rng = np.random.default_rng(11)
    graph = tree([(8.0, 0, 35, 3.0, 0.14, 0.07)])
    calm = {"samples": 600, "rest_sd": 0.0, "climber_mass_sd": 0.0, "union_k_spread": 0.0, "diameter_common": 1.0, "strength_model": ONE_SHARE}
    exact = checked(graph, [configuration(graph, "U01", "MRS")], mor_cov=0.0, live_cov_outside=0.0, **calm)[0]
    spread = np.sqrt(np.log1p(0.16**2) + np.log1p(0.446**2))
    mean = np.exp(-0.5 * spread**2)
    inside = 0
    runs = 200
    for i in range(runs):
        wrong = np.exp(rng.normal(0, 0.02, len(graph.limbs)))[graph.limb]
        measured = assemble(graph.xyz, graph.radius * wrong, graph.parent, radius_sd=0.02 * graph.radius * wrong)
        found = checked(measured, [configuration(graph, "U01", "MRS")], seed=i, **calm)[0].check.margin
        truth = exact.check.margin.median * mean * np.exp(spread * rng.standard_normal())
        inside += found.p5 <= truth <= found.p95
    assert 0.85 <= inside / runs <= 0.95


def test_same_seed_same_answer():
    """The same seed gives the same numbers, another seed the same within sampling error."""
    a, b, c = (one("SRS basal", seed=s).check.margin for s in (4, 4, 5))
    assert a == b
    assert a != c
    assert c.p5 == pytest.approx(a.p5, rel=0.1)


def test_peaks_equal_the_plain_sum():
    """The compiled search over sections and load cases finds what the plain vectorised formulas find."""
    rng = np.random.default_rng(2)
    s, c, cases = 40, 3, 25
    point, axis = rng.normal(0, 2, (s, 3)), rng.normal(0, 1, (s, 3))
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    radius, strengths = rng.uniform(0.05, 0.3, s), rng.uniform(5e6, 3e7, (3, s))
    weight, own = rng.uniform(0, 2000, s), rng.normal(0, 500, (s, 3))
    above = rng.random((s, c)) < 0.7
    at, force = rng.normal(0, 3, (cases, c, 3)), rng.normal(0, 1500, (cases, c, 3))
    bending, *others = strengths
    wood = radius[None], bending[None], *others
    (largest,), (which,) = peaks(point, axis, *wood, weight, own, above, force, np.cross(at, force)[None], np.zeros((0, 3, 3)))
    plain = section_forces(point, axis, above, at, force, weight[:, None] * np.array([0, 0, -1.0]), own)
    u = np.maximum(*utilisation(plain, radius, *strengths))
    assert largest == pytest.approx(u.max(axis=0))
    assert list(which) == list(u.argmax(axis=0))


def test_draws_beyond_the_fixed_ones_are_diameters():
    """Two normals a limb (its strength in the plane of the load, and square to it) and one per kept section follow the fixed ones."""
    assert case_of(4).dimensions == FIXED + 2 * 2 + 4


def test_turned_and_moved_tree_gets_the_same_checks():
    """Turning the tree about the vertical and shifting it changes no margin and no force by more than rounding."""
    graph = random_tree(8, limbs=8)
    c, s = np.cos(0.8), np.sin(0.8)
    turn, move = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), np.array([120.0, -35.0, 60.0])
    other = assemble(graph.xyz @ turn.T + move, graph.radius, graph.parent, radius_sd=graph.radius_sd)
    work = graph.xyz[::9]
    pairs = []
    for g, xyz in ((graph, work), (other, work @ turn.T + move)):
        configurations = []
        for k in range(len(g.unions)):
            base = np.array([0.5, 0.2, 1.0]) if g is graph else turn @ [0.5, 0.2, 1.0] + move
            arm = g.unions.laterals(k)[0]
            configurations.append(AnchorConfiguration(k, "SRS basal", "rope on bark", int(g.unions.arm_node[arm]), g.unions.parent_diameter[k] / 2, np.zeros(0, np.int32), base))
        pairs.append(check_anchors(g, alone(g), PLAIN, configurations, xyz, LoadSettings(), 3))
    for a, b in zip(*pairs, strict=True):
        assert b.check.margin.median == pytest.approx(a.check.margin.median, rel=1e-6)
        assert turn @ a.force == pytest.approx(b.force, abs=1e-4)
        assert [x.label for x in a.catches] == [x.label for x in b.catches]


def test_overload_chance_matches_the_interval():
    """The chance of overload is below 5 % exactly where the low end is above one."""
    for thick in (0.08, 0.12, 0.2):
        check = one("SRS basal", thick=thick).check
        assert isinstance(check.margin, Estimate)
        assert (check.overload_chance < 0.05) == (check.margin.p5 > 1.0)


@pytest.mark.parametrize("seed", [2, 9])
def test_real_looking_trees_keep_the_order_of_loads(seed):
    """On a whole tree, unions of unlike size and doubt, a heavier climber never has more margin, and counting friction on a basal line
    never less than judging it without: the worst load is looked for in every draw, not only at the middle values."""
    graph = random_tree(seed, limbs=12, height=18, dbh=0.6)
    rng = np.random.default_rng(seed)
    graph = assemble(graph.xyz, graph.radius, graph.parent, radius_sd=graph.radius * rng.uniform(0.02, 0.25, len(graph)))
    u = graph.unions
    configurations = [
        AnchorConfiguration(k, s, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), u.parent_diameter[k] / 2, np.zeros(0, np.int32), np.array([0.5, 0.2, 1.0]))
        for k in range(0, len(u), 2)
        for s in ("MRS", "SRS basal")
    ]
    work = graph.xyz[::9]
    base, heavy, eased_ = (
        check_anchors(graph, alone(graph), PLAIN, configurations, work, LoadSettings(**c), 1)
        for c in ({}, {"climber_mass": 130.0, "climber_mass_sd": 6.5}, {"basal_bound": "friction"})
    )
    seen = 0
    for a, b, c in zip(base, heavy, eased_, strict=True):
        if a.check.margin.known:
            seen += 1
            assert b.check.margin.p5 <= a.check.margin.p5 * 1.002
            assert c.check.margin.p5 >= a.check.margin.p5 * 0.998
    assert seen > 10
