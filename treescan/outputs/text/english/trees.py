"""English sentences and words of `trees`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "no_ground": "The scan shows no ground. Level ground was assumed at the lowest points of the stem: "
    "heights above it may be wrong.",
    "small_patch_of_ground": "The scan shows only a small patch of ground. Its slope is continued for "
    "{continued:m0} round the stem; beyond that the ground is assumed level.",
    "ground_class_not_used": "Points that the file classes as ground do not lie like ground. The class was "
    "not used.",
    "too_sparse_for_leaves": "Points stand {spacing:cm} apart, too far to tell wood from leaves. The whole "
    "tree is taken as wood, all of it in doubt.",
    "trees_found_by_crowns": "No stem could be measured near the ground. Trees were told apart by the tops "
    "of their crowns.",
    "line_like": "A straight line {length:m?} long, {height:m?} above the ground, runs into wood at one end and is taken "
    "for a limb. Look at it: where it is a wire, say so on the site plan.",
    "one_of_several_trees": "{trees:n} trees stand in the scan. The largest was taken[, at {x:x1}, {y:x1}]. "
    "Another one is named with --at X,Y.",
}
WORDS: dict[str, str] = {}
