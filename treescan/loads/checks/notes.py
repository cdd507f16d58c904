"""What must a reader know beside the numbers of a check?"""

from __future__ import annotations

import numpy as np

from treescan.loads.checks.base_anchor import base_notes
from treescan.loads.history.credit import counts, why_not
from treescan.loads.history.foot_gust import foot_gust
from treescan.loads.judging.judged import Judged
from treescan.loads.judging.rope_slip import RopeSlip
from treescan.loads.judging.stiffness import Stiffness
from treescan.loads.judging.stout_line import StoutLine
from treescan.loads.limb_check import Borne, Exceptional, known
from treescan.loads.material.section_strength import towards_codominant
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.sections.union_direction import bent_which_way
from treescan.loads.settings import WORST_STOP, LoadSettings
from treescan.loads.statics.governing import rope_moment_at
from treescan.reason import Reason

ONE_SIDED = np.deg2rad(120.0)
"""Arc of bark below which a diameter was seen from one side only (project choice)."""

BASIS = {
    "at rest": "basis_weight",
    "ascent": "basis_ascent",
    "work positioning": "basis_positioning",
    "limb walk": "basis_limb_walk",
    "swing": "basis_computed",
    "abrupt stop": "basis_computed",
    WORST_STOP: "basis_worst_stop",
    "rescue": "basis_rescue",
    "load test": "basis_load_test",
}
"""Code of what stands behind the size of every load case."""

SLIPS = {"friction": "slips_to_friction", "side_limb": "slips_to_side_limb", "nothing": "slips_off"}
"""Code of a rope that slips, by what stops it."""


def notes(found: Judged, rows: np.ndarray) -> tuple[Reason, ...]:
    """What must be said beside the numbers; rows (s,) int of the load path, the section at the ground
    last."""
    settings = found.tree.settings
    return (
        _roots_note(found, int(rows[-1])),
        *_union_note(found),
        *_scan_notes(found, rows),
        *leaf_notes(found.tree.beside.foliage.bare, settings),
        _ordinary_note(found),
        *_slip_notes(found.slip),
        _stiffness_note(found.stiffness),
        *_bounce_notes(found.stiffness, settings),
        *_shock_notes(found.exceptional, settings),
        *_base_notes(found),
    )


def _roots_note(found: Judged, row: int) -> Reason:
    """The moment at the stem's foot (row of the load path at the ground), beside that of a gust where one is known."""
    foot, gust = float(found.use.forces.bending[0, row]), foot_gust(found.tree, int(found.path.node[row]))
    if gust is None:
        return Reason("roots_not_assessed", moment=foot)
    climber = float(np.linalg.norm(rope_moment_at(found.path, row, found.use.legs)))
    return Reason(
        "roots_beside_a_gust", moment=foot, climber=climber, gust=gust.moment, speed=gust.speed,
        share=climber / gust.moment, most=climber / gust.low,
    )  # fmt: skip


def _union_note(found: Judged) -> tuple[Reason, ...]:
    """Which way a nearly codominant union is bent, where that governs."""
    s, node, use = found.tree.sections, found.use.node, found.use
    if not towards_codominant(s.aspect[node]) > 0:
        return ()
    way = bent_which_way(use.own_moment + use.rope_moment, s.axis[node], s.fork_normal[node])
    height = found.tree.graph.xyz[node, 2] - found.tree.graph.xyz[0, 2]
    return (Reason("union_bent", height=height, way=way, aspect=s.aspect[node]),)


def _ordinary_note(found: Judged) -> Reason:
    """The hardest load of ordinary use, and what stands behind its size."""
    pulls, row = found.loads.pulls, found.use.row
    case = pulls.case[row]
    code, ratio = BASIS[case], found.tree.settings.rescue_factor
    if case == "rescue":
        plumb = pulls.work[row] < 0
        basis = Reason(code, low=ratio[0], high=max(ratio)) if plumb else Reason("basis_rescue_at_work")
    else:
        basis = Reason(code)
    return Reason("ordinary_use_judged", case=case, basis=basis)


