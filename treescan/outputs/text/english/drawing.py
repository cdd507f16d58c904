"""English of the drawings: titles, captions and the labels inside them, by code."""

from __future__ import annotations

CHARTS: dict[str, str] = {
    "chart_candidate": "{rank}  {label} {system:word}",
    "chart_margins": "Strength over stress of each candidate, low to high",
    "chart_margins_axis": "strength over stress; 1 = breaks; bar: 5 % to 95 %, stroke: median",
    "chart_chances": "Chance of one throw",
    "chart_coverage": "Share of the work within the rope angle",
    "chart_no_throw": "no throw from the ground: reached by advancing",
    "chart_no_throw_short": "no throw",
}

VIEWS: dict[str, str] = {
    "draw_weakest": "weakest section",
    "draw_stand": "stand",
    "draw_stand_tip": "standing place of the throw",
    "draw_to_use": "[{?round_stem}rope round the stem here][{!round_stem}limb to use]",
    "draw_rope": "rope[{?two}, two legs]",
    "draw_flight": "flight of the bag",
    "draw_swing": "a slip swings here",
    "draw_first_line": "{union}, first line",
    "draw_first_line_tip": "first line",
    "draw_elevation": "Elevation of the tree from the {side:compass}[{?stand}, the standing place]",
    "draw_elevation_caption": "As seen from the {side:compass}[{?stand}, the standing place]. Dashed wood "
    "is hidden behind other limbs; hatched wood was not "
    "seen by the scan.",
    "draw_catch": "{label} catches",
    "draw_stage": "The tree as it stands at cut {number}, {piece}, from the {side:compass}",
    "draw_stage_caption": (
        "Cut {number}: {piece}. [{alarms:n} {alarms|alarm|alarms}. ]Seen from the {side:compass}: white stands, dark comes "
        "off, the heavy line is the cut."
    ),
    "draw_stage_wire": "conductor {number}",
    "draw_stage_block": "block {union}",
    "draw_anchor": "{label}  {height:m}",
    "draw_base": "base: “{name}”",
    "draw_base_tip": "base of the line, tied to “{name}”",
    "draw_plan": "Plan of the tree, north up, with standing places",
    "draw_plan_caption": (
        "North up; rings every {ring:m0} from the stem.[ Dashed: stand clear of it while {tested} is "
        "load-tested, {clear:m0} round the point straight below it.]"
    ),
    "draw_plan_places": "{rings} Small circles are standing places found on the ground.",
    "draw_plan_chances": "{rings} Darker and larger circles: better chance of {line:word} over {union} with "
    "the best aim from there; {top:%} at most. A bag that "
    "comes down within {near:m0} of the thrower counts for less.",
    "draw_rescue": "Rescue seen from the {side:compass}: the casualty, the rescuer's line and the way down",
    "draw_rescue_caption": "Seen from the {side:compass}. Thick line: the casualty's rope. Dash-dotted: the rescuer's line. "
    "Dashed: back to plumb and down to the ground.",
    "draw_hangs_from": "{label}, main line",
    "draw_casualty": "casualty",
    "draw_rescuer": "{label}, rescuer",
    "draw_way_down": "down",
    "draw_building": "building",
    "draw_road": "road",
    "draw_water": "water",
    "draw_no_stand": "no standing",
    "draw_wire": "overhead line, [{voltage:kV1}][{!known}voltage unknown]: treat as live",
    "draw_wire_seen": "wire seen[{?gap} in part][, {voltage:kV1}]: treat as live",
    "draw_wire_seen_tip": "a wire that the scan saw, from end to end[{?gap}; part of the way between was not seen]",
    "draw_other_anchor": "anchor in “{name}”",
    "draw_other_base": "base at “{name}”",
    "draw_by_user": "{what}, drawn by the user",
    "draw_around": "seen by the scan, not wood of this tree",
    "draw_neighbour": "stem of a <neighbouring|neighboring> tree",
    "draw_clear": "stand clear of the load test",
    "draw_north": "N",
    "draw_window": "{label} as the thrower sees it",
    "draw_window_brief": (
        "{label} from the hand, in degrees left and right of the aim and above level. Outlined: wanted "
        "limb. Box: where nine of ten useful bags pass. [Bags, {marks}; ]cross: stopped."
    ),
    "draw_window_caption": (
        "{label} as the thrower sees it from the hand, in degrees left and right of the aim and above "
        "level; the aim is {elevation:deg} up. Wanted limb orange, nearer wood darker, dashed: the flight "
        "aimed at. [Box: where nine of ten useful bags pass. Bags, {marks}. ]Crosses: stopped[; "
        "{outside:%} are stopped before, outside the picture]. Of all throws spread about this aim: "
        "{falls}.[ Twigs and leaves catch some more: the chance of one throw is {chance:%}.]"
    ),
    "draw_fall": "{share:%} {what}",
    "draw_aim": "aim",
    "draw_right": "{angle:deg} right",
    "draw_left": "{angle:deg} left",
}

