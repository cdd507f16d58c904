"""Which kinds of tree warn a climber whatever the strength of their wood?

Brittle wood, unions that split, limbs dropped in calm summer weather, and sicknesses that make wood brittle or rot
roots. By genus or species; nothing here alters a number. A genus that is not listed is not thereby free of them.
"""

from __future__ import annotations

from typing import NamedTuple

from treescan.loads.material.wood_names import taxa
from treescan.reason import Reason

BRITTLE, SPLITS, DROPS = "species_brittle", "species_splits", "species_drops_limbs"
DIEBACK, ROOT_ROT = "species_dieback", "species_root_rot"


class Warned(NamedTuple):
    """A plain botanical name, genus or species, what it warns of (a code), the sickness meant, and a key of
    `treescan.sources`."""

    taxon: str
    code: str
    sickness: str = ""
    source: str = "common_practice"


_DROPS = ("populus", "acer", "aesculus", "fagus", "fraxinus", "quercus", "salix", "cedrus", "eucalyptus", "liquidambar", "pinus", "platanus", "ulmus")  # fmt: skip
"""Genera in which limbs dropped in calm summer weather were reported; at least 19 genera do (Harris 1983)."""

_BRITTLE = ("populus", "salix", "eucalyptus", "robinia", "ailanthus", "catalpa", "paulownia", "aesculus", "liriodendron", "araucaria", "grevillea", "acer saccharinum", "acer negundo", "pinus radiata", "cupressus macrocarpa", "sequoiadendron")  # fmt: skip

_SPLITS = ("fraxinus", "pyrus", "ulmus", "robinia", "gleditsia", "tilia", "acer saccharinum", "acer negundo", "aesculus", "populus", "salix", "cupressus", "prunus", "castanea", "fagus sylvatica")  # fmt: skip

_SICK = {
    "fraxinus": "ash_dieback",
    "ulmus": "elm_disease",
    "castanea": "chestnut_blight",
    "aesculus": "bleeding_canker",
    "platanus": "plane_massaria",
    "quercus": "oak_decline",
    "larix": "larch_dieback",
    "picea": "bark_beetle",
    "acer pseudoplatanus": "sooty_bark",
}
"""Sicknesses after which limbs break without warning, by genus or species."""

_ROOT_ROT = ("fagus", "quercus rubra", "aesculus", "picea", "robinia", "betula")

WARNED = (
    *(Warned(t, BRITTLE) for t in _BRITTLE),
    *(Warned(t, SPLITS) for t in _SPLITS),
    *(Warned(t, DROPS, source="summer_drop") for t in _DROPS),
    *(Warned(t, DIEBACK, sickness) for t, sickness in _SICK.items()),
    *(Warned(t, ROOT_ROT) for t in _ROOT_ROT),
)
"""Every warning of the trade taken here; those without a source are common practice."""


def species_warnings(species: str | None) -> tuple[Reason, ...]:
    """What a kind of tree warns of, by any name that may mean it; that nothing is listed is said too."""
    out: dict[tuple[str, str, str], list[str]] = {}
    for name in taxa(species):
        for w in WARNED:
            if _is_one(name, w.taxon):
                kinds = out.setdefault((w.code, w.sickness, w.source), [])
                kinds.append(w.taxon.capitalize())
    if not out:
        return (Reason("species_not_warned_of", asked=species or None),)
    return tuple(_told(*key, tuple(dict.fromkeys(kinds))) for key, kinds in out.items())


def _is_one(name: str, taxon: str) -> bool:
    """Whether a tree of this name may belong to the taxon: a genus may be any of its species."""
    return name == taxon or name.startswith(taxon + " ") or taxon.startswith(name + " ")


def _told(code: str, sickness: str, source: str, kinds: tuple[str, ...]) -> Reason:
    """The warning with where it comes from."""
    return Reason(code, kinds=kinds, sickness=sickness or None, source=source)
