"""What is said about an anchor: the verdict with its reason, and what must be told beside the numbers."""

from __future__ import annotations

import numpy as np

from treescan.loads.checks.rope_slip import RunOut
from treescan.loads.limb_check import AnchorConfiguration, Exceptional
from treescan.loads.rope.base_anchor import base_words
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.governing import Governed, gate
from treescan.loads.statics.load_path import LoadPath, StructuralModel
from treescan.loads.statics.section_stress import SectionForces

ONE_SIDED = np.deg2rad(120.0)
"""Arc of bark below which a diameter was seen from one side only (project choice)."""


def verdict(tree: StructuralModel, use: Governed, path: LoadPath, hard: Exceptional | None) -> tuple[str, str]:
    """The verdict and its reason in one sentence."""
    g, settings, margin, node = tree.graph, tree.settings, use.margin, use.node
    reported = gate(tree, path)
    if reported:
        return "does not hold", reported + "."
    limb = "the stem" if g.limb[node] == 0 else f"limb {g.limb[node]}"
    where = f"{g.xyz[node, 2] - g.xyz[0, 2]:.1f} m up on {limb} ({2000 * g.segment_radius[node]:.0f} mm)"
    low = f"Low end of strength over stress {margin.p5:.2f} (middle {margin.median:.2f}) {where}, {use.mode}"
    if not margin.p5 >= settings.fails_p5:
        return "does not hold", f"{low}; less than {settings.fails_p5:.2f}."
    if hard is not None:
        shock = f"{low}; under an exceptional load ({hard.case}) {hard.margin.p5:.2f} (middle {hard.margin.median:.2f})"
        if not hard.margin.median >= settings.exceptional_median:
            return "does not hold", f"{shock}, whose middle is less than {settings.exceptional_median:.2f}: it would more likely break than not."
        if not hard.margin.p5 >= settings.exceptional_p5:
            return "doubtful", f"{shock}, whose low end is less than the {settings.exceptional_p5:.2f} asked for."
    if margin.p5 >= settings.holds_p5:
        return "holds", f"{low}; {settings.holds_p5:.2f} is asked for."
    return "doubtful", f"{low}; less than the {settings.holds_p5:.2f} asked for."


def notes(
    tree: StructuralModel,
    path: LoadPath,
    order: np.ndarray,
    found: SectionForces,
    loads: ConfigurationLoads,
    row: int,
    configuration: AnchorConfiguration,
    hard: Exceptional | None,
    sag: float,
    turn: float,
    ran: RunOut | None,
) -> tuple[str, ...]:
    """What must be said beside the numbers."""
    g, settings = tree.graph, tree.settings
    node = path.node[order]
    foot = float(found.bending[0, order[-1]])
    out = [f"Roots and ground are not assessed: the rope and the tree's own weight bend the stem's foot by {foot / 1000:.1f} kN m."]
    arc = g.arc[node]
    if np.any(arc < ONE_SIDED):
        out.append(f"Part of the load path was seen from one side only ({np.degrees(np.nanmin(arc)):.0f} degrees of the round).")
    if np.any(~g.seen[node]):
        out.append("Gaps of the scan shorter than the limb is thick were spanned by the thinner of their ends.")
    if said := leaf_words(tree.beside.foliage.bare, settings):
        out.append(said)
    out.append(f"The load judged is ordinary use, {loads.pulls.case[row]} the hardest of it.")
    if ran is not None:
        until = {"friction": "until the pull is square enough to the limb", "a side limb": "until a side limb stops it"}
        out.append(
            f"Pulled from the side the rope can run {ran.way:.1f} m out along its limb (least friction of bark), "
            f"{until.get(ran.held_by, 'off its end')}: it is judged there."
        )
    feel = "lively" if is_lively(sag, turn, settings) else "stiff"
    out.append(f"Under it the rope's place gives way by {100 * sag:.0f} cm and turns by {np.degrees(turn):.1f} degrees: {feel}.")
    if hard is not None:
        most = f"{settings.stop_ceiling:.1f} "
        beyond = hard.multiple_of_weight > settings.stop_ceiling
        out.append(
            f"Exceptional case, {hard.case}: {hard.multiple_of_weight:.1f} times the weight on the union; strength over stress "
            f"{hard.margin.median:.2f}, low end {hard.margin.p5:.2f}. "
            + (f"That is beyond the {most}measured." if beyond else f"Slack and falls can load it more: {most}times the weight was measured.")
        )
    if SYSTEMS[configuration.system].basal:
        counted = "in full" if settings.basal_bound == "frictionless" else "with the least friction"
        out.append(f"The anchor leg is counted {counted}; a pre-load left in it adds.")
        out.append(base_words(loads, configuration.hardware, len(loads.contacts) - 1 - len(configuration.beyond), settings))
    return tuple(out)


def leaf_words(bare: bool, settings: LoadSettings) -> str:
    """In what leaf the tree was judged, where that is not simply what the scan shows; bare : whether the scan shows no leaves."""
    if not bare:
        return "The scan shows leaves; the tree was judged without them, as set." if settings.leaves == "off" else ""
    if settings.leaves == "on":
        return f"The scan shows no leaves; the tree was judged in leaf, its limbs {100 * settings.leaf_share:.0f} % heavier (a default, not measured)."
    return "The scan shows no leaves: the tree was judged bare. In leaf it weighs more than was counted."


def is_lively(sag: float, turn: float, settings: LoadSettings) -> bool:
    """Whether the rope's place gives way [m] or turns [rad] by more than is called stiff."""
    return bool(sag > settings.lively or turn > np.deg2rad(settings.lively_deg))


def misread(tree: StructuralModel, at: int) -> str:
    """Why a limb that stands but could not, as measured, is not judged."""
    g = tree.graph
    return (
        f"as measured, the limb could not carry even itself at {g.xyz[at, 2] - g.xyz[0, 2]:.1f} m "
        f"(limb {g.limb[at]}, {2000 * tree.sections.radius[at]:.0f} mm), so its diameter or its course was misread, or its wood is stronger "
        f"than {tree.wood.mor / 1e6:.0f} MPa (name the species)"
    )


def sources(tree: StructuralModel, configuration: AnchorConfiguration) -> tuple[str, ...]:
    """Keys of everything published the check leans on."""
    keys = [*tree.wood.sources, "kane_2007", "union_factor", "kane_clouston_2008", "gilman_2003", "shock_load", "capstan", "arrest_force", SYSTEMS[configuration.system].source]
    return tuple(dict.fromkeys(keys))
