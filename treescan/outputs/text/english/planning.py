"""English sentences and words of `planning` without its climb and work, by code."""

from __future__ import annotations

_NAMES: dict[str, str] = {
    "anchor_named": "{label} {system:word}",
    "the_stem": "the stem",
    "limb_at_union": "the [{diameter:cm} ]limb at {union}",
    "limb_numbered": "a branch (limb {limb})",
    "conductor_drawn": "conductor {number}[ “{name}”] ({voltage:kV1})",
    "conductor_of_unknown_voltage": "conductor {number}[ “{name}”] (voltage unknown)",
    "wire_seen": "a wire the scan saw (voltage unknown)",
    "wire_stated": "a wire the scan saw ({voltage:kV1} as stated)",
    "hits_nothing_seen": "nothing the scan saw",
    "hits_ground": "the ground",
    "hits_feet_first": "{hits} (feet first)",
    "hits_beside_the_tree": "a {kind:word}",
    "no_work_served": "no work reached",
}

_GATES: dict[str, str] = {
    "scan_not_assessable": "Not seen: the scan cannot be assessed.[ {why}]",
    "height_not_seen": "Not seen: from {low:m0} to {high:m0} up the scan shows too little to judge anything.",
    "limb_not_seen": "Not seen: the scan shows too little of the limb under the rope to judge it.[ {rescan}]",
    "union_bridged": "Not seen: the scan has a gap where the limbs join, so the union is doubtful.",
    "limb_bridged": "Not seen: the scan has a gap on the limb under the rope.",
    "diameter_not_seen": "Not seen: no diameter was measured under the rope.",
    "strength_not_seen": "[Not seen. {why}][{!why}Not seen: the scan cannot tell whether it holds.]",
    "rescan_limb": (
        "To settle it: scan again, leaf-off, so that the wood {height:m} up, {away:m} {azimuth:compass} of "
        "the stem's foot, is seen from the {azimuth:compass} and one other side, or have a climber measure "
        "it there by hand."
    ),
    "rescan_stem": (
        "To settle it: scan again, leaf-off, so that the wood {height:m} up is seen from two sides, or "
        "have a climber measure it there by hand."
    ),
    "dead_suspect": (
        "Suspected dead: the limb looks dead in the scan. It is no anchor unless a competent person has "
        "inspected and accepted it."
    ),
    "outer_limb_dead": (
        "Suspected dead: limb {limb} under the climber's leg looks dead in the scan. The line is no anchor "
        "unless a competent person has inspected and accepted that limb."
    ),
    "too_thin": (
        "Too thin: the [{?stem}stem][{!stem}limb] is {diameter:cm1} thick under the rope; at least "
        "{asked:cm} is needed."
    ),
    "limb_droops": "The limb slopes down at {angle:deg}: the rope can slide out along it.",
    "does_not_hold": "Does not hold[: {why}][{!why}.][ {where}]",
    "margin_low": (
        "Strength over stress is [{median:x} and may be as low as {p5:x}][{!p5}not known]. At least "
        "{asked:x} is needed at the low end[ ({mode:word}; load case: {case:word})].[ {where}]"
    ),
    "breaks_first": "It would break first [where the wood is {diameter:cm} thick, ]{height:m} up, [{away:m} "
    "from][{!away}next to] the rope.",
    "anchor_near_conductor": (
        "The tie-in point comes within {distance:m} of {to}; the approach distance used is {limit:m}. Ask "
        "the line owner."
    ),
    "not_reachable": (
        "Not reachable: no throw sets a line over it that this rope system can use, and no way of climbing "
        "up to it was found."
    ),
    "no_rescue_line": (
        "It holds one climber, not a rescuer as well, and no line on other wood holds two people and reaches this "
        "work: not offered."
    ),
    "serves_no_work": (
        "It reaches none of the work: every straight rope is too flat or meets wood, or the work lies "
        "above it."
    ),
    "stated_against": "{who}, {when}: {kind:word}. “{why}”",
    "defect_stop_breaks": "{statement}. In an abrupt stop strength over stress is then {median:x} in the middle and {p5:x} at the low end.",
    "defect_margin_low": "{statement}.[ Strength over stress may then be as low as {p5:x}.]",
}
"""What stands against a candidate."""

