"""Does what the tree has borne count here at all?

Storms passed beside decay, cracks and old tears, so nothing reported is offset by them. Thin limbs and
shoots stream in the wind, which
loads them less than their area says. Wind bends wood: it never twisted, sheared or pressed it as a rope does.
"""

from __future__ import annotations

import numpy as np

from treescan.loads.judging.judged import Judged
from treescan.loads.limb_check import FAILS, UNSEEN
from treescan.loads.site_history import DAMAGED
from treescan.reason import Reason

THIN = 0.08
"""Limbs thinner than this stream in the wind. [m]"""

BENT = ("bending", "union tear-out")
"""Ways of breaking that wind tries too."""


def counts(found: Judged, called: str) -> bool:
    """Whether there is anything to count: no refusal, and no wood the scan did not see, is told what it has
    borne."""
    return called not in (FAILS, UNSEEN) and found.gate is None and found.use.margin.known


def why_not(found: Judged) -> Reason | None:
    """Why nothing that was borne counts for this anchor; None where it does."""
    tree, path, site = found.tree, found.path, found.tree.settings.history
    reported = tree.sections.reported
    if site.hot_day:
        return Reason("history_hot_day")
    if site.changed == DAMAGED:
        return Reason("history_damaged")
    if tree.gone.any():
        return Reason("history_cut")
    if np.any(reported.keep[path.node] < 1.0) or _included(found):
        return Reason("history_reported")
    thinnest = 2 * float(np.nanmin(path.radius))
    if thinnest < THIN:
        return Reason("history_thin", diameter=thinnest, least=THIN)
    if found.use.mode not in BENT:
        return Reason("history_not_bent", mode=found.use.mode)
    return None


def _included(found: Judged) -> bool:
    """Whether a person reported included bark at a union on the way to the ground."""
    graph = found.tree.graph
    forks = list(found.tree.sections.reported.included)
    return bool(np.isin(graph.parent[found.path.node], forks).any())
