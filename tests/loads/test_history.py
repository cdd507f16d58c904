"""What the tree has borne: moments against a pencil, chances against plain draws, and what it may never
do."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.stick_trees import PLAIN, checked, configuration, tree
from strategies import alone

from treescan.loads.checks.anchor import checked as check_all
from treescan.loads.history.proof import GUST_LASTS, LEAST_CHANCE, LOST, MOST_LOW, SUMMER
from treescan.loads.history.winds import AIR, drawn_winds, leaf_factor, yearly_gust
from treescan.loads.limb_check import FAILS, LimbCheck
from treescan.loads.sections.crown_moments import crown_moments
from treescan.loads.settings import LoadSettings
from treescan.loads.site_history import WEATHER_NORMALS, SiteHistory
from treescan.loads.statics.structural_model import after_cuts, whole_tree
from treescan.outputs.text.say import say

RISING = [(8, 0, 60, 5, 0.2, 0.05), (8, 150, 60, 5, 0.16, 0.05), (9, 90, 45, 4, 0.12, 0.04)]
WORK = np.array([[3.0, 0, 4], [2, 1, 5]])


def told(limbs=RISING, label="U01", system="MRS", work=WORK, **changes) -> LimbCheck:
    graph = tree(limbs, height=14, stem=0.4)
    (check,) = checked(graph, [configuration(graph, label, system)], work=work, **changes)
    return check.check


def windy(**changes) -> SiteHistory:
    return SiteHistory(**({"exposure": "open", "station_gust": 25.0} | changes))


def test_wind_on_one_level_limb_by_hand():
    """A level limb of 4 m, 10 cm thick, along x at 9 m: wind along y meets 0.4 m2, 2 m out; wind along x
    meets none of it; snow meets 0.4 m2."""
    graph = tree([(9.0, 0.0, 0.0, 4.0, 0.10, 0.10)])
    crown, first = crown_moments(graph), int(graph.limbs.nodes[1][0])
    at = np.array([[0.0, 0.0, 9.0]])
    toward_y, toward_x = crown.wind([first], at, [0.0, 0.5 * np.pi])[0]

    assert toward_y == pytest.approx([0.0, 0.0, 0.8], abs=1e-9)
    assert toward_x == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert crown.lying([first], at)[0] == pytest.approx([0.0, 0.8, 0.0], abs=1e-9)


def test_wind_on_a_plumb_stem_is_the_same_from_all_sides_and_between_the_sides():
    """A bare stem of 12 m, 40 to 20 cm: 3.6 m2; moment about its foot by its centre of area at 16/3 m;
    azimuths between the tabulated ones agree."""
    graph = tree([])
    azimuth = np.linspace(0.0, 2 * np.pi, 53)
    moment = crown_moments(graph).wind([1], np.zeros((1, 3)), azimuth)[0]

    assert np.linalg.norm(moment, axis=1) == pytest.approx(np.full(53, 3.6 * 16 / 3), rel=2e-3)
    assert moment[:, 2] == pytest.approx(np.zeros(53), abs=1e-9)


def test_wood_that_was_not_seen_catches_no_wind():
    graph = tree([(9.0, 0.0, 0.0, 4.0, 0.10, 0.10)])
    seen = graph.seen.copy()
    seen[graph.limbs.nodes[1][4:]] = False
    first = int(graph.limbs.nodes[1][0])
    whole, part = (crown_moments(g).plan[first, 0] for g in (graph, replace(graph, seen=seen)))

    assert part == pytest.approx(whole / 2, rel=0.01)


def test_yearly_gusts_have_the_mean_and_scatter_they_should():
    """Mean 25 m/s; scatter of a year by itself 15 %, of the site's mean 12 %; fewer years are the first of
    more."""
    normals = np.random.default_rng(5).standard_normal((40000, WEATHER_NORMALS))
    many, few = (drawn_winds(windy(years=n), normals, False) for n in (20, 3))
    gust = np.sqrt(many.pressure / (0.5 * AIR * np.exp(0.45 * normals[:, 0])))

    assert gust.mean() == pytest.approx(25.0, rel=0.01)
    assert (gust.std(axis=0) / gust.mean(axis=0)).mean() == pytest.approx(0.15, rel=0.06)
    assert gust.mean(axis=0).std() / 25.0 == pytest.approx(np.hypot(0.12, 0.15 / np.sqrt(20)), rel=0.03)
    assert np.array_equal(few.pressure, many.pressure[:3])


@pytest.mark.parametrize(
    ("site", "gust", "years"),
    [
        (SiteHistory(), 15.0, 5),
        (SiteHistory(exposure="open"), 15.0, 5),  # no station: no more than a quiet site
        (windy(exposure="sheltered"), 15.0, 5),
        (windy(exposure="suburban"), 19.0, 5),
        (windy(changed="reduced", changed_years=2), 25.0, 2),
        (windy(changed="newly exposed", changed_years=0), 25.0, 0),
        (windy(changed="newly exposed", changed_years=50), 25.0, 5),
        (windy(changed="damaged", changed_years=9), 25.0, 0),
        (windy(hot_day=True), 25.0, 0),
        (windy(exposure="enclosed"), 0.0, 0),
    ],
)
def test_what_a_planner_says_of_the_site(site, gust, years):
    assert yearly_gust(site) == pytest.approx(gust)
    assert site.counted_years == years


def test_leaves_add_wind_only_where_their_gusts_are_known():
    assert leaf_factor(windy(), True) == 1.0
    assert leaf_factor(windy(station_leaf_gust=19.0), False) == 1.0
    assert leaf_factor(windy(station_leaf_gust=19.0), True) == pytest.approx(2.2 * 0.76**2)
    assert leaf_factor(windy(station_leaf_gust=25.0), True) == 1.3


def test_the_chance_agrees_with_plain_draws(monkeypatch):
    """A single section that rope, weight and wind bend, by two million plain draws of strength, wind and
    weight written out here: the gain from
    the wind of five years agrees within 6 % of itself."""
    from treescan.loads.checks import anchor
    from treescan.loads.history import proof as module

    found = []
    monkeypatch.setattr(anchor, "proof", lambda f: found.append(f) or module.proof(f))
    monkeypatch.setattr(module, "LEAST_CHANCE", 1e-3)
    site = windy(station_gust=28.0)
    many = {"samples": 60000, "catch_samples": 60000}
    check = told(label="U02", work=WORK[:0], history=site, climber_mass=260.0, **many)
    judged = found[0]
    case = judged.use.cases[0]
    row = int(np.flatnonzero(case.node == judged.use.node)[0])
    tree_, g = judged.tree, judged.stiffness.growth
    rng, n, batches = np.random.default_rng(3), 100000, 20
    counts = np.zeros(4)
    for _ in range(batches):
        strength, own, rope, gusts = plain_draws(tree_, case, row, g, site, rng, n)
        up = strength(own) > np.linalg.norm(own, axis=1)
        breaks = np.linalg.norm(own + rope, axis=1) > strength(own + rope) / g
        stood = up & gusts
        counts += [up.sum(), (up & breaks).sum(), stood.sum(), (stood & breaks).sum()]
    before, after = counts[1] / counts[0], counts[3] / counts[2]

    assert counts[3] > 400
    assert check.borne.overload_chance / check.overload_chance == pytest.approx(after / before, rel=0.06)


def plain_draws(tree_, case, row, growth, site, rng, n):
    """Strength by plane, own weight, rope, and whether five winds were stood, each draw by itself."""
    z = rng.standard_normal((n, 6))
    widened = np.sqrt(10.0 / rng.chisquare(10, n))
    radius = case.radius[row] * np.exp(case.sd[row] * z[:, 0])
    low, middle, high = case.k[row]
    k = rng.triangular(low, middle, high, n) if high > low else middle
    base = np.pi / 4 * radius**3 * case.bending[row] * growth * k
    base = base * np.exp(case.spread[row] * widened * z[:, 1])
    t = case.axis[row]
    flat = lambda v: v - (v @ t)[..., None] * t  # noqa: E731
    own = flat(case.own_moment[row]) * ((radius / case.radius[row]) ** 2)[:, None]
    rope = flat(case.moment[row].sum(axis=0)) * np.exp(case.mass_sd * z[:, 2])[:, None]
    rope = rope + flat(case.shift[row]) * np.maximum(case.rest_sd * z[:, 5], case.min_shift)[:, None]
    asked = flat(case.own_moment[row] + case.moment[row].sum(axis=0))
    asked = asked / np.linalg.norm(asked)
    square = tree_.sections.plane[case.node[row]]

    def strength(moment):
        along = moment @ asked
        sine = 1.0 - along**2 / np.sum(moment**2, axis=1)
        shared = 1.0 - (1.0 - square) * sine
        e = widened * (shared * z[:, 3] + np.sqrt(1 - shared**2) * z[:, 4])
        return base * np.exp(case.limb_spread[row] * e)

    drag = np.exp(0.45 * rng.standard_normal(n))
    mean = yearly_gust(site) * np.exp(0.12 * rng.standard_normal(n))
    from_where = rng.uniform(0, 2 * np.pi, n)
    lost = np.minimum(LOST * np.abs(rng.standard_normal(n)), 0.5)
    left = rng.triangular(*GUST_LASTS, n) * (1 - lost) * SUMMER
    stood, node = np.ones(n, bool), case.node[row : row + 1]
    scale = 0.15 * mean * np.sqrt(6) / np.pi
    for _ in range(site.years):
        u = np.maximum(rng.gumbel(mean - 0.5772156649 * scale, scale), 0.0)
        azimuth = from_where + np.deg2rad(40) * rng.standard_normal(n)
        blown = tree_.crown.wind(node, tree_.sections.point[node], azimuth)[0]
        moment = own + flat(blown) * (0.5 * AIR * drag * u**2)[:, None]
        along = moment @ asked
        stood &= (along <= 0) | (strength(moment) > left * along)
    return strength, own, rope, stood


def test_own_weight_alone_adds_nothing():
    """It is in the verdict already."""
    assert told(history=SiteHistory(years=0)).borne is None


def test_the_lines_it_may_not_cross():
    """At most half the chance and a tenth more on the low side, however strong the wind was."""
    for site in (SiteHistory(), windy(station_gust=45.0, years=20), windy(snow=60.0)):
        check = told(history=site, climber_mass=300.0)
        assert check.borne is not None
        before, after = check.overload_chance, check.borne.overload_chance
        assert before >= after >= LEAST_CHANCE * before * (1 - 1e-9)
        assert check.margin.p5 <= check.borne.low <= MOST_LOW * check.margin.p5 * (1 + 1e-9)
        assert check.chance_told <= replace(check, borne=None).chance_told


@settings(max_examples=12, deadline=None)
@given(
    azimuth=st.floats(0, 360), slope=st.floats(5, 75), thick=st.floats(0.10, 0.26), mass=st.floats(80, 300),
    gust=st.floats(8, 45), prevailing=st.sampled_from([-1.0, 0.0, 90.0]), snow=st.sampled_from([0.0, 15.0]),
)  # fmt: skip
def test_proof_never_lowers_and_never_alters_a_verdict(azimuth, slope, thick, mass, gust, prevailing, snow):
    """More years never tell a lower low side or a larger chance; verdict, margin, tests and reason are those
    without any."""
    limbs = [(8, azimuth, slope, 5, thick, 0.05), (9, azimuth + 120, 45, 4, 0.12, 0.04)]
    sites = [SiteHistory(years=0)] + [
        windy(years=y, station_gust=gust, prevailing_deg=prevailing, snow=snow) for y in (1, 3, 8, 20)
    ]
    checks = [told(limbs, history=s, climber_mass=mass) for s in sites]
    for less, more in itertools.pairwise(checks):
        assert (more.verdict, more.reason, more.margin, more.overload_chance, more.tested) == (
            less.verdict, less.reason, less.margin, less.overload_chance, less.tested,
        ) or np.isnan(less.margin.p5)  # fmt: skip
        if more.borne is not None:
            low = less.margin.p5 if less.borne is None else less.borne.low
            assert more.borne.low >= low * (1 - 1e-12)
            assert more.sound_chance <= less.sound_chance * (1 + 1e-12)
        elif less.borne is not None:
            pytest.fail("more years count for nothing")


def test_wind_from_the_other_side_proves_nothing():
    """The limb leans east and the rope pulls it east; only wind from the west bends it so."""
    west, east = (told(history=windy(prevailing_deg=d, station_gust=30.0)) for d in (270.0, 90.0))

    assert west.borne.overload_chance < 0.9 * west.overload_chance
    assert east.borne.overload_chance > 0.97 * east.overload_chance


def test_wind_proves_nothing_for_a_level_limb_pulled_down():
    """It bends such a limb to the side; snow bends it down."""
    level = [(8, 0, 0, 4, 0.16, 0.06), (9, 90, 45, 4, 0.12, 0.04)]
    under = np.zeros((0, 3))
    by_wind = told(level, work=under, history=windy(station_gust=40.0, years=20))
    by_snow = told(level, work=under, history=SiteHistory(years=0, snow=40.0))

    assert by_wind.borne.overload_chance > 0.97 * by_wind.overload_chance
    assert by_snow.borne.overload_chance < 0.8 * by_snow.overload_chance


@pytest.mark.parametrize("word", ["dead", "decay", "crack"])
def test_a_gate_is_never_lifted(word):
    check = told(history=windy(station_gust=45.0, years=20), reported=(f"U01 {word}",))

    assert check.verdict == FAILS
    assert check.borne is None
    assert not [n for n in check.notes if n.code == "history_borne"]


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("history_reported", {"reported": ("U01 included bark",)}),
        ("history_reported", {"reported": ("stem hollow 0.5",)}),
        ("history_damaged", {"history": windy(changed="damaged")}),
        ("history_hot_day", {"history": windy(hot_day=True)}),
    ],
)
def test_what_takes_the_credit_away_is_said(code, changes):
    check = told(**({"history": windy()} | changes))

    assert check.borne is None
    assert code in [n.code for n in check.notes]


def test_thin_limbs_get_no_credit():
    thin = [(8, 0, 60, 5, 0.078, 0.05), (9, 90, 45, 4, 0.12, 0.04)]
    check = told(thin, history=windy(), climber_mass=40.0)

    assert check.verdict != FAILS
    assert "history_thin" in [n.code for n in check.notes]
    assert check.borne is None


def test_what_does_not_hold_is_told_no_proof():
    slim = [*RISING[:2], (9, 90, 45, 4, 0.09, 0.04)]
    check = told(slim, history=windy(), climber_mass=390.0, rescue_mass=400.0, label="U02")

    assert check.verdict == FAILS
    assert check.borne is None
    assert check.sound_chance == check.overload_chance


def test_rain_counts_only_on_leaves():
    """A bare tree held no rain; one judged in leaf did, and its own weight with it."""
    dry = told(history=SiteHistory(years=0, wet_leaves=0.3))
    wet = told(history=SiteHistory(years=0, wet_leaves=0.3), leaves="on", climber_mass=250.0)

    assert dry.borne is None
    assert (wet.borne.rain, wet.borne.snow, wet.borne.years) == (True, False, 0)
    (said,) = [say(n) for n in wet.notes if n.code == "history_borne"]
    assert said.startswith("Before: its own weight, rain on its leaves bent the wood ")
    calm = SiteHistory(years=1, wet_leaves=0.0, exposure="open", station_gust=0.01)
    leafy = told(history=calm, leaves="on", climber_mass=250.0)
    assert wet.borne.share.median == pytest.approx(1.3 * leafy.borne.share.median, rel=0.02)




def test_after_a_cut_nothing_counts():
    """The cuts moved the loads: the tree as it stands then has stood no storm."""
    graph = tree(RISING, height=14, stem=0.4)
    whole = whole_tree(graph, alone(graph), PLAIN, LoadSettings(history=windy()), 1)
    left, gone = np.ones(len(graph)), np.zeros(len(graph), bool)
    gone[graph.limbs.nodes[1][5:]], left[graph.limbs.nodes[1][5:]] = True, 0.0
    anchor = configuration(graph, "U02", "MRS")
    (before,), (after,) = (check_all(t, [anchor], WORK) for t in (whole, after_cuts(whole, left, gone)))

    assert before.check.borne is not None
    assert after.check.borne is None
    assert "history_cut" in [n.code for n in after.check.notes]
