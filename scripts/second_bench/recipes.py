"""Which scans make the bench? A fixed half and one drawn afresh, both spread over forms and instruments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from second_bench.bark import BARKS
from second_bench.forms import FORMS
from second_bench.scene import PLACES

FIXED_SEED = 20_001


@dataclass(frozen=True)
class Recipe:
    """Everything that decides one scan.

    Attributes
    ----------
    name : str
    seed : int
    form, bark, place, season : str        Season: bare, leaf, needles.
    instrument : str                       tripod, walked, vehicle, drone, airborne.
    positions : int                        Of a tripod.
    slope : float                          [deg]
    wind : float                           Sway at the top. [m]
    thin : float                           Voxel edge, 0: as measured. [m]
    feet, cut_out, sources : bool          In feet; the tree without ground; positions told apart in the file.
    stubs, sprouts, lianas : int
    ivy : float                            Height of an ivy coat. [m]
    """

    name: str
    seed: int
    form: str = "open-grown"
    bark: str = "furrowed"
    place: str = "meadow"
    season: str = "bare"
    instrument: str = "tripod"
    positions: int = 3
    slope: float = 0.0
    wind: float = 0.0
    thin: float = 0.0
    feet: bool = False
    cut_out: bool = False
    sources: bool = False
    stubs: int = 0
    sprouts: int = 0
    lianas: int = 0
    ivy: float = 0.0

    @property
    def group(self) -> str:
        """Class of scan that targets are set for."""
        if self.instrument != "tripod":
            return f"{self.instrument}, {'in leaf' if self.season != 'bare' else 'bare'}"
        if self.positions == 1:
            return "tripod, one position"
        return f"tripod, two and more, {'in leaf' if self.season != 'bare' else 'bare'}"


_SLOTS = (
    ("tripod", 3, False),
    ("walked", 0, False),
    ("tripod", 2, False),
    ("tripod", 4, True),
    ("tripod", 4, False),
    ("vehicle", 0, False),
    ("tripod", 5, False),
    ("tripod", 1, False),
    ("tripod", 2, True),
    ("tripod", 6, False),
    ("drone", 0, False),
    ("tripod", 3, False),
    ("walked", 0, True),
    ("tripod", 2, False),
    ("airborne", 0, False),
)


def _drawn(k: int, seed: int, prefix: str) -> Recipe:
    shift = 0 if seed == FIXED_SEED else seed % len(_SLOTS)
    rng = np.random.default_rng([seed, k])
    form = list(FORMS)[k % len(FORMS)]
    instrument, positions, leafy = _SLOTS[(7 * k + k // len(FORMS) + shift) % len(_SLOTS)]
    season = "bare"
    if FORMS[form].needles:
        season = "needles" if leafy or rng.random() < 0.5 else "bare"
    elif leafy:
        season = "leaf"
    cut_out = bool(rng.random() < 0.12)
    place = "meadow" if cut_out or rng.random() < 0.3 else str(rng.choice(PLACES[1:]))
    thin = (
        float(rng.choice([0.0, 0.0, 0.005, 0.005, 0.012, 0.03]))
        if instrument in ("tripod", "walked")
        else 0.0
    )
    return Recipe(
        name=f"{prefix}{k:02d} {form}, {instrument}{positions or ''}, {season}",
        seed=int(rng.integers(2**31)),
        form=form,
        bark=str(rng.choice(list(BARKS))),
        place=place,
        season=season,
        instrument=instrument,
        positions=positions,
        slope=float(rng.choice([0, 0, rng.uniform(3, 25)])),
        wind=float(rng.choice([0, 0, rng.uniform(0.01, 0.05)])),
        thin=thin,
        feet=bool(rng.random() < 0.1),
        cut_out=cut_out,
        sources=bool(rng.random() < 0.5),
        stubs=int(rng.integers(0, 6)),
        sprouts=int(rng.choice([0, 0, 8, 25])),
        lianas=int(rng.random() < 0.2),
        ivy=float(rng.uniform(2, 6)) if rng.random() < 0.08 else 0.0,
    )


def bench(scans: int, seed: int) -> list[Recipe]:
    """Half of the scans the same in every run, half drawn from `seed`."""
    fixed = (scans + 1) // 2
    return [_drawn(k, FIXED_SEED, "F") for k in range(fixed)] + [
        _drawn(k, seed, "D") for k in range(scans - fixed)
    ]
