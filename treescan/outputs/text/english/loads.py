"""English sentences and words of `loads`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # --- names of wood inside a sentence
    "stem_itself": "the stem",
    "limb_itself": "limb {limb}",
    "stem_above_limb": "the stem above the limb {height:m} up",
    "ground_itself": "the ground",
    # --- strength of the wood
    "wood_by_name": (
        "Green wood of {botanical} ({common}), matched by name to '{asked}'[{?several}, the weakest of "
        "{rows} entries]: {mor:MPa}, {standing:word}."
    ),
    "wood_never_tested": (
        "No test of the strength of {botanical} ({common}) is known here. By its density it is taken for no stronger than the "
        "weakest tested wood of its genus where it grows: {mor:MPa}, {standing:word}."
    ),
    "wood_stand_in": (
        "The table has no strength for '{asked}'. {botanical} ({common}) stands in for it: {mor:MPa}, "
        "{standing:word}."
    ),
    "wood_of_genus": (
        "The table has no strength for '{asked}'. The weakest wood of its genus[ in {region:word}] is used, {botanical} "
        "({common}): {mor:MPa}, {standing:word}.[ Naming the species would change that: {named:names}.]"
    ),
    "wood_of_several": (
        "'{asked}' can mean {genera:or}. The weakest of them[ in {region:word}] is used, {botanical} ({common}): {mor:MPa}, "
        "{standing:word}.[ Naming the species would change that: {named:names}.]"
    ),
    "wood_if_named": "{botanical} {mor:MPa}",
    "wood_low_of_several": "'{asked}' can mean {genera:or}, and the table does not have all of them. The "
    "low end of the table is used ({kind:word}, lowest {percentile:%}): {mor:MPa}.",
    "wood_not_stated": "No species is stated. The low end of the table is used ({kind:word}, lowest "
    "{percentile:%}): {mor:MPa}.",
    "wood_kind_only": "Of '{asked}' only the kind of wood is known. The low end of the table is used "
    "({kind:word}, lowest {percentile:%}): {mor:MPa}.",
    "wood_not_in_table": "The table has no row for '{asked}'[, {why}]. The low end of the table is used "
    "({kind:word}, lowest {percentile:%}): {mor:MPa}.[ Naming the species would change that: {named:names}.]",
    "wood_density_measured": "{matched} All strengths are multiplied by {factor:x} for the measured green "
    "density of {density:x0} kg/m³.",
    "name_may_mean_weaker": "which can also mean {species}, weaker than the rest of its genus",
    "species_weaker_than_genus": "which is weaker than others of its genus",
    "name_says_condition": "“{word}” says how its wood is, not which it is: name the species alone and state what is wrong as a finding",
    "name_misleads": "which need not be {article} {word}",
    # --- what the kind of tree warns of
    "species_brittle": "{kinds:names}: brittle wood. Limbs snap with little bending before ({source:word}).",
    "species_splits": "{kinds:names}: unions split easily, and limbs tear out of the stem ({source:word}).",
    "species_drops_limbs": "{kinds:names}: sound limbs were seen to break in calm, hot weather, without any "
    "sign before ({source:word}).",
    "species_dieback": "{kinds:names}: look for {sickness:word} before anybody climbs. Sick limbs snap without "
    "warning, and the scan does not show them ({source:word}).",
    "species_root_rot": "{kinds:names}: roots can be rotten under a crown that looks healthy. Look for fungus "
    "and movement at the foot of the stem ({source:word}).",
    "species_not_warned_of": "No warning of brittle wood, limbs dropped in summer or sickness is listed here"
    "[ for '{asked}']. That is no sign that there is none.",
    # --- what a person reported
    "reported_dead": "Reported dead ({report}). Not an anchor unless the competent person says so.",
    "reported_decayed": "Reported decayed ({report}). Not an anchor unless the competent person says so.",
    "reported_cracked": "Reported cracked ({report}). Not an anchor unless the competent person says so.",
    "wall_too_thin": "Reported hollow ({report}): the sound wall is {wall:x} of the radius. Below {asked:x} "
    "walls crack and buckle, and no formula holds.",
    "cavity_too_open": "Reported open cavity ({report}): it opens over {opening:deg} of the girth. Beyond "
    "{limit:deg} no formula holds.",
    # --- what the scan cannot tell
    "no_section_measured": "No wood was measured between the rope and the ground.",
    "diameter_not_measured": "The scan gave no diameter {height:m} up on {wood}, on the way from the rope "
    "to the ground.",
    "gap_bridged": "The scan has a gap {height:m} up on {wood}, on the way from the rope to the ground.",
    "not_seen_where_rope_slips": "A pull from the side can drag the rope out along its limb, to wood the "
    "scan does not show. {why}",
    "wood_misread": "As measured, {wood} ({diameter:cm} thick) could not carry its own weight {height:m} "
    "up, and yet it stands. Its diameter or its course was misread, or its wood is stronger than "
    "{mor:MPa}: name the species.",
    # --- verdict
    "strength_fails": (
        "Strength over stress is {low:x} at the low end and {middle:x} in the middle, {height:m} up on "
        "{wood}[, {diameter:cm} thick] ({mode:word}). Below {asked:x} it counts as breaking."
    ),
    "turns_too_far": (
        "Under the hardest ordinary load the limb turns by {turn:deg1} where the rope lies. Beyond "
        "{asked:deg1} no figure for it is right. As a straight beam its strength over stress is {low:x} at "
        "the low end and {middle:x} in the middle, {height:m} up on {wood}[, {diameter:cm} thick] "
        "({mode:word})."
    ),
    "strength_doubtful": (
        "Strength over stress is {low:x} at the low end and {middle:x} in the middle, {height:m} up on "
        "{wood}[, {diameter:cm} thick] ({mode:word}). At least {asked:x} is needed."
    ),
    "strength_holds": (
        "Strength over stress is {low:x} at the low end and {middle:x} in the middle, {height:m} up on "
        "{wood}[, {diameter:cm} thick] ({mode:word}). At least {asked:x} is needed."
    ),
    "strength_if_tested": (
        "Strength over stress is {low:x} at the low end and {middle:x} in the middle, {height:m} up on "
        "{wood}[, {diameter:cm} thick] ({mode:word}). At least {asked:x} is needed. It holds if it passes a "
        "load test: {pull:kN} along the climber's leg as in use, the weight of {people:n} people, {size:x1} times the "
        "hardest ordinary use. That loads the weakest section with {moment:kNm}, its own weight included, {share:x1} "
        "times as much as the hardest use does. The low end is then {after:x}."
    ),
    "strength_tested": (
        "It passed a load test of {size:x1} times the hardest ordinary use. Strength over stress is now "
        "{low:x} at the low end. Before the test: {why}"
    ),
    "holds_within": "For work within {angle:deg} of plumb: {why} For work out to {asked:deg} it fails: {beyond}",
    "holds_within_else_doubtful": (
        "For work within {angle:deg} of plumb: {why} For work out to {asked:deg} it is doubtful: {beyond}"
    ),
    "holds_one_climber": (
        "For one climber, and for two people hanging still straight below, within {angle:deg} of plumb: {why} "
        "[It holds a rescuer on the same rope only within {two:deg} of plumb.][{!two}A rescuer needs another line, on "
        "other wood.] With two people on the rope: {beyond}"
    ),
    "shock_breaks": (
        "Under an exceptional load ({case:word}) strength over stress is {shock_low:x} at the low end and "
        "{shock_middle:x} in the middle. Below {asked:x} in the middle it is more likely to break than "
        "not. In ordinary use it is {low:x} at the low end and {middle:x} in the middle, {height:m} up on "
        "{wood}[, {diameter:cm} thick] ({mode:word})."
    ),
    "shock_not_judged": (
        "Under an exceptional load ({case:word}) the wood cannot be judged: by its measures it would "
        "hardly stand at all. In ordinary use strength over stress is {low:x} at the low end and "
        "{middle:x} in the middle, {height:m} up on {wood}[, {diameter:cm} thick] ({mode:word})."
    ),
    "shock_doubtful": (
        "Under an exceptional load ({case:word}) strength over stress is {shock_low:x} at the low end and "
        "{shock_middle:x} in the middle. At least {asked:x} is needed at the low end. In ordinary use it "
        "is {low:x} at the low end and {middle:x} in the middle, {height:m} up on {wood}[, {diameter:cm} "
        "thick] ({mode:word})."
    ),
    # --- beside the numbers
    "roots_not_assessed": "Roots and ground: not assessed. The rope and the tree's own weight bend the foot "
    "of the stem with {moment:kNm}.",
    "roots_beside_a_gust": "Roots and ground are not judged. The rope and the tree's own weight bend the foot of the "
    "stem with {moment:kNm}. The rope's {climber:kNm} is {share:%} of what a gust of {speed:m/s}, a year's "
    "strongest by the station stated, bends it with ({gust:kNm}, the wood that was seen), and at most {most:%}. Roots that "
    "rotted or were cut since show nothing of that.",
    "union_bent": "The load {way:word} the <fork|crotch> {height:m} up, of two nearly equal arms (aspect ratio {aspect:x}). <Forks|Crotches> were "
    "tested by pulling them open. Bent sideways it counts as weaker, closed as no stronger.",
    "seen_from_one_side": "Part of the way to the ground was scanned from one side only: {arc:deg} of the "
    "bark. The far side was not seen.",
    "gaps_spanned": (
        "Short gaps in the scan on the way to the ground are filled with the thinner of their two ends."
    ),
    "judged_without_leaves": "The scan shows leaves. The tree was judged without them, as set.",
    "judged_in_leaf": "The scan shows no leaves. The tree was judged in leaf, its limbs {share:%} heavier "
    "(an assumption, not measured).",
    "judged_bare": "The scan shows no leaves, and the tree was judged bare. In leaf it weighs more than was "
    "counted.",
    # --- what the tree has borne before
    "history_borne": "Before: its own weight[{?rain}, rain on its leaves][{?snow}, snow][ and {years:n} "
    "{years|year|years} of wind (strongest gust of a year about {gust:m/s})] bent the wood {share:x} times as hard as the climb will, in the same direction, at the low "
    "end {least:x} times. Counting that, sound wood breaks with a chance of {chance:chance} ({chance_before:chance} "
    "without), and strength over stress is {low:x} at the low end ({low_before:x} without). The verdict does not "
    "count it.",
    "history_hot_day": "What the tree has borne does not count: in heat sound limbs drop without a sign before.",
    "history_damaged": "What the tree has borne does not count: it was damaged since.",
    "history_cut": "What the tree has borne does not count: the cuts moved its loads.",
    "history_reported": "What the tree has borne does not count: storms passed beside the defect that was reported, too.",
    "history_thin": "What the tree has borne does not count: wood on the way to the ground is {diameter:cm} thick. "
    "Below {least:cm} limbs stream in the wind.",
    "history_not_bent": "What the tree has borne does not count: this wood would go by {mode:word}, and wind only bends.",
    "ordinary_use_judged": "Judged for ordinary use. The hardest load of it is {case:word}: {basis}.",
    "basis_weight": "the weight at rest",
    "basis_ascent": "the top of what was measured in ascents, 1.1 to 1.5 times the weight",
    "basis_positioning": "not measured, taken as the top of measured ascents",
    "basis_limb_walk": "not measured, the weight over the cosine of the rope's angle",
    "basis_computed": "computed, not measured",
    "basis_worst_stop": "the hardest stop that was measured",
    "basis_rescue": "two people were not measured; drawn between {low:x1} and {high:x1} times the weight of both, "
    "what ascents of one person showed",
    "basis_rescue_at_work": "two people were not measured; the weight of both along the rope is a choice",
    "basis_load_test": "a choice",
    "slips_to_friction": "A pull from the side can drag the rope {way:m} out along its limb, until the pull "
    "is square enough for the friction of the bark to hold it (least friction counted). It is judged there as "
    "well, for one climber. Lay the rope anew before a second person goes on it.",
    "slips_to_side_limb": "A pull from the side can drag the rope {way:m} out along its limb, until a side "
    "limb stops it (least friction counted). It is judged there as well, for one climber. Lay the rope anew before a "
    "second person goes on it.",
    "slips_off": "A pull from the side can drag the rope {way:m} along its limb and off the end (least "
    "friction counted). It is judged at the end as well, for one climber. Lay the rope anew before a "
    "second person goes on it.",
    "twigs_give_way": (
        "The line also crosses {n:n} {n|twig|twigs} that will not hold it. When they give way the climber drops "
        "up to {drop:m}: pull the line down hard until they have, before anybody hangs on it. The line over the "
        "stout limbs is judged, with that drop as slack."
    ),
    "place_stiff": (
        "Under the hardest ordinary load the tie-in point moves {sag:cm}, and the limb turns by "
        "{turn:deg1}: stiff."
    ),
    "place_lively": (
        "Under the hardest ordinary load the tie-in point moves {sag:cm}, and the limb turns by "
        "{turn:deg1}: springy."
    ),
    "judged_bent": (
        "The limb turns by {turn:deg1} where the rope lies. It was judged in its bent shape, with "
        "{growth:x} times the moment of the straight one."
    ),
    "ascent_amplified": (
        "On the way up the climber bounces on rope and limb {low:x1} times a second at the ground and "
        "{high:x1} times just under the tie-in point; a rope that did not stretch would make it {limb:x1}. "
        "A rhythm of {slowest:x1} to {fastest:x1} a second can move the tie-in point {light:x1} times as far as "
        "the same pull at rest ({heavy:x1} with much damping). On a rigid tie-in point the rope alone would "
        "make that {rigid:x1}. It is worst with {rope:m} of rope: change the rhythm there."
    ),
    "shock_as_measured": "Exceptional load ({case:word}): {multiple:x1} times the climber's weight on the "
    "union. [Strength over stress {middle:x}, low end {low:x}. ]A longer fall loads it more: stops of "
    "{measured:x1} times the weight were measured.",
    "shock_beyond_measured": "Exceptional load ({case:word}): {multiple:x1} times the climber's weight on "
    "the union. [Strength over stress {middle:x}, low end {low:x}. ]This is beyond the hardest stop "
    "measured ({measured:x1} times the weight).",
    "anchor_leg_in_full": "The leg to the base anchor is counted in full, without the help of friction. A "
    "pre-load left in it adds to the load.",
    "anchor_leg_eased": "The leg to the base anchor is counted with the least friction. A pre-load left in "
    "it adds to the load.",
    "base_anchor_pulled": "The base anchor is pulled with up to {at_most:kN} in ordinary use, {tilt:deg} "
    "from plumb[, and up to {shock_at_most:kN} under an exceptional load]. What it is tied to was not "
    "judged.",
    "base_lowering_hauling": (
        "Lowering the climber from the base loads the union with at most {lowering:x} times the pull on "
        "the climber's leg (least friction counted). Hauling the climber up loads it with up to "
        "{hauling:x} times that pull (most friction counted): {force:kN} at rest."
    ),
    # --- what follows from a break
    "limb_breaks": (
        "The limb breaks {height:m} up on {wood}, where it is {diameter:cm} thick, and takes {mass:kg} of "
        "tree with it. {piece}[ The climber is not held clear of the ground: {why}.]"
    ),
    "union_tears_out": (
        "The union of {wood}, {diameter:cm} thick, tears out {height:m} up and takes {mass:kg} of tree "
        "with it. {piece}[ The climber is not held clear of the ground: {why}.]"
    ),
    "stem_breaks": (
        "The stem breaks {height:m} up, where it is {diameter:cm} thick, and takes {mass:kg} of tree with "
        "it. {piece}[ The climber is not held clear of the ground: {why}.]"
    ),
    "piece_comes_down": (
        "It comes down from {drop:m} above the climber. [{?over}Its wood stands plumb over them][{!over}Its "
        "wood stands {aside:m} beside their plumb], and toppled full length it reaches {length:m} from the "
        "break[{?within}: the climber is in its way].[ While it hangs in the rope it puts another {weight:kN} "
        "on it.][ Through the first stop the rope then pulls with {peak:kN}.][ The low end of strength over "
        "stress of what catches is then {low:x}.]"
    ),
    "rope_goes_with_break": "the rope goes with what breaks",
    "nothing_catches": "nothing catches the rope",
    "catch_leaves_rope": "what catches leaves so much rope that the climber comes to the ground",
    "catch_fails": "{catch} catches, but {against:names}[{?more}, and nothing that catches after it does "
    "better]",
    "catch_not_seen": "its strength was not seen",
    "catch_weak": (
        "its strength at the low end is {low:x} times the stress of that stop ({asked:x1} is needed)"
    ),
    "feet_may_strike": "the feet may strike the ground first",
    "feet_low": "the feet come within {feet:m} of the ground, and {asked:m} is needed",
    "swings_into_ground": "the climber swings into the ground",
    "fails_from_work": "with the climber at {place}, {why}",
    "work_lowest": "the lowest work point, {height:m} up",
    "work_farthest": "the work point farthest out, {out:m} from plumb",
    "work_highest": "the highest work point, {height:m} up",
    "stem_goes_to_ground": "The rope goes with the top of the stem and nothing holds its other end: {drop:m} to the ground.",
    "rope_goes_to_ground": "The rope goes with the limb and nothing holds its other end: {drop:m} to the "
    "ground.",
    "falls_to_ground": "Nothing catches the rope: {drop:m} to the ground.",
    "falls_on_to_ground": "Nothing else catches the rope: {drop:m} to the ground.",
    "long_rope_to_ground": "What catches next leaves too much rope: {drop:m} to the ground.",
    "rope_caught": (
        "The rope drops onto {catch} on {wood}, [{diameter:cm} thick, ]{height:m} up[, and slides "
        "{slide:m} into its union]. The climber has dropped {drop:m} since last held[ and swings {sideways:m} "
        "to plumb and as far beyond][, first into {met} at {speed:m/s}]. Peak pull {peak:kN} in the rope, "
        "{force:kN} on the limb[, {also:names}].[ Strength over stress of that limb at the low end: {low:x}.]"
        "[{!seen} Its strength was not seen.] The rope stretches by up to {stretch:m}; {lowest}.[{!stops} It is "
        "not counted on to stop the fall: what catches next takes the whole drop.][ It would be the second "
        "break of {again}.]"
    ),
    "force_on_wood": "{force:kN} on {wood}",
    "catch_only_if_passed": "the rope comes onto it only if the climber falls past it on the far side",
    "feet_stay_up": "the feet stay {feet:m} above the ground",
    "feet_too_low": "the feet come to {feet:m} above the ground, too low to count as held",
    "back_up_breaks_too": "{anchor} and its back-up {others:names} go with the same break",
    "back_up_same_wood": "{anchor} and its back-up {back_up} both stand on {wood}",
    # --- load test
    "test_look_first": "First look at the limb, the lower stem and the ground round the stem. Attach nobody "
    "until the test is done.",
    "test_rig_as_in_use": "Set the system up as in use and pull on the climber's leg. The force on the "
    "union then stands {tilt:deg} from plumb.",
    "test_pull_from_ground": (
        "The climber's leg stands {leg:deg} from plumb then, towards the {azimuth:compass}. Hanging people pull straight down: that "
        "makes {share:%} of the stress. For the direction of use pull from the ground, {away:m} out on that side, round a block "
        "fixed low there. Where none can be fixed, it cannot be tested in that direction: then keep to work near plumb."
    ),
    "test_cannot_pull": (
        "The climber's leg stands {leg:deg} from plumb then, towards the {azimuth:compass}: flatter, or its foot farther out, "
        "than a crew can pull from the ground. Hanging people pull straight down: that makes {share:%} of the stress. It cannot be tested in the "
        "direction of use: keep to work near plumb."
    ),
    "test_build_up": "Build up gently to [{?aside}the weight of {people:n} people, pulled along the climber's leg as in use]"
    "[{!aside}{people:n} people hanging on the rope] (or {pullers:n} on a 2:1): {pull:kN} in the rope, {on_union:kN} on the union, {share:%} of the hardest load of ordinary use "
    "({case:word}).",
    "test_stand_clear": (
        "Keep everybody else {radius:m0} clear of the point straight below the union; those who pull stand "
        "to the side. A piece that breaks off can reach {reach:m} from the break, to any side."
    ),
    "test_would_show": (
        "If [{?aside}the weight of {people:n} people is pulled along the climber's leg as in use, not hung from it,]"
        "[{!aside}{people:n} people hang still on the rope] ({size:x1} times the hardest ordinary use) and it holds, the "
        "weakest section has borne {moment:kNm}, its own weight included: {share:x1} times the hardest use. "
        "Strength over stress is then {low:x} at the low end, and the chance that it breaks is {chance:chance}."
    ),
    "test_watch": "A crack, a noise or a limb that does not spring back means that it failed: take the load off "
    "and do not use it. Watch and listen to limb, stem and ground. Slacken fully before climbing: tension left "
    "in the leg adds to the load.",
    "test_proves_nothing_more": "A proposal for the competent person. Passing it proves nothing beyond the "
    "load applied.",
}

WORDS: dict[str, str] = {
    # what a kind of tree warns of
    "ash_dieback": "ash dieback and the ash borer",
    "elm_disease": "elm disease",
    "chestnut_blight": "chestnut blight",
    "bleeding_canker": "bleeding canker",
    "plane_massaria": "dead upper sides of limbs (Massaria)",
    "oak_decline": "oak decline",
    "larch_dieback": "larch dieback",
    "bark_beetle": "bark beetle",
    "sooty_bark": "sooty bark disease",
    "common_practice": "common practice, no source",
    "summer_drop": "reported of the genus; read in the source",
    # verdicts
    "holds": "holds",
    "holds within angle": "holds within an angle",
    "holds if tested": "holds if it passes a load test",
    "doubtful": "doubtful",
    "does not hold": "does not hold",
    "not seen": "not seen",
    # rope systems and hardware
    "MRS": "MRS",
    "SRS canopy": "SRS canopy",
    "SRS basal": "SRS basal",
    "rope on bark": "rope on bark",
    "sleeve": "sleeve",
    "ring": "ring",
    "pulley": "pulley",
    # load cases
    "at rest": "at rest",
    "ascent": "ascent",
    "work positioning": "work positioning",
    "limb walk": "limb walk",
    "swing": "swing",
    "abrupt stop": "abrupt stop",
    "worst stop": "the hardest stop measured",
    "rescue": "rescue",
    "load test": "load test",
    "line": "line",
    # ways to break
    "bending": "bending",
    "compression": "compression",
    "torsion": "torsion",
    "shear": "shear",
    "union tear-out": "union tear-out",
    "splitting lengthwise": "splitting lengthwise where it is curved",
    # what a load does to a fork
    "opens": "opens",
    "closes": "closes",
    "bends sideways": "bends sideways",
    "bends": "bends",
    # kinds of wood, standing of a figure
    "conifer": "conifer",
    "broadleaf": "broadleaf",
    "any_kind": "any kind of wood",
    "read": "read in the source",
    "memory": "from memory, not confirmed",
}
