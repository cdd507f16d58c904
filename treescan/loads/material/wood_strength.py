"""How strong is green wood of this species? A table of published values, and honest fall-backs where it has
no row.

Of all that a name may mean (`wood_names`) the weakest is used; where only the kind of wood is known, or
nothing, the low end of the table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from treescan.loads.material.wood_names import Meant, grows_in_europe, meant
from treescan.loads.material.wood_table import Row, green_wood
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason

LOW_SHARE = 5.0
"""Percentile of the table that stands for a species nobody named [%] (project choice)."""

GREEN_MOISTURE = 1.8
"""Green density over 1000 x specific gravity where the table states none: median of its rows (derived)."""

THIN_BARK = ("fagus", "carpinus", "betula", "prunus", "tilia", "acer", "abies")
THICK_BARK = ("quercus", "pinus", "robinia", "larix", "sequoiadendron", "sequoia", "pseudotsuga", "castanea")
"""Genera whose limbs carry little or much bark; half and one and a half times the setting `bark_share`
(common practice)."""


@dataclass(frozen=True)
class Wood:
    """Green wood of one tree, before any live-branch reduction.

    Attributes
    ----------
    species : str           Botanical name of the row used, or the kind.
    mor, compression, shear : float     Modulus of rupture, crushing and shear strength along the grain,
        means. [Pa]
    mor_cov : float         Scatter of the modulus of rupture between trees of the species.
    moe : float             Modulus of elasticity in bending. [Pa]
    density : float         Green. [kg/m3]
    bark_share : float      Bark on both sides over the diameter.
    label : Reason          How the species was matched, with its mean modulus of rupture.
    standing : str          "read" or "memory": of the strength value.
    sources : tuple of str  Keys of `treescan.sources`.
    """

    species: str
    mor: float
    compression: float
    shear: float
    mor_cov: float
    moe: float
    density: float
    bark_share: float
    label: Reason
    standing: str
    sources: tuple[str, ...]


def wood_of(species: str | None, settings: LoadSettings) -> Wood:
    """Green wood of a species by common or botanical name, with the fall-back named.

    Parameters
    ----------
    species : str or None   "Quercus robur", "red maple", "oak", "conifer" ...; None or an unknown name takes
        the low end of the table.
    settings : LoadSettings Scatter where none is stated, measured density, bark.
    """
    found, asked = meant(species, settings.region), species or ""
    several = (
        [_row_strength(min(found.rows, key=lambda r: r.mor), found, asked, settings)] if found.rows else []
    )
    several += [_low_strength(found, asked, settings)] if found.kinds else []
    return _scaled(min(several, key=lambda w: w.mor), settings)


def _row_strength(row: Row, found: Meant, asked: str, settings: LoadSettings) -> Wood:
    """One row made whole: what it does not state comes from the low ratios of its kind."""
    row_of = {
        "botanical": row.botanical,
        "common": row.common,
        "asked": asked,
        "mor": row.mor,
        "standing": row.standing,
    }
    if found.how == "species" and row.standing == "derived":
        label = Reason("wood_never_tested", **row_of)
    elif found.how == "species":
        label = Reason("wood_by_name", **row_of, rows=len(found.rows), several=len(found.rows) > 1)
    elif found.how == "stand-in":
        label = Reason("wood_stand_in", **row_of)
    elif found.how == "genus":
        label = Reason("wood_of_genus", **row_of, **_if_named(found, row))
    else:
        label = Reason("wood_of_several", **row_of, genera=found.genera, **_if_named(found, row))
    stated = np.isfinite(row.sg) or np.isfinite(row.density)
    return Wood(
        species=row.botanical,
        mor=row.mor,
        compression=_or(row.compression, row.mor * _ratio(row.kind, lambda r: r.compression / r.mor)),
        shear=_or(row.shear, row.mor * _ratio(row.kind, lambda r: r.shear / r.mor)),
        mor_cov=_or(row.mor_cov, settings.mor_cov),
        moe=row.moe,
        density=_or(row.density, 1000.0 * GREEN_MOISTURE * row.sg) if stated else _middle_density(row.kind),
        bark_share=_bark(row.botanical, settings),
        label=label,
        standing=row.standing,
        sources=(row.source,) if np.isfinite(row.mor_cov) else (row.source, "handbook_cov"),
    )


def _if_named(found: Meant, used: Row) -> dict[str, Any]:
    """What naming the species would change, and the region they were looked for in."""
    region = found.region if found.region and grows_in_europe(used) else None
    return {"named": _stronger(found, used.mor), "region": region}


def _stronger(found: Meant, used: float) -> tuple[Reason, ...] | None:
    """The species a name may mean that are stronger than what is used, the strongest first; None where none is."""
    each: dict[str, float] = {}
    for r in found.rows:
        if found.region and not grows_in_europe(r):  # a stand-in: naming it would not give its strength
            continue
        each[r.botanical] = min(named.mor for named in meant(r.botanical).rows)
    stronger = sorted((mor, name) for name, mor in each.items() if mor > used)[::-1]
    return tuple(Reason("wood_if_named", botanical=name, mor=mor) for mor, name in stronger) or None


def _low_strength(found: Meant, asked: str, settings: LoadSettings) -> Wood:
    """The low end of some kinds of wood, every property on its cautious side."""
    rows = [r for r in green_wood() if np.isfinite(r.mor) and r.kind in found.kinds and r.standing != "derived"]
    kind = found.kinds[0] if len(found.kinds) == 1 else "unknown"

    def low(of: Callable[[Row], float]) -> float:
        return min(
            float(np.nanpercentile([of(r) for r in rows if r.kind == k], LOW_SHARE)) for k in found.kinds
        )

    mor = low(lambda r: r.mor)
    return Wood(
        species=kind,
        mor=mor,
        compression=low(lambda r: r.compression),
        shear=low(lambda r: r.shear),
        mor_cov=settings.mor_cov,
        moe=low(lambda r: r.moe),
        density=float(np.nanpercentile([r.density for r in rows], 100.0 - LOW_SHARE)),
        bark_share=settings.bark_share,
        label=_low_label(found, asked, kind, mor),
        standing="memory",
        sources=("wood_handbook", "handbook_cov"),
    )


def _low_label(found: Meant, asked: str, kind: str, mor: float) -> Reason:
    """Why the low end of the table is used, and of which kind of wood."""
    figures = {"kind": "any_kind" if kind == "unknown" else kind, "percentile": LOW_SHARE / 100.0, "mor": mor}
    if found.how == "several":
        return Reason("wood_low_of_several", asked=asked, genera=found.genera, **figures)
    if not asked:
        return Reason("wood_not_stated", **figures)
    if found.how == "kind":
        return Reason("wood_kind_only", asked=asked, **figures)
    return Reason("wood_not_in_table", asked=asked, why=found.why, named=_stronger(found, mor), **figures)


def _or(value: float, other: float) -> float:
    """The stated value, else the other."""
    return value if np.isfinite(value) else other


def _ratio(kind: str, of: Callable[[Row], float]) -> float:
    """Low end of a ratio over the rows of one kind that state both."""
    return float(np.nanpercentile([of(r) for r in green_wood() if r.kind == kind], LOW_SHARE))


def _middle_density(kind: str) -> float:
    """Median green density of a kind. [kg/m3]"""
    return float(np.nanmedian([r.density for r in green_wood() if r.kind == kind]))


def _bark(botanical: str, settings: LoadSettings) -> float:
    """Bark share of the genus: thin, usual or thick."""
    genus = botanical.split(maxsplit=1)[0].lower()
    return settings.bark_share * (0.5 if genus in THIN_BARK else 1.5 if genus in THICK_BARK else 1.0)


def _scaled(wood: Wood, settings: LoadSettings) -> Wood:
    """Strengths corrected for a measured green density (Spatz & Pfisterer 2013); the wood itself where none
    was measured."""
    if not settings.green_density:
        return wood
    f = (settings.green_density / wood.density) ** settings.density_exponent
    return replace(
        wood,
        mor=wood.mor * f,
        compression=wood.compression * f,
        shear=wood.shear * f,
        density=settings.green_density,
        label=Reason("wood_density_measured", matched=wood.label, factor=f, density=settings.green_density),
        sources=(*wood.sources, "spatz_2013"),
    )