SCALE: dict[str, str] = {
    "use_under_10": "under 10 % of capacity",
    "use_under_25": "10 to 25 % of capacity",
    "use_under_50": "25 to 50 % of capacity",
    "use_under_100": "50 to 100 % of capacity",
    "use_over": "over capacity",
    "use_unloaded": "seen, not in the load path",
    "use_unseen": "not seen by the scan",
}

PAPER: dict[str, str] = {
    "paper_skeleton": "Skeleton by branch order; dotted: not seen by the scan",
    "paper_stem": "stem",
    "paper_first_order": "first order",
    "paper_second_order": "second order",
    "paper_finer": "third and finer",
    "paper_to_east": "<metres|meters> to the east",
    "paper_to_north": "<metres|meters> to the north",
    "paper_height": "height above the stem's foot, m",
    "paper_taper": "Taper: diameter with one standard deviation",
    "paper_thickest": "thickest limbs",
    "paper_along": "distance along the axis, m",
    "paper_diameter": "diameter, cm",
    "paper_capacity": "Use of capacity (median stress over strength) from the rope down to the ground",
    "paper_from_rope": "<metres|meters> along the wood from the rope",
    "paper_use": "use of capacity, %",
    "paper_chance": "Chance that one throw sets {line:word} over {union}",
    "paper_chance_bar": "chance",
    "paper_east": "<metres|meters> east of the stem",
    "paper_north": "<metres|meters> north of the stem",
    "paper_reach": "Work in reach by height and by distance from the stem (weighted share)",
    "paper_strata": "Share of the work reached in each part of the crown, with bounds in <metres|meters>",
    "paper_stratum": "by rope {rope:n} %; any way {every:n} %; {points:n} {points|point|points}",
    "paper_level": "level distance from the stem, m",
    "paper_all_ranked": "all ranked candidates",
    "paper_first": "first: {label}",
    "paper_served": "in reach, %",
}

SCENE: dict[str, str] = {
    "scene_ranked": "anchor, ranked candidate",
    "scene_unranked": "anchor, not ranked",
    "scene_anchor": "anchor {rank} {label} {system}",
    "scene_not_ranked": "not ranked {label}",
    "scene_branches": "branches",
    "scene_stem": "stem",
    "scene_limb": "limb {number} order {order}",
    "scene_mesh": "{wood}, {use}",
    "scene_axes": "x = east, y = up, z = -north, local <metres|meters>; map = (x + origin 0, -z + origin 1, "
    "y + origin 2)",
    "scene_colours": "greatest median use of bending capacity over all ranked candidates; <grey|gray> = not "
    "seen by the scan",
}

TEXTS: dict[str, str] = CHARTS | VIEWS | SCALE | PAPER | SCENE
WORDS: dict[str, str] = {
    "line_isolated_article": "an isolated line",
    "line_isolable_article": "a line that can be isolated",
    "line_several_article": "any line",
    "bag_isolated": "diamond: over it, isolated",
    "bag_isolable": "square: over it, to be isolated",
    "bag_several": "triangle: over it and other limbs",
}