_DOUBTS: dict[str, str] = {
    "stated_below": "{union} lies on its way down, and {who}, {when}, said of it: {kind:word}. “{why}” Inspect that union first.",
    "margin_doubtful": (
        "Strength over stress may be as low as {p5:x}, below {asked:x}: inspect and load-test it before "
        "use."
    ),
    "one_climber_only": (
        "One climber only: it does not hold a rescuer as well. A rescuer goes up another line, named "
        "in the plan of the rescue: rig it before the climb, and climb no higher or farther out than it reaches."
    ),
    "two_people_within": "With a rescuer on the same rope only within {angle:deg} of plumb.",
    "works_within": "Only for work within {angle:deg} of plumb: it does not hold a rope that stands flatter.",
    "test_first": (
        "Strength over stress may be as low as {low:x}. Before use it must pass a load test: {people:n} people "
        "hanging still on the rope, or {pull:kN}, {size:x1} times the hardest ordinary use. That bends the "
        "weakest section with {moment:kNm}."
    ),
    "check_doubtful": "Doubtful[: {why}][{!why}.]",
    "exceptional_margin_low": (
        "In an exceptional case ({case:word}) strength over stress may be as low as {p5:x}: no slack, no "
        "swing."
    ),
    "may_be_too_thin": (
        "The [{?stem}stem][{!stem}limb] may be thinner than {asked:cm}: it measured {diameter:cm1} with an "
        "error of {sd:cm1}."
    ),
    "one_side_seen": "The scan saw {arc:deg} of the 360° round the limb: the far side is unknown.",
    "codominant": (
        "Codominant: the second limb is {ratio:%} as thick as the thickest. Included bark is possible and "
        "cannot be seen in a scan."
    ),
    "lively": (
        "Springy: under the hardest ordinary load the tie-in point moves about {deflection:m2} and turns "
        "by {turn:deg}."
    ),
    "rope_can_slide": (
        "Pulled from the side the rope can slide {way:m} out along its limb: choke it, or set it where the "
        "limb rises."
    ),
    "common_wood": "Anchor and back-up hang on the same wood: {why}.",
    "line_over_unions": (
        "The line also runs over [{unions:names}][{!unions}other limbs][{?more}, and {more:n} other "
        "{more|limb|limbs}]: inspect those unions too."
    ),
    "throw_near_conductor": (
        "The throw comes within {distance:m} of {to}; the approach distance used is {limit:m}. This throw "
        "is not used: set the line from another place or by climbing."
    ),
    "clearance": "The {what:word} comes within {distance:m} of {to}; the approach distance used is {limit:m}."
,
    "throw_passes_over": (
        "The throw passes over a {what:word}[ “{name}”]: close it off, or throw from another place."
    ),
    "swings_over_building": "A slip from the outermost work swings over a drawn building.",
    "tied_elsewhere": (
        "The base is tied to “{to}”, {away:m} from this stem; that was not judged.[{?fouled} Wood of this "
        "tree is in the way of the base leg: clear it, or the loads given here are wrong.]"
    ),
    "hangs_from_outer_limbs": (
        "The climber would not hang from {union} but from limbs farther out, under the climber's leg: "
        "{limbs:names}.[ Strength over stress of the weakest of them is {p5:x1} at the low end, "
        "{median:x1} in the middle.] Work the line off them first, or load-test it with the line as it "
        "lies. How far the rope slides along them was not judged."
    ),
    "limb_bears": "limb {limb}[ of {diameter:cm1}][ with {force:kN} on it]",
    "test_hung_not_pulled": "That test changes nothing at {union}: no direction is stated, people who hang pull straight "
    "down, and in use the climber's leg stands off plumb there. If it was pulled so, state the direction: “as in use”.",
    "load_test_passed": "{who}, {when}: load test passed. “{why}”",
    "noted": "{who}, {when}, a note that changes nothing: “{why}”",
    "limb_fouls": "{limb}: {share:%} of the work lies behind it",
}
"""What to look at first although nothing stands against a candidate."""

