"""What can be changed, and is this change one that can be meant? A kind and plain values, as they stand in session.json."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from types import MappingProxyType
from typing import Any

from treescan.errors import BadInput
from treescan.faces.user_files.stated import CUT_COLUMNS, OVERRIDE_COLUMNS
from treescan.faces.user_files.wires_said import MOST_KILOVOLT

SETTABLE = (
    "loads.climber_mass",
    "loads.rescue_mass",
    "loads.test_people",
    "loads.leaves",
    "loads.history.exposure",
    "loads.history.years",
    "planning.rope_angle_limit_deg",
    "planning.mrs_hardware",
    "planning.canopy_hardware",
    "planning.basal_hardware",
    "throw.methods",
    *(f"throw.{way}.{spread}_sd" for way in ("hand", "two_hand", "launcher") for spread in ("side", "elevation", "speed")),
    "reader.units",
    "reader.words",
    "reader.language",
)
"""Settings that a change may give another value."""

AREAS = {"no-stand": "no_stand", "building": "buildings", "road": "roads", "water": "water"}
"""Kinds of drawn areas to the columns of `Site`."""
DRAWN = (*AREAS, "conductor", "anchor", "base", "wires-seen")
WORK_WORD = re.compile(r"crown|deadwood|limb:(\d{1,6}|[A-Za-z]\w{0,15})|sample:\d{1,5}(:\d{1,3})?")
OWN_METHODS = ("hand", "two_hand", "launcher")
OWN_SPREAD = tuple(f"{axis}_{what}" for axis in ("side", "elevation", "speed") for what in ("sd", "bias"))
"""What a record of own throws says of one way of throwing."""
MOST_LETTERS = 2000
MOST_ITEMS = 2000
FARTHEST = 5_000.0
"""No place of a change lies farther from the tree's origin. [m] (project choice)"""


@dataclass(frozen=True)
class Change:
    """One change: its kind, and its values as JSON holds them."""

    kind: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.kind not in CHECKS:
            raise BadInput(f"change '{str(self.kind)[:40]}' is not known", remedy=f"use one of {', '.join(CHECKS)}")
        if not isinstance(self.values, Mapping):
            raise BadInput(f"change '{self.kind}' has no values")
        needed, check = CHECKS[self.kind]
        if set(self.values) != set(needed):
            raise BadInput(f"change '{self.kind}' needs just these values: {', '.join(needed)}")
        check(self.values)
        object.__setattr__(self, "values", MappingProxyType(dict(self.values)))

    def plain(self) -> dict[str, Any]:
        """As it stands in the file."""
        return {"kind": self.kind, "values": dict(self.values)}


def _text(value: Any, what: str, *, empty: bool = False) -> None:
    good = isinstance(value, str) and len(value) <= MOST_LETTERS and all(c.isprintable() for c in value)
    if not good or not (empty or value.strip()):
        raise BadInput(f"{what} is not a text of one line")


def _number(value: Any, what: str, low: float = -FARTHEST, high: float = FARTHEST) -> None:
    good = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not good or not isfinite(value) or not low <= value <= high:
        raise BadInput(f"{what} is not a number between {low:g} and {high:g}")


def _places(value: Any, what: str, size: int, least: int) -> None:
    if not isinstance(value, Sequence) or isinstance(value, str) or not least <= len(value) <= MOST_ITEMS:
        raise BadInput(f"{what} needs {least} places or more")
    for place in value:
        if not isinstance(place, Sequence) or isinstance(place, str) or len(place) != size:
            raise BadInput(f"{what} has a place that is not {size} numbers")
        for number in place:
            _number(number, what)


def _species(values: Mapping[str, Any]) -> None:
    if values["name"] is not None:
        _text(values["name"], "the species")


def _systems(values: Mapping[str, Any]) -> None:
    from treescan.loads.rope.rope_systems import SYSTEMS

    names = values["names"]
    if not isinstance(names, Sequence) or not names or any(n not in SYSTEMS for n in names):
        raise BadInput("the rope systems are not known", remedy=f"choose from: {', '.join(SYSTEMS)}")
    if len(set(names)) != len(names):
        raise BadInput("a rope system is named twice")


def _setting(values: Mapping[str, Any]) -> None:
    from treescan.assess import Settings
    from treescan.loads.rope.rope_systems import HARDWARE
    from treescan.settings import merged

    name = values["name"]
    if name not in SETTABLE:
        raise BadInput(f"setting '{str(name)[:60]}' cannot be changed here", remedy=f"one of {', '.join(SETTABLE)}")
    merged(Settings(), nested({name: values["value"]}))
    if name.endswith("_hardware") and (not values["value"] or any(h not in HARDWARE for h in values["value"])):
        raise BadInput("the hardware is not known", remedy=f"choose from: {', '.join(HARDWARE)}")
    if name == "throw.methods" and not values["value"]:
        raise BadInput("no way of throwing is left", remedy="name one or more")


def _work(values: Mapping[str, Any]) -> None:
    words, points = values["words"], values["points"]
    if not isinstance(words, Sequence) or isinstance(words, str) or not isinstance(points, Sequence):
        raise BadInput("the work is not a list of words and a list of points")
    if len(words) + len(points) > MOST_ITEMS:
        raise BadInput(f"the work holds more than {MOST_ITEMS} items")
    for word in words:
        if not isinstance(word, str) or not WORK_WORD.fullmatch(word):
            raise BadInput(f"work '{str(word)[:40]}' is not known", remedy="crown, deadwood, limb:12, limb:U07, sample:300")
    for point in points:
        if not isinstance(point, Mapping) or set(point) != {"name", "kind", "xyz"}:
            raise BadInput("a work point needs name, kind and xyz")
        _text(point["name"], "work point name")
        _text(point["kind"], "work point kind")
        _places([point["xyz"]], "a work point", 3, 1)


