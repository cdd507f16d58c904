"""How much of its own section's strength does a limb keep where it joins the parent?

The factor comes on top of the live-branch share, and that share was measured on attached branches: Kane
(2007) found no difference between those that broke in the branch and those that broke at the union. The
weakness of an ordinary union, and its scatter, are in the share already. So the factor is exactly 1, without
a range, up to an aspect ratio of a half, and above it says only how much worse a nearly codominant union is
than those branches:

- maples broke at 29 MPa in codominant unions, whatever their clear-wood strength (Kane & Clouston 2008, Table
  4: 31.3 MPa - 0.04 MOR); that is 0.45 of the strongest maple's green MOR (64.8 MPa) and 0.62 of the 0.72
  that attached branches kept inside bark;
- stems broke at 43 to 52 MPa there, so "45 % less" is codominant union over stem; to take it off the share of
  attached branches, which is lower than that of stems, would count the union's weakness twice;
- thin red maple branches (5 to 20 mm) fell off more: 0.48 at an aspect ratio of 0.85 and 0.26 at 1, of the
  load at a half (Gilman 2003, mean of ten lines). The range therefore widens with what the factor takes away,
  stays below 1 on its high side, and its low end comes down to those 0.26 for equal stems.

Which way the union is bent is the question of `sections.union_direction`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from treescan.loads.settings import ONE_SHARE, LoadSettings
from treescan.wood.graph import Floats, Ints, WoodGraph

EQUAL_STEMS = (0.85, 0.26)
"""From this aspect ratio the low end runs straight down to this factor for equal stems [gilman_2003]."""


def union_factor(aspect: ArrayLike, settings: LoadSettings) -> Floats:
    """Low, middle and high union factor k for an aspect ratio, (..., 3).

    Parameters
    ----------
    aspect : (...) float    Limb over the other arm of the fork, 1 = equal stems.

    Notes
    -----
    A choice bracketed by published tests (see above): 1 up to 0.5, 0.80 at 0.7, 0.60 at 0.85, 0.55 for equal
    stems; low and high lie half of what is lost to either side, the low end at 0.26 for equal stems.
    """
    a = np.asarray(aspect, float)
    k = np.interp(a, np.array(settings.union_aspect), np.array(settings.union_k))
    k = np.where(np.isfinite(a), k, np.nan)
    either = settings.union_k_spread * (1.0 - k)
    from_where, at_equal = EQUAL_STEMS
    along = np.clip((a - from_where) / (1.0 - from_where), 0.0, 1.0)
    near = np.interp(from_where, np.array(settings.union_aspect), np.array(settings.union_k))
    near -= settings.union_k_spread * (1.0 - near)
    line = np.where((along > 0) & (k < 1), near + along * (at_equal - near), np.inf)
    low = np.maximum(np.minimum(k - either, line), 0.0)
    return np.stack([low, k, np.minimum(k + either, 1.0)], axis=-1)


def fork_factors(
    graph: WoodGraph, included: Mapping[int, str], settings: LoadSettings
) -> tuple[Floats, Floats]:
    """Union factor of every segment that starts at a fork, and the fork's aspect ratio.

    Parameters
    ----------
    graph : WoodGraph
    included : mapping      Fork nodes with reported included bark.

    Returns
    -------
    k : (n, 3) float        Low, middle, high; 1 where a segment does not start at a fork.
    aspect : (n,) float     NaN there.

    Notes
    -----
    The aspect ratio is that of the limb to the parent below or to the thickest other arm, whichever is
    larger: equal codominant stems have 1, as in the published tests. From `settings.codominant` the
    continuing arm carries the same factor.
    """
    n, u = len(graph), graph.unions
    k, aspect = np.ones((n, 3)), np.full(n, np.nan)
    first = np.array([line[0] for line in graph.limbs.nodes[1:] if len(line)], int)
    if len(first) == 0:
        return k, aspect
    size, below = 2.0 * graph.segment_radius, 2.0 * graph.segment_radius
    size[u.arm_node], below[u.node] = u.arm_diameter, u.parent_diameter
    fork = graph.parent[first]
    child, mate = _mates(graph.parent, first)
    largest = np.full(n, np.nan)  # of the other arms of the fork
    np.fmax.at(largest, child, size[mate])
    own, other = size[first], largest[first]
    with np.errstate(invalid="ignore"):
        ratio = np.fmax(own / below[fork], np.minimum(own, other) / np.maximum(own, other))
    ratio = np.where(np.isfinite(own) & np.isfinite(below[fork]), ratio, np.nan)
    mine = union_factor(ratio, settings) if settings.strength_model == ONE_SHARE else np.where(np.isfinite(ratio), 1.0, np.nan)[:, None] * np.ones(3)
    reported = np.isin(fork, list(included))
    mine[reported] *= np.array(settings.included_bark)
    k[first], aspect[first] = mine, ratio
    at = np.full(n, -1)
    at[first] = np.arange(len(first))
    both = (graph.limb[mate] == graph.limb[graph.parent[mate]]) & ((ratio >= settings.codominant) | reported)[
        at[child]
    ]
    np.minimum.at(k, mate[both], mine[at[child[both]]])
    aspect[mate[both]] = ratio[at[child[both]]]
    return k, aspect


def _mates(parent: Ints, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Every pair (node of `first`, another child of its parent)."""
    order = np.argsort(parent, kind="stable")
    start, end = (np.searchsorted(parent[order], parent[first], side=s) for s in ("left", "right"))
    count = end - start
    child = np.repeat(first, count)
    mate = order[
        np.repeat(start, count) + np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    ]
    return child[mate != child], mate[mate != child]
