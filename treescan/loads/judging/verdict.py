"""Which verdict does an anchor get, and why?"""

from __future__ import annotations

import numpy as np

from treescan.loads.judging.judged import Judged
from treescan.loads.limb_check import DOUBTFUL, FAILS, HOLDS, IF_TESTED, known, limb_named
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason


def verdict(found: Judged) -> tuple[str, Reason]:
    """The verdict and its reason."""
    g, settings, margin, node = found.tree.graph, found.tree.settings, found.use.margin, found.use.node
    if found.gate is not None:
        return FAILS, found.gate
    figures = {
        "low": margin.p5,
        "middle": margin.median,
        "height": g.xyz[node, 2] - g.xyz[0, 2],
        "wood": limb_named(g.limb[node]),
        "diameter": known(2 * g.segment_radius[node]),
        "mode": found.use.mode,
    }
    turn = found.stiffness.slope_change
    if turn > settings.turn_refused:
        return FAILS, Reason("turns_too_far", turn=turn, asked=settings.turn_refused, **figures)
    if not margin.p5 >= settings.fails_p5:
        return FAILS, Reason("strength_fails", asked=settings.fails_p5, **figures)
    shock = found.shock
    if shock is not None:
        case = found.loads.pulls.hard_case[shock.row]
        if not shock.margin.known:
            return FAILS, Reason("shock_not_judged", case=case, **figures)
        hard = {"case": case, "shock_low": shock.margin.p5, "shock_middle": shock.margin.median}
        if not shock.margin.median >= settings.exceptional_median:
            return FAILS, Reason("shock_breaks", asked=settings.exceptional_median, **hard, **figures)
        if not shock.margin.p5 >= settings.exceptional_p5:
            return DOUBTFUL, Reason("shock_doubtful", asked=settings.exceptional_p5, **hard, **figures)
    if margin.p5 >= settings.holds_p5 and found.use.overload <= settings.holds_chance:
        return HOLDS, Reason("strength_holds", asked=settings.holds_p5, **figures)
    hardest = found.tested[-1] if found.tested else None
    if hardest is not None and hardest.overload_chance <= settings.tested_chance:
        return IF_TESTED, Reason(
            "strength_if_tested",
            asked=settings.holds_p5,
            people=whole_people(hardest.people),
            pull=hardest.pull,
            size=hardest.size,
            moment=hardest.moment,
            share=hardest.moment_share,
            after=hardest.low,
            **figures,
        )
    return DOUBTFUL, Reason("strength_doubtful", asked=settings.holds_p5, **figures)


def whole_people(people: float) -> int:
    """How many people must hang still on the rope for a pull of so many weights."""
    return int(np.ceil(people - 1e-6))


def misread(tree: StructuralModel, node: int) -> Reason:
    """Why a limb that stands but could not, as measured, is not judged."""
    g = tree.graph
    return Reason(
        "wood_misread",
        height=g.xyz[node, 2] - g.xyz[0, 2],
        wood=limb_named(g.limb[node]),
        diameter=2 * tree.sections.radius[node],
        mor=tree.wood.mor,
    )


def sources(found: Judged) -> tuple[str, ...]:
    """Keys of everything published the check leans on."""
    system = SYSTEMS[found.configuration.system].source
    keys = (
        *found.tree.wood.sources,
        "section_strength",
        "kane_2007",
        "union_factor",
        "kane_clouston_2008",
        "lilly_sydnor_1995",
        "gilman_2003",
        "fork_sideways",
        "curved_limb",
        "record_1914",
        "volume_effect",
        "proven_service",
        "site_wind",
        "crown_drag",
        "gust_climate",
        "load_duration",
        "hidden_defects",
        "shock_load",
        "capstan",
        "arrest_force",
        system,
    )
    return tuple(dict.fromkeys(keys))