def _scan_notes(found: Judged, rows: np.ndarray) -> tuple[Reason, ...]:
    """What the scan saw badly on the way to the ground."""
    g, node = found.tree.graph, found.path.node[rows]
    arc = g.arc[node]
    out = []
    if np.any(arc < ONE_SIDED):
        out.append(Reason("seen_from_one_side", arc=np.nanmin(arc)))
    if np.any(~g.seen[node]):
        out.append(Reason("gaps_spanned"))
    return tuple(out)


def leaf_notes(bare: bool, settings: LoadSettings) -> tuple[Reason, ...]:
    """In what leaf the tree was judged, where that is not simply what the scan shows; bare : whether the scan
    shows no leaves."""
    if not bare:
        return (Reason("judged_without_leaves"),) if settings.leaves == "off" else ()
    if settings.leaves == "on":
        return (Reason("judged_in_leaf", share=settings.leaf_share),)
    return (Reason("judged_bare"),)


def _slip_notes(slip: RopeSlip | None) -> tuple[Reason, ...]:
    return () if slip is None else (Reason(SLIPS[slip.held_by], way=slip.way),)


def history_notes(found: Judged, called: str, stood: Borne | None) -> tuple[Reason, ...]:
    """What the tree has borne, or why that does not count here; nothing where it is refused or was not seen."""
    if not counts(found, called):
        return ()
    why = why_not(found)
    if why is not None:
        return (why,)
    if stood is None:
        return ()
    return (
        Reason(
            "history_borne",
            rain=stood.rain,
            snow=stood.snow,
            years=stood.years or None,
            gust=stood.gust,
            share=stood.share.median,
            least=stood.share.p5,
            low=stood.low,
            low_before=found.use.margin.p5,
            chance=stood.overload_chance,
            chance_before=found.use.overload,
        ),
    )


def twig_notes(line: StoutLine) -> tuple[Reason, ...]:
    """What becomes of a basal line over twigs."""
    return (Reason("twigs_give_way", n=line.twigs, drop=line.drop),) if line.twigs else ()


def _stiffness_note(give: Stiffness) -> Reason:
    return Reason("place_lively" if give.lively else "place_stiff", sag=give.sag, turn=give.slope_change)


def _bounce_notes(give: Stiffness, settings: LoadSettings) -> tuple[Reason, ...]:
    """The bent shape where it was counted, and the rhythm of an ascent where the tie-in answers it."""
    b, out = give.bounce, []
    if give.growth > 1.0:
        out.append(Reason("judged_bent", turn=give.slope_change, growth=give.growth))
    if b.light > settings.amplified_told:
        out.append(
            Reason(
                "ascent_amplified",
                low=b.low,
                high=b.high,
                slowest=settings.cadence[0],
                fastest=settings.cadence[-1],
                light=b.light,
                heavy=b.heavy,
                rigid=b.rigid,
                rope=b.rope,
                limb=b.limb,
            )
        )
    return tuple(out)


def _shock_notes(hard: Exceptional | None, settings: LoadSettings) -> tuple[Reason, ...]:
    """The exceptional case, held against the hardest stop that was measured."""
    if hard is None:
        return ()
    beyond = hard.multiple_of_weight > settings.stop_ceiling
    return (
        Reason(
            "shock_beyond_measured" if beyond else "shock_as_measured",
            case=hard.case,
            multiple=hard.multiple_of_weight,
            middle=known(hard.margin.median),
            low=known(hard.margin.p5),
            measured=settings.stop_ceiling,
        ),
    )


def _base_notes(found: Judged) -> tuple[Reason, ...]:
    """What a basal line adds."""
    settings, configuration = found.tree.settings, found.configuration
    if not SYSTEMS[configuration.system].basal:
        return ()
    leg = Reason("anchor_leg_in_full" if settings.basal_bound == "frictionless" else "anchor_leg_eased")
    return (leg, *base_notes(found.loads, configuration.hardware, found.union, settings))