_STATEMENTS: dict[str, str] = {
    "statement": (
        "{when}, {who}: [{union}][limb {limb}][everything above {above:m}][{?tree}the tree] {kind:word}[ "
        "({share:%} of the strength left)]: “{why}”"
    ),
    "statement_changes": "{statement} → changes {unions:names}",
    "statement_changes_nothing": "{statement} → changes no candidate",
    "first_has_changed": "First to inspect was [{before}][{!before}none], is now [{after}][{!after}none].",
}

_SITE: dict[str, str] = {
    "poles_without_wires": (
        "Poles stand beside the tree but no wire is in the scan or on the site plan: wires thinner than "
        "the point spacing may be missing."
    ),
    "wires_claimed": (
        "The scan claims a wire that nobody confirmed, at {places:n} {places|place|places}, nearest {away:m} from the "
        "stem to the {azimuth:compass}, {height:m} up. Taken for live with unknown voltage: nothing within {limit:m} is "
        "ranked. {refused:n} of {n:n} candidates are refused for it, {alone:n} for nothing else, the way up apart. Look at it first. Then say "
        "what it is: no wire or its voltage, with --wires or on the site plan."
    ),
    "ground_falls": (
        "The ground at the tree falls {angle:deg} to the {downhill:compass}; uphill is {uphill:compass}. A throw bag, a piece that was cut and "
        "a log roll or slide downhill: nobody stands or works below the tree on that side. Rope and way down are longer there: bring a casualty "
        "down on the uphill side where it is free."
    ),
    "wires_said": (
        "The scan saw a wire at {places:n} {places|place|places}.[ As stated it carries {voltage:kV1}.][{!voltage} As stated there "
        "is none.] Look again before anyone throws or climbs."
    ),
    "work_near_conductor": (
        "{points:n} work {points|point lies|points lie} within {limit:m} of {conductor}, the nearest "
        "({work}) at {distance:m}: ask the line owner before any work there."
    ),
    "other_base": (
        "Basal lines are judged tied to the foot of this stem. Another stem of {diameter:cm} stands "
        "{away:m} to the {azimuth:compass}: where this stem is doubtful, inspect that one and draw it as a "
        "base in the site plan."
    ),
}

_RANK: dict[str, str] = {
    "why_this": "For it: {strong:names}[. Against it: {weak}].",
    "ranked_after": "Ranked after {better} for its {behind:names}[, although its {ahead:word} is better].",
    "ranked_after_slightly": (
        "Ranked after {better} for slightly lower scores[, although its {ahead:word} is better]."
    ),
    "ranked_after_other_unions": (
        "Ranked after {better} only because other unions come before a second system on the same one."
    ),
    "score_against": "{criterion:word} ({own:x} to {other:x})",
    "criterion_named": "{criterion:word}",
    "tied_with_next": "A tie: this scan and these weights cannot tell it apart from {next}[ and on down to rank {last:n}]. Let the look at the "
    "tree decide.",
    "neither_ranked": "Neither {one} nor {other} is ranked.",
    "one_ranked": "{ranked} is ranked, {other} is not.",
    "first_reasons": "[{one}][ {other}]",
    "ranked_after_what_holds": (
        "Ranked after {better}: that one holds by the sums, this one [{?doubtful}is doubtful][{!doubtful}reaches "
        "little of the work]."
    ),
    "holds_and_other_doubtful": "{better} holds by the sums; {other} is doubtful.",
    "scores_more": "{better} scores {own:x} against {score:x} of {other}[, mostly for {criteria:names}].",
    "other_better_in": "{other} is better in {criteria:names}.",
    "other_better_in_nothing": "{other} is better in nothing that is scored.",
    "fact_height": "it stands {height:m} up with {share:%} of the work below it",
    "fact_margin": "strength is {p5:x1} times the stress at the low end ({median:x1} in the middle)",
    "fact_rope_angle": "the rope hangs {angle:deg} off plumb on average over the work it reaches",
    "fact_coverage": "it reaches {share:%} of the work",
    "fact_no_throw": "no throw from the ground sets a line over it: it is reached by climbing",
    "fact_throw": "the line takes {throws:throws} on average ({method:word})",
    "fact_catch_unknown": "what catches the climber if it fails is not known",
    "fact_no_catch": "nothing catches the climber if it fails",
    "fact_catch": "if it fails, {label} catches after a drop of {drop:m}",
    "fact_effort": "it takes {rope:m0} of rope and {stops:n} {stops|stop|stops} on the way up",
}

