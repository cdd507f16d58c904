"""English of the report: the page, its cards, the figures at a glance and the headlines, by code."""

from __future__ import annotations

SHARED: dict[str, str] = {
    "list": "{names:names}",
    "list_none": "none",
    "thickness": "{d±sd:cm?}",
    "margin": "{low:x2?}[ at the low end (median {median:x2})]",
    "share_within": "{share:%} within {limit:deg}",
    "candidate_name": "{label}, {system:word}, {hardware:word}",
    "candidate_ranked": "{rank}. {label}",
    "candidate_system": "{label} {system:word}",
    "place_stem": "stem",
    "place_leader": "[{rank:ordinal} ]{side:compass} leader",
    "place_middle_leader": "[{rank:ordinal} ]middle leader",
    "place_limb": "[{rank:ordinal} ]{side:compass} limb",
    "place_named": "{axis}[, {limb}][, {nth:ordinal} union][, at the {points:compass} limb], {height:m}",
    "place_small": "{axis}[, {limb}], small union, {height:m}",
    "place_over_limb": "{place}; limb over it points {points:compass}",
    "place_round_stem": "{place}[, at the {points:compass} limb]; rope round the stem",
    "place_from_stem": "{distance:m} {side:compass} of the stem",
    "no_stand": "no standing place gives a throw",
    "start_at_stop": "The way up starts at {stop}, {height:m} up, by ladder or lanyard.",
    "start_open": "Climb or advance the anchor to it.",
    "work_at": "at work point {label}, {height:m} up and {distance:m} from the stem",
    "work_straight_below": "straight below",
    "work_all_reached": "nothing",
    "work_missed_many": "{n:n} of {all:n} work points, {low:m} to {high:m} up",
    "section_unseen": "not seen",
    "section": "{d±sd:cm?} thick, {height:m} up; it would fail by {mode:word}",
    "breaking_chance": "{ordinary:chance} in ordinary use[; {hard:chance} under the exceptional load "
    "({case:word})]. What a scan cannot see (decay, cracks, included bark) is counted in.[{?hidden} It is the "
    "larger danger.]",
    "rope_parts": "{length:m}[: {parts}]",
    "rope_part": "{what:word} {length:m}",
    "rope_stock": "{stock:m0}[{?short}; it does not reach the ground]",
    "rope_no_stock": "No stocked rope is long enough: {length:m} needed.",
}
"""Figures and clauses that page and sheet share."""

