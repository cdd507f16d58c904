"""English sentences and words of the plan of the climb: work, sets, lines, redirects, rescue, removal; by
code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # sets of tie-in points
    "set_none": "No tie-in point can be used, so there is no set.",
    "set_serves": (
        "{n:n} tie-in {n|point reaches|points reach} {share:%} of the work[{?ordered}, visited in this "
        "order]: {anchors}."
    ),
    "set_doubtful": "Doubtful by the sums: {anchors}. For {share:%} of the work there is no other line.",
    "set_leaves": (
        "{n:n} work {n|point is|points are} out of reach of every ranked tie-in point: use a redirect, a "
        "second line, pole tools or other means."
    ),
    "two_lines_none": "Fewer than two unions can be used: there is no two-line plan for this tree.",
    "two_lines_share_wood": (
        "No two lines of this tree are independent: the wood that would break first under one carries the other. "
        "A second line beside the first is a back-up for the rope, not for the tree."
    ),
    "two_lines_reach": "Two lines on different limbs reach {share:%} of the work.",
    "two_lines_back_up": (
        "Nowhere do two of these lines share the load. One carries it; the other hangs slack beside it as "
        "its back-up."
    ),
    "pairs_refused": (
        "{n:n} {n|pair was|pairs were} left out where they would share the load: together they do not hold, or "
        "one line does not hold when the other goes."
    ),
    # two lines to one climber
    "pair_shares": (
        "{first} and {second} share the load at {n:n} work {n|point|points}. {work} is the hardest of "
        "them: there the lines meet at {between:deg} and pull with {first_force:kN} and {second_force:kN} "
        "at rest.[{?flat} Beyond 120° each line bears more than the load itself.]"
    ),
    "pair_load": (
        "Hardest ordinary load there: {case:word}, {factor:x1} times the climber's weight. {first}: "
        "{first_strength} {second}: {second_strength}"
    ),
    "pair_common": (
        "Both lines depend on {wood} and on all wood below it. If that breaks, both go. Under both lines at "
        "once: {strength}"
    ),
    "pair_too_weak": "Too weak as two lines at this work point: keep away from it on this pair.",
    # a line to another anchor
    "line_pulls_upward": "The line would pull {union} upward. That was not checked: do not use it.",
    "line_end_load": (
        "Hardest ordinary load: {case:word}, {factor:x1} times the climber's weight. It pulls on {union} "
        "with {force:kN}: {strength}"
    ),
    "line_strength": (
        "strength over stress {low:x1} at the low end, {median:x1} in the middle; weakest is {wood}."
    ),
    "line_wood_stem": "the stem at {height:m}, {diameter:cm} thick",
    "line_wood_limb": "limb {limb} at {height:m}, {diameter:cm} thick",
    "line_lost": (
        "If the line over [{?drawn}“{other}”][{!drawn}{other}] fails, the climber swings {sideways:m} sideways and {drop:m} down to "
        "below {union}, at up to {speed:m/s}. "
        "The rope then pulls on {union} with {peak:kN}: {strength}[{?ground} The swing reaches the ground.]"
    ),
    # anchors in neighbouring trees
    "neighbour_straight": (
        "“{anchor}” is {away:m} away and {height:m} above the foot of this stem. A straight rope from there "
        "reaches {share:%} of the work[, at rope angles up to {angle:deg}]. Assess that tree on its own."
    ),
    "hung_running": (
        "Between “{first}” and [{?own}{second}][{!own}“{second}”]: one rope of {rope:m}, on which the climber's point runs freely, "
        "reaches {share:%} of the work. The lines meet at {between:deg} and pull with {first_force:kN} and "
        "{second_force:kN} at rest. Any shorter, they meet at more than {limit:deg} and pull much harder."
    ),
    "hung_fixed": (
        "Between “{first}” and [{?own}{second}][{!own}“{second}”]: two lines of {first_rope:m} and {second_rope:m}, fixed to one "
        "point, reach {share:%} of the work. The lines meet at {between:deg} and pull with "
        "{first_force:kN} and {second_force:kN} at rest. Any shorter, they meet at more than {limit:deg} "
        "and pull much harder."
    ),
    "hung_touches": "Wood of this tree touches the lines.",
    "hung_too_weak": "Do not use this line: {union} is too weak at its end.",
    "hung_other_tree": "Assess “{anchor}” in its own tree: nothing here says what it holds.",
    # redirects
    "redirects_refused": (
        "{n:n} more {n|redirect was|redirects were} looked at by all forces and left out: {n|it does|they do} not hold, "
        "or the scan cannot tell."
    ),
    "redirect_serves": (
        "A redirect at {union} brings {n:n} more work {n|point|points} into reach, at rope angles up to "
        "{after:deg}. Straight from the main anchor "
        "the rope angle is up to {before:deg}[, and limbs foul {fouled:n} of those ropes]."
    ),
    "redirect_bears": (
        "The redirect bears {force:x2} times the tension in the rope. The main anchor is pulled {way:deg} "
        "off plumb[; the stress the rope makes "
        "there becomes {ratio:x2} times what it was]."
    ),
    "redirect_margins": (
        "With all forces and the tree's own weight, strength over stress at the low end is {main:x1} at the "
        "main anchor"
        "[ and {redirect:x1} at the redirect]."
    ),
    "redirect_margins_estimate": (
        "First estimate only, from the rope's pull without the tree's own weight; the true figures may be "
        "lower. Strength over stress at the low "
        "end is {main:x1} at the main anchor[ and {redirect:x1} at the redirect]."
    ),
    "redirect_spoils_main": (
        "Not ranked: strength over stress at the main anchor falls to {low:x1} at the low end; {asked:x1} "
        "is needed."
    ),
    "redirect_too_weak": (
        "Not ranked: strength over stress at the redirect is {low:x1} at the low end; {asked:x1} is needed."
    ),
    "redirect_unchecked": (
        "The strength of {union} was not checked. Inspect and load-test it, or treat it as not holding."
    ),
    "redirect_unseen": "{why} Inspect and load-test {union}, or treat it as not holding.",
    "redirect_barred": "Not ranked. {why}",
    "redirect_rope": "It takes {more:m} more rope than the straight way.",
    "redirect_fails": "If the redirect fails, the rope springs back {swing:m} to the main anchor's plumb.",
    # work that is left over
    "left_beyond_angle": "{anchor} stands over it but holds only within {within:deg} of plumb; the rope there is at {angle:deg}.",
    "left_refused": "{anchor} would reach it and is not offered[, low end {low:x}][{?unseen}: the scan could not tell].",
    "left_fouled": "{limb} stands in the way of the straight rope from {anchor}.",
    "left_too_flat": "The rope from {anchor}, the nearest to plumb, is at {angle:deg}; {asked:deg} is the limit, and no redirect or limb walk that holds helps.",
    "left_above": "It lies above every line that is offered.",
    "left_no_anchor": "No line is offered on this tree.",
    "left_group": (
        "Left over, {share:%} of the work, {low:m} to {high:m} up and {near:m} to {far:m} from the stem's foot: {why:word}[ (most often {most})]."
    ),
    # rescue
    "rescue_lowered": (
        "On {anchor} the ground crew can lower the climber if the base anchor is releasable and someone "
        "stays at it. A cut rope defeats this."
    ),
    "rescue_line": (
        "Rescue line over {anchor}: {where}. It reaches {share:%} of the same work. [{?part}The rest is out of its reach: a "
        "casualty there needs another line. ]Leave it in, ready to climb."
    ),
    "rescue_same_stem": "round the same stem, {there:cm} thick there and {here:cm} at {union}",
    "rescue_other_wood": "on other wood than {anchor}",
    "rescue_shares_wood": (
        "It is not independent: {wood} would break first and carries this line and {anchor}. Another tree or a "
        "platform is free of that."
    ),
    "rescue_none": (
        "No ranked anchor on other wood carries a rescuer and a casualty for {anchor}: use a "
        "<neighbouring|neighboring> tree or a platform, or do not climb."
    ),
    "rescue_blocked": (
        "Straight below {blocked:n} of {n:n} work points a casualty who is lowered comes onto {by:names}: "
        "move the casualty sideways first."
    ),
    "over_no_stand": "a no-stand area[ “{name}”]",
    "over_water": "water[ “{name}”]",
    "over_road": "a road[ “{name}”]",
    "over_building": "a drawn building[ “{name}”]",
    # a removal cut by cut
    "cut_limb": "limb {limb}",
    "cut_limb_at": "limb {limb} beyond {at:m}",
    "cut_limb_height": "limb {limb} above {height:m}",
    "cut_stem": "the stem above {height:m}",
    "cut_piece": (
        "Cut {number}, {piece}: {diameter:cm} thick at {height:m}. The piece is {length:m} long and weighs "
        "about {mass:kg}, "
        "{low:kg} to {high:kg}. Its weight turns about the cut with {moment:kNm}."
    ),
    "cut_loses": "With it {anchors:names} are lost.",
    "cut_hang": "A straight rope reaches this cut from {anchors:names}.",
    "cut_no_hang": "No ranked anchor reaches this cut by straight rope: use a lanyard and a choked line.",
    "anchor_quoted": "“{anchor}”",
    "cut_hang_elsewhere": (
        "From anchors drawn in other trees a straight rope reaches this cut: {anchors:names}. Nothing here says what "
        "they hold."
    ),
    "cut_strengths": (
        "Low end of strength over stress in the tree as it stands at this cut (in the whole tree): {anchors}."
    ),
    "anchor_then": "{anchor} {low:x1?}[ ({whole:x1})][{?first} (inspect first)]",
    "rope_far_from_plumb": "it hangs {angle:deg} from plumb, {limit:deg} is the limit.",
    "rope_fouled": "{wood} is in its way.",
    "cut_leaves_spar": "After it only the spar stands.",
    "cut_anchors_go": "{n:n} {n|anchor goes|anchors go} with this piece: nobody may hang on {n|it|them}.",
    "cut_no_anchor_left": (
        "No ranked anchor is left after this cut: use a <neighbouring|neighboring> tree, spar technique "
        "with choked line and lanyard, or a platform."
    ),
    "support_gone": "{union} is already gone at this stage: no life support on it.",
    "support_on_piece": (
        "Life support on {union} is on or above the piece that is cut: move to another anchor before this "
        "cut."
    ),
    "support_in_other_tree": (
        "Life support on “{anchor}”, in another tree: nothing here says what it holds. Assess that "
        "tree on its "
        "own."
    ),
    "support_never_judged": (
        "Life support on {union}: it was never judged as an anchor. Do not hang on it unless a "
        "competent person "
        "accepts it."
    ),
    "support_refused": "Life support on {union}, which is not ranked: {why} Do not hang on it.",
    "support_fails_then": (
        "Life support on {anchor} is not to be hung on in the tree as it stands at this cut: {why}"
    ),
    "support_doubtful_then": "Life support on {anchor}, in the tree as it stands at this cut: {why}",
    "support_contact_gone": "The wood that its rope bears on is gone.",
    "support_not_straight": "No straight rope from [{?drawn}“{anchor}”][{!drawn}{anchor}] serves this cut: {why}",
    "margin_low_then": (
        "Strength over stress is {middle:x} and may be as low as {low:x}. At least {asked:x} is needed at the low end."
    ),
    "margin_doubtful_then": (
        "Strength over stress may be as low as {low:x}[ ({whole:x} in the whole tree)], below {asked:x}: inspect and "
        "load-test it before use."
    ),
    "support_doubtful": "Life support on {union}, which is to be inspected first: {why}",
    "support_shares_rigging": (
        "Life support on {union} and the rigging load the same wood, {wood}: keep them apart."
    ),
    "piece_near_conductor": (
        "The piece stands {stands:m} from {to} and, turned about its cut, comes within {turned:m}; "
        "the approach "
        "distance used is {limit:m}. Ask the line owner before this cut."
    ),
    "piece_itself": "the piece",
    "area_itself": "the edge of the area",
    "piece_from_conductor": (
        "The piece stands {stands:m} from {to} and, turned about its cut, comes within {turned:m}; the approach distance "
        "used is {limit:m}."
    ),
    "piece_over_area": (
        "The piece [{?over}stands over a {what:word}[ “{name}”]][{!over}stands {stands:m} from a {what:word}[ “{name}”] in "
        "the plan] and, turned about its cut, comes within {turned:m} of it: close it off. A thrown or rolling piece goes "
        "farther."
    ),
    "piece_from_area": (
        "The piece stands {stands:m} from a {what:word}[ “{name}”] in the plan and, turned about its cut, comes within "
        "{turned:m} of it."
    ),
    "rigging_limb_gone": (
        "The block is planned at {union}, but the limb that made it came off before: nothing there keeps a sling from sliding. "
        "Choose another union."
    ),
    "set_in_removal": (
        "This set holds for the tree as it stands before the first cut.[ {goes} Each cut says what is left to hang on.]"
    ),
    "goes_with_cut": "It goes with cut {cut:n} of the removal: nobody hangs on it from then on.",
    "rescue_goes_with_cut": "{anchor} goes with cut {cut:n}: name another rescue line before it.",
    "set_goes": "{anchor} goes with cut {cut:n}.",
    "support_weakest_below": (
        "Life support on {union} would break first at {wood}, which the rigging loads too: what both together do was "
        "not computed."
    ),
    "support_shares_stem": (
        "{anchor} and the block at {union} share but the stem below {height:m}. Under climber and block at once: {calm}"
        "[ If the piece is stopped hard: {hard}][{?weak} Keep them apart, or make the pieces smaller.]"
    ),
    "rigging_load": (
        "At rest, without friction, a block bears twice the piece's weight: up to {force:kN} for "
        "{weight:kN}. What it asks of its union was not computed. Rigging design is the rigger's."
    ),
    "block_load": (
        "The block at {union}, choked round the wood there, bears up to {rest:kN} at rest for a piece of {weight:kN}, "
        "{hauled:kN} where the piece is hauled with the most friction {over}[, and {swing:kN} in a swing from {angle:deg}]: {strength}"
        "[ Hauled over bare bark, without a block, it would bear up to {bark:kN}.]"
    ),
    "hauled_block": "measured in blocks",
    "hauled_ring": "measured on rings",
    "hauled_bark": "taken on bark, for which no measurement was found",
    "block_stops": (
        "The piece lies above the block: it falls {free:m} before the rope bears, its <centre|center> {drop:m} in all. Stopped hard by the rope alone the block bears up to "
        "{computed:kN}[ (friction {friction:x2} keeps the long leg from stretching)]; {times:x1} times the weight has been told of measurements: with {force:kN}, {strength} Rope that "
        "runs pulls less."
    ),
    "rigging_is_the_riggers": "Rigging design is the rigger's.",
    "block_too_much": (
        "The block asks up to {force:kN} of {union}: strength over stress [may be as low as {low:x}][{!low}is not known], "
        "at least {asked:x} is needed."
    ),
    "block_must_run": (
        "A piece stopped hard pulls the block with {force:kN}: strength over stress at {union} [may be as low as {low:x}]"
        "[{!low}is not known]. Take smaller pieces or let the rope run."
    ),
    "piece_swings": (
        "Hung at its balance the piece swings {sideways:m} sideways at up to {speed:m/s}, and back to the cut; its wood "
        "reaches {radius:m} from its <centre|center>.[ It may strike {strikes}: its <centre|center> passes {past:m} from it.]"
        "[ Its <centre|center> passes {ground:m} above the ground.] A tag line "
        "holds it back."
    ),
    "swing_near_climber": (
        "In its swing the piece [{?strikes}can strike the climber or the climber's rope: its <centre|center> passes "
        "{centre:m} from them and its wood reaches {radius:m} from there][{!strikes}comes within {away:m} of the climber or "
        "the climber's rope, less than {room:m}]. Nobody hangs there while it swings, and it comes back to the cut: hang from "
        "elsewhere, hold it with a tag line, or take smaller pieces."
    ),
    "swing_near_conductor": (
        "In its swing the piece comes within {away:m} of {to}; the approach distance used is {limit:m}. Ask the line "
        "owner before this cut."
    ),
    "swing_over_area": (
        "The swing of the piece comes [within {away:m} of a {what:word}][{!away}over a {what:word}][ “{name}”]: close it off."
    ),
    "rigging_gone": "The rigging point is already gone at this stage: {piece} cannot hang on it.",
    "rigging_on_piece": "The rigging point is on the piece that is cut: {piece}.",
    "rigging_on_refused": (
        "Rigging on {union}, whose wood was found too weak or was refused for a climber: {why} "
        "Rigging design is "
        "the rigger's."
    ),
    # the climb as a whole, on the page
    "section_site_head": "Site",
    "section_set_head": "Tie-in points for all the work",
    "section_shares": "Ways to the work: {ways}.",
    "section_share": "{way} {share:%}",
    "section_two_lines_head": "Two lines",
    "section_neighbours_head": "Anchors in <neighbouring|neighboring> trees",
    "section_redirects_head": "Redirects",
    "section_rescue_head": "Rescue",
    "section_retrieval_head": "Getting the rope down",
    "section_left_out_head": "Judged, and left out",
    "section_kit_head": "Kit for the tree",
    "section_removal_head": "Taking it down, cut by cut",
    "section_spar_head": "Stem by height",
    "section_spar": "{height:m0}: {diameter±sd:cm}",
}
WORDS: dict[str, str] = {}
