"""With which site, work, cuts and findings was the plan in a folder made? The files its run.json names, as the base of a history."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from treescan.errors import BadInput
from treescan.faces.guard.output_place import digest
from treescan.faces.session.changes import AREAS, WORK_WORD
from treescan.faces.session.inputs import Inputs, arguments
from treescan.faces.user_files.asked_work import read_work
from treescan.faces.user_files.drawn import read_site
from treescan.faces.user_files.stated import CUT_COLUMNS, OVERRIDE_COLUMNS
from treescan.faces.user_files.table_rows import read_rows
from treescan.faces.user_files.wires_said import volts_said
from treescan.trees.beside import Site
from treescan.wood.graph import TracedTree

TAKEN = ("site", "cuts", "overrides", "work")
"""Roles of the files that are taken over."""
ELSEWHERE = ("tree", "cloud", "beside the tree", "also", "job record", "settings")
"""Roles of files that say nothing of those, or stand in the settings of the record."""


def with_files(base: Inputs, record: Path, tree: TracedTree) -> tuple[Inputs, tuple[str, ...]]:
    """The base with what the files said that a run.json names, and the names of those that are not taken over: gone, changed
    since, or such as no change of the page says.

    A record that cannot be read names no file.
    """
    try:
        held = json.loads(record.read_text(encoding="utf-8"))
        rows = [(str(r.get("role", "")), Path(str(r["file"])), str(r["sha256"])) for r in held["inputs"]]
        asked = dict(held["asked"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return base, ()
    now, lost = base, []
    for k, (role, path, sha) in enumerate(rows):
        if role in ELSEWHERE or (not role and k == 0):
            continue
        try:
            if role not in TAKEN or not path.is_file() or digest(path) != sha:
                raise BadInput("is not what it was", file=str(path))
            now = _with(now, role, path, tree)
        except BadInput:
            lost.append(path.name)
    now = _with_wires(now, asked.get("wires"))
    words = [str(w) for w in asked.get("work") or []]
    if words and not any(role == "work" for role, _, _ in rows) and all(WORK_WORD.fullmatch(w) for w in words):
        now = replace(now, work={"words": words, "points": []})
    elif words and not lost:
        now, lost = _with_work(now, words, tree)
    return now, tuple(lost)


def _with(now: Inputs, role: str, path: Path, tree: TracedTree) -> Inputs:
    if role == "cuts":
        return replace(now, cuts=tuple(read_rows(path, CUT_COLUMNS, "cut")))
    if role == "overrides":
        return replace(now, findings=tuple(read_rows(path, OVERRIDE_COLUMNS, "override")))
    if role == "site":
        site = read_site(path, tree.frame, tree.beside.terrain)[0]
        return replace(now, drawn=_drawn(site), wires=None if np.isnan(site.wires) else float(site.wires))
    return now


def _with_wires(now: Inputs, said: Any) -> Inputs:
    return replace(now, wires=volts_said(said)) if isinstance(said, str) else now


def _with_work(now: Inputs, asked: list[str], tree: TracedTree) -> tuple[Inputs, list[str]]:
    """The work of words and files, where words and points of the page say the same; else the names of its files."""
    files = [Path(w) for w in asked if not WORK_WORD.fullmatch(w)]
    settings = now.all_settings().planning
    try:
        meant = read_work(asked, tree, settings, now.seed)[0]
        read = [read_work([f], tree, settings, now.seed)[0] for f in files]
        points = [
            {"name": str(name), "kind": str(kind), "xyz": [float(v) for v in xyz]}
            for w in read
            for name, kind, xyz in zip(w.label, w.kind, w.xyz, strict=True)
        ]
        then = replace(now, work={"words": [w for w in asked if WORK_WORD.fullmatch(w)], "points": points})
        found = arguments(tree, then)["work"]
        same = (found.label, found.kind) == (meant.label, meant.kind)
        same = same and np.array_equal(found.xyz, meant.xyz) and np.array_equal(found.weight, meant.weight)
    except BadInput:
        same = False
    return (then, []) if same else (now, [f.name for f in files])


def _drawn(site: Site) -> tuple[dict[str, Any], ...]:
    """A site plan as drawn things, in the order in which `inputs` puts them together again."""
    out: list[dict[str, Any]] = []

    def add(what: str, name: str, places: Any, volts: float | None = None) -> None:
        listed = [[float(v) for v in p] for p in np.atleast_2d(np.asarray(places, float))]
        out.append({"what": what, "name": name, "places": listed, "volts": volts})

    for what, column in AREAS.items():
        rings = getattr(site, column)
        names = site.area_names.get(column, ())
        for name, ring in zip(names if len(names) == len(rings) else ("",) * len(rings), rings, strict=True):
            add(what, name, ring)
    for c in site.conductors:
        add("conductor", c.name, c.line, None if np.isnan(c.voltage) else float(c.voltage))
    for ring, volts in site.wire_areas:
        add("wires-seen", "", ring, float(volts))
    for what, named in (("anchor", site.anchors), ("base", site.bases)):
        for name, place in named:
            add(what, name, place)
    return tuple(out)