_APPROACH: dict[str, str] = {
    "approach_recommended": "Recommended: {way:word}[ ({anchor})].",
    "approach_for": "For it: {why}.",
    "approach_against": "Against it: {why}.",
    "approach_scan": "{why}",
    "approach_instead": "Instead: {way:word} ({anchor}). For it: {for_it}. Against it: {against_it}.",
    "approach_also": "Also possible: {way:word}. {why}",
    "approach_safer_access": (
        "If safer access (ground, platform) is reasonable, it comes before every one of these."
    ),
    "no_union_to_judge": "the tree has no union to judge",
    "none_passes": (
        "none of {candidates:n} {candidates|candidate|candidates} passes; the commonest reason, {times:n} "
        "{times|time|times}: {gate:word}"
    ),
    "none_but_for_wires": (
        "{n:n} {n|candidate is|candidates are} refused only for a wire that the scan claims and nobody confirmed: look at it "
        "first, and say what it is"
    ),
    "isolate_throws": (
        "the line takes {throws:throws} on average to lie over {label} alone, so any rope system can use it"
    ),
    "isolate_tested_first": "nobody leaves the ground before the anchor has been load-tested",
    "isolate_less_inspected": (
        "an anchor set from the ground is inspected less, so look at it through binoculars, and by hand on "
        "arrival before any work"
    ),
    "isolate_workings": "the bag must be worked back {times:n} {times|time|times}",
    "isolate_no_catch": "nothing below it is known to hold the climber if it fails",
    "basal_lowerable": (
        "the line need not be isolated, and a releasable base anchor lets the ground crew lower a casualty"
    ),
    "basal_catch": "if {label} gives out, the line lies over {catch} as well, after a drop of {drop:m}",
    "basal_both_legs": (
        "{label} bears both legs, close to twice the pull on the climber's leg, and more with preload"
    ),
    "basal_cut": "both legs can be cut, so keep the base leg out of the way of the saw and the pieces",
    "basal_all_unions": "every union the line touches must be sound, not only the highest",
    "advance_inspected": "every union is inspected by hand before it is trusted, over {unions:names}",
    "advance_slow": (
        "{stops:n} {stops|stop|stops} in the tree, each with a change-over on two attachments; slower and "
        "harder than one line from the ground"
    ),
    "neighbour_stem": (
        "A <neighbouring|neighboring> stem stands {away:m} away[, {diameter:cm} at breast height]: plan it "
        "as a tree of its own to judge it as an anchor."
    ),
}

