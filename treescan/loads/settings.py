"""Every figure the loads room assumes, with unit, meaning, source and honest standing.

Masses, factors and friction describe the climb; live share, union factor and wall ratio describe the wood;
the last group says how sure one must be. Angles here are degrees because people type them; they are turned
into radians where they are used.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from treescan.loads.regions import BY_MAP, REGIONS
from treescan.loads.site_history import SiteHistory
from treescan.settings import setting

OUTSIDE = "circle outside bark"
INSIDE = "inside bark"
LOW, MIDDLE, HIGH = 0, 1, 2
"""Places of a range: frictions, union factors."""

BY_KIND = "by kind of section"
ONE_SHARE = "one share"
CASES = ("at rest", "ascent", "work positioning", "limb walk", "swing", "abrupt stop", "rescue", "load test")
"""Load cases in the order they are tried."""

WORST_STOP = "worst stop"
"""The hardest stop measured, tried where it is asked for."""


@dataclass(frozen=True)
class LoadSettings:
    """Assumptions of loads; `treescan plan --show-settings` prints them."""

    # --- the climb
    climber_mass: float = setting(100.0, "kg", "climber with gear", "project_choice", low=20.0, high=400.0)
    climber_mass_sd: float = setting(
        5.0, "kg", "standard deviation of that mass", "project_choice", low=0.0, high=50.0
    )
    rescue_mass: float = setting(
        100.0, "kg", "second person with gear, rescue case", "project_choice", low=0.0, high=400.0
    )
    cases: tuple[str, ...] = setting(
        CASES,
        "",
        "load cases that are tried; the worst governs",
        "project_choice",
        choices=(*CASES, WORST_STOP),
    )
    exceptional: tuple[str, ...] = setting(
        ("swing", "abrupt stop", WORST_STOP),
        "",
        "cases that are no ordinary use: their margin is stated beside that of the others",
        "project_choice",
        choices=(*CASES, WORST_STOP),
    )
    ascent_factor: float = setting(
        1.5,
        "W",
        "peak while climbing the rope, top of the measured 1.1-1.5",
        "kane_arwade_2022",
        low=1.0,
        high=12.0,
    )
    positioning_factor: float = setting(
        1.5,
        "W",
        "at work on the rope, straight below; no measurement found: the top of what was measured in ascents",
        "kane_arwade_2022",
        low=1.0,
        high=12.0,
    )
    limb_walk_factor: float = setting(
        1.0,
        "W",
        "on W / cos(rope angle), braced at the feet; no measurement found",
        "geometry",
        low=1.0,
        high=12.0,
    )
    step_factor: float = setting(
        1.5,
        "W",
        "step of a climber on a limb that is walked, none of it borne by the rope; no measurement found",
        "project_choice",
        low=0.5,
        high=5.0,
    )
    rescue_factor: tuple[float, ...] = setting(
        (1.1, 1.5),
        "W",
        "peak over the weight of both people hanging plumb, low and high end (5 and 95 %), drawn; two people were "
        "not measured: what ascents of one showed",
        "kane_arwade_2022",
        low=1.0,
        high=12.0,
    )
    rescue_apart: bool = setting(
        True,
        "",
        "where a line does not hold a rescuer beside the climber it is judged for one climber, who must hold two people hanging "
        "still in the load test; a plan then asks for a rescue line on other wood",
        "kane_arwade_2022",
    )
    swing_body: float = setting(
        1.3,
        "-",
        "on the point mass' rope force in a swing: a body that hangs plumb at the start whips",
        "swing_with_body",
        low=1.0,
        high=3.0,
    )
    slack: float = setting(
        0.3,
        "m",
        "likeliest free fall before the rope comes tight, abrupt stop",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    slack_most: float = setting(
        3.0,
        "slack",
        "largest free fall over the likeliest, drawn from none (triangular); 1 = always the likeliest",
        "project_choice",
        low=1.0,
        high=20.0,
    )
    shortest_rope: float = setting(
        2.0,
        "m",
        "rope from the support down to a climber who is stopped just below it; work nearer than that is "
        "judged at its own distance",
        "project_choice",
        low=0.3,
        high=50.0,
    )
    rope_modulus: float = setting(
        30000.0,
        "N",
        "rope force per strain; standard rope lies between 19.6 and 41.2 kN",
        "en1891_bounds",
        low=500.0,
        high=1e6,
    )
    rope_modulus_bounds: tuple[float, ...] = setting(
        (19600.0, 41200.0),
        "N",
        "least and largest modulus a standard rope may have, drawn (triangular) in the abrupt stop",
        "en1891_bounds",
        low=500.0,
        high=1e6,
    )
    rope_in_service: tuple[float, ...] = setting(
        (1.0, 1.1, 1.3),
        "-",
        "modulus of a used rope over that of a new one: low, middle, high; no published value opened",
        "project_choice",
        low=0.5,
        high=5.0,
    )
    stop_ceiling: float = setting(
        10.6,
        "W",
        "largest abrupt stop measured: the pull of the case 'worst stop'; a computed one above it is said to "
        "be so",
        "kane_2020_stops",
        low=1.0,
        high=50.0,
    )
    preload: float = setting(
        0.0,
        "W",
        "tension left in the anchor leg of a basal anchor by the pre-load test",
        "kane_2020_basal",
        low=0.0,
        high=10.0,
    )
    test_people: float = setting(
        2.0, "W", "people hanging on the rope in the load test", "load_test", low=1.0, high=5.0
    )
    hand_pull: float = setting(
        300.0,
        "N",
        "steady pull of one person by hand in the load test",
        "project_choice",
        low=50.0,
        high=1000.0,
    )
    clear_share: float = setting(
        1.5,
        "-",
        "stand-clear circle of the load test over how far a piece that breaks can lie, toppled full length "
        "to any side",
        "project_choice",
        low=1.0,
        high=5.0,
    )
    clear_least: float = setting(
        3.0, "m", "least radius of that circle", "project_choice", low=1.0, high=50.0
    )
    rope_angle_limit_deg: float = setting(
        45.0,
        "deg",
        "places out to this rope angle from plumb are judged; a plan judges all it counts as served too",
        "redirect_angle",
        low=5.0,
        high=85.0,
    )
    lively: float = setting(
        0.3,
        "m",
        "the rope's place gives way by more than this under the governing load: lively, not stiff",
        "project_choice",
        low=0.0,
        high=5.0,
    )
    lively_deg: float = setting(
        5.0, "deg", "or turns by more than this", "project_choice", low=0.0, high=90.0
    )
    turn_iterated: float = setting(
        0.1,
        "rad",
        "where the rope's place turns by more, the loads act on the bent shape",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    turn_refused: float = setting(
        0.3,
        "rad",
        "where it turns by more, it does not hold: no figure for straight beams is right there",
        "project_choice",
        low=0.05,
        high=1.0,
    )
    cadence: tuple[float, ...] = setting(
        (0.5, 1.0),
        "Hz",
        "slowest and fastest rhythm of an ascent; no published value opened",
        "project_choice",
        low=0.05,
        high=5.0,
    )
    damping: tuple[float, ...] = setting(
        (0.05, 0.15),
        "-",
        "least and most damping of limb and climber, over the critical; no published value opened",
        "project_choice",
        low=0.01,
        high=1.0,
    )
    amplified_told: float = setting(
        1.3,
        "-",
        "the rhythm of an ascent is told where the tie-in answers it by more than this",
        "project_choice",
        low=1.0,
        high=20.0,
    )
    # --- rope on its supports: (low, middle, high)
    mu_bark: tuple[float, ...] = setting(
        (0.15, 0.30, 0.50), "-", "friction of rope on bark", "mu_bark", low=0.0, high=2.0
    )
    mu_sleeve: tuple[float, ...] = setting(
        (0.15, 0.25, 0.35), "-", "friction of rope on a sleeve", "project_choice", low=0.0, high=2.0
    )
    mu_ring: tuple[float, ...] = setting(
        (0.14, 0.19, 0.25), "-", "friction of rope on a metal ring", "delaney_2022", low=0.0, high=2.0
    )
    mu_pulley: tuple[float, ...] = setting(
        (0.049, 0.07, 0.099), "-", "effective friction of a pulley block", "donzelli_1999", low=0.0, high=2.0
    )
    basal_bound: str = setting(
        "frictionless",
        "",
        "how a basal anchor is judged: both legs full, or the low end of the friction",
        "basal_two",
        choices=("frictionless", "friction"),
    )
    rest_sd: float = setting(
        0.05,
        "m",
        "standard deviation of where the rope rests along the limb",
        "project_choice",
        low=0.0,
        high=2.0,
    )
    min_lever: float = setting(
        0.5,
        "d",
        "least distance of the rope from the parent's bark, in limb diameters",
        "project_choice",
        low=0.0,
        high=5.0,
    )
    # --- wood
    section: str = setting(
        OUTSIDE,
        "",
        "what the diameter is: the scan's circle over bark, or the same less bark",
        "kane_2007",
        choices=(OUTSIDE, INSIDE),
    )
    strength_model: str = setting(
        BY_KIND,
        "",
        "what a section keeps of clear-wood strength: by its kind (stem, limb, ordinary or codominant union), or "
        "one share of 0.40 for all with a union factor on top, the low alternative",
        "section_strength",
        choices=(BY_KIND, ONE_SHARE),
    )
    region: str = setting(
        BY_MAP,
        "",
        "where a bare name such as 'oak' is looked for: the trees of Europe, or any; by the map = Europe where the "
        "scan's map coordinates lie there, else anywhere",
        "common_practice",
        choices=REGIONS,
    )
    live_share_outside: float = setting(
        0.40,
        "MOR",
        "mean breaking stress of live branches on the circle over bark",
        "kane_2007",
        low=0.05,
        high=1.0,
    )
    live_cov_outside: float = setting(
        0.446,
        "-",
        "its scatter: standard error 0.035 times the root of 26 branches",
        "kane_2007",
        low=0.0,
        high=1.0,
    )
    live_share_inside: float = setting(
        0.72, "MOR", "mean breaking stress of live branches inside bark", "kane_2007", low=0.05, high=1.0
    )
    live_cov_inside: float = setting(
        0.255,
        "-",
        "its scatter: standard error 0.036 times the root of 26 branches",
        "kane_2007",
        low=0.0,
        high=1.0,
    )
    shear_share_outside: float = setting(
        0.556,
        "-",
        "share of clear-wood shear strength kept on the circle over bark: 0.40 / 0.72, the section alone",
        "ash_torsion",
        low=0.05,
        high=1.0,
    )
    shear_share_inside: float = setting(
        1.0, "-", "share of it kept inside bark", "ash_torsion", low=0.05, high=1.0
    )
    bark_share: float = setting(
        0.08,
        "d",
        "bark on both sides over the diameter, where 'inside bark' is chosen",
        "bark_effect",
        low=0.0,
        high=0.4,
    )
    mor_cov: float = setting(
        0.16, "-", "scatter of green MOR where the table states none", "handbook_cov", low=0.0, high=0.6
    )
    green_density: float = setting(
        0.0, "kg/m3", "measured green density; 0 = the table's", "spatz_2013", low=0.0, high=1500.0
    )
    density_exponent: float = setting(
        1.2, "-", "strength over green density", "spatz_2013", low=0.0, high=3.0
    )
    shear_modulus_share: float = setting(
        0.0625, "MOE", "shear modulus over MOE", "project_choice", low=0.01, high=0.5
    )
    twig_share: float = setting(
        0.15,
        "-",
        "weight of twigs the scan does not resolve, over the wood's",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    leaf_mass: float = setting(
        0.2, "kg/m2", "fresh mass per projected area of twigs and leaves", "project_choice", low=0.0, high=2.0
    )
    leaves: str = setting(
        "as scanned",
        "",
        "what hangs on the tree: the foliage the scan holds, none of it, or leaves even where it was "
        "scanned bare",
        "project_choice",
        choices=("as scanned", "on", "off"),
    )
    leaf_share: float = setting(
        0.10,
        "-",
        "fresh leaves over the weight of the limbs, where a bare scan is judged in leaf; no published value "
        "opened",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    self_weight: bool = setting(True, "", "count the tree's own weight on every section", "geometry")
    # --- unions
    union_aspect: tuple[float, ...] = setting(
        (0.50, 0.70, 0.85, 1.00), "-", "limb over parent diameter, corners of the factor", "union_factor"
    )
    union_k: tuple[float, ...] = setting(
        (1.00, 0.80, 0.60, 0.55),
        "-",
        "union factor at those corners, on top of the live share",
        "union_factor",
        low=0.0,
        high=1.0,
    )
    union_k_spread: float = setting(
        0.5,
        "-",
        "how far the factor may lie either way, as a share of what it takes away",
        "union_factor",
        low=0.0,
        high=1.0,
    )
    included_bark: tuple[float, ...] = setting(
        (0.40, 0.76, 0.85),
        "-",
        "low, middle, high share kept with reported included bark",
        "slater_ennos_2015",
    )
    codominant: float = setting(
        0.70,
        "-",
        "aspect ratio from which both stems of a fork carry the factor",
        "dahle_2022",
        low=0.3,
        high=1.0,
    )
    # --- defects a person reports: "U07 dead", "limb 3 hollow 0.35", "node 12 cavity 0.4 open 60", "stem
    # decay"
    reported: tuple[str, ...] = setting(
        (), "", "defects found by inspection, for example 'U07 included bark'", "project_choice"
    )
    min_wall: float = setting(
        0.27, "t/R", "wall over radius below which no hollow formula is used", "huang_2017", low=0.0, high=1.0
    )
    widest_opening_deg: float = setting(
        120.0,
        "deg",
        "opening of a cavity beyond which no formula is used",
        "decay_formulas",
        low=0.0,
        high=360.0,
    )
    # --- how sure
    diameter_sd_unstated: float = setting(
        0.08,
        "d",
        "relative standard deviation of a diameter that states none",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    diameter_sd_least: float = setting(
        0.02, "d", "no diameter is better known than this", "project_choice", low=0.0, high=1.0
    )
    diameter_sd_most: float = setting(
        0.5,
        "d",
        "a diameter that is known no better than this was not measured: no margin from it",
        "project_choice",
        low=0.05,
        high=1.0,
    )
    diameter_common: float = setting(
        0.5, "-", "share of the diameter variance common to a whole limb", "project_choice", low=0.0, high=1.0
    )
    diameter_reach: float = setting(
        1.0,
        "m",
        "distance along a limb over which the rest of it fades (1/e)",
        "project_choice",
        low=0.01,
        high=100.0,
    )
    longest_bridge: float = setting(
        0.15,
        "m",
        "longer gaps of the scan on the load path are not seen; shorter ones than this and the limb's "
        "diameter are spanned "
        "by the thinner of their ends",
        "project_choice",
        low=0.0,
        high=2.0,
    )
    samples: int = setting(2000, "", "draws of the margin", "project_choice", low=100, high=200000)
    stands: bool = setting(
        True,
        "",
        "leave out draws in which the wood could not carry even its own weight, for it stands",
        "geometry",
    )
    holds_p5: float = setting(
        1.5,
        "-",
        "least 5th percentile of the margin in ordinary use for 'holds'",
        "project_choice",
        low=0.5,
        high=20.0,
    )
    fails_p5: float = setting(
        1.0,
        "-",
        "below this 5th percentile in ordinary use it 'does not hold'",
        "project_choice",
        low=0.1,
        high=20.0,
    )
    holds_chance: float = setting(
        0.01,
        "-",
        "most chance of overload of sound wood in ordinary use for 'holds'",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    tested_chance: float = setting(
        0.001,
        "-",
        "most chance of overload of sound wood after a passed test of 1.5 times the hardest ordinary pull for 'holds "
        "if tested'",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    exceptional_p5: float = setting(
        1.0,
        "-",
        "least 5th percentile of the margin in the exceptional cases for 'holds'",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    exceptional_median: float = setting(
        1.0,
        "-",
        "below this median in the exceptional cases it 'does not hold': a stop would more likely break it "
        "than not",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    catch_diameter: float = setting(
        0.05,
        "m",
        "thinner limbs are taken to break at once when the rope falls on them",
        "project_choice",
        low=0.01,
        high=0.5,
    )
    fracture_work: float = setting(
        0.0,
        "J",
        "what each limb that breaks under the falling climber takes out of the fall",
        "project_choice",
        low=0.0,
        high=5000.0,
    )
    catch_samples: int = setting(
        500, "", "draws of the margin of each limb that catches", "project_choice", low=100, high=200000
    )
    ground_clearance: float = setting(
        1.0,
        "m",
        "climber's feet above ground at the lowest point of a fall for a back-up to count",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    history: SiteHistory = field(default_factory=SiteHistory)
    harness_to_feet: float = setting(
        1.0, "m", "from the rope's end at the harness down to the feet", "project_choice", low=0.0, high=2.0
    )


def live_share(settings: LoadSettings) -> tuple[float, float]:
    """Mean share of clear-wood MOR and its scatter that match the section in use (never mixed)."""
    if settings.section == INSIDE:
        return settings.live_share_inside, settings.live_cov_inside
    return settings.live_share_outside, settings.live_cov_outside


def friction(hardware: str, settings: LoadSettings) -> tuple[float, float, float]:
    """Low, middle and high friction coefficient at the union for one kind of hardware."""
    table = {
        "rope on bark": settings.mu_bark,
        "sleeve": settings.mu_sleeve,
        "ring": settings.mu_ring,
        "pulley": settings.mu_pulley,
    }
    low, middle, high = table[hardware]
    return float(low), float(middle), float(high)
