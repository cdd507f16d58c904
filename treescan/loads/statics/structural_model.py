"""What stays the same for every anchor on one tree? Sections, wood, what a break leaves standing, draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from treescan.loads.chance.margin_kernel import FIXED, MASS, WOOD
from treescan.loads.material.section_strength import low_side_chance, student_factors
from treescan.loads.material.wood_strength import Wood
from treescan.loads.sections.crown_moments import CrownMoments, crown_moments
from treescan.loads.sections.curved_limb import Bends, bends
from treescan.loads.sections.tree_sections import TreeSections, as_cut, tree_sections
from treescan.loads.settings import ONE_SHARE, LoadSettings
from treescan.loads.site_history import WEATHER_NORMALS, SiteHistory
from treescan.short_repr import ShortRepr
from treescan.trees.beside import Beside
from treescan.wood.graph import Floats, WoodGraph

OWN = 128
"""Sections on one way to the ground with a normal of their own for the diameter, from the ground up; further
ones begin anew. So a section keeps its draws whichever others are kept beside it."""

LIMBS = 16
"""Limbs on one way to the ground with a strength of their own; further ones share the last."""

MOST_KNOWN = 16000
"""Answers on one tree's sections that are remembered, those last asked for: four plans of 180 lines or so, 10 kB each."""

Found = TypeVar("Found")

WITHOUT_LOADS: dict[str, Any] = {
    "cases": (),
    "rescue_mass": float("inf"),
    "rescue_factor": (),
    "test_people": float("inf"),
    "rope_angle_limit_deg": float("inf"),
    "ascent_factor": float("inf"),
    "positioning_factor": float("inf"),
    "limb_walk_factor": float("inf"),
    "history": SiteHistory(),
}
"""Settings that no section depends on, and nothing that given loads do to them: put where nothing can be read from them."""

HANGS = -np.sqrt(0.5)
"""Rise of a side limb below which a rope may pass it [sine] (project choice)."""


@dataclass(frozen=True, repr=False)
class StructuralModel(ShortRepr):
    """What stays the same for all configurations on one tree.

    bends : Bends               Where its limbs are strongly curved.
    leaves_limbs : (n,) bool    See `leaves_limbs`; stops : (n,) bool see `stops_a_rope`.
    normals : (draws, k) float  Standard normals the margins are drawn with, the same for every configuration;
        few : the first of them, for what catches; pulled, few_pulled : both with the error of a test's pull in the place of the
        climber's mass, one independent of the other.
    widened : (draws,) float    By how much each draw widens the spread of strength, in `normals` already: few
        tests have heavy tails.
    low_share : float           Share of the draws below the low side of a margin.
    gone : (n,) bool            Nodes cut off before: nothing hangs on them and no rope lands on them.
    crown : CrownMoments        How wind and snow bend every section.
    weather : (draws, w) float  Standard normals of the weather it has stood, `site_history.WEATHER_NORMALS` a draw.
    seed : int                  Of all draws.
    """

    graph: WoodGraph
    beside: Beside
    wood: Wood
    sections: TreeSections
    bends: Bends
    leaves_limbs: np.ndarray
    stops: np.ndarray
    settings: LoadSettings
    normals: Floats
    few: Floats
    pulled: Floats
    few_pulled: Floats
    widened: Floats
    low_share: float
    gone: np.ndarray
    crown: CrownMoments
    weather: Floats
    seed: int

    @cached_property
    def under_loads(self) -> StructuralModel:
        """The same for loads that are given: without the settings that only say which loads those are, and those of the history,
        which nothing that is judged may depend on."""
        settings = replace(self.settings, **WITHOUT_LOADS)
        return self if settings == self.settings else replace(self, settings=settings)

    def once(self, key: tuple[object, ...], work_out: Callable[[StructuralModel], Found]) -> Found:
        """What is worked out of loads and this model; looked up where it was before for the same key, all of the loads, on a model that
        differs in nothing but what `under_loads` leaves out, which `work_out` is given."""
        bare, known = self.under_loads, self.sections.judged
        found: tuple[StructuralModel, Found] | None = known.get(key)
        if found is None or not found[0].alike(bare):
            found = known[key] = bare, work_out(bare)
            while len(known) > MOST_KNOWN:
                known.pop(next(iter(known)), None)
        else:
            known[key] = known.pop(key, found)
        return found[1]

    def alike(self, other: StructuralModel) -> bool:
        """True where the same loads do the same to the same sections of both."""
        return (
            self.settings == other.settings
            and self.sections is other.sections
            and self.normals is other.normals
            and self.weather is other.weather
            and self.wood == other.wood
            and np.array_equal(self.gone, other.gone)
            and self.beside.terrain is other.beside.terrain
            and self.beside.foliage is other.beside.foliage
        )

    def ground_below(self, point: Floats) -> float:
        """Height of the terrain below a point; of the stem's foot where the terrain is unseen. [m]"""
        z = float(self.beside.terrain.height_at(point[:2]))
        return z if np.isfinite(z) else float(self.graph.xyz[0, 2])