_ACCESS: dict[str, str] = {
    "access_ground": (
        "inspect roots, stem and crown from the ground; helmet on, ground worker and rescuer ready"
    ),
    "access_throw": (
        "throw with {method:word} ({throws:throws} on average), pull the rope in, load-test "
        "from the ground"
    ),
    "access_ascend": (
        "ascend on the line; look at every union on the way; inspect this one by hand before any work"
    ),
    "access_lanyards": (
        "climb from {start} to {union} with two lanyards round the stem in turn, limb by limb; look at the "
        "stem and at every limb before trusting it; inspect {union} by hand"
    ),
    "unions_judged": (
        "{judged:n} {judged|union was|unions were} judged in full[, {screened:n} more by one line only]. None that "
        "carries {asked:cm} or more {height:m} up or higher was left out."
    ),
    "change_told": "{union}, {height:m} up, is refused. {change}[ {lower}]",
    "change_look_again": "The scan cannot tell: another scan of this wood would[. {where}].",
    "change_conductor": (
        "It lies {distance:m} from {to}, {limit:m} is kept: the line owner's word on voltage, distance or switching off would "
        "change that."
    ),
    "change_way_up": "Nothing stands against the wood (low end {low:x}): another way up to it would change the answer.",
    "change_rescue_line": (
        "One climber alone it holds (low end {low:x}): a line for the rescuer, from a <neighbouring|neighboring> tree or a "
        "platform, would change the answer."
    ),
    "change_work": "Nothing stands against the wood (low end {low:x}), but it serves none of the work asked for.",
    "change_angle": "For work within {angle:deg} of plumb it comes to {low:x} at the low end.",
    "change_choke": (
        "Choked round the {diameter:cm} stem or leader there, not over the limb, it comes to {low:x} at the low end for work "
        "within {angle:deg} of plumb."
    ),
    "change_one_person": (
        "With one climber and never a second person on it, it comes to {low:x} at the low end: a rescuer would need a line on other wood."
    ),
    "change_load": "For a climber of {mass:kg} with gear it comes to {low:x} at the low end.",
    "change_scan": (
        "Were its diameters as the scan says and known as well as a tape knows them, it would come to {low:x} at the low end: measure them."
    ),
    "change_lower": "The next union down the same wood that can be used is {union}, {below:m} lower.",
    "change_none": "Nothing that was tried changes that: no angle, no choke, one person, a lighter climber, or a better scan.",
    "unions_screened": (
        "Of those judged by one line, set up one way, nothing was found against {hold:n} of {n:n}[: {unions:names}]. "
        "They stand in no list; ask for more unions to have them judged in full."
    ),
    "unions_left_out": (
        "Not judged: {thin:n} {thin|union|unions} with limbs thinner than {asked:cm}, {low:n} too low to tie in."
    ),
    "access_advance": (
        "stay on the line at {start}, throw to {union}, load-test it, change over, climb, inspect the "
        "union by hand, then free {start}"
    ),
    "access_spurs": (
        "climb the bare stem to {union} on spurs with two lanyards in turn, look at the stem on the way, "
        "inspect the union by hand"
    ),
    "access_ladder": "climb to {union} by ladder or two lanyards in turn, inspect it by hand, set the line",
    "access_thrown_line": (
        "set a line from the ground over {union}, load-test it from the ground, ascend, inspect every "
        "union the line touches by hand"
    ),
    "access_basal_line": (
        "set a basal line over several limbs to {union}, load-test it from the ground, ascend, inspect "
        "every union the line touches by hand"
    ),
}

