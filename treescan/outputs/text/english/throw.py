"""English sentences and words of `throw`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # what a person does, in order
    "throw_clear_arc": "Clear people from under the arc. Look for wires, windows and roads under it.",
    "throw_stand_and_aim": (
        "Stand {away:m} {bearing:compass} of the stem. Throw with {method:word} towards {azimuth:compass}, "
        "{azimuth:deg} clockwise from north, {elevation:deg} up, at about {speed:m/s}. The bag should pass "
        "over {union} at {height:m}. The top of the arc is about {apex:m0} up[; the bag comes down about "
        "{out:m0} from you]."
    ),
    "throw_aim_off": "By your own record your throws go {went:names}. Aim {aim:names} than stated here.",
    "went_right": "{by:deg1} to the right",
    "went_left": "{by:deg1} to the left",
    "went_high": "{by:deg1} too high",
    "went_low": "{by:deg1} too low",
    "went_fast": "{by:%} too fast",
    "went_slow": "{by:%} too slow",
    "aim_left": "{by:deg1} farther left",
    "aim_right": "{by:deg1} farther right",
    "aim_lower": "{by:deg1} lower",
    "aim_higher": "{by:deg1} higher",
    "aim_softer": "{by:%} softer",
    "aim_harder": "{by:%} harder",
    "throw_steep": (
        "At {elevation:deg} this is nearly straight up: a small error to the side turns the flight far, and the bag may come down on you. No "
        "other place was found that does nearly as well."
    ),
    "throw_comes_back": (
        "The bag comes down about {out:m0} from you. Wear a helmet, keep your eyes on the bag, and step back as soon as it is away."
    ),
    "throw_walk_round": "Carry your end of the line round the foot of the stem, so that both legs hang on the same side of it.",
    "throw_bag_strikes": "On the way the bag strikes {limb} and drops there. How it rebounds is not worked out: watch where it falls.",
    "throw_bag_comes_down": (
        "The bag comes down {away:m0} {bearing:compass} of the stem[, in {within:names}][, and its line falls across {across:names}]"
        "[, farther from the stem than you stand{?farther_than}][, {below:m} lower than you stand][{?unseen}, where the scan shows no "
        "ground]. [{?closed}Throw only while nobody is there and nobody can come there.][{!closed}Look that nobody is there.]"
    ),
    "area_drawn": "the {kind:word}[ “{name}”]",
    "throw_over_crown": (
        "The bag flies over the whole crown and comes down beyond it. Let it reach the ground there before you pull on the line."
    ),
    "throw_two_bags": "This is two-line work from both sides: have a second throw bag ready for your own end of the line.",
    "throw_pull_back": (
        "Pull the bag back up [over {over:names} ]until it hangs just beyond the limb of {union}. Then let it drop to the ground."
    ),
    "throw_pull_over_near": (
        "Tie a bag to your end of the line. From the far side, pull it up over {over:names} until it hangs on the near side of the limb of "
        "{union}. Then let it drop."
    ),
    "throw_stays_over": "The line stays over [{over:names}][{!over}other limbs] as well: use it with a basal anchor only.",
    "throw_bag_down": "Let the bag run down. Shake the line if it stops.",
    "throw_slides_in": "Pull gently both ways: the limb is steep enough for the line to slide into {union}.",
    "throw_lies_in": "The line lies in {union} as it falls.",
    "throw_lies_out": "The limb is too flat for the line to slide. It stays about {out:m} out from {union}.",
    "throw_look_one_limb": "Look from both sides: the line must bear on the wanted limb alone before you pull a rope up.",
    "throw_look_which_limbs": "Look from both sides which limbs the line bears on before you pull a rope up.",
    "throws_told": "[{few:n} to ]{many:n} {many|throw|throws}",
    # what a limb is called
    "limb_is_stem": "the stem",
    "limb_is_thin": "thin limbs",
    "limb_leaves_union": "the limb from {union}",
    "stands_beside": "what stands beside the tree",
    # why no line was found
    "throw_not_asked": "no line was looked for: not a candidate",
    "throw_no_place": "there is no place to stand and throw from",
    "throw_limbs_too_thin": "no limb above this union is thick enough to hold a line",
    "throw_out_of_reach": "out of reach: even from the nearest place a throw needs more than {needed:m/s}, the limit is {limit:m/s}",
    "throw_no_aim": "no aim within the limits passes over it",
    "throw_no_aim_in_wind": "no aim was found in this wind ({wind:m/s}): it carries the bag too far off for a chance to be told",
    "throw_limbs_in_the_way": (
        "limbs stop {share:%} of the throws that would pass over it[, most often {limb} ({most:%})][, no single limb more than {at_most:%}]"
    ),
    "throw_things_in_the_way": "things beside the tree stand in the way",
    "throw_near_wire": "the flight would come near a wire",
    "throw_line_useless": (
        "the line passes over it but lies over higher limbs as well, slides off outward, or the bag strikes wood too hard"
    ),
    "throw_too_inexact": "the opening is too small for the spread of the throws",
    # what becomes of the throws about an aim
    "bag_over_clean": "over the limb, over no other",
    "bag_over_workable": "over the limb, other limbs to be cleared",
    "bag_over_several": "over the limb and others",
    "bag_stopped": "stopped by {limb}",
    "bag_near_wire": "near a wire",
    "bag_lands": "come down without setting the line",
    # the settings made of a record of one's own throws
    "own_settings_head": (
        "Spread and mean error of your own throws. Angles are in radians, speed is a share. Chances are worked out for a person who aims off."
    ),
    "own_settings_spread": (
        "{throws:n} throws ({method:word}). With nine chances in ten the true spread is below {side:deg1} to the side, {elevation:deg1} up and "
        "down, and {speed:%} of the speed."
    ),
    "own_settings_bias": (
        "Mean error: [{went:names}][{!went}too small to aim off for]. The steps of a throw say how to aim off."
    ),
    # why nobody throws from a place
    "place_ground_not_seen": "ground not seen",
    "place_too_steep": "too steep to stand",
    "place_no_stand_area": "no-stand area",
    "place_building": "building",
    "place_road": "road",
    "place_water": "water",
    "place_near_conductor": "near a conductor",
    "place_near_wire": "near a wire",
    "place_near_stem": "too near the stem",
    "place_in_solid": "inside or against something solid",
    "place_arm_in_wood": "the arm would meet wood",
    "place_hand_in_leaves": "release point in foliage",
}
WORDS: dict[str, str] = {
    "the_stem": "the stem",
    "thin_limbs": "thin limbs",
}