def whole_tree(
    graph: WoodGraph,
    beside: Beside,
    wood: Wood,
    settings: LoadSettings,
    seed: int = 1,
    like: StructuralModel | None = None,
) -> StructuralModel:
    """All that configurations on one tree share, made once: also the draws, so that two configurations differ
    by what they are and not by luck.

    Parameters
    ----------
    beside : Beside             Terrain and foliage.
    wood : Wood                 From `loads.material.wood_strength.wood_of`.
    seed : int                  Of the draws; the same seed gives the same answer.
    like : StructuralModel      Of the whole tree, made before: what depends neither on the wood nor on the loads is
                                taken over where it is the same.
    """
    shape = like if like is not None and like.graph is graph else None
    same_draws = shape is not None and shape.seed == seed and _drawn_for(shape.settings) == _drawn_for(settings)
    draws = _Draws.like(shape) if shape is not None and same_draws else _Draws.of(settings, seed)
    thick = settings.catch_diameter
    return StructuralModel(
        graph,
        beside,
        wood,
        _sections(graph, beside, wood, settings, shape),
        bends(graph) if shape is None else shape.bends,
        leaves_limbs(graph, thick),
        stops_a_rope(graph, thick),
        settings,
        draws.normals,
        draws.few,
        draws.pulled,
        draws.few_pulled,
        draws.widened,
        low_side_chance() if settings.strength_model != ONE_SHARE else 0.05,
        np.zeros(len(graph), bool),
        crown_moments(graph) if shape is None else shape.crown,
        draws.weather,
        seed,
    )


def _sections(
    graph: WoodGraph, beside: Beside, wood: Wood, settings: LoadSettings, like: StructuralModel | None
) -> TreeSections:
    """As `tree_sections`; those of a model made before of the same wood, that differs in nothing but the loads, are taken over."""
    without: dict[str, Any] = {**WITHOUT_LOADS, "climber_mass": float("inf")}
    same = (
        like is not None
        and like.wood == wood
        and like.beside.terrain is beside.terrain
        and like.beside.foliage is beside.foliage
        and replace(like.settings, **without) == replace(settings, **without)
    )
    return like.sections if like is not None and same else tree_sections(graph, beside, wood, replace(settings, **without))


def _drawn_for(settings: LoadSettings) -> tuple[int, int, bool]:
    """What of the settings the draws depend on."""
    return settings.samples, settings.catch_samples, settings.strength_model != ONE_SHARE


@dataclass(frozen=True)
class _Draws:
    """As in `StructuralModel`."""

    normals: Floats
    few: Floats
    pulled: Floats
    few_pulled: Floats
    widened: Floats
    weather: Floats

    @classmethod
    def of(cls, settings: LoadSettings, seed: int) -> _Draws:
        """Drawn from a seed."""
        samples, few, by_kind = _drawn_for(settings)
        rng = np.random.default_rng(seed)
        normals = np.asfortranarray(rng.standard_normal((samples, FIXED + 2 * LIMBS + OWN)))
        widened = student_factors(samples, rng) if by_kind else np.ones(samples)
        normals[:, [WOOD, *range(FIXED, FIXED + 2 * LIMBS)]] *= widened[:, None]
        weather = rng.standard_normal((samples, WEATHER_NORMALS))  # last, so that no other draw depends on it
        first = np.asfortranarray(normals[:few])
        return cls(normals, first, _another_pull(normals), _another_pull(first), widened, weather)

    @classmethod
    def like(cls, model: StructuralModel) -> _Draws:
        """Those of a model."""
        return cls(model.normals, model.few, model.pulled, model.few_pulled, model.widened, model.weather)


def _another_pull(z: Floats) -> Floats:
    """The draws with the error of a test's pull in the place of the climber's mass."""
    out = z.copy(order="F")
    out[:, MASS] = np.roll(z[:, MASS], 1)
    return out


def after_cuts(tree: StructuralModel, left: Floats, gone: np.ndarray) -> StructuralModel:
    """The tree as it stands when parts of it were cut off: less weight, and less to stop a rope; diameters,
    strengths and draws stay, so that what differs is the cutting and not luck.

    Parameters
    ----------
    tree : StructuralModel      Of the whole tree.
    left : (n,) float           Share of every segment that still stands, from its lower end up.
    gone : (n,) bool            Nodes nothing may hang on any more, a short stub's included.
    """
    graph, thick = tree.graph, tree.settings.catch_diameter
    return replace(
        tree,
        sections=as_cut(tree.sections, graph, tree.beside, tree.wood, tree.settings, left),
        leaves_limbs=leaves_limbs(graph, thick, gone),
        stops=stops_a_rope(graph, thick, gone),
        gone=gone,
    )


def _firsts(graph: WoodGraph, gone: np.ndarray | None) -> np.ndarray:
    """First node of every side limb and leader that stands."""
    firsts = np.array([line[0] for line in graph.limbs.nodes[1:] if len(line)], int)
    return firsts if gone is None else firsts[~gone[firsts]]


def leaves_limbs(graph: WoodGraph, least: float, gone: np.ndarray | None = None) -> np.ndarray:
    """True for sections whose loss leaves at least one limb of the diameter `least` [m] standing below, (n,):
    not the lower stem."""
    stem = graph.limbs.nodes[0]
    firsts = _firsts(graph, gone)
    firsts = firsts[(graph.limb[graph.parent[firsts]] == 0) & (2 * graph.segment_radius[firsts] >= least)]
    lowest = graph.parent[firsts].min() if len(firsts) else len(graph)
    out = graph.limb != 0
    out[stem] = stem > lowest
    return out


def stops_a_rope(graph: WoodGraph, least: float, gone: np.ndarray | None = None) -> np.ndarray:
    """True for nodes from which a limb of the diameter `least` [m] leaves that does not hang down steeply,
    (n,): a rope that runs out along the parent stops there."""
    firsts = _firsts(graph, gone)
    firsts = firsts[(2 * graph.segment_radius[firsts] >= least) & (graph.direction[firsts, 2] > HANGS)]
    out = np.zeros(len(graph), bool)
    out[graph.parent[firsts]] = True
    return out