CARDS: dict[str, str] = {
    "ask_seen": "What did the scan see?",
    "ask_line": "Can I get a line in?",
    "ask_hold": "Will it hold?",
    "ask_fail": "What if it fails?",
    "ask_reach": "Can I reach the work?",
    "ask_order": "In what order?",
    "card_below": "Stem or limb below the union",
    "card_above": "Limbs above the union",
    "list_all": "{items}",
    "card_aspect": "Aspect ratio: thinnest limb to the wood below",
    "card_union_notes": "Notes on the union",
    "card_path_seen": "Load path seen by the scan",
    "card_path_share": "{share:%}[{?gap}; the rest is a gap in the scan: inspect it]",
    "card_bark_arc": "Least bark seen round it",
    "card_throw": "Throw",
    "card_throw_none": "None found from the ground. {start}",
    "card_blocked": "In the way of the line",
    "card_over": "First line over",
    "card_over_other": "{union}, {height:m} up. {label} itself has no throw from the ground.",
    "card_stand": "Stand",
    "card_aim": "Aim",
    "card_aim_at": "{azimuth:deg} ({azimuth:compass}), {elevation:deg} above level, {speed:m/s}, "
    "{method:word}",
    "card_chance": "Chance of one throw",
    "card_chance_throws": "{chance:%}[; {throws:throws} on average]",
    "card_line": "Line",
    "card_also_under": "Also under the line",
    "card_nothing_else": "no other limb",
    "card_rest": "Rope comes to rest",
    "card_rest_out": "{out:m2} out from the union; [{?slides}it slides in by itself][{!slides}it stays "
    "there]",
    "card_min_bag": "Lightest bag that comes down",
    "card_verdict": "Verdict by calculation",
    "card_verdict_why": "{verdict:Word}. {why}",
    "card_force": "Force on the union",
    "card_force_of": "{force:kN?}.[ A climber who hangs still loads it with {multiple:x} times their "
    "weight.]",
    "card_contact": "Rope on {on}",
    "card_contact_bears": "{bears}[, {side:word}, {height:m} up, {d:cm} thick]",
    "card_tied": "Tied to",
    "card_tied_own": "the foot of this stem; not judged",
    "card_tied_other": "“{name}”, {distance:m} from this stem; not judged",
    "card_case": "Hardest ordinary load",
    "card_case_at": "[{case:word}, ]{work}",
    "card_margin": "Strength over stress",
    "card_breaks": "Chance that it breaks",
    "card_section": "Weakest section",
    "card_moves": "Tie-in point moves under load by",
    "card_own_weight": "Strength already used by the wood's own weight",
    "card_own_weight_share": "{share:%?} at the weakest section",
    "card_friction": "Force with rope friction counted",
    "card_friction_of": "{multiple:x2} times the weight. For information: preload can undo it.",
    "card_note": "Note",
    "card_load_test": "Load test",
    "card_load_test_pull": "{pull:kN} on the rope, step by step below",
    "card_break": "Likeliest break",
    "card_catch": "{i}. {label}",
    "card_ground": "{i}. the ground",
    "card_other_break": "It may also break here",
    "card_apart_stem": "If the stem goes instead",
    "card_apart_own": "If this limb or union goes instead",
    "card_break_then": "{why} {then}",
    "card_stopped": "Stopped above the ground",
    "card_stopped_yes": "Yes by the figures, if the wood that catches is sound.",
    "card_stopped_no": "Not shown. Expect a fall to the ground.",
    "card_common": "One failure takes both",
    "card_served": "Work in reach",
    "card_angles": "Within a rope angle",
    "card_widest": "Widest rope angle",
    "card_swing": "Swing if you slip",
    "card_swing_of": "Up to {swing:m?} sideways at {speed:m/s?}, rope force {force:kN?}. First in the way: "
    "{hits}.",
    "card_missed": "Out of reach",
    "card_fouled": "Straight rope meets wood",
    "card_fouled_of": "for {n:n} of {all:n} work points",
    "card_fouled_none": "nowhere",
    "card_in_the_way": "Mostly in the way",
    "card_wire": "Conductor",
    "card_rope": "Climbing rope",
    "card_bring": "Rope to bring",
    "card_throwline": "Throwline",
    "card_throwline_taut": "at least {length:m}, taut over {union} to the ground",
    "card_throwline_none": "none for this way up",
    "card_kit": "Kit",
    "card_care": "At the union",
    "card_down": "Getting the rope down",
    "card_step": "{label:Word}[, {height:m}]: {how}",
}

THREATS: dict[str, str] = {
    "threat_wire": "{distance:m}: {to} from the {what:word}[{?breach}. That is within {limit:m}: ask the line owner]"
    "[{!breach} (approach distance used {limit:m})].",
    "threat_no_wire": "Wires: none is drawn or was seen. A scan misses thin ones: look for them.",
    "threat_area": "{distance:m} from the stem: {what:word}[ “{name}”][{?over}, under the crown].",
    "threat_dead": "{n:n} {n|limb looks|limbs look} dead in the scan: {names:names}. Deadwood can fall on the crew.",
    "threat_no_dead": "Dead wood: no limb looks dead in the scan. A leafless scan shows little of it: look up.",
    "threat_stated_dead": (
        "Stated: {statement}. Dead wood can break at the touch of a bag, a line or a climber, and by itself, and fall on whoever stands, "
        "throws or climbs below.[ {label} is {below:m} under it.][ The first throw passes {past:m} from it.] Keep out from "
        "under it, send no line through it, and ask the person who stated it before anybody climbs beneath it."
    ),
    "threat_said_dead": "Stated: {statement}. Dead wood can fall on the crew: look up, and keep out from under it.",
    "threat_to_ground": "If it goes: expect a fall to the ground from {height:m}[; {catch} comes first and is not shown to stop it].",
    "threat_caught": "If it goes: {catch} catches after a drop of {drop:m?}, if that wood is sound.",
    "threat_unseen": "The scan saw [{path:%} of the load path and ]{tree:%?} of the limb length; the rest may hold anything.",
    "place_with_code": "{place} ({label})",
}
"""What threatens, for the first screen and the first page."""