_KIT: dict[str, str] = {
    "kit_rope": "climbing rope {stock:m0}, {length:m} needed",
    "kit_rope_too_short": (
        "two climbing ropes joined, or a longer one: {length:m} needed, more than any stocked length"
    ),
    "kit_ropes": (
        "climbing ropes, one for each tie-in point, or the longest moved from one to the next: "
        "{ropes:names}"
    ),
    "kit_rope_of": "{stock:m0} for {anchor}",
    "kit_rope_of_over": "over {length:m0} for {anchor}",
    "kit_climber": "<harness|saddle>, helmet, two lanyards, friction hitch or mechanical rope device",
    "kit_stem_choke": (
        "sling or rope choked round the stem[ of {diameter:cm}], just above the limbs[, at least "
        "{length:m2} of it]"
    ),
    "kit_friction_saver": (
        "{hardware:word} friction saver[, strap at least {length:m2} long to go round a stem of "
        "{diameter:cm}]"
    ),
    "kit_sleeve": "rope sleeve[ at least {length:m2} long for a limb of {diameter:cm}]",
    "kit_sleeve_advised": (
        "sleeve or friction saver advised: a moving rope on bark wears the tree and the rope"
    ),
    "kit_base_anchor": (
        "base anchor kit: sling for [“{to}”][{!to}the stem foot] and a device that lowers under load, marked "
        "'life support, do not touch'"
    ),
    "kit_choke": "screw <karabiner|carabiner> or ring for the choke, retrieval line",
    "kit_throwline": "throwline {length:m0}, throw weights of {mass:g} and heavier",
    "kit_launcher": "throwline launcher, eye protection, people kept from under the arc",
    "kit_rescue": (
        "second rope with its own access for the rescuer, rescue kit, first-aid kit with bleeding control"
    ),
    "kit_load_test": "load-test kit: hand-pull tackle, or the people of the test",
    "friction_at_union": (
        "Friction: with the rope half way round, the second leg carries this share of the pull on the "
        "first: {shares:names} (middle friction)."
    ),
    "share_of_hardware": "{hardware:word} {share:%}",
    "bark_pressure": (
        "The rope presses on the bark of the {diameter:cm} limb with about {pressure:MPa2} under the "
        "climber's weight[{?moves}, and runs or creeps over it][{!moves}; it does not move in use]: use a "
        "sleeve or friction saver where bark is thin, mossy or to be kept."
    ),
    "retrieval_clear": "{anchor}: no tight <fork|crotch> in the way of a falling rope end.",
    "retrieval_past_forks": (
        "{anchor}: the rope end can jam in the tight <fork|crotch> at {unions:names}; retrieve with a "
        "small end, without knots, and watch it down."
    ),
    "retrieval_over_limbs": (
        "{anchor}: the line bears on several limbs; retrieve with a small end, without knots, and watch it "
        "down."
    ),
    "retrieval_by_climbing": (
        "{anchor}: {count:n} tight <forks|crotches> below it ({unions:names}): plan to climb up and derig."
    ),
}
TEXTS: dict[str, str] = _NAMES | _GATES | _DOUBTS | _STATEMENTS | _SITE | _RANK | _APPROACH | _ACCESS | _KIT

_GATE_KINDS: dict[str, str] = {
    "scan_not_assessable": "the scan cannot be assessed",
    "height_not_seen": "the scan shows too little at that height",
    "limb_not_seen": "the scan shows too little of that limb",
    "union_bridged": "the scan has a gap where the limbs join",
    "limb_bridged": "the scan has a gap on the limb under the rope",
    "diameter_not_seen": "no diameter was measured under the rope",
    "strength_not_seen": "the scan cannot tell whether it holds",
    "dead_suspect": "the limb looks dead",
    "outer_limb_dead": "a limb under the climber's leg looks dead",
    "too_thin": "too thin under the rope",
    "limb_droops": "the limb slopes down",
    "does_not_hold": "it does not hold",
    "margin_low": "strength over stress too low",
    "anchor_near_conductor": "too near to a conductor",
    "not_reachable": "no way up to it",
    "no_rescue_line": "no line for a rescuer",
    "serves_no_work": "it reaches none of the work",
    "stated_against": "a competent person spoke against it",
    "defect_margin_low": "too weak with the stated defect",
    "defect_stop_breaks": "too weak in a stop with the stated defect",
}
"""Short names of what stands against a candidate, to say which is the commonest."""

WORDS: dict[str, str] = _GATE_KINDS | {
    "isolate": "isolate a line over the tie-in point from the ground and climb on it",
    "basal": "basal line over several limbs, climb on it, then set a canopy anchor",
    "advance_up": "low access and advance upward, inspecting every union on the way",
    "neighbour_tree": "anchor in a <neighbouring|neighboring> tree",
    "rescan": "scan again before a way up is chosen; this scan cannot tell which one there is",
    "no_climb": "platform or other means, no climbing on this tree",
    "no_stand_area": "no-stand area",
    "left_refused": "a line that would reach it is not offered",
    "left_above": "it lies above every line that is offered",
    "left_too_flat": "every straight rope is too flat",
    "left_fouled": "a limb stands in the way of the rope",
    "left_beyond_angle": "the line over it holds only nearer to plumb",
    "left_no_anchor": "no line is offered on this tree",
    "rope and climber": "rope with the climber at the work",
    "swing after slip": "swing after a slip",
    "rope on bark, round the stem": "rope on bark, round the stem",
    "sleeve, round the stem": "sleeve, round the stem",
    "ring, round the stem": "ring, round the stem",
    "pulley, round the stem": "pulley, round the stem",
}
