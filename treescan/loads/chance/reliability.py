"""How sure is the margin? Diameters, strength, union factor, friction, mass and the rope's place all vary;
the decision looks at the low end.

Everything is a map from independent standard normals to the margin: draws at random give its distribution
(Monte Carlo). The tests hold that against the slope at the middle (first order) and against closed forms.

What is counted once. The share of clear-wood strength that live branches kept (0.40 of MOR on the circle over
bark) and its scatter (0.446) were measured on attached branches, pulled until they broke in the branch or at
the union, every stress over the MOR of the branch's own wood (Kane 2007). So
- bark, the oval section taken for a circle, knots, and the weakness of an ordinary union are in the share:
  the union factor is 1 without a range there, and acts only beyond (see `union_check`);
- how much the wood of one tree differs from the table's row is not in it, because each branch was held
  against its own wood: the scatter of MOR comes on top, once (0.16 beside 0.446 widens the spread from 0.43
  to 0.45 only);
- the 0.446 is how branches differ from each other, so every limb on the way to the ground draws its own, and
  the weakest governs; what the tree's wood differs from the table is common to them all;
- the error of the scan's diameter is not in it either: those branches were measured by hand;
- an oval that is reported, or measured beyond doubt, moves the stress by its own ratio on top: what the ovals
  of those branches did on the whole is in the share, so a limb higher than wide may gain a few per cent
  twice, far inside the scatter.
A tree that stands carries its own weight. Draws in which it could not are left out: without that, a heavy
limb would be refused for a strength so low that it would have broken long ago. Wind and snow it has borne are
told beside (`history/`), never in the margin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit
from scipy.special import ndtr

from treescan.estimate import Estimate
from treescan.loads.chance.margin_kernel import FIXED, FRICTION, MASS, UNION, margins_by_section, sampled_margins
from treescan.loads.chance.overload_chance import SectionDraws
from treescan.loads.settings import HIGH, LOW
from treescan.wood.graph import Floats, Ints

PLENTY = 12.0
"""Own-weight margins beyond this at the middle values need no look: no draw makes them 1 (5 log standard
deviations, derived)."""

BENT_BACK = 0.5
"""Most that bending one way says of strength the other way, forks apart (project choice)."""

LEAST_STANDING = 0.05
"""Least share of the draws in which the tree stands, for the rest of them to be believed (project choice)."""


@dataclass(frozen=True)
class RopeFriction:
    """Friction of a rope where it is counted in a check.

    turn_sum : (q,) float   Turning between the climber and leg q, 0 where no friction is counted. [rad]
    mu : (3,) float         Low, middle, high.
    used : float            What is already in the forces.
    """

    turn_sum: Floats
    mu: Floats
    used: float

    @classmethod
    def none(cls, legs: int) -> RopeFriction:
        """No friction on so many legs."""
        return cls(np.zeros(legs), np.zeros(3), 0.0)


@dataclass(frozen=True)
class MarginCase:
    """The sections that may govern under one load, with what is uncertain about them.

    Attributes
    ----------
    axis : (s, 3); radius, sd : (s,)    [m], relative
    cholesky : (s, s) float       Lower Cholesky factor of the correlation of the diameters.
    column : (s,) int           Which standard normal every section's diameter takes as its own, beyond those
        of the limbs.
    bending, crushing, shear : (s,)     Median strengths without union factor, reports included. [Pa]
    spread, limb_spread : (s,)  Log standard deviation common to the tree, and of every limb by itself.
    plane : (s,) float          Correlation of the limb's own part between this load and the own weight.
    limb : (s,) int             Which of the `limbs` limbs on the way to the ground a section belongs to.
    k : (s, 3)                  Union factor low, middle, high.
    force, moment : (s, q, 3)   Of leg q at the middle values. [N], [N m]
    turn_sum : (q,) float       Turning between the climber and leg q where friction is counted, else 0. [rad]
    mu : (3,) float             Low, middle, high friction.
    mu_used : float             Friction already in `force` and `moment`.
    shift : (s, 3) float        Change of moment per metre the rope moves out along the limb. [N]
    min_shift : float         It cannot move further in than this. [m]
    own_weight : (s,) float, own_moment : (s, 3)    [N], [N m]
    mass_sd, rest_sd : float    Relative; [m]
    node : (s,) int             Graph nodes of the sections.
    """

    axis: Floats
    radius: Floats
    sd: Floats
    cholesky: Floats
    column: Ints
    bending: Floats
    crushing: Floats
    shear: Floats
    spread: Floats
    limb_spread: Floats
    plane: Floats
    limb: Ints
    limbs: int
    k: Floats
    force: Floats
    moment: Floats
    turn_sum: Floats
    mu: Floats
    mu_used: float
    shift: Floats
    min_shift: float
    own_weight: Floats
    own_moment: Floats
    mass_sd: float
    rest_sd: float
    node: Ints = field(default_factory=lambda: np.zeros(0, np.int32))

    @cached_property
    def key(self) -> bytes:
        """All of it, to be compared."""
        values = [np.asarray(getattr(self, f.name)) for f in fields(self)]
        return b"".join([b"%d " % size for v in values for size in v.shape] + [v.tobytes() for v in values])

    @property
    def dimensions(self) -> int:
        """Number of independent standard normals."""
        return FIXED + 2 * self.limbs + int(self.column.max()) + 1


@njit(cache=True, nogil=True)
def correlation_factor(limb, along, reach, common):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Lower Cholesky factor of the diameters' correlation: common to a limb, the rest fading with distance,
    none between limbs; a trace of independence (1e-10) lets two sections lie at one place.

    Parameters
    ----------
    limb : (s,) int, along : (s,) float     Limb and place along the load path of every section. [m]
    reach, common : float                   `diameter_reach` and `diameter_common` of the settings.
    """
    n = len(limb)
    out = np.zeros((n, n))
    for i in range(n):
        for j in range(i + 1):
            left = 1.0 + 1e-10 if i == j else 0.0
            if i != j and limb[i] == limb[j]:
                left = common + (1 - common) * np.exp(-abs(along[i] - along[j]) / reach)
            for m in range(j):
                left -= out[i, m] * out[j, m]
            out[i, j] = np.sqrt(left) if i == j else left / out[j, j]
    return out


