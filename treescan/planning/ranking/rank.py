"""Which tie-in point first? Gates, then scores, then an order with its robustness. The main thing of this
room."""

from __future__ import annotations

from collections.abc import Sequence

from treescan.loads.limb_check import AnchorCheck
from treescan.loads.settings import LoadSettings
from treescan.planning.ranking.judge import Ground, Ways, judged
from treescan.planning.ranking.order import order_points
from treescan.planning.reach.places import Places
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.progress import Progress, quiet
from treescan.throw.throw_path import Throw, ThrowTable
from treescan.wood.graph import ScanFitness

Checked = tuple[AnchorCheck, Throw | None]
"""A checked configuration and the throw that sets its line, None where it is set by climbing."""


def rank_points(
    context: TreeContext,
    fitness: ScanFitness,
    throws: ThrowTable,
    checked: Sequence[Checked],
    loads: LoadSettings,
    seed: int,
    places: Places | None = None,
    progress: Progress = quiet,
) -> tuple[TieInPoint, ...]:
    """All candidates, judged, ranked and explained.

    Parameters
    ----------
    checked : the configurations from `candidates.candidate_configurations`, each as checked by
    `loads.checks.anchor`.
    loads : LoadSettings    The ones the checks were made with.
    seed : int              Of the perturbed rankings behind the stability figures.
    places : Places         Of the same tree, site, work, settings and configurations; default: made here.

    Returns
    -------
    tuple of TieInPoint     Usable ones by rank (the best system of each union first, see
    `order.order_points`), then the rest
                            with their reasons.
    """
    checks = [check for check, _ in checked]
    places = places or Places.of(context, [c.configuration for c in checks], loads=loads)
    ground = Ground(context, fitness, places, Ways.of(context, throws, checks), loads)
    found = []
    for i, (check, throw) in enumerate(checked):
        progress("ranking", i / len(checked))
        found.append(judged(ground, check, throw))
    progress("ranking", 1.0)
    return order_points(context.graph, found, context.settings, seed)
