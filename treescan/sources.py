"""Every published value used anywhere has its key here; tests fail on a key unused or unknown, and the report prints the same list.

`standing` is how far the value may be trusted:

- ``read``      the number stood in a text that was opened (often an abstract or a single page),
- ``quoted``    read, but quoted by a second text,
- ``memory``    recalled, not opened: shown as unconfirmed,
- ``derived``   follows from a stated formula,
- ``practice``  common practice of the trade, no source,
- ``choice``    a choice of this project, settable.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """Where a value comes from and how far it may be trusted."""

    title: str
    standing: str


SOURCES: dict[str, Source] = {
    # --- everywhere
    "project_choice": Source("A choice of this project without a published source; change it in the settings", "choice"),
    "common_practice": Source("Common practice of the trade, no source", "practice"),
    "geometry": Source("Plane geometry or elementary mechanics, derived", "derived"),
    # --- cloud
    "tallest_tree": Source("The tallest living trees known, coast redwoods, stand about 116 m; general knowledge, not opened", "memory"),
    # --- trees
    "wood_leaf_fit": Source(
        "Logistic weights fitted to made-up scans in leaf with known truth (broadleaf, conifer, weeping, codominant) by scripts/fit_wood_and_leaf.py", "derived"
    ),
    # --- wood (scan accuracy, dbh)
    "bundle_fit": Source("Logistic weights fitted to eight made-up scans with known truth by scripts/fit_bundles.py", "derived"),
    "one_sided_arc": Source("Under 120 degrees of bark a scan is called one-sided: a choice of this project", "choice"),
    "circle_fit_bias": Source(
        "Al-Sharadqah and Chernov 2009, Electronic Journal of Statistics 3:886: the geometric circle fit reads sigma^2 / 2 r too thick", "memory"
    ),
    "beam_thick_twigs": Source(
        "Demol et al. 2022, Silva Fennica 56(1):10550: wood volume +45 % from thin branches, caused by beam footprint and co-registration", "read"
    ),
    # --- throw
    "throw_bags": Source("Trade articles on throw bags: 12 to 20 oz, 12 or 14 oz to start with; lighter goes higher", "read"),
    "line_mass": Source("Throw lines of 1.5 to 2.5 mm weigh about 1.5 to 3 g/m; weigh your own", "memory"),
    "throw_speed": Source("Hand throws of 10 to 18 m are common, 20 to 25 m good: 15 to 22 m/s by the flight model; no speed was found measured", "derived"),
    "throw_spread": Source("No measured spread of thrown bags was found: settable, and fitted to your own record of throws", "choice"),
    "throw_effort": Source(
        "No accuracy of bags thrown at full strength is published; a thrown ball's speed varied most at 60 % of the fastest, less at full effort, and its accuracy did not fall "
        "with speed (Urbin et al. 2012, Motor Control 16:19, abstract). The growth taken is a choice on the safe side",
        "choice",
    ),
    "light_breeze": Source(
        "Beaufort 2, light breeze, leaves rustle: 4 to 7 mph, 1.6 to 3.3 m/s (scale as printed on public pages). That one throws in it, 3 m/s of it, and gusts of 0.4 are choices",
        "choice",
    ),
    "blunt_body_drag": Source("Textbook drag coefficients: sphere 0.4 to 0.5 below the drag crisis, blunt body 0.8 to 1.1, round cylinder about 1.1; none measured for bags or lines", "memory"),
    "standard_air": Source("International standard atmosphere at sea level, 1.225 kg/m3", "memory"),
    "line_friction": Source("Throw line on bark: 0.2 to 0.5 taken, middle 0.3; no measurement found", "choice"),
    "snag_law": Source("Chance of a catch along a path through scattered twigs, 1 - exp(-k density path); k is a choice", "derived"),
    "conductor_10m": Source("UK practice, second hand: tree work within 10 m of a power line needs the owner's advice first", "quoted"),
    # --- loads
    "summer_drop": Source("Harris 1983, Journal of Arboriculture 9(4):111 (abstract): sound limbs of at least 19 genera break in calm summer weather; genera as listed by a page on it that quotes the literature (address withheld)", "read"),
    "wood_handbook": Source("US Wood Handbook, FPL-GTR-190 (2010), Tables 5-3a/5-3b, green small clear wood", "memory"),
    "wood_handbook_read": Source("US Wood Handbook, FPL-GTR-190 (2010), Tables 5-3a/5-3b, green, transcribed pages", "read"),
    "wood_handbook_imported": Source("US Wood Handbook, FPL-GTR-190 (2010), Table 5-5b, imported woods, green", "memory"),
    "d2555_layout": Source("Clear-wood table with the layout and values of ASTM D2555, unseasoned (title not seen)", "read"),
    "lavers_1983": Source("Lavers 1983, The Strength Properties of Timber, green, UK grown; low confidence", "memory"),
    "markwardt_1935": Source("Markwardt & Wilson 1935, US Dept. Agric. Tech. Bull. 479, green: California black oak; low confidence", "memory"),
    "density_stand_in": Source(
        "No strength published: not more than the weakest measured row of its genus in Europe, nor than the least strength over basic density of "
        "its genus times its own density (Zanne 2009, global wood density database, read: Quercus cerris 0.70, ilex 0.82, suber 0.77, pyrenaica 0.84, petraea "
        "0.56, robur 0.56; Abies alba 0.353); sessile and downy oak are sold as one timber with pedunculate oak (a timber merchant's page, read)",
        "derived",
    ),
    "stuttgart_catalogue": Source("Wessolly & Erb 1998, Handbuch der Baumstatik: elastic limits of green stem pieces", "memory"),
    "handbook_cov": Source("US Wood Handbook, Table 5-6: scatter of MOR 0.16 (11 rows read of another table average 0.151)", "memory"),
    "spatz_2013": Source("Spatz & Pfisterer 2013, Arboric. Urban For. 39(5):218: green strength over green density, power 1.2", "read"),
    "kane_2007": Source("Kane 2007, Arboric. Urban For. 33(4):283, Table 3: live branches broke at 0.40 MOR (circle over bark), 0.72 (inside)", "read"),
    "ash_torsion": Source("Arboric. Urban For. 40(1):36: ash limbs 75.5 MPa in bending, 11.2 MPa in torsion (green shear strength is 9.3)", "read"),
    "bark_effect": Source("Bending stress over and under bark: (Di/Do)^3; the share of bark is a choice here", "derived"),
    "kane_arwade_2022": Source("Kane & Arwade 2022, Arboric. Urban For. 48(6):309: ascents load the tie-in point 1.1-1.5 times (abstract)", "read"),
    "kane_2020_stops": Source("Kane 2020, Urban For. Urban Green. 49:126625: abrupt stops up to 10.6 times the climber's weight (abstract)", "read"),
    "kane_2020_basal": Source("Kane 2020, Urban For. Urban Green. 51:126687: pre-load of a basal anchor adds to the climb (abstract)", "read"),
    "torsion_ellipse": Source(
        "Bending with torsion along an ellipse: branches of ash, Arboric. Urban For. 40(1):36, 2014 (abstract); form of Norris and Hill (memory)", "read"
    ),
    "swing_with_body": Source(
        "Computed, tests/oracles/swing_with_body: a rigid body on an elastic rope pulls 1.0 to 1.31 times as hard as a point mass (2 to 12 m, 20 to 60 degrees, 19.6 to 41.2 kN)", "derived"
    ),
    "arrest_force": Source("Undamped spring: F = W + sqrt(W^2 + 2 W f K)", "derived"),
    "en1891_bounds": Source("Limits of EN 1891 type A rope: 5 % at 100 kg gives K >= 19.6 kN, 6 kN at fall factor 0.3 gives K <= 41.2 kN", "derived"),
    "basal_two": Source("Arboriculture Australia 2022, Tree Rescue Manual, p. 86: a basal anchor puts close to 2x on the suspension point", "read"),
    "mu_bark": Source("Rope on bark 0.15-0.5, no published value opened; rope on timber 0.22-0.37 was read", "memory"),
    "delaney_2022": Source("Delaney 2022, Physics for Roping Technicians, p. 88: rope on aluminium, steel and timber, raise and lower", "read"),
    "stopped_piece": Source(
        "TCI Magazine, article on rigging trunk wood in tight quarters: earlier studies, not named there, show peaks of ten times the weight of the piece and more; "
        "Kane et al. 2009, Arboric. Urban For. 35(2):68 (abstract) measured forces at the block on 13 red pines: the mass of the piece foretells them best, the height "
        "of its fall does not",
        "quoted",
    ),
    "rigging_drop_tests": Source(
        "Kane, Frictional properties of arborist rigging blocks, Urban For. Urban Green. 42:31 (abstract), and its author's summary for practitioners, 2023: in drop "
        "tests rings gave no steadier friction than blocks, for a sheave may not turn fast enough and the rope slides over it; no coefficient was in the text read",
        "read",
    ),
    "donzelli_1999": Source("Donzelli 1999, J. Arboric. 25:61: effective friction of pulley blocks, 0.99 taken for a misprint of 0.099", "read"),
    "capstan": Source("Capstan equation T_hold = T_load exp(-mu beta)", "derived"),
    "kane_clouston_2008": Source(
        "Kane & Clouston 2008, Arboric. Urban For. 34(2):101, Table 4: maples broke at 29 MPa in codominant unions, stems at 43 to 52", "read"
    ),
    "section_strength": Source(
        "Strength by kind of section: a choice bracketed by Kane 2007, Kane & Clouston 2008, Lilly & Sydnor 1995; stems bounded by 17 gauged ones", "choice"
    ),
    "lilly_sydnor_1995": Source("Lilly & Sydnor 1995, J. Arboric.: silver maple branches broke at 29.7 MPa, Norway maple at 24.5 (table)", "read"),
    "proven_service": Source("Strength updated by a load that was borne: it truncates the ratio of strength to load from below", "derived"),
    "site_wind": Source(
        "Strongest gust of a year 15 m/s at a tree without a station near it, 19 suburban or wooded, 25 open: choices; gusts inside an English wood "
        "had a yearly maximum of 18.6 m/s, in the months in leaf 0.76 of it", "choice"
    ),
    "crown_drag": Source(
        "Drag of bare wood on projected cylinders 1.2 (0.5-1.9), all in: 17 gauged trees of Jackson et al. 2019, Front. For. Glob. Change 1:13; 1.0 taken, log sd 0.45",
        "derived",
    ),
    "gust_climate": Source("JCSS Probabilistic Model Code, wind: yearly largest gust, coefficient of variation 0.10 to 0.35, Gumbel", "read"),
    "rain_held": Source("Rain held by a crown in a storm: up to 4 mm, 1 to 2 usual in leaf; 0.10 to 0.15 of the weight taken", "quoted"),
    "load_duration": Source("Strength by duration of load: JCSS and EN 1995 factors 1.1 at once, 0.9 for up to a week; 0.85 taken", "quoted"),
    "hidden_defects": Source("Share of anchors that fail by what no scan sees: a choice bracketed by accident figures and hours at work", "choice"),
    "gilman_2003": Source(
        "Gilman 2003, J. Arboric. 29(5):291 (table page without title, matched by the abstract): load to pull thin red maple branches off", "read"
    ),
    "shock_load": Source("Arboriculture Australia 2022, Tree Rescue Manual, p. 81: sound enough for the shock load if the climber falls", "read"),
    "fork_sideways": Source(
        "University of Florida tree lab web note 2026: 43 small forks bore 309 N sideways and 368 N up or down; the difference is not significant", "read"
    ),
    "curved_limb": Source(
        "Tension across the grain in curved beams, 1.5 M / (R A), as in EN 1995-1-1 6.4.3; curved limbs pulled straight split down the middle: "
        "Ennos & van Casteren 2010, Proc. R. Soc. B (abstract)", "read"
    ),
    "record_1914": Source("Record 1914, The Mechanical Properties of Wood, Table III: green small clear wood across the grain, 179 to 1133 psi", "read"),
    "volume_effect": Source("EN 1995-1-1 6.4.3: strength across the grain by volume to the power 0.2, and 1.4 for curved beams", "memory"),
    "union_factor": Source("Strength of unions over aspect ratio: a choice bracketed by Gilman 2003, Kane & Clouston 2008, Dahle 2022", "choice"),
    "dahle_2022": Source("Dahle et al. 2022, Forests 13:1007: codominant from an aspect ratio of 0.70-0.83 (abstract)", "read"),
    "slater_ennos_2015": Source("Slater & Ennos 2015, Arboric. Urban For. 41(4):194: forks with included bark 24 % weaker", "read"),
    "huang_2017": Source("Huang et al. 2017, R. Soc. Open Sci. 4:160972: ordinary bending failure only above t/R 0.27", "read"),
    "decay_formulas": Source("Comparison of decay formulas, Arboric. Urban For. table 6705: (d/D)^4, opening up to 120 degrees", "read"),
    "load_test": Source("Arboriculture Australia 2022, Tree Rescue Manual, p. 145: single, then double or triple load test at the angle of use", "read"),
    # --- planning
    "approach_usa": Source("29 CFR 1910.269, definition of line-clearance tree trimming: 10 ft to 50 kV, 4 in for each 10 kV over", "read"),
    "approach_uk": Source("UK industry code of practice for arboriculture, section 2.4.7: ask the line owner within 10 m, quoted on a forum", "quoted"),
    "forearm_minimum": Source("Arboriculture Australia 2022, Tree Rescue Manual, p. 81: at least a forearm (the centimetres are a choice here)", "read"),
    "limbs_level_or_up": Source("Ontario Arborist Industry Safe Work Practices, p. 30: limbs level or growing upward (the angle is a choice here)", "read"),
    "redirect_angle": Source("Arboriculture Australia 2022, Tree Rescue Manual, p. 106: redirect or second attachment beyond 45 degrees", "read"),
    "floating_anchor": Source("Arboriculture Australia 2022, Tree Rescue Manual, pp. 129-130: less than 120 degrees between the lines", "read"),
}


def cite(key: str) -> str:
    """The source as one printable line; KeyError for an unknown key."""
    s = SOURCES[key]
    return f"{s.title} [{s.standing}]"
