"""How strong is green wood of this species? A table of published values, and honest fall-backs where it has no row.

The table is `green_wood.csv`: small clear specimens, green, one row per species and source. `standing` says whether the number
was read or recalled. Matching goes species, stand-in named for the species, genus (its weakest row), kind of wood, and last the
low end of all.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from treescan.loads.settings import LoadSettings

LOW_SHARE = 5.0
"""Percentile of the table that stands for a species nobody named [%] (project choice)."""

GREEN_MOISTURE = 1.8
"""Green density over 1000 x specific gravity where the table states none: median of its rows (derived)."""

OTHER_NAMES = {
    "english oak": "quercus robur",
    "pedunculate oak": "quercus robur",
    "common oak": "quercus robur",
    "sessile oak": "quercus petraea",
    "common ash": "fraxinus excelsior",
    "common beech": "fagus sylvatica",
    "silver birch": "betula pendula",
    "sycamore maple": "acer pseudoplatanus",
    "norway maple": "acer platanoides",
    "common lime": "tilia cordata",
    "linden": "tilia cordata",
    "london plane": "platanus x acerifolia",
    "sweet chestnut": "castanea sativa",
    "common alder": "alnus glutinosa",
    "wild cherry": "prunus avium",
    "norway spruce": "picea abies",
    "scots pine": "pinus sylvestris",
    "european larch": "larix decidua",
    "silver fir": "abies alba",
}
"""Trade names the table does not spell, by botanical name (common practice)."""

GENUS_NAMES = {
    "oak": "quercus", "maple": "acer", "ash": "fraxinus", "beech": "fagus", "birch": "betula", "lime": "tilia", "linden": "tilia",
    "basswood": "tilia", "elm": "ulmus", "poplar": "populus", "aspen": "populus", "cottonwood": "populus", "willow": "salix",
    "alder": "alnus",
    "cherry": "prunus", "walnut": "juglans", "plane": "platanus", "chestnut": "castanea", "hornbeam": "carpinus", "pine": "pinus",
    "spruce": "picea", "fir": "abies", "larch": "larix", "hemlock": "tsuga", "hickory": "carya", "magnolia": "magnolia",
    "eucalyptus": "eucalyptus",
    "gum": "eucalyptus", "locust": "robinia", "redwood": "sequoia", "cypress": "chamaecyparis", "thuja": "thuja", "juniper":
    "juniperus",
}  # fmt: skip
"""Genus by its common name (common practice)."""

KINDS = {
    "conifer": "conifer",
    "softwood": "conifer",
    "evergreen conifer": "conifer",
    "broadleaf": "broadleaf",
    "hardwood": "broadleaf",
    "deciduous": "broadleaf",
}

THIN_BARK = ("fagus", "carpinus", "betula", "prunus", "tilia", "acer", "abies")
THICK_BARK = ("quercus", "pinus", "robinia", "larix", "sequoiadendron", "sequoia", "pseudotsuga", "castanea")
"""Genera whose limbs carry little or much bark; half and one and a half times the setting `bark_share` (common practice)."""


@dataclass(frozen=True)
class Wood:
    """Green wood of one tree, before any live-branch reduction.

    Attributes
    ----------
    species : str           Botanical name of the row used, or the kind.
    mor, compression, shear : float     Modulus of rupture, crushing and shear strength along the grain, means. [Pa]
    mor_cov : float         Scatter of the modulus of rupture between trees of the species.
    moe : float             Modulus of elasticity in bending. [Pa]
    density : float         Green. [kg/m3]
    bark_share : float      Bark on both sides over the diameter.
    label : str             One sentence: how the species was matched.
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
    label: str
    standing: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """One line of the table; NaN where the source states nothing. Strengths [Pa], density [kg/m3]."""

    common: str
    botanical: str
    kind: str
    mor: float
    moe: float
    compression: float
    shear: float
    sg: float
    density: float
    mor_cov: float
    elastic_limit: float
    use_also_for: str
    source: str
    standing: str


@cache
def green_wood() -> tuple[Row, ...]:
    """The table, in file order."""

    def number(text: str, factor: float = 1.0) -> float:
        return float(text) * factor if text else float("nan")

    with (Path(__file__).parent / "green_wood.csv").open(newline="", encoding="utf-8") as handle:
        return tuple(
            Row(
                r["common"],
                r["botanical"],
                r["kind"],
                number(r["mor_mpa"], 1e6),
                number(r["moe_gpa"], 1e9),
                number(r["compression_mpa"], 1e6),
                number(r["shear_mpa"], 1e6),
                number(r["sg"]),
                number(r["density_kg_m3"]),
                number(r["mor_cov"]),
                number(r["elastic_limit_mpa"], 1e6),
                r["use_also_for"],
                r["source"],
                r["standing"],
            )
            for r in csv.DictReader(handle)
        )


def wood_of(species: str | None, settings: LoadSettings) -> Wood:
    """Green wood of a species by common or botanical name, with the fall-back said in words.

    Parameters
    ----------
    species : str or None   "Quercus robur", "red maple", "oak", "conifer" ...; None or an unknown name takes the low end of
        the table.
    settings : LoadSettings Scatter where none is stated, measured density, bark.
    """
    rows, how = _match(species)
    if how in ("conifer", "broadleaf", "unknown"):
        return _scaled(_low(rows, how, species, settings), settings)
    weakest = min(rows, key=lambda r: r.mor)
    return _scaled(_from_row(weakest, rows, how, str(species), settings), settings)


