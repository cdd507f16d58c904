"""Which rows of the strength table may a name mean? Never fewer than it could mean, for the weakest of them
is used.

In this order: the botanical or common name of a row, spelt in any way; other names of the trade; a stand-in
the table names for the species, where no wood of its genus is weaker; the genus, by its botanical name or by a last word that names one genus only
("oak"); all genera a last word is said of ("gum"); the kind of wood. Else the name is not known.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from treescan.loads.material.wood_table import Row, green_wood
from treescan.loads.regions import ANYWHERE, EUROPE, IN_EUROPE
from treescan.reason import Reason

OTHER_NAMES = {
    "english oak": "quercus robur",
    "pedunculate oak": "quercus robur",
    "common oak": "quercus robur",
    "sessile oak": "quercus petraea",
    "holm oak": "quercus ilex",
    "durmast oak": "quercus petraea",
    "pubescent oak": "quercus pubescens",
    "common ash": "fraxinus excelsior",
    "common beech": "fagus sylvatica",
    "silver birch": "betula pendula",
    "sycamore maple": "acer pseudoplatanus",
    "norway maple": "acer platanoides",
    "field elm": "ulmus minor",
    "common elm": "ulmus procera",
    "box elder": "acer negundo",
    "ash leaved maple": "acer negundo",
    "common lime": "tilia cordata",
    "linden": "tilia cordata",
    "london plane": "platanus x acerifolia",
    "sweet chestnut": "castanea sativa",
    "spanish chestnut": "castanea sativa",
    "common alder": "alnus glutinosa",
    "wild cherry": "prunus avium",
    "white walnut": "juglans cinerea",
    "norway spruce": "picea abies",
    "scots pine": "pinus sylvestris",
    "european larch": "larix decidua",
    "silver fir": "abies alba",
    "black gum": "nyssa sylvatica",
    "sour gum": "nyssa sylvatica",
    "tulip poplar": "liriodendron tulipifera",
    "coast redwood": "sequoia sempervirens",
    "buttonwood": "platanus occidentalis",
}
"""Trade names the table does not spell, by botanical name (common practice)."""

ONE_GENUS = {
    "oak": "quercus",
    "maple": "acer",
    "ash": "fraxinus",
    "beech": "fagus",
    "birch": "betula",
    "lime": "tilia",
    "linden": "tilia",
    "basswood": "tilia",
    "elm": "ulmus",
    "aspen": "populus",
    "cottonwood": "populus",
    "willow": "salix",
    "alder": "alnus",
    "cherry": "prunus",
    "walnut": "juglans",
    "hornbeam": "carpinus",
    "pine": "pinus",
    "spruce": "picea",
    "fir": "abies",
    "larch": "larix",
    "hemlock": "tsuga",
    "hickory": "carya",
    "magnolia": "magnolia",
    "eucalyptus": "eucalyptus",
    "thuja": "thuja",
    "juniper": "juniperus",
    "tupelo": "nyssa",
}
"""Last words of common names that name one genus, unless a word of `NOT_SO` stands before (common
practice)."""

_CEDARS = ("cedrus", "thuja", "calocedrus", "chamaecyparis", "juniperus", "cryptomeria", "toona")
SEVERAL = {
    "gum": ("eucalyptus", "liquidambar", "nyssa"),
    "locust": ("robinia", "gleditsia"),
    "cedar": _CEDARS,
    "redcedar": _CEDARS,
    "cypress": ("chamaecyparis", "taxodium", "cupressus"),
    "sycamore": ("platanus", "acer pseudoplatanus"),
    "plane": ("platanus", "acer pseudoplatanus"),
    "poplar": ("populus", "liriodendron"),
    "chestnut": ("castanea", "aesculus"),
    "redwood": ("sequoia sempervirens", "sequoiadendron", "metasequoia"),
    "sequoia": ("sequoia sempervirens", "sequoiadendron"),
}
"""Last words said of trees of more than one genus, and of which (common practice); genera the table lacks are
among them."""

NOT_SO = {
    "": (
        "southern", "false", "bastard", "mock", "mountain", "alpine", "sea", "water", "swamp",
        "desert", "bush", "bay", "cape", "she", "silk", "silky", "prickly", "wafer", "poison",
        "horse", "hop", "witch", "cornelian", "blueberry", "tulip", "satin", "crow", "bull",
        "forest", "myrtle", "tan", "tanbark", "island", "umbrella", "screw", "celery", "huon",
        "hoop", "bunya", "kauri", "parana", "chile", "chilean", "australian", "tasmanian",
        "victorian", "queensland", "zealand", "african", "brazilian", "indian", "jamaica",
    ),
    "beech": ("blue", "silver", "red", "black", "hard"),
    "larch": ("golden",),
    "fir": ("china", "chinese"),
    "chestnut": ("golden",),
    "oak": ("river",),
}
"""Words that make "X oak" something else than an oak, or "X" of any kind (""), often enough: such a name is
not known (common practice)."""

CONDITIONS = frozenset(
    ("dead", "dying", "dieback", "rotten", "rot", "decay", "decayed", "hollow", "fungus", "fungal", "diseased", "infected", "cracked", "burnt")
)
"""Words that say how the wood is, not which: the table's sound wood is not taken for it (project choice)."""