def triangular(z: Floats, low: float, middle: float, high: float) -> Floats:
    """Value of a triangular distribution at standard normal z; low = high gives that value."""
    u = ndtr(z)
    if high <= low:
        return np.full_like(u, middle)
    width = high - low
    knee = (middle - low) / width
    up = low + np.sqrt(np.maximum(u * width * (middle - low), 0.0))
    down = high - np.sqrt(np.maximum((1 - u) * width * (high - middle), 0.0))
    return np.where(u <= knee, up, down)


def both_margins(case: MarginCase, z: Floats) -> tuple[Floats, Floats]:
    """Least strength over stress of all sections under the load, and under the tree's own weight alone, (n,)
    each.

    The second is infinite where its middle value is beyond `PLENTY`: there nothing can be learnt from the
    wood standing. Quickest where z is stored column by column.
    """
    margins: tuple[Floats, Floats] = sampled_margins(0, len(case.radius), *_drawn(case, z))
    return margins


def each_margin(case: MarginCase, z: Floats) -> tuple[Floats, Floats]:
    """As `both_margins`, of every section by itself, (s, n) each."""
    margins: tuple[Floats, Floats] = margins_by_section(*_drawn(case, z))
    return margins


def _drawn(case: MarginCase, z: Floats) -> tuple[Any, ...]:
    """What `sampled_margins` takes after the sections."""
    z = np.ascontiguousarray(z.T)
    force, moment, legs = case.force, case.moment, np.exp(case.mass_sd * z[MASS : MASS + 1])
    if case.turn_sum.any():
        legs = legs * np.exp(
            (case.mu_used - triangular(z[FRICTION : FRICTION + 1], *case.mu)) * case.turn_sum[:, None]
        )
    else:  # all legs grow and shrink alike
        force, moment = (np.sum(v, axis=1, keepdims=True) for v in (force, moment))
    at = ndtr(z[UNION]) if np.any(case.k[:, HIGH] > case.k[:, LOW]) else z[UNION]
    return (
        z,
        at,
        legs,
        case.axis,
        case.radius,
        case.sd,
        case.cholesky,
        case.bending,
        case.crushing,
        case.shear,
        case.spread,
        case.limb_spread,
        case.plane,
        case.limb,
        case.limbs,
        FIXED + 2 * case.limbs + case.column,
        case.k,
        force,
        moment,
        case.shift,
        case.min_shift,
        case.own_weight,
        case.own_moment,
        case.mass_sd,
        case.rest_sd,
        PLENTY,
    )


def sampled_reliability(
    case: MarginCase,
    z: Floats,
    *,
    stands: bool = True,
    also: Sequence[MarginCase] = (),
    low_share: float = 0.05,
) -> tuple[Estimate, float]:
    """Margin of the weakest section over draws z (n, at least `dimensions`), and the share of the draws in
    which it is overloaded.

    `also` are further loads the same wood must bear: in every draw the worst of all counts.

    With `stands` the draws are left out in which the wood would break under its own weight alone: it is
    there, so they are not so. Fewer than `LEAST_STANDING` of the draws left means that the tree as measured
    is not this tree: *not seen*.
    """
    least, own = both_margins(case, z[:, : case.dimensions])
    for other in also:
        more, own_more = both_margins(other, z[:, : other.dimensions])
        least, own = np.minimum(least, more), np.minimum(own, own_more)
    if stands:
        up = own > 1.0
        if up.mean() < LEAST_STANDING:
            return Estimate(float("nan"), float("nan"), float("nan")), float("nan")
        least = least[up]
    return Estimate.of(least, low_share), float(np.mean(least < 1.0))


def section_draws(
    cases: Sequence[MarginCase], z: Floats, widened: Floats, *, stands: bool = True
) -> SectionDraws:
    """Every section of some loads on one way to the ground, drawn in all but its limb's own part of the
    strength.

    Parameters
    ----------
    z : (n, k) float        Standard normals as of `sampled_reliability`.
    widened : (n,) float    What each draw widens the spread of strength by.
    """
    z = z[:, : max(case.dimensions for case in cases)].copy(order="F")
    z[:, FIXED : FIXED + 2 * cases[0].limbs] = 0.0
    drawn = [each_margin(case, z[:, : case.dimensions]) for case in cases]
    own = np.concatenate([alone for _, alone in drawn])
    return SectionDraws(
        margin=np.concatenate([used for used, _ in drawn]),
        own=own if stands else np.full_like(own, np.inf),
        spread=np.concatenate([case.limb_spread for case in cases])[:, None] * widened,
        plane=np.concatenate([case.plane for case in cases]),
        limb=np.concatenate([case.limb for case in cases]),
    )

