"""Would a search for throws on another site find the same?"""

from __future__ import annotations

import numpy as np

from treescan.trees.beside import Beside, Site


def same_search(now: tuple[Beside, Site], before: tuple[Beside, Site]) -> bool:
    """True where neither standing places, nor what a flight can meet, nor where a bag may come down have changed on one tree:
    anchors in other trees, what basal lines are tied to and the voltage of a wire touch no throw.

    Parameters
    ----------
    now, before : (Beside, Site)    The first as `as_said` of the second.
    """
    (beside, site), (beside_before, site_before) = now, before
    return (
        beside.terrain is beside_before.terrain
        and beside.foliage is beside_before.foliage
        and beside.surroundings.xyz is beside_before.surroundings.xyz
        and np.array_equal(beside.surroundings.kind, beside_before.surroundings.kind)
        and _areas(site) == _areas(site_before)
        and _lines(site) == _lines(site_before)
    )


def _areas(site: Site) -> list[tuple[object, ...]]:
    """Every area with its name, which is told where a bag comes down in it."""
    return [(a.kind, a.name, np.asarray(a.ring, float).tolist()) for a in site.areas()]


def _lines(site: Site) -> list[list[list[float]]]:
    """Where the conductors hang."""
    return [np.asarray(c.line, float).tolist() for c in site.conductors]