WHY_NOT: dict[str, str] = {
    "threat_eased": (
        "Less is asked of the wood than this program asks by itself.[ Eased settings: {settings}.][ Load cases left out: {cases}.] "
        "Verdicts and margins say only what was asked."
    ),
    "threat_eased_short": "less is asked of the wood than by default",
    "threat_cuts": (
        "{n:n} {n|cut is|cuts are} planned, with {alarms:n} {alarms|alarm|alarms}.[{?bad} Something speaks against what climber or block "
        "hang on at {bad:n} {bad|cut|cuts} ({cuts}): read “Taking it down” before the first.][{!bad} Read “Taking it down” before the first.]"
    ),
    "threat_cuts_short": "{n:n} {n|cut|cuts} planned[{?bad}; what climber or block hang on is wrong at {cuts}]",
    "threat_wire_short": "{distance:m} from a wire",
    "threat_work_wire_short": "{distance:m} from a wire to the work",
    "threat_wire_claimed_short": "claimed by the scan {distance:m} from the stem",
    "threat_wire_missing_short": "none drawn; the scan may miss some",
    "threat_area_short": "{what:word} {distance:m} from the stem[{?over}, under the crown]",
    "threat_dead_short": "{n:n} {n|limb looks|limbs look} dead",
    "threat_no_dead_short": "none seen in the scan; look up",
    "threat_ground_short": "to the ground, {height:m}",
    "threat_caught_short": "caught by {catch} after {drop:m?}",
    "threat_unseen_short": "[{path:%} of the load path, ]{tree:%?} of the limbs",
    "head_eased": "Settings",
    "head_cuts": "Removal",
    "head_wire": "Wire",
    "head_area": "Near",
    "head_dead": "Dead wood",
    "head_fall": "Fall",
    "head_unseen": "Scan saw",
    "help_rescan": "A scan that sees this wood from two sides, leaf-off, or a climber who measures it by hand.",
    "help_dead": "A competent person who inspects the limb at the tree and accepts it.",
    "help_thin": "A thicker limb lower down, or a sling round the stem where it is thick enough.",
    "help_droops": "A limb that rises, or a sling that is choked round it or round the stem.",
    "help_strength": "A rope system that loads the union less (a canopy anchor bears about half of what a basal line puts on it), "
    "work at smaller rope angles, the species by its full name, or thicker wood lower down.",
    "help_wire": "The line owner: without their consent nobody works there.",
    "help_reach": "Another place to stand, a launcher, or climbing to it from a lower union.",
    "help_rescue_line": "A line for the rescuer on other wood, from a <neighbouring|neighboring> tree or a platform.",
    "help_work": "It serves other work, or a redirect; the ranked ones reach more of what was asked.",
    "help_person": "The person who stated it, after another inspection.",
    "help_same_union": "This union is ranked {rank:n} with {system:word}, {hardware:word}.",
    "help_nearest": "The nearest ranked one: {rank:n}. {place}.",
    "one_look": "No candidate: others are higher or thicker. It was looked at by one line only, set up one way.",
    "not_judged": "Not judged: [no limb of it is {asked:cm} thick][it stands lower than {low:m}], or others are better placed.",
}
"""The same in a few words, and what would help a place that is not ranked."""

