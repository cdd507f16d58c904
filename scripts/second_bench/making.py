"""From a recipe to a scan and its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench import instruments
from second_bench.beams import Caster
from second_bench.cloud_file import delivered
from second_bench.instruments import Scan, Target, Wind
from second_bench.recipes import Recipe
from second_bench.scene import Scene, make_scene


@dataclass(frozen=True)
class Made:
    """A scene, the scan of it as handed over, and where its local frame lies on the map (3,). [m]"""

    recipe: Recipe
    scene: Scene
    scan: Scan
    origin: np.ndarray


def make(recipe: Recipe) -> Made:
    """The scan of a recipe; the same recipe gives the same scan."""
    rng = np.random.default_rng(recipe.seed)
    scene = make_scene(
        rng,
        recipe.form,
        recipe.bark,
        recipe.place,
        recipe.season,
        recipe.slope,
        recipe.stubs,
        recipe.sprouts,
        recipe.lianas,
        recipe.ivy,
    )
    caster = Caster(scene.bodies)
    target = Target(scene.spread - 3.0, scene.truth.top, scene.slope)
    wind = Wind(recipe.wind, rng.uniform(2.5, 5), rng.uniform(0, 6.28))
    if recipe.instrument == "tripod":
        grade = rng.choice(3)
        scan = instruments.tripod(
            caster,
            target,
            rng,
            recipe.positions,
            step_deg=(0.055, 0.07, 0.09)[grade] * np.sqrt(max(1.0, recipe.positions / 3)),
            noise=((0.001, 5e-5), (0.002, 8e-5), (0.003, 1.5e-4))[grade],
            half_angle=(0.00012, 0.00018, 0.0003)[grade],
            gap=(0.25, 0.4, 0.8)[grade],
            registration=rng.uniform(0.001, 0.006),
            wind=wind,
        )
    else:
        scan = getattr(instruments, recipe.instrument)(caster, target, rng, wind=wind)
    scan = delivered(scan, rng, scene.spread + 4.0, recipe.thin, recipe.cut_out)
    origin = np.round([rng.uniform(2e5, 4e5), rng.uniform(5e4, 8e4), rng.uniform(5, 400)], 2)
    return Made(recipe, scene, scan, origin)
