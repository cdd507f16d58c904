"""Does the wood hold a redirect, by all forces and the tree's own weight?"""

from __future__ import annotations

from collections.abc import Sequence

from treescan.loads.checks.redirect_check import check_redirect
from treescan.loads.statics.structural_model import StructuralModel
from treescan.planning.candidates.contact import bearing_nodes
from treescan.planning.ranking.overrides import Override, strength_left
from treescan.planning.redirects.redirect import Redirect, RedirectMargins, in_order, judged
from treescan.planning.redirects.redirects import redirect_configuration
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import TieInPoint, Work


def with_all_forces(
    tree: StructuralModel,
    point: TieInPoint,
    found: Sequence[Redirect],
    work: Work,
    overrides: Sequence[Override],
    settings: PlanningSettings,
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
    exact = [
        judged(r.way, _exact(tree, point, r.way.union, work, overrides, settings), settings.margin_gate)
        for r in found
    ]
    return in_order(exact, work)


def _exact(
    tree: StructuralModel,
    point: TieInPoint,
    union: int,
    work: Work,
    overrides: Sequence[Override],
    settings: PlanningSettings,
) -> RedirectMargins:
    main, over = point.check.configuration, redirect_configuration(tree.graph, union, settings)
    check = check_redirect(tree, main, over, work.xyz)
    main_margin = check.main_margin.p5 * strength_left(tree.graph, bearing_nodes(tree.graph, main), overrides)
    margin = check.redirect_margin.p5 * strength_left(tree.graph, bearing_nodes(tree.graph, over), overrides)
    gate = settings.margin_gate
    spoils = bool(main_margin < gate or margin < gate or check.gate)
    return RedirectMargins(
        main_margin, margin, spoils, exact=True, unseen=check.reason or None, barred=check.gate or None
    )
