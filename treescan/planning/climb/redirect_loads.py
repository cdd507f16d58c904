"""Does the wood hold a redirect, by all forces and the tree's own weight?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from treescan.loads.checks.redirect_check import check_redirect
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.statics.load_path import StructuralModel
from treescan.planning.climb.redirects import Redirect, in_order, margin_words, redirect_configuration
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.wood.graph import WoodGraph

KEPT_BEFORE, KEPT_AFTER = 2, 2
"""Sentences of a screened redirect before and after those on its margins."""


def with_all_forces(
    tree: StructuralModel, point: TieInPoint, found: Sequence[Redirect], work: Work, overrides: Sequence[Override], settings: PlanningSettings
) -> tuple[Redirect, ...]:
    """The same redirects with exact margins, what follows from them, and in the order that follows from them.

    Parameters
    ----------
    tree : StructuralModel             From `loads.anchor.whole_tree`.
    point : TieInPoint      The main anchor.
    found : sequence        From `redirects.redirects` for that point.
    work : Work             All of it is tried, as for the anchor without a redirect.
    overrides : sequence of Override    Strength they take off a limb is taken off here too.
    """
    return in_order([_exact(tree, point, r, work, overrides, settings) for r in found], work)


def _exact(tree: StructuralModel, point: TieInPoint, r: Redirect, work: Work, overrides: Sequence[Override], settings: PlanningSettings) -> Redirect:
    main, over = point.check.configuration, redirect_configuration(tree.graph, r.union, settings)
    check = check_redirect(tree, main, over, work.xyz)
    main_margin = check.main_margin.p5 * strength_left(tree.graph, bearing(tree.graph, main), overrides)
    margin = check.redirect_margin.p5 * strength_left(tree.graph, bearing(tree.graph, over), overrides)
    gate = settings.margin_gate
    spoils = bool(main_margin < gate or margin < gate or check.gate)
    words = margin_words(r.label, main_margin, margin, gate, True, check.reason)
    if check.gate:
        words = (*words, f"Not ranked: {check.gate}.")
    return replace(
        r,
        main_margin=main_margin,
        margin=margin,
        spoils=spoils,
        words=(*r.words[:KEPT_BEFORE], *words, *r.words[-KEPT_AFTER:]),
        exact=True,
        reason=check.reason,
    )


def bearing(graph: WoodGraph, configuration: AnchorConfiguration) -> list[int]:
    """Nodes the rope bears on: the limb at the union, the union itself, further supports of a basal line."""
    return [int(configuration.rest_node), int(graph.unions.node[configuration.union]), *(int(v) for v in (*configuration.via, *configuration.beyond))]
