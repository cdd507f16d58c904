"""English sentences and words of `wood`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "limb_renumbered": "{stated:n} is limb {limb} here",
    "limbs_numbered_anew": (
        "The file's limb numbers could not be kept (each limb needs one number of its own, none lower than the limb it "
        "leaves, the stem 0): {limbs:names}. Cuts and findings go by the numbers here."
    ),
    # what the scan is fit for
    "fit_no_stem": "No stem was found. Rescan with the whole stem in view from at least three sides.",
    "fit_no_thick_wood": "No wood of {diameter:cm} or more was measured. Rescan from nearer, with more points on the stem.",
    "fit_stem_not_measured": "The diameter of the lower stem could not be measured. Rescan from nearer, with more points on it.",
    "fit_little_measured": (
        "Only {share:%} of the wood over {diameter:cm} was measured well enough. Rescan leaf-off, from nearer and from three or more sides."
    ),
    "fit_stem_half_seen": (
        "The diameter of the lower stem could not be measured: most of its points lie on one side. Rescan from the {azimuth:compass}, the side "
        "not seen (standing at {azimuth:deg} from the stem, clockwise from +y of the scan)[, in still air with a scanner that stands still: the "
        "points scatter by {scatter:mm}]. More points from the same place do not help."
    ),
    "fit_little_half_seen": (
        "Only {share:%} of the wood over {diameter:cm} was measured well enough, and most points of the stem lie on one side. Rescan leaf-off, "
        "first of all from the {azimuth:compass} (standing at {azimuth:deg} from the stem, clockwise from +y of the scan)[, in still air: the "
        "points scatter by {scatter:mm}]."
    ),
    "fit_one_sided": (
        "{share:%} of the thick wood was seen from one side only (under {arc:deg} of bark). Rescan from "
        "the other sides too[, first of all from the {azimuth:compass}, standing at {azimuth:deg} from the stem, clockwise from +y of "
        "the scan]."
    ),
    "fit_one_place": (
        "{share:%} of the thick wood shows no more bark than one standing place can see (under {arc:deg}). "
        "What is behind it is hidden. Rescan from at least two more sides[, first of all from the {azimuth:compass}, standing at "
        "{azimuth:deg} from the stem, clockwise from +y of the scan]."
    ),
    "fit_no_band": "No height band is fit for judging unions. Rescan leaf-off, with more points in the crown.",
    "fit_no_band_half_seen": (
        "No height band is fit for judging unions, and most points of the stem lie on one side. Rescan leaf-off, from the {azimuth:compass} too[, "
        "in still air: the points scatter by {scatter:mm}]."
    ),
    "fit_blind_bands": (
        "In at least half of the height no wood was measured well ({bands:names}). Rescan leaf-off, in still air, from three or more sides."
    ),
    "height_band": "{low:m0} to {high:m0}",
    "fit_too_slender": (
        "The thickest wood in the lower stem measures {diameter:cm}: too thin to carry {height:m0}. The stem itself was not seen (ivy, leaves "
        "or one side only). Rescan from three or more sides."
    ),
    "fit_main_unions": "Main unions can be judged up to {height:m0} above the foot. The height bands say where small limbs can.",
    # what a rescan of one limb needs
    "limb_rescan": (
        "Rescan this limb.[ Do it leaf-off: {hidden:%} of it is hidden.][ Look at it {view}: only the other side was seen.]"
        "[{?more_sides} Look at it from more sides.][ Use a scanner that stands still: the points scatter by {scatter:mm} about a limb of "
        "{thickness:cm}.][{?nearer} Stand nearer, for more points on it.]"
    ),
    "view_from_above": "from above",
    "view_from_below": "from below",
    "view_from_side": "standing at {azimuth:deg} from it, clockwise from +y of the scan",
}
WORDS: dict[str, str] = {}