WEAKER_THAN_ITS_GENUS = ("acer negundo",)
"""Species known to be weaker than the weakest row of their genus: not known, rather than taken for it, and so is a
bare name that may mean them (common practice)."""

NO_LOW_END = ("eucalyptus",)
"""Genera of which the table holds strong timbers only (basic densities of the genus run from 0.34 on, from memory):
a species without a row is its kind of wood, no more."""

KINDS = {
    "conifer": "conifer",
    "softwood": "conifer",
    "evergreen conifer": "conifer",
    "broadleaf": "broadleaf",
    "hardwood": "broadleaf",
    "deciduous": "broadleaf",
}


@dataclass(frozen=True)
class Meant:
    """What a name may mean.

    Attributes
    ----------
    how : str               "species", "stand-in", "genus", "several" (genera), "kind", "unknown".
    rows : tuple of Row     With a modulus of rupture; the weakest is to be used.
    kinds : tuple of str    Kinds of wood of what it may mean besides without such a row: their low end is to
        be held beside.
    genera : tuple of str   For "several": botanical names it may stand for.
    why : Reason or None    For "unknown": why the name does not settle it, where there is more to say.
    region : str            Where the rows are those of the region alone; "" where they are not narrowed.
    """

    how: str
    rows: tuple[Row, ...]
    kinds: tuple[str, ...] = ()
    genera: tuple[str, ...] = ()
    why: Reason | None = None
    region: str = ""


def meant(species: str | None, region: str = ANYWHERE) -> Meant:
    """What a common or botanical name may mean where the user works; None and names not known mean anything."""
    found = _meant(species)
    if found.how not in ("genus", "several") or len(_plain(species or "").split()) != 1:
        return found
    return _narrowed(found) if region == EUROPE else _with_weaker(found)


def _narrowed(found: Meant) -> Meant:
    """Of a bare name what its species of Europe give, each by its own name, and the table's stand-ins for them, so that
    who says less never gets more; all rows where none grows there."""
    genera = {_genus(r) for r in found.rows}
    here = tuple(name for name in sorted(IN_EUROPE) if name.split()[0] in genera)
    each = [m for m in map(_as_named, here) if m is not None]
    rows = {id(r) for m in each for r in m.rows} | {id(r) for r in found.rows if any(_stands_for(r, name) for name in here)}
    narrowed = replace(found, rows=tuple(r for r in found.rows if id(r) in rows), region=EUROPE)
    return _with_weaker(narrowed, here) if narrowed.rows and len(narrowed.rows) < len(found.rows) else _with_weaker(found)


def _with_weaker(found: Meant, here: Iterable[str] = WEAKER_THAN_ITS_GENUS) -> Meant:
    """A bare name may also mean a species of its genus that is weaker than every row, as unknown as that one is."""
    genera = {_genus(r) for r in found.rows}
    weaker = [n for n in WEAKER_THAN_ITS_GENUS if n in here and n.split()[0] in genera]
    if not weaker:
        return found
    return replace(found, kinds=_anything().kinds, why=Reason("name_may_mean_weaker", species=weaker[0].capitalize()))


def grows_in_europe(row: Row) -> bool:
    """Whether a row is of a species that grows or is widely planted in Europe."""
    return _binomial(_plain(row.botanical)) in IN_EUROPE


def _meant(species: str | None) -> Meant:
    """What a name may mean anywhere."""
    name = _plain(species or "")
    if name in KINDS:
        return Meant("kind", (), (KINDS[name],))
    if not name:
        return _anything()
    said = [word for word in name.split() if word in CONDITIONS]
    if said:
        return _anything(Reason("name_says_condition", word=said[0]))
    if name in SEVERAL:
        return _last_word(species or "", name)
    botanical = _other(name) or name
    return _as_named(botanical) or _last_word(species or "", name)


def spellings(row: Row) -> tuple[str, ...]:
    """Plain spellings of a row's common names: "oak, bur" answers to "oak bur" and "bur oak"; a second name
    in brackets counts too."""
    first, _, second = row.common.partition("(")
    second = second.strip(" )")
    parts = [_plain(p) for p in first.split(",")]
    names = [" ".join(parts), " ".join(reversed(parts))]
    return (*dict.fromkeys(names), *([_plain(second)] if second and not second.isupper() else []))


