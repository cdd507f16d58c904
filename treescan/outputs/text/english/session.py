"""English sentences of a session: what was changed, and what that changed in the plan, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # what differs between two plans
    "differs_nothing": "Nothing in the plan changes.",
    "differs_first": "[{now} is now the first to inspect][{?none}Nothing is ranked any more][; before it was {was}]"
    "[{?nothing}; before nothing was ranked].",
    "differs_counts": "{now:n} {now|candidate|candidates} to inspect, {was:n} before.",
    "differs_lost": "{anchor}, number {rank:n} before, is not ranked now[: {why}][{?unjudged}: it is not judged any more.]",
    "differs_lost_more": "{n:n} more {n|is|are} not ranked any more.",
    "differs_won": "{anchor} is ranked now, number {rank:n}[; before this stood against it: {why}]"
    "[{?unjudged}; it was not judged before.]",
    "differs_won_more": "{n:n} more {n|is|are} ranked now.",
    "differs_margin": "{anchor}: strength over stress at the low end is {now:x2}, {was:x2} before.",
    "differs_share": "{anchor} reaches {now:%} of the work, {was:%} before.",
    "differs_throw": "{anchor}: [one throw in the proposed place sets the line with a chance of {now:chance}][{?lost}no throw sets the line now]"
    "[, {was:chance} before][{?found}, before no throw set it].",
    "differs_set": "[The set is now {now:names}][{?none}No set serves the work now] and reaches {now_share:%} of the work, "
    "{was_share:%} before.",
    "differs_approach": "The approach is another one. {now}",
    # what was changed, one line of the history each
    "stated_species": "Species: [{name}][{?unknown}not known, judged with low strength]",
    "stated_systems": "Rope systems: {names:names}",
    "stated_setting": "{name:word}: {value}",
    "stated_work": "Work: [{?whole}the whole crown][{words:names}][{!whole} {n:n} {n|point|points}]",
    "stated_cuts": "Removal: {n:n} {n|cut|cuts}[{?stays}, the tree stays]",
    "stated_drawn": "Drawn: {what:word}[ “{name}”][, {volts:kV2}][{?unknown}, voltage not known][{?dead}, there is no wire]",
    "stated_wires": "Wires that the scan saw: [{volts:kV2}][{?unknown}live, voltage not known][{?dead}there are none]",
    "stated_finding": "{kind:Word}[, {union}][, limb {limb:n}][, above {above:m}][, {share:%} of the strength left]"
    "[, {people:x1} people][, bounced to {bounce:x1} times their weight] ({who}, {when}): {why}",
    "stated_own_throws": "Own throws: {methods}",
    "stated_stand": "Asked: throws to {union} from {east:m} east and {north:m} north of the stem’s foot",
    "stated_withdrawn": "Line {line:n} withdrawn",
}
WORDS: dict[str, str] = {
    "loads.climber_mass": "Climber with gear (kg)",
    "loads.rescue_mass": "Second person in a rescue (kg)",
    "loads.test_people": "People on the rope in the load test",
    "loads.leaves": "Leaves on the tree",
    "loads.history.exposure": "How the crown stands in the wind",
    "loads.history.years": "Years of wind in the present shape",
    "planning.rope_angle_limit_deg": "Largest rope angle from plumb (deg)",
    "planning.mrs_hardware": "Hardware of the moving rope",
    "planning.canopy_hardware": "Hardware of the stationary rope, canopy anchor",
    "planning.basal_hardware": "Hardware of the stationary rope, basal anchor",
    "throw.methods": "Ways of throwing",
    "throw.hand.side_sd": "One hand: spread to the side (rad)",
    "throw.hand.elevation_sd": "One hand: spread in height (rad)",
    "throw.hand.speed_sd": "One hand: spread of the speed",
    "throw.two_hand.side_sd": "Two hands: spread to the side (rad)",
    "throw.two_hand.elevation_sd": "Two hands: spread in height (rad)",
    "throw.two_hand.speed_sd": "Two hands: spread of the speed",
    "throw.launcher.side_sd": "Launcher: spread to the side (rad)",
    "throw.launcher.elevation_sd": "Launcher: spread in height (rad)",
    "throw.launcher.speed_sd": "Launcher: spread of the speed",
    "reader.units": "Units",
    "reader.words": "Words",
    "reader.language": "Language",
    "no-stand": "area where nobody stands",
    "conductor": "wire",
    "wires-seen": "wires that the scan saw",
    "base": "base for a basal line",
}