def _rows(rows: Any, columns: Sequence[str], what: str) -> None:
    if not isinstance(rows, Sequence) or isinstance(rows, str) or len(rows) > MOST_ITEMS:
        raise BadInput(f"{what} are not a list")
    for row in rows:
        if not isinstance(row, Mapping) or not set(row) <= set(columns):
            raise BadInput(f"{what}: a row has an unknown column", remedy=f"use {', '.join(columns)}")
        for column, value in row.items():
            if isinstance(value, bool):
                continue
            if isinstance(value, str):
                _text(value, column, empty=True)
            else:
                _number(value, column)


def _cuts(values: Mapping[str, Any]) -> None:
    _rows(values["rows"], CUT_COLUMNS, "the cuts")


def _finding(values: Mapping[str, Any]) -> None:
    _rows([values["row"]], OVERRIDE_COLUMNS, "the findings")
    for column in ("kind", "who", "when", "why"):
        _text(values["row"].get(column), column)


def _drawn(values: Mapping[str, Any]) -> None:
    kind, places = values["what"], values["places"]
    if kind not in DRAWN:
        raise BadInput(f"'{str(kind)[:40]}' cannot be drawn", remedy=f"one of {', '.join(DRAWN)}")
    _text(values["name"], "the drawn name", empty=True)
    flat = kind in AREAS or kind == "wires-seen"
    least = 3 if flat else 2 if kind == "conductor" else 1
    _places(places, f"a drawn {kind}", 2 if flat else 3, least)
    if kind in {"anchor", "base"} and len(places) != 1:
        raise BadInput(f"a drawn {kind} is one place")
    _volts(values["volts"], kind in {"conductor", "wires-seen"})
    if kind == "wires-seen" and values["volts"] is None:
        raise BadInput("it is not said what the wires carry", remedy="give volts, 0 where there is no wire")


def _volts(value: Any, may: bool) -> None:
    if value is not None:
        _number(value, "the voltage", 0.0, MOST_KILOVOLT * 1000.0 if may else 0.0)


def _wires(values: Mapping[str, Any]) -> None:
    _volts(values["volts"], True)


def _stand(values: Mapping[str, Any]) -> None:
    _places([values["place"]], "the standing place", 2, 1)
    _text(values["union"], "the union")


def _own_throws(values: Mapping[str, Any]) -> None:
    from treescan.assess import Settings
    from treescan.settings import merged

    rows = values["methods"]
    if not isinstance(rows, Sequence) or not rows or any(not isinstance(r, Mapping) or set(r) != {"method", "throws", "spread"} for r in rows):
        raise BadInput("the own throws need method, throws and spread of each way")
    for row in rows:
        _number(row["throws"], "throws", 1, 1e6)
        if row["method"] not in OWN_METHODS or not isinstance(row["spread"], Mapping) or set(row["spread"]) != set(OWN_SPREAD):
            raise BadInput("the spread of own throws is not whole", remedy=f"{', '.join(OWN_METHODS)}, each with {', '.join(OWN_SPREAD)}")
        for name, value in row["spread"].items():
            _number(value, name)
        merged(Settings(), nested({f"throw.{row['method']}.{name}": value for name, value in row["spread"].items()}))


def _withdrawn(values: Mapping[str, Any]) -> None:
    if not isinstance(values["line"], int) or isinstance(values["line"], bool):
        raise BadInput("it is not said which line is withdrawn")


CHECKS: dict[str, tuple[tuple[str, ...], Callable[[Mapping[str, Any]], None]]] = {
    "species": (("name",), _species),
    "systems": (("names",), _systems),
    "setting": (("name", "value"), _setting),
    "work": (("words", "points"), _work),
    "cuts": (("rows",), _cuts),
    "drawn": (("what", "name", "places", "volts"), _drawn),
    "wires": (("volts",), _wires),
    "finding": (("row",), _finding),
    "stand": (("place", "union"), _stand),
    "own throws": (("methods",), _own_throws),
    "withdrawn": (("line",), _withdrawn),
}
"""Kind of change to the names of its values, and what holds them against what can be meant.

- species name or None; systems names; setting name and value (`SETTABLE`),
- work words as on the command line and points; cuts rows as `read_cuts` takes them, all of them, in their order,
- drawn : something drawn on the site, places in local metres, volts None = unknown, 0 = no wire; wires : what all
  wires carry that the scan saw, None = not said,
- finding : a row as `read_overrides` takes it,
- own throws : of every way of throwing in a record, its count and its spread and mean error (`OWN_SPREAD`),
- stand : a question, not an input: the throws from a place to a union,
- withdrawn : an earlier line (drawn, finding or stand) counts no longer.
"""


def nested(values: Mapping[str, Any]) -> dict[str, Any]:
    """Dotted names as nested tables.

    >>> nested({"loads.history.years": 5, "seed": 1})
    {'loads': {'history': {'years': 5}}, 'seed': 1}
    """
    out: dict[str, Any] = {}
    for name, value in values.items():
        here = out
        *groups, last = name.split(".")
        for group in groups:
            here = here.setdefault(group, {})
        here[last] = value
    return out