GLANCE: dict[str, str] = {
    "glance_first": "First to inspect",
    "glance_first_words": "{height:m_first} ({height:m_second}) up; {system:word}, {hardware:word}",
    "glance_line": "Get a line in",
    "glance_no_throw": "no throw",
    "glance_no_throw_words": "found from the ground. {start}",
    "glance_stand": "Stand",
    "glance_stand_figure": "{distance:m_first} {side:compass}",
    "glance_stand_words": "({distance:m_second}) of the stem; [first line over {over}; ]{method:word}, "
    "{chance:%} each[, {throws:throws} on average]",
    "glance_hold": "Strength over stress",
    "glance_hold_figure": "{low:x2} times",
    "glance_hold_words": (
        "low end, if the wood is sound (median {median:x2}), under {force:kN}; {seen:%?} of the load path "
        "seen"
    ),
    "glance_hold_unseen": "not seen",
    "glance_hold_unseen_words": "under {force:kN?}; {seen:%?} of the load path seen",
    "glance_fail": "If it fails",
    "glance_fail_ground": "the ground",
    "glance_fail_ground_words": "no limb found that would catch the rope: use a second attachment",
    "glance_fail_next": "{label} next",
    "glance_fail_next_words": "after a drop of {drop:m?}, peak force {peak:kN?}",
    "glance_work": "Work in reach",
    "glance_work_words": "rope up to {angle:deg?} from plumb[; a slip swings up to {swing:m}]",
    "glance_bring": "Bring",
    "glance_bring_long": "of climbing rope, more than any stocked length",
    "glance_bring_figure": "{stock:m_first0} rope",
    "glance_bring_words": "({stock:m_second0})[; throwline {throwline:m0}]; kit below",
}

OVERVIEW: dict[str, str] = {
    "over_no_candidate": "No candidate could be ranked from this scan.",
    "over_not_assessable": "Not assessable from this scan.",
    "over_tree": "The tree is {height:m?} tall[, its stem {dbh±sd:cm} thick at breast height].[{!dbh_seen} "
    "The stem was not seen at breast "
    "height.] {unions:n} unions traced; the scan saw {seen:%?} of the limb length drawn.",
    "over_height": "Height",
    "over_dbh": "Stem diameter at breast height",
    "over_stem": "Stem {number:n}, measured at {height:m2?}",
    "over_lean": "Lean of the lower stem",
    "over_volume": "Wood volume of the traced limbs",
    "over_traced": "Limbs and unions traced",
    "over_traced_of": "{limbs:n} limbs, {unions:n} unions",
    "over_seen": "Limb length seen",
    "over_seen_share": "{share:%?}; gaps were filled in and are drawn <grey|gray>",
    "over_species": "Species as used",
    "over_scan": "Scan",
    "over_frame": "Coordinates",
    "over_frame_named": "{name}[ ({crs})]",
    "over_frame_local": "local frame, no map reference in the file",
    "over_line_none": "No throw from the ground was found for {label}. {start}",
    "over_line": (
        "For {label} stand {stand}: {method:word}, {chance:%} chance a throw[, {throws:throws} on "
        "average]."
    ),
    "over_line_other": (
        "No throw reaches {label} itself. The first line goes over {over}: stand {stand}, {method:word}, "
        "{chance:%} chance a throw[, {throws:throws} on average]. From there advance upward."
    ),
    "over_hold": (
        "{label} has to carry {force:kN?}. Strength over stress at the weakest section is {margin}; that "
        "section is {section}.[ Chance that it breaks in ordinary use: {chance:chance}. What a "
        "scan cannot see (decay, cracks, included bark) is counted in.][{?hidden} It is the larger danger.]"
    ),
    "over_fail_ground": "If {label} breaks, no limb was found that would catch the rope: expect a fall to "
    "the ground. Use a second attachment.",
    "over_fail_stem_ground": "If the stem snaps {height:m} up, no limb was found that would catch the rope: expect a fall to the ground, "
    "with the top.",
    "over_fail_stem_next": "If the stem snaps {height:m} up, the rope is caught next at {next}, after a drop of {drop:m?} with a peak force "
    "of {peak:kN?}.",
    "over_fail_next": "If {label} breaks, the rope is caught next at {next}, after a drop of {drop:m?} with "
    "a peak force of {peak:kN?}.",
    "over_reach": "From {label} {share:%?} of the work is in reach. The rope stands up to {angle:deg?} from "
    "plumb[; a slip swings up to {swing:m}].",
    "over_order": "{n:n} {n|step|steps} from the ground to {label}.[ Bring {stock:m0} of climbing rope.] "
    "Inspect the union by hand before committing to it.",
    "over_isolated": "Isolated: only the wanted limb between the legs",
    "over_isolable": "Can be isolated by manipulating the line",
    "over_several": "Over several limbs only: basal anchor",
    "over_no_line": "No line from the ground found",
    "over_of_unions": "{n:n} of {all:n} {all|union|unions}",
    "over_places": "Standing places judged",
    "over_places_refused": "Places left out: {why}",
    "over_unserved": "{share:%} of the work is out of reach of every ranked candidate: {missed}.",
}

