"""What is `plan` asked for after these changes? Everything but the tree, as plain values and as its arguments."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from treescan.assess import Settings
from treescan.errors import BadInput
from treescan.faces.session.changes import AREAS, Change, nested
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.stated import cuts_of, overrides_of
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.planning.ranking.overrides import check_overrides
from treescan.planning.tie_in_point import Work
from treescan.planning.work.work_points import joined, work_at_points
from treescan.settings import merged
from treescan.trees.beside import Conductor, Site
from treescan.wood.graph import TracedTree

SESSION = Path("session.json")
"""Names the rows of a session in what is said of a fault."""


@dataclass(frozen=True)
class Inputs:
    """What `plan` is asked for, as JSON holds it; two that are equal give one plan.

    settings : ((dotted name, value), ...) over the defaults, by name. The rest as the values of `changes.CHECKS`.
    """

    species: str | None = None
    systems: tuple[str, ...] = tuple(SYSTEMS)
    seed: int = 1
    settings: tuple[tuple[str, Any], ...] = ()
    work: Mapping[str, Any] | None = None
    cuts: tuple[Mapping[str, Any], ...] = ()
    drawn: tuple[Mapping[str, Any], ...] = ()
    wires: float | None = None
    findings: tuple[Mapping[str, Any], ...] = ()

    def key(self, *parts: str) -> str:
        """One text for equal inputs, of these parts or of all."""
        values = asdict(self)
        return json.dumps([values[p] for p in parts or values], sort_keys=True, default=dict)

    def all_settings(self) -> Settings:
        """The defaults with what was changed."""
        return merged(Settings(), nested(dict(self.settings)), file=str(SESSION))


def inputs_after(base: Inputs, lines: Sequence[tuple[int, Change]]) -> Inputs:
    """The inputs after numbered changes in their order; what was withdrawn later never counts.

    Raises BadInput where a line is withdrawn that cannot be.
    """
    gone = {int(c.values["line"]) for _, c in lines if c.kind == "withdrawn"}
    kinds = {number: c.kind for number, c in lines}
    if lost := sorted(n for n in gone if kinds.get(n) not in {"drawn", "finding", "stand"}):
        raise BadInput(f"line {lost[0]} cannot be withdrawn", remedy="undo it, or give the value again")
    now = base
    for number, change in lines:
        if number not in gone:
            now = _after(now, change)
    return now


def _after(now: Inputs, change: Change) -> Inputs:
    """The inputs after one change more."""
    v = change.values
    if change.kind == "species":
        return replace(now, species=v["name"])
    if change.kind == "systems":
        return replace(now, systems=tuple(v["names"]))
    if change.kind == "setting":
        return replace(now, settings=tuple(sorted((dict(now.settings) | {v["name"]: v["value"]}).items())))
    if change.kind == "own throws":
        own = {f"throw.{m['method']}.{name}": value for m in v["methods"] for name, value in m["spread"].items()}
        return replace(now, settings=tuple(sorted((dict(now.settings) | own).items())))
    if change.kind == "work":
        return replace(now, work=dict(v) if v["words"] or v["points"] else None)
    if change.kind == "cuts":
        return replace(now, cuts=tuple(dict(r) for r in v["rows"]))
    if change.kind == "drawn":
        return replace(now, drawn=(*now.drawn, dict(v)))
    if change.kind == "wires":
        return replace(now, wires=v["volts"])
    if change.kind == "finding":
        return replace(now, findings=(*now.findings, dict(v["row"])))
    return now


def arguments(tree: TracedTree, inputs: Inputs) -> dict[str, Any]:
    """The inputs as arguments of `plan`; BadInput where one is about what the tree has not."""
    settings = inputs.all_settings()
    site = _site(inputs)
    others = tuple(name for name, _ in site.anchors)
    removal = cuts_of([dict(r) for r in inputs.cuts], SESSION, tree.graph, others) if inputs.cuts else None
    overrides = overrides_of([dict(r) for r in inputs.findings], SESSION, tree.graph)
    check_overrides(tree.graph, overrides)
    return {
        "species": inputs.species,
        "systems": inputs.systems,
        "work": _work(tree, inputs, settings),
        "site": site,
        "settings": settings,
        "seed": inputs.seed,
        "removal": removal,
        "overrides": overrides,
    }


def _work(tree: TracedTree, inputs: Inputs, settings: Settings) -> Work | None:
    """The work asked for; None = the default."""
    if inputs.work is None:
        return None
    words, points = inputs.work["words"], inputs.work["points"]
    parts = [read_work(list(words), tree, settings.planning, inputs.seed)[0]] if words else []
    if points:
        xyz = np.array([p["xyz"] for p in points], float)
        parts.append(
            work_at_points(tree.graph, xyz, [p["name"] for p in points], [p["kind"] for p in points])
        )
    return joined(*parts)


def _site(inputs: Inputs) -> Site:
    """What was drawn, as the plan takes it."""
    rings: dict[str, list[Any]] = {column: [] for column in AREAS.values()}
    names: dict[str, list[str]] = {column: [] for column in AREAS.values()}
    conductors, wire_areas = [], []
    points: dict[str, list[tuple[str, Any]]] = {"anchor": [], "base": []}
    for d in inputs.drawn:
        places, volts, kind = np.array(d["places"], float), d["volts"], d["what"]
        if kind in AREAS:
            rings[AREAS[kind]].append(places)
            names[AREAS[kind]].append(d["name"])
        elif kind == "conductor":
            conductors.append(Conductor(places, float("nan") if not volts else float(volts), d["name"]))
        elif kind == "wires-seen":
            wire_areas.append((places, float(volts)))
        else:
            points[kind].append((d["name"] or f"{kind} {len(points[kind]) + 1}", places[0]))
    return Site(
        **{column: tuple(found) for column, found in rings.items()},
        conductors=tuple(conductors),
        anchors=tuple(points["anchor"]),
        bases=tuple(points["base"]),
        area_names={column: tuple(found) for column, found in names.items()},
        wires=float("nan") if inputs.wires is None else float(inputs.wires),
        wire_areas=tuple(wire_areas),
    )
