"""Which tie-in point first? Gates, then scores, then an order with its robustness. The main thing of this
room."""

from __future__ import annotations

from collections.abc import Sequence

from treescan.loads.settings import LoadSettings
from treescan.planning.candidates.screening import Screening
from treescan.planning.ranking.judge import Ground, judged, with_rescue_lines
from treescan.planning.ranking.order import order_points
from treescan.planning.ranking.ways_up import Checked, Ways, holds_of
from treescan.planning.reach.places import Places
from treescan.planning.tie_in_point import TieInPoint
from treescan.planning.tree_context import TreeContext
from treescan.progress import Progress, quiet
from treescan.wood.graph import ScanFitness


def rank_points(
    context: TreeContext,
    fitness: ScanFitness,
    checked: Sequence[Checked],
    loads: LoadSettings,
    seed: int,
    places: Places | None = None,
    progress: Progress = quiet,
    screening: Screening = Screening(),
) -> tuple[TieInPoint, ...]:
    """All candidates, judged, ranked and explained.

    Parameters
    ----------
    checked : the configurations from `candidates.candidate_configurations`, each as checked by
    `loads.checks.anchor`.
    loads : LoadSettings    The ones the checks were made with.
    seed : int              Of the perturbed rankings behind the stability figures.
    screening : Screening   Lines beside the candidates that may be hung on on the way up.
    places : Places         Of the same tree, site, work, settings and configurations; default: made here.

    Returns
    -------
    tuple of TieInPoint     Usable ones by rank (the best system of each union first, see
    `order.order_points`), then the rest
                            with their reasons.
    """
    checks = [check for check, _ in checked]
    places = places or Places.of(context, [c.configuration for c in checks], loads=loads)
    ways = Ways.of(
        context.graph, holds_of(context, fitness, checked, screening, places.lines), context.settings
    )
    ground = Ground(context, fitness, places, ways, loads)
    found = []
    for i, (check, throw) in enumerate(checked):
        progress("ranking", i / len(checked))
        found.append(judged(ground, check, throw))
    progress("ranking", 1.0)
    rescued = with_rescue_lines(context.graph, found, context.work, context.settings)
    return order_points(context.graph, rescued, context.settings, seed)