def _match(species: str | None) -> tuple[list[Row], str]:
    """Rows with a modulus of rupture that answer the name, and how they were found."""
    table = [r for r in green_wood() if np.isfinite(r.mor)]
    name = " ".join((species or "").lower().replace("_", " ").replace("-", " ").split())
    if name in KINDS:
        return [r for r in table if r.kind == KINDS[name]], KINDS[name]
    if not name:
        return table, "unknown"
    name = OTHER_NAMES.get(name, name)
    found = [r for r in table if name == r.botanical.lower() or name in _commons(r)]
    if found:
        return found, "species"
    stand_in = [r for r in table if _stands_for(r, name)]
    if stand_in:
        return stand_in, "stand-in"
    other = [r for r in green_wood() if name == r.botanical.lower() or name in _commons(r)]
    genus = (
        other[0].botanical.split()[0].lower()
        if other
        else GENUS_NAMES.get(name.split()[-1], GENUS_NAMES.get(name.split()[0], name.split()[0]))
    )
    members = [r for r in table if r.botanical.split()[0].lower() == genus]
    if members:
        return members, "genus"
    kinds = {r.kind for r in green_wood() if r.botanical.split()[0].lower() == genus}
    if kinds:
        kind = kinds.pop()
        return [r for r in table if r.kind == kind], kind
    return table, "unknown"


def _commons(row: Row) -> set[str]:
    """Spellings of a row's common name: "oak, bur" answers to "oak, bur", "oak bur" and "bur oak"."""
    plain = row.common.lower().split("(")[0].strip().replace("-", " ")
    parts = [p.strip() for p in plain.split(",")]
    return {plain, " ".join(parts), " ".join(reversed(parts))}


def _stands_for(row: Row, name: str) -> bool:
    """Whether the compiler named this row for the species: "Quercus robur, Q. petraea" or "Tilia spp." """
    genus = ""
    for part in row.use_also_for.lower().replace(";", ",").replace("(", ",").split(","):
        words = part.split()
        if len(words) >= 2 and words[0].endswith("."):
            words[0] = genus
        elif words:
            genus = words[0]
        if len(words) >= 2 and (" ".join(words[:2]) == name or (words[1] == "spp." and words[0] == name.split(maxsplit=1)[0])):
            return True
        if len(words) >= 3 and " ".join(words[:3]) == name:
            return True
    return False


def _from_row(row: Row, rows: list[Row], how: str, asked: str, settings: LoadSettings) -> Wood:
    """One row made whole: what it does not state comes from the low ratios of its kind."""
    words = {
        "species": f"Green wood of {row.botanical} ({row.common}), found by name for '{asked}'",
        "stand-in": f"No strength row for '{asked}': {row.botanical} ({row.common}) stands in for it",
        "genus": f"No strength row for '{asked}': the weakest row of the genus, {row.botanical} ({row.common}), is used",
    }[how]
    if how == "species" and len(rows) > 1:
        words += f"; the lower of {len(rows)} rows"
    standing = "read in the source" if row.standing == "read" else "recalled, not confirmed"
    return Wood(
        species=row.botanical,
        mor=row.mor,
        compression=_or(row.compression, row.mor * _ratio(row.kind, lambda r: r.compression / r.mor)),
        shear=_or(row.shear, row.mor * _ratio(row.kind, lambda r: r.shear / r.mor)),
        mor_cov=_or(row.mor_cov, settings.mor_cov),
        moe=row.moe,
        density=_or(row.density, 1000.0 * GREEN_MOISTURE * row.sg)
        if np.isfinite(row.sg) or np.isfinite(row.density)
        else _middle_density(row.kind),
        bark_share=_bark(row.botanical, settings),
        label=f"{words}: {row.mor / 1e6:.0f} MPa ({standing}).",
        standing=row.standing,
        sources=(row.source,) if np.isfinite(row.mor_cov) else (row.source, "handbook_cov"),
    )


def _low(rows: list[Row], kind: str, asked: str | None, settings: LoadSettings) -> Wood:
    """The low end of a kind, or of the whole table, every property on its cautious side."""

    kinds = sorted({r.kind for r in rows})

    def low(of: Callable[[Row], float]) -> float:
        return min(float(np.nanpercentile([of(r) for r in rows if r.kind == k], LOW_SHARE)) for k in kinds)

    words = "Species not stated"
    if asked:
        words = f"The table has no row for '{asked}'" if kind == "unknown" else f"Only the kind of wood is known of '{asked}'"
    which = "all rows" if kind == "unknown" else f"the {kind} rows"
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
        label=f"{words}: the low end ({LOW_SHARE:.0f} %) of {which} is used: {mor / 1e6:.0f} MPa.",
        standing="memory",
        sources=("wood_handbook", "handbook_cov"),
    )


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
    """Strengths corrected for a measured green density (Spatz & Pfisterer 2013)."""
    if not settings.green_density:
        return wood
    f = (settings.green_density / wood.density) ** settings.density_exponent
    return replace(
        wood,
        mor=wood.mor * f,
        compression=wood.compression * f,
        shear=wood.shear * f,
        density=settings.green_density,
        label=f"{wood.label[:-1]}; times {f:.2f} for the measured green density of {settings.green_density:.0f} kg/m3.",
        sources=(*wood.sources, "spatz_2013"),
    )