def _as_named(name: str) -> Meant | None:
    """Rows of the species, its stand-in, or the rows of the genus that a plain name spells; None where it
    spells nothing of the table."""
    by_genus = any(_genus(r) == name.split(maxsplit=1)[0] for r in green_wood())
    called = [r for r in green_wood() if any(_joined(s) == _joined(name) for s in spellings(r))]
    if not called and by_genus:
        short = _binomial(name)
        if short in WEAKER_THAN_ITS_GENUS:
            return _anything(Reason("species_weaker_than_genus"))
        called = [r for r in green_wood() if _plain(r.botanical) == name] if name != short else []
        called = called or [r for r in green_wood() if _binomial(_plain(r.botanical)) == short]
    rows = _strong(called)
    if rows:
        return Meant("species", rows)
    # such a row states no strength: another of the species may
    if called and _plain(called[0].botanical) != name:
        return _as_named(_binomial(_plain(called[0].botanical)))
    rows = _strong(r for r in green_wood() if _stands_for(r, _binomial(name)))
    of_genus = _of_genus(name.split(maxsplit=1)[0]) if by_genus else None
    if rows and (of_genus is None or _weakest(rows) <= _weakest(of_genus.rows)):
        return Meant("stand-in", rows)
    return of_genus


def _of_genus(genus: str) -> Meant:
    """Rows of a genus, or its kind of wood where none states a strength; a genus that is not in the table may
    be anything."""
    members = [r for r in green_wood() if _genus(r) == genus]
    if not members:
        return _anything()
    rows = _strong(members)
    return Meant("genus", rows) if rows and genus not in NO_LOW_END else Meant("kind", (), (members[0].kind,))


def _last_word(asked: str, name: str) -> Meant:
    """By the last word: of one genus, of several, or nothing to go by."""
    head, comma, rest = asked.partition(",")
    words = (_plain(rest) + " " + _plain(head)).split() if comma else name.split()
    last, before = words[-1], set(words[:-1])
    if last in ONE_GENUS | SEVERAL and before & {*NOT_SO[""], *NOT_SO.get(last, ())}:
        return _anything(Reason("name_misleads", word=last, article="an" if last[0] in "aeiou" else "a"))
    if last in ONE_GENUS:
        return _of_genus(ONE_GENUS[last])
    if last not in SEVERAL:
        return _anything()
    each = [_as_named(n) or _anything() for n in SEVERAL[last]]
    kinds = dict.fromkeys(k for m in each for k in m.kinds)
    rows = dict.fromkeys(r for m in each for r in m.rows)
    return Meant("several", tuple(rows), tuple(kinds), tuple(n.capitalize() for n in SEVERAL[last]))


def _anything(why: Reason | None = None) -> Meant:
    """A name that is not known."""
    return Meant("unknown", (), tuple(sorted({r.kind for r in green_wood()})), (), why)


def _plain(text: str) -> str:
    """Small letters and single spaces: no hyphens, underlines, commas, quotes; a hybrid's cross is an x."""
    return " ".join(re.sub(r"[-_,'\"’‘.]", " ", text.lower().replace("×", " x ")).split())


def _joined(name: str) -> str:
    return name.replace(" ", "")


def _other(name: str) -> str:
    """Botanical name of a trade name, spelt in one word or several; "" where there is none."""
    return next((b for n, b in OTHER_NAMES.items() if _joined(n) == _joined(name)), "")


def _binomial(name: str) -> str:
    """Genus and species of a plain botanical name, without variety, cultivar and author."""
    name_parts = name.split()
    return " ".join(name_parts[: 3 if "x" in name_parts[1:2] else 2])


def _genus(row: Row) -> str:
    return row.botanical.split(maxsplit=1)[0].lower()


def _strong(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Those that state a modulus of rupture."""
    return tuple(r for r in rows if np.isfinite(r.mor))


def _weakest(rows: tuple[Row, ...]) -> float:
    """Least modulus of rupture; inf where there is none. [Pa]"""
    return min((r.mor for r in rows), default=float("inf"))


def taxa(species: str | None) -> tuple[str, ...]:
    """Plain botanical names, species or genus, that a name may stand for; none where it is not known."""
    name = " ".join(word for word in _plain(species or "").split() if word not in CONDITIONS)
    if not name or name in KINDS:
        return ()
    botanical = _other(name) or name
    called = [r for r in green_wood() if any(_joined(s) == _joined(botanical) for s in spellings(r))]
    if called:
        return tuple(dict.fromkeys(_binomial(_plain(r.botanical)) for r in called))
    words = botanical.split()
    if words[-1] in ONE_GENUS | SEVERAL:
        if set(words[:-1]) & {*NOT_SO[""], *NOT_SO.get(words[-1], ())}:
            return ()
        return (ONE_GENUS[words[-1]],) if words[-1] in ONE_GENUS else SEVERAL[words[-1]]
    return (_binomial(botanical),)


def _stands_for(row: Row, name: str) -> bool:
    """Whether the compiler named this row for the species: "Quercus robur, Q. petraea" or "Tilia spp." """
    genus = ""
    for part in row.use_also_for.lower().replace(";", ",").replace("(", ",").split(","):
        name_parts = part.split()
        if len(name_parts) >= 2 and name_parts[0].endswith("."):
            name_parts[0] = genus
        elif name_parts:
            genus = name_parts[0]
        if len(name_parts) >= 2 and (
            " ".join(name_parts[:2]) == name
            or (name_parts[1] == "spp." and name_parts[0] == name.split(maxsplit=1)[0])
        ):
            return True
        if len(name_parts) >= 3 and " ".join(name_parts[:3]) == name:
            return True
    return False
