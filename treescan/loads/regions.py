"""Which trees can a bare common name mean where the user works?

"Oak" said in Europe is not the weakest oak of another continent. Only a genus by itself ("oak", "Quercus") is
narrowed, and only to what grows or is widely planted there as a street, park or forest tree (from memory); a
species somebody names stays what it is. Elsewhere every row of the table counts.
"""

from __future__ import annotations

BY_MAP, ANYWHERE, EUROPE = REGIONS = ("by the map", "anywhere", "Europe")
"""Where the user works; `BY_MAP` is settled by the scan's coordinates before any wood is looked up."""

EUROPE_BOX = (-11.0, 36.0, 40.0, 71.5)
"""West, south, east, north of what counts as Europe. [degrees]"""

_EUROPE = {
    "quercus": (
        "robur", "petraea", "rubra", "palustris", "coccinea", "cerris", "ilex", "pubescens", "suber", "pyrenaica"
    ),
    "fraxinus": ("excelsior", "ornus", "angustifolia", "americana", "pennsylvanica"),
    "fagus": ("sylvatica",),
    "betula": ("pendula", "pubescens", "papyrifera"),
    "carpinus": ("betulus",),
    "alnus": ("glutinosa", "incana", "rubra"),
    "acer": ("pseudoplatanus", "platanoides", "campestre", "saccharinum", "rubrum", "negundo"),
    "tilia": ("cordata", "platyphyllos", "tomentosa", "americana"),
    "ulmus": ("glabra", "minor", "laevis", "procera", "americana"),
    "populus": ("nigra", "alba", "tremula", "x canadensis", "deltoides", "trichocarpa"),
    "salix": ("alba", "fragilis", "nigra"),
    "prunus": ("avium", "serotina"),
    "juglans": ("regia", "nigra", "cinerea"),
    "castanea": ("sativa", "dentata"),
    "aesculus": ("hippocastanum",),
    "robinia": ("pseudoacacia",),
    "gleditsia": ("triacanthos",),
    "platanus": ("x acerifolia", "occidentalis"),
    "liriodendron": ("tulipifera",),
    "liquidambar": ("styraciflua",),
    "magnolia": ("grandiflora",),
    "nyssa": ("sylvatica",),
    "celtis": ("australis", "occidentalis"),
    "ailanthus": ("altissima",),
    "pinus": ("sylvestris", "nigra", "strobus", "radiata", "contorta", "ponderosa"),
    "picea": ("abies", "sitchensis", "glauca"),
    "abies": ("alba", "grandis", "procera", "concolor"),
    "larix": ("decidua", "kaempferi"),
    "pseudotsuga": ("menziesii",),
    "tsuga": ("heterophylla", "canadensis"),
    "thuja": ("plicata", "occidentalis"),
    "chamaecyparis": ("lawsoniana",),
    "calocedrus": ("decurrens",),
    "juniperus": ("virginiana",),
    "sequoia": ("sempervirens",),
    "sequoiadendron": ("giganteum",),
    "taxodium": ("distichum",),
    "cedrus": ("deodara",),
}  # fmt: skip
IN_EUROPE = frozenset(f"{genus} {kind}" for genus, kinds in _EUROPE.items() for kind in kinds)
"""Native or widely planted there (common practice, from memory)."""


def region_at(degrees: tuple[float, float] | None) -> str:
    """The region a place lies in; degrees : longitude, latitude, None = the scan does not say.

    >>> region_at((8.5, 48.8)), region_at((-79.0, 44.0)), region_at(None)
    ('Europe', 'anywhere', 'anywhere')
    """
    if degrees is None:
        return ANYWHERE
    west, south, east, north = EUROPE_BOX
    return EUROPE if west <= degrees[0] <= east and south <= degrees[1] <= north else ANYWHERE