PAGE: dict[str, str] = {
    "page_description": "Candidate tie-in points from a laser scan of a tree. Planning aid, to be inspected "
    "by a competent climber.",
    "page_title": "{name} – candidate tie-in points",
    "page_skip": "Skip to the report",
    "page_lead_hopeless": "No candidate is ranked. Below: what was seen, why that is not enough and what a "
    "rescan needs.",
    "page_lead_unranked": "{n:n} {n|was|were} judged; the table gives the reason for each.",
    "page_lead_no_limbs": "None of the {n:n} unions has limbs that the settings accept for a tie-in point; "
    "their sizes stand below.",
    "page_cautions": "Cautions",
    "page_all_cautions": "All cautions in full",
    "page_climb": "The climb as a whole",
    "page_ranking": "Ranking",
    "page_one_by_one": "Candidates one by one",
    "page_side_by_side": "Two side by side",
    "page_background": "Settings and sources",
    "page_cautions_full": "Cautions in full",
    "page_why_not": "Why it cannot be assessed, and what a rescan needs",
    "page_canvas": "Three-dimensional view of the tree. Arrow keys turn it, plus and minus zoom, shift with "
    "arrows moves it, zero goes back. "
    "Every candidate is also in the table below.",
    "page_view": "View",
    "page_view_home": "Whole tree",
    "page_view_stand": "From the stand",
    "page_view_close": "Close up",
    "page_view_top": "From above",
    "page_zoom_in": "Zoom in",
    "page_zoom_out": "Zoom out",
    "page_no_view": "This browser shows no 3-D view. The drawings, tables and cards below hold the same "
    "figures.",
    "page_pick": "Pick a numbered union in the view, or here:",
    "page_shown": "Candidate shown",
    "page_option": "[{rank}. ][{!usable}not ranked: ]{candidate}",
    "page_show": "Show",
    "page_layer_wood": "limbs",
    "page_layer_points": "scan points",
    "page_layer_rope": "rope",
    "page_layer_throw": "throw and standing places",
    "page_layer_swing": "swing if you slip",
    "page_layer_work": "work points",
    "page_layer_around": "surroundings",
    "page_view_use": "Limbs are <coloured|colored> by the use of capacity at the low end under the chosen candidate.",
    "page_view_unseen": "Speckled <grey|gray> wood was not seen and may hold anything.",
    "page_view_hands": "Drag to turn, two fingers or shift-drag to move, wheel or pinch to zoom.",
    "page_view_dots": "Dots on the ground: standing places, darker where a throw has the better chance. "
    "Dots in the crown: work points, blue where "
    "the chosen candidate reaches them.",
    "page_view_widths": "Widths of rope and arcs are not to scale.",
    "page_tree": "The tree",
    "page_fit": "What the scan is fit for, by height",
    "page_fit_for": "Fit for",
    "page_spacing": "Point spacing",
    "page_bark_seen": "Bark seen",
    "page_notes_scan": "Notes on this scan",
    "page_unions": "Unions seen",
    "page_unions_none": "Unions seen, none judged",
    "page_below": "Below it",
    "page_above": "Limbs above",
    "page_notes": "Notes",
    "page_how": "How, step by step",
    "page_chances": "Chance of one throw straight to the candidate",
    "page_lines": "Lines from the ground over this tree",
    "page_margins": "Strength over stress, by candidate",
    "page_margins_note": "Decide on the low end, printed left of each bar. It takes the wood as sound.",
    "page_heading": "[{tree}][ {site}]",
    "page_not_said": "not stated",
    "page_first_low": "{system:word}, {hardware:word}. [Strength over stress {low:x2} at the low end.][{!low}Strength over stress: not seen.]",
    "page_first_next": "Inspect and load-test it, then accept or refuse it.",
    "page_threats": "What threatens",
    "page_turn": "Turn the tree, ask about any union",
    "page_turn_bare": "Turn the tree",
    "page_turn_gist": "A click on a union tells why it is ranked or not, and what would help.",
    "page_unfold": "Unfold the page",
    "page_fold": "Fold the page",
    "page_site": "Site, dead wood, species and scope",
    "page_site_gist": "Everything that threatens, in full, and what kind of tree and season warn of.",
    "page_season": "Season",
    "page_season_words": "Nesting, roosting and protected times differ by country and tree: ask before anything is cut (common practice, no source).",
    "page_health": "Crew",
    "page_health_words": "Sap, pollen, dust of bark and hairs of caterpillars irritate skin and lungs of some: gloves, mask, wash after "
    "work (common practice, no source).",
    "page_two_dates": "Since the scan",
    "page_two_dates_words": "The scan shows the tree as it stood[ on {date}][{!date} on one day]. Hold the drawing against it: a limb that "
    "is gone or new, soil that moved or a storm since then make the plan void (common practice, no source).",
    "page_seen_side": "From the side",
    "page_seen_plan": "From above, north up",
    "page_seen_window": "What the thrower sees",
    "page_climb_gist": "More tie-in points, second lines, redirects, rescue, getting the rope down.",
    "page_ranking_gist": "{ranked:n} ranked, {others:n} not ranked, each with its reason.",
    "page_cards_gist": "Every answer for each candidate.",
    "page_compare_gist": "Any two held against each other.",
    "page_cautions_gist": "All {n:n}, to the letter.",
    "page_place": "Place",
    "page_band": "{first} ({second})",
    "page_would_help": "What would help",
    "page_look_first": "What to look at first",
    "page_no_own_throw": "None of its own from the ground: the first line goes over another union, see the card.",
    "page_coverage": "Share of the work within a rope angle of {angles:names} from plumb",
    "page_approach": "Approach, for and against",
    "page_to": "To {label}",
    "page_stated": "Stated by the competent person",
    "page_cuts": "Cuts in their order",
    "page_ranking_note": "Order in which to inspect, by the criteria shown on each card. What rules a "
    "candidate out (unseen, too thin, dead, near a "
    "conductor) rules it out whatever its other figures. Two candidates that cannot be told apart are "
    "marked as a tie.",
    "page_filter": "Filter the table",
    "page_find": "Find",
    "page_find_example": "U07, basal, doubtful …",
    "page_every": "all",
    "page_ranked_only": "ranked only",
    "page_table": "Table of candidates",
    "page_col_rank": "Rank",
    "page_col_union": "Union",
    "page_col_system": "System",
    "page_height": "Height",
    "page_col_margin": "Margin, low end",
    "page_col_force": "Force",
    "page_col_throw": "Throw",
    "page_col_work": "Work",
    "page_col_catch": "Catches next",
    "page_col_why": "Why, why not",
    "page_tie": "tie {first:n}–{last:n}",
    "page_tie_note": "ranks {first:n} to {last:n} cannot be told apart: let the look at the tree decide",
    "page_stable": "same rank in {share:%}",
    "page_stable_note": "share of trial rankings, with other weights and within the measurement errors, in "
    "which it keeps its rank",
    "page_median": "median {median:x2}",
    "page_drop": "drop {drop:m}",
    "page_more": "More",
    "page_table_note": (
        "Margin: strength over stress at the weakest section; at the low end one case in 20 "
        "lies lower, counting how few tests there are. Throw: isolated has only the wanted limb between the legs, to isolate "
        "needs the line manipulated, several limbs allows a basal anchor only. Same rank: share of trial "
        "rankings, with other weights and within the measurement errors, in which it keeps its rank."
    ),
    "page_not_ranked": "Not ranked, and why",
    "page_why_here": "Why it stands here",
    "page_why_not_ranked": "Why it is not ranked",
    "page_keeps": "It keeps its rank in {share:%} of the trial rankings, with other weights and within the "
    "measurement errors.",
    "page_pareto": "No other ranked candidate is better in every criterion.",
    "page_scores": "Scores, 0 to 1",
    "page_together": "together",
    "page_show_view": "Show in the 3-D view",
    "page_other_approaches": "{n:n} other {n|way|ways} in, with what speaks for and against: anchors.json.",
    "page_more_rows": "{n:n} more {n|stands|stand} in anchors.json.",
    "page_not_on_a_phone": "Not on a phone: two candidates side by side, what the thrower sees, charts, redirects, fitness by height, "
    "settings and sources. They stand here on a wider screen, in the full dossier and in anchors.csv, anchors.json and run.json.",
    "page_remaining": "The other {n:n} stand in the table above and in anchors.json with every figure.",
    "page_left": "Left",
    "page_right": "Right",
    "page_comparison": "Comparison",
    "page_settings": "Settings of this run",
    "page_settings_table": "Settings",
    "page_col_setting": "Setting",
    "page_col_value": "Value",
    "page_col_unit": "Unit",
    "page_col_meaning": "Meaning",
    "page_col_source": "Source",
    "page_col_key": "Key",
    "page_col_standing": "Standing",
    "page_col_stem": "Stem there",
    "page_sources": "Sources of the published values, and how far each may be trusted",
    "page_sources_table": "Sources",
    "page_sources_note": "read: the number stood in a text that was opened; quoted: read, quoted by a "
    "second text; memory: recalled and not confirmed; "
    "derived: follows from a stated formula; practice: common practice, no source; choice: a choice of this "
    "project, settable.",
    "page_redirects": "Redirects",
    "page_whole_card": "The whole card",
    "page_not_ranked_name": "Not ranked: {name}",
    "page_if_it_fails": "If it fails, {what}",
    "page_other_ways": "Other ways to rig {label}:",
    "page_count_shown": "{shown} of {all} shown",
    "page_ground": "ground",
    "page_held_against": "The two compared",
    "page_standing": "Standing",
    "page_why_column": "Why or why not",
}

TEXTS: dict[str, str] = SHARED | THREATS | WHY_NOT | CARDS | GLANCE | OVERVIEW | PAGE
WORDS: dict[str, str] = {
    "hand": "one hand",
    "two_hand": "both hands, swung between the legs",
    "launcher": "a launcher",
    "line_isolated": "isolated: only the wanted limb between the legs",
    "line_isolable": "can be isolated by manipulating the line",
    "line_several": "over several limbs: basal anchor only",
    "line_isolated_short": "isolated",
    "line_isolable_short": "to isolate",
    "line_several_short": "several limbs",
}
