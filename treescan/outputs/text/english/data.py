"""English of the data files, the tables and the maps: meanings of columns, legends, cells, notes; by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "own_words": "{words}",
    # meanings of columns, for the codebook
    "column_rank": "order in which to inspect; 0 = not ranked",
    "column_anchors_union": "label of the union",
    "column_anchors_place": "the union in a climber's words: leader by compass and rank, limb, order from below, height; "
    "and the way the limb under the rope points",
    "column_unions_place": "the union in a climber's words: leader by compass and rank, limb, order from below, height",
    "column_anchors_x": "of the union, easting or first coordinate of the cloud's frame",
    "column_y": "northing or second coordinate",
    "column_z": "height coordinate",
    "column_anchors_height": "of the union above the terrain",
    "column_system": "rope system",
    "column_hardware": "what holds the rope at the union",
    "column_anchors_usable": "false where a gate stands against it",
    "column_anchors_verdict": "candidate, inspect first, not ranked or not assessable",
    "column_anchors_force_kn": "force on the union, governing load case",
    "column_anchors_multiple_of_weight": (
        "force on the union over the rope's pull at the climber: how many times the weight of a climber who "
        "hangs still"
    ),
    "column_anchors_margin_median": "strength over stress at the weakest section, median",
    "column_anchors_margin_p5": "strength over stress, low side (5 % value with 75 % confidence): decisions are made on it",
    "column_anchors_overload_chance": "chance that stress exceeds the strength of sound wood in ordinary use",
    "column_anchors_chance_told": "chance that it breaks in ordinary use, with what no scan sees counted in",
    "column_anchors_governing_node": "node of tree.json at the outer end of the weakest section",
    "column_anchors_governing_mode": "way the weakest section would fail",
    "column_anchors_utilisation": "stress over strength of the weakest section, median",
    "column_anchors_deflection_m": "how far the tie-in point moves under the governing load",
    "column_anchors_isolation_class": (
        "of the line: 1 isolated, 2 can be isolated by manipulating the line, 3 over several limbs; empty "
        "= no throw found"
    ),
    "column_anchors_chance": "of one throw at the best aim, dispersion included",
    "column_anchors_expected_throws": "1 / chance",
    "column_anchors_stand_x": "of the standing place, first coordinate of the cloud's frame",
    "column_stand_y": "second coordinate",
    "column_stand_z": "height coordinate",
    "column_anchors_azimuth_deg": "of the aim, clockwise from the second axis (north)",
    "column_anchors_elevation_deg": "of the aim above level",
    "column_anchors_speed_ms": "of the bag at release",
    "column_method": "hand or launcher",
    "column_captured": "unions of the other limbs between the legs",
    "column_workings": "times the bag must be worked back",
    "column_anchors_fallback": "what catches if the union gives way, in order, with the drop",
    "column_anchors_coverage_share": "weighted share of the work served",
    "column_anchors_worst_angle_deg": "widest rope angle from plumb over the served work",
    "column_anchors_swing_m": "sideways travel of the worst slip",
    "column_anchors_rope_m": "climbing rope with tails",
    "column_anchors_throwline_m": "throwline",
    "column_anchors_score": "weighted criteria, 0 to 1; empty = not ranked",
    "column_anchors_rank_stability": "share of the perturbed rankings in which it keeps its place",
    "column_anchors_reasons": "why, why not",
    "column_anchors_reasons_data": "the same as code and values, a list in JSON",
    "column_limbs_rescan_data": "the same as code and values, a list in JSON",
    "column_unions_union": "label, lowest first",
    "column_unions_node": "node of tree.json where the axes meet",
    "column_unions_x": "easting or first coordinate of the cloud's frame",
    "column_unions_height": "above the terrain",
    "column_unions_parent_diameter": "just below the union, inside the scanned surface",
    "column_unions_parent_diameter_sd": "standard deviation; empty = not stated",
    "column_unions_aspect_ratio": "diameter of the smallest limb above over that of the parent limb",
    "column_unions_limb": "limb above the union that this row describes",
    "column_unions_continues": "true for the continuation of the parent limb",
    "column_unions_diameter": "of that limb, past the flare",
    "column_diameter_sd": "standard deviation",
    "column_unions_attachment_deg": "from the parent limb's own direction",
    "column_unions_slope_deg": "elevation of the limb just outside; negative = drooping",
    "column_unions_flags": (
        "what was noticed, such as codominant or bridged (a gap in the scan where the limbs join)"
    ),
    "column_limbs_limb": "number of the limb; 0 is the stem",
    "column_limbs_parent_limb": "limb it leaves; -1 for the stem",
    "column_limbs_branch_order": "0 stem, 1 limb off a stem, 2 and up the rest",
    "column_limbs_segments": "number of pieces",
    "column_limbs_length": "along the axis",
    "column_limbs_base_diameter": "of its first piece",
    "column_limbs_tip_diameter": "of its last piece",
    "column_limbs_volume": "of its pieces as cylinders",
    "column_limbs_seen_share": "part of the length that the scan saw; the rest are gaps that were filled in",
    "column_limbs_fit_for": (
        "what the scan is fit for on this limb: nothing, stem, main unions or small limbs; empty = not stated"
    ),
    "column_limbs_measured_share": (
        "part of the length whose radius is known to 15 % (standard deviation); empty = not stated"
    ),
    "column_limbs_rescan": "what a rescan of this limb would need; empty where nothing is wanting",
    "column_sections_union": "label of the union",
    "column_sections_step": "0 at the rope, counting down to the ground",
    "column_sections_node": "node of tree.json at the outer end of the piece",
    "column_sections_height": "of that node above the stem's foot",
    "column_sections_diameter": "of the piece",
    "column_sections_oval": (
        "longest over shortest width as the scan measured it; 1 = round, or no difference from round was "
        "measured"
    ),
    "column_sections_oval_azimuth": (
        "of the longest width, clockwise from the second coordinate's axis, 0 to 180; empty where round"
    ),
    "column_sections_oval_slope": "of the longest width from the level, 90 = upright; empty where round",
    "column_sections_seen": "false where the scan saw a gap",
    "column_sections_moment": "bending, governing load case",
    "column_sections_torsion": "twisting",
    "column_sections_axial": "along the piece",
    "column_sections_shear": "across the piece",
    "column_sections_stress": "median bending-equivalent stress",
    "column_sections_strength": "median strength of that section",
    "column_sections_utilisation": "stress over strength, median",
    "column_sections_governing": "true for the weakest section",
    "column_throws_union": "label of the union aimed at",
    "column_throws_isolation_class": (
        "1 isolated, 2 can be isolated by manipulating the line, 3 over several limbs"
    ),
    "column_throws_union_place": "the union in a climber's words, as in the table of unions",
    "column_throws_place": "standing place of standing.json",
    "column_throws_stand_x": "first coordinate of the cloud's frame",
    "column_throws_azimuth_deg": "clockwise from the second axis (north)",
    "column_throws_elevation_deg": "above level",
    "column_throws_speed_ms": "at release",
    "column_throws_chance": "of one throw giving this class or better, dispersion included",
    "column_throws_rest_distance_m": "where the line rests, out from the union",
    "column_throws_slides": "true where the line slides into the union by itself",
    "column_throws_least_weight_kg": "lightest throw weight that comes down by itself",
    "column_cuts_cut": "number of the cut, 1 is the first",
    "column_cuts_piece": "the crew's own name of the piece, else what it is",
    "column_cuts_x": "of the saw cut on the axis, easting or first coordinate of the cloud's frame",
    "column_cuts_height": "of the cut above the stem's foot",
    "column_cuts_diameter": "of the wood at the cut, beside its union past the flare",
    "column_cuts_length_m": "of the piece, straight from the cut to its farthest wood",
    "column_cuts_mass_kg": "green mass with twigs, median",
    "column_cuts_mass_p5_kg": "green mass, 5th percentile",
    "column_cuts_mass_p95_kg": "green mass, 95th percentile",
    "column_cuts_centre_x": "of the <centre|center> of mass, easting or first coordinate",
    "column_cuts_centre_y": "of the <centre|center> of mass, northing or second coordinate",
    "column_cuts_centre_z": "of the <centre|center> of mass, height coordinate",
    "column_cuts_moment_nm": "of the median weight about the cut",
    "column_cuts_life_support": "what the climber is planned to hang on; empty = not stated",
    "column_cuts_life_support_p5": "strength over stress of the planned life support in the tree as it then stands, low side, the least of its anchors",
    "column_cuts_block": "union that carries the rigging block; empty = none",
    "column_cuts_rope_over": "what the rigging rope runs over at that union: block, ring or bark",
    "column_cuts_block_rest_kn": "on the block at rest without friction, piece at its 95th percentile",
    "column_cuts_block_use_kn": "on the block, the worst of rest, hauling and a swing below it",
    "column_cuts_block_use_p5": "strength over stress of the block's union under that, low side",
    "column_cuts_drop_m": "fall of the piece's <centre|center> where it lies above the block",
    "column_cuts_block_stopped_kn": "on the block where such a piece is stopped hard",
    "column_cuts_block_stopped_p5": "strength over stress of the block's union under that, low side",
    "column_cuts_swing_m": "way of the piece to the far side of its swing below the block, in the plan",
    "column_cuts_swing_ms": "speed at the lowest point of that swing",
    "column_cuts_alarm_count": "alarms at this cut",
    "column_cuts_lost": "unions whose ranked anchors go with the piece",
    "column_cuts_hang": "anchors whose straight rope reaches the cut and that hold then, best ranked first",
    "column_cuts_alarms": "alarms in words, the most urgent first",
    "column_cuts_alarms_data": "the same as code and values",
    "column_coverage_union": "label of the union",
    "column_coverage_candidate": "row of the candidate in table anchors, from 1; with point the key of this table",
    "column_coverage_point": "number of the work point, from 1",
    "column_coverage_work_point": "label",
    "column_coverage_x": "of the work point",
    "column_coverage_y": "of the work point",
    "column_coverage_z": "of the work point",
    "column_coverage_kind": "kind of work",
    "column_coverage_weight": "<metres|meters> of limb, or 1 a point",
    "column_coverage_height": "above the stem's foot",
    "column_coverage_radius": "from the stem's foot, level",
    "column_coverage_angle_deg": "of the straight rope from plumb",
    "column_coverage_served": "true when within the limits of the settings",
    "column_coverage_fouled_by": "limb the straight rope meets first; -1 none",
    "column_strata_height_class": "1 = lowest of three equal steps of the work's height",
    "column_strata_distance_class": "1 = nearest of three equal steps of the work's distance from the stem",
    "column_strata_height_from": "lower bound, above the stem's foot",
    "column_strata_height_to": "upper bound, above the stem's foot",
    "column_strata_distance_from": "inner bound, level, from the stem's foot",
    "column_strata_distance_to": "outer bound, level, from the stem's foot",
    "column_strata_points": "work points in it",
    "column_strata_weight": "<metres|meters> of limb, or 1 a point, in it",
    "column_strata_by_rope": "weighted share of the work served by the straight rope of a ranked candidate",
    "column_strata_any_way": "weighted share served in any way: rope, redirect, limb walk, pole saw",
    # what a map layer shows
    "layer_stem": "foot of the assessed tree",
    "layer_neighbour_stems": "stems of other trees seen by the scan",
    "layer_limbs": "axes of stem and limbs",
    "layer_unions": "unions of the traced tree",
    "layer_anchors": "judged candidates; rank empty = not ranked",
    "layer_standing": "standing places with the best chance of one throw, by isolation class",
    "layer_throws": "flight of the best throw at each union, by isolation class",
    "layer_ropes": "rope of each ranked candidate",
    "layer_work": "work points and the first candidate that reaches each",
    "layer_zones": "areas drawn by the user",
    "layer_conductors": "overhead lines drawn by the user",
    "layer_drawn_points": "anchors in other trees and bases of basal lines drawn by the user",
    "layer_inventory": "inventory joined with assessed trees",
    # legends of the maps
    "legend_stem": "assessed tree",
    "legend_neighbour_stems": "stem of another tree",
    "legend_limbs": "axis of a limb",
    "legend_unions": "union",
    "legend_candidate": "candidate",
    "legend_inspect_first": "inspect first",
    "legend_not_ranked": "not ranked",
    "legend_not_assessable": "not assessable",
    "legend_chance": "{low:%} to {high:%} a throw",
    "legend_throws": "flight of the best throw",
    "legend_ropes": "rope",
    "legend_work": "work point",
    "legend_conductors": "overhead line: treat as live",
    "legend_anchor": "anchor in another tree",
    "legend_base": "base of basal lines",
    "legend_building": "building",
    "legend_road": "road",
    "legend_water": "water",
    "legend_no_standing": "no standing",
    "legend_inventory": "inventory record",
    "map_style_about": "planning aid, candidates to be inspected",
    # cells of anchors.csv, and what stands there without a candidate
    "fallback_cell": "{on}, drop {drop:m?}",
    "no_union_judged": "no union of this tree could be judged",
    "standing_meaning": (
        "chances of a union: of one throw at the best aim, in class 1, in class 2 or better, in class 3 or "
        "better"
    ),
    # contacts of the rope
    "contact_union": "{union}",
    "contact_limb": "the limb from {union}",
    "contact_limb_numbered": "limb {limb}",
    "contact_clear": "nothing: the taut rope clears it",
    "contact_turns": "{force:kN}, the rope turns by {turn:deg}",
    "contact_choked": "{force:kN}, choked",
    "contact_not_seen": "not seen",
    # redirects side by side
    "redirect_head_main": "Climber on",
    "redirect_head_union": "Redirect at",
    "redirect_head_work": "Brings into reach",
    "redirect_head_angle": "Rope angle there",
    "redirect_head_force": "Force on the redirect",
    "redirect_head_stress": "Main anchor",
    "redirect_head_fails": "If it fails",
    "redirect_note": (
        "Force on the redirect is given over the tension in the rope. Low: strength over stress at the low "
        "end. A redirect that was not checked, "
        "or not seen, is inspected and load-tested, or treated as not holding."
    ),
    "redirect_cell_work": "{n:n} work {n|point|points}",
    "redirect_cell_angle": "up to {after:deg}; straight from the main anchor {before:deg}",
    "redirect_cell_force": "{force:x2} times the tension[; low {low:x1}]",
    "redirect_cell_unseen": "{force:x2} times the tension; not seen",
    "redirect_cell_unchecked": "{force:x2} times the tension; not checked",
    "redirect_cell_stress": (
        "stress {ratio:x2?} times what it was; pulled {way:deg} off plumb[; low {low:x1}][{?estimate} "
        "(first estimate, own weight left out)]"
        "[{?weak}; too weak: do not use]"
    ),
    "redirect_cell_fails": "swing of {swing:m}",
    # a removal cut by cut
    "removal_head_cut": "Cut",
    "removal_head_height": "At",
    "removal_head_wood": "Wood there",
    "removal_head_piece": "Piece",
    "removal_head_planned": "Planned",
    "removal_head_hang": "Hang from",
    "removal_head_lost": "Unions lost",
    "removal_head_alarms": "Alarms",
    "removal_note": (
        "Beside an anchor: low end of strength over stress in the tree as it stands then (in the whole tree). "
        "Masses are green wood with twigs, 5th to 95th percentile. Never hang on a piece that is being "
        "removed, nor above the cut on it."
    ),
    "removal_cell_cut": "{number}. {piece}",
    "removal_cell_wood": "{diameter±sd:cm}",
    "removal_cell_piece": "{length:m}, {mass:kg}, {low:kg} to {high:kg}",
    "removal_cell_planned": (
        "[climber on {life}][: {against}][{?life}{?block}; ][block at {block}][: {block_against}][, {force:kN}][, {hard:kN} if stopped hard]"
    ),
    "removal_cell_not_planned": "not stated",
    "planned_word": "[{anchor} ]{word}",
    "planned_gone": "GONE",
    "planned_on_piece": "ON THE PIECE",
    "planned_refused": "REFUSED",
    "planned_fails": "DOES NOT HOLD THEN",
    "planned_unjudged": "NOT JUDGED",
    "planned_struck": "THE PIECE SWINGS THERE",
    "planned_shares": "SHARES WOOD WITH THE BLOCK",
    "planned_doubtful": "inspect first",
    "planned_elsewhere": "not judged",
    "planned_crooked": "no straight rope",
    "planned_limb_gone": "LIMB GONE",
    "planned_weak": "WEAK WOOD",
    "planned_too_much": "TOO WEAK FOR IT",
    "planned_must_run": "let it run",
    "removal_cell_alarms": "{n:n} {n|alarm|alarms}",
    "removal_cell_elsewhere": "“{anchor}”, in another tree",
    "removal_cell_no_hang": "lanyard and choked line",
    "removal_cell_no_loss": "none",
    # an inventory joined with results
    "inventory_local_frame": "The results are in a local frame: records were joined by identifier only.",
    "inventory_no_system": (
        "The inventory names no coordinate system: its places were taken to be in that of the results."
    ),
    "inventory_joined": (
        "{by_id:n} {by_id|record|records} joined by identifier, {by_place:n} by place. {open:n} "
        "{open|record has|records have} no assessed tree; "
        "{left:n} assessed {left|tree has|trees have} no record."
    ),
    "inventory_doubt": "Doubt on [{record}][{!record}a record without identifier]: {doubts}.",
    "inventory_far": "same identifier, but the places lie {distance:m} apart",
    "inventory_no_id": "the record has no identifier",
    "inventory_id_twice": "{n:n} records carry this identifier",
    "inventory_id_elsewhere": "the tree of this identifier[ stands {distance:m} away and] was not taken for it",
    "inventory_called_otherwise": "the tree that stands here is called like record {record}",
    "inventory_other_near": "another assessed tree stands {distance:m} from the record",
    "inventory_size": "stem measured {measured:cm}, recorded {recorded:cm}",
    # the paragraph on methods
    "methods_head": "# Methods",
    "methods_tree": (
        "The scan {source} was read into local <metres|meters> (origin {origin}[; coordinate system "
        "{crs}][{!crs}; coordinate system unknown]). One tree was "
        "traced to a rooted graph of {nodes:n} nodes, {limbs:n} limbs and {unions:n} unions; height "
        "{height:m2?}, diameter at breast height "
        "{dbh:m2?}[ (standard deviation {dbh_sd:mm})]."
    ),
    "methods_judged": (
        "Verdict on the scan: {verdict:word}. Species as used: {species} Throws of a throwline were judged "
        "from {places:n} standing places. "
        "{ways:n} ways to rig the unions were judged against {work:n} work points; {ranked:n} were ranked. "
        "Margins are strength over stress, with "
        "their 5th percentile. Chances are for one throw at the best aim, with dispersion."
    ),
    "methods_made": (
        "Computed with treescan {version} under Python {python} ({libraries}); random draws with seed "
        "{seed}."
    ),
    "methods_given": "What was given and stated:",
    "methods_scan": "scan: {source}",
    "methods_species": "species: [{species}][{!species}not stated]",
    "methods_systems": "rope systems: {systems}",
    "methods_work": "work: {n:n} {n|point|points}[ ({kinds})]",
    "methods_area": "drawn: {kind:word}[ {name}]",
    "methods_conductor": "drawn: conductor[ {name}][, {volts:kV}]",
    "methods_place": "drawn: place in a <neighbouring|neighboring> tree or for a base line, {name}",
    "methods_cuts": "removal: {n:n} {n|cut|cuts}",
    "methods_files": "every file that was read, its role and its checksum: run.json beside this folder",
    "methods_changed": "Settings that differ from those treescan comes with:",
    "methods_settings": "Settings:",
    "methods_sources": "Sources cited above and in the codebook, and how far each may be trusted:",
    "methods_columns": (
        "Columns of the tables: codebook.csv. NaN or an empty cell means not seen or does not apply; it is "
        "never a zero."
    ),
}
WORDS: dict[str, str] = {}
