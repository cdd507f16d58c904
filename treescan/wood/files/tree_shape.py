"""Is the content of a tree file of the right kind? Types and ranges, every fault told in one go."""

from __future__ import annotations

import math
import re
from typing import Any

from treescan.errors import BadInput
from treescan.wood.graph import ASSESSABLE, NOT_ASSESSABLE

FARTHEST = 1e8
"""Of any coordinate from zero. [m]  Map coordinates are smaller."""
WIDEST = 500.0
"""Of a tree along any axis: no tree is near it. [m]  (Project choice.)"""
THICKEST = 20.0
"""Of a stem or limb. [m]  (Project choice: the thickest known stems are about 14 m across.)"""
HIGHEST = 150.0
"""No tree is higher. [m]  (The highest known stand a little over 115 m; memory value, rounded up.)"""
MOST = 2_000_000
"""Nodes, segments, limbs or unions of one tree."""
THINNEST = 1e-6
"""Of a radius or diameter above zero. [m]  (Project choice.)"""
FARTHEST_ORIGIN = 1e10
"""Of the origin from zero. [m]  (Project choice.)"""
TURN = 360
"""A full turn. [deg]"""
ROUND, WHOLE = 360.001, 1.001
"""A full round [deg] and a whole share, with room for rounding."""
HALF_TURN = 180
"""Largest lean. [deg]"""
LONGEST_CRS, LONGEST_SOURCE = 100_000, 4096
"""Letters of a map grid's definition, and of the name of a scan's file."""
FRAME_SCALES = (1e-4, 1e4)
"""Metres in a unit of the file. (Project choice.)"""
LARGEST_VOLUME = 1e4
"""Of a tree's wood. [m^3]  (Project choice.)"""
FIRST_PRINTED = 32
"""Characters of a lower code control a printer and are no text."""
LONGEST_READ, LONGEST_SHOWN = 80, 40
"""Letters of a faulty value that are looked at and shown."""
MOST_TOLD = 8
"""Faults told in one message."""
LONGEST_ID = 80
FIT_FOR = ("stem", "main unions", "small limbs", "nothing")
NAME = re.compile(r"[^/\\\x00-\x1f]{1,200}")
"""Name of a file in the same folder."""


def check_tree(data: dict[str, Any], file: str) -> None:
    """BadInput that names every entry of a wrong kind or out of range, before anything is worked out."""
    told = Faults()
    _nodes(data, told)
    _limbs(data, told)
    _unions(data, told)
    _frame(data, told)
    _quality(data.get("quality"), told)
    told.refuse(file)


class Faults:
    """Faults found so far; each check returns whether the value is fit for use."""

    def __init__(self) -> None:
        self.found: list[str] = []

    def refuse(self, file: str) -> None:
        """BadInput with all of them, where there are any."""
        if self.found:
            more = len(self.found) - MOST_TOLD
            what = "; ".join(self.found[:MOST_TOLD]) + (f"; and {more} more" if more > 0 else "")
            raise BadInput(what, file=file, remedy="see 'tree.json' in README for the keys it must have")

    def add(self, what: str) -> bool:
        """Note a fault."""
        self.found.append(what)
        return False

    def number(self, value: Any, where: str, low: float, high: float, null: bool = False) -> bool:
        """A finite number in its range, or null where that may be."""
        if value is None and null:
            return True
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return self.add(f"{where} is {short(value)}, not a number")
        if not low <= value <= high:
            return self.add(f"{where} is {short(value)}, allowed is {low:g} to {high:g}")
        return True

    def whole(self, value: Any, where: str, high: int) -> bool:
        """A whole number from 0."""
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= high:
            return self.add(f"{where} is {short(value)}, not a whole number from 0 to {high}")
        return True

    def place(self, value: Any, where: str, n: int = 3, far: float = FARTHEST) -> bool:
        """Coordinates, `n` of them."""
        if not isinstance(value, list) or len(value) != n:
            return self.add(f"{where} is {short(value)}, not {n} numbers")
        return all(self.number(v, where, -far, far) for v in value)

    def text(self, value: Any, where: str, longest: int, null: bool = False) -> bool:
        """Text without control characters."""
        if value is None and null:
            return True
        if not isinstance(value, str):
            return self.add(f"{where} is {short(value)}, not text")
        if len(value) > longest or any(ord(c) < FIRST_PRINTED and c not in "\t\n\r" for c in value):
            return self.add(f"{where} is longer than {longest} letters or holds control characters")
        return True

    def rows(self, value: Any, where: str) -> list[dict[str, Any]]:
        """A list of groups; empty after a fault."""
        if not isinstance(value, list):
            self.add(f"{where} is {short(value)}, not a list")
        elif len(value) > MOST:
            self.add(f"{where} has more than {MOST} entries")
        else:
            odd = next((i for i, v in enumerate(value) if not isinstance(v, dict)), None)
            if odd is None:
                return value
            self.add(f"entry {odd + 1} of {where} is {short(value[odd])}, not a group")
        return []


def short(value: Any) -> str:
    """A value as it is quoted in a message."""
    if value is None:
        return "null"
    if isinstance(value, (list, dict)):
        return "a list" if isinstance(value, list) else "a group"
    text = " ".join(f"{value:g}".split() if isinstance(value, float) else str(value)[:LONGEST_READ].split())
    return f"'{text[:LONGEST_SHOWN]}'" if isinstance(value, str) else text[:LONGEST_SHOWN]


def _identifier(value: Any, where: str, told: Faults) -> bool:
    """A node may be called by a whole number or a text."""
    if isinstance(value, (int, str)) and not isinstance(value, bool) and str(value)[: LONGEST_ID + 1]:
        return len(str(value)) <= LONGEST_ID or told.add(f"{where} is longer than {LONGEST_ID} letters")
    return told.add(f"{where} is {short(value)}, not a number or text")


def _nodes(data: dict[str, Any], told: Faults) -> None:
    low, high = [math.inf] * 3, [-math.inf] * 3
    for i, node in enumerate(told.rows(data.get("nodes"), "nodes"), start=1):
        where = f"node {i}"
        _identifier(node.get("id"), f"the id of {where}", told)
        if told.place(node.get("xyz"), f"xyz of {where}"):
            low = [min(a, v) for a, v in zip(low, node["xyz"], strict=True)]
            high = [max(a, v) for a, v in zip(high, node["xyz"], strict=True)]
        if told.number(node.get("radius"), f"radius of {where}", 0, THICKEST) and not node["radius"] > 0:
            told.add(f"radius of {where} is not above zero")
        told.number(node.get("radius_sd"), f"radius_sd of {where}", 0, THICKEST, null=True)
        told.number(node.get("arc_deg"), f"arc_deg of {where}", 0, ROUND, null=True)
        told.number(node.get("oval"), f"oval of {where}", 0, THICKEST, null=True)
        if "oval_dir" in node:
            told.place(node["oval_dir"], f"oval_dir of {where}")
    if any(b - a > WIDEST for a, b in zip(low, high, strict=True)):
        told.add(f"its nodes lie more than {WIDEST:g} m apart")
    for i, s in enumerate(told.rows(data.get("segments", []), "segments"), start=1):
        for end in ("parent", "child"):
            _identifier(s.get(end), f"{end} of segment {i}", told)
        told.number(s.get("radius"), f"radius of segment {i}", THINNEST, THICKEST, null=True)
        if s.get("limb") is not None:
            told.whole(s["limb"], f"limb of segment {i}", MOST)


def _limbs(data: dict[str, Any], told: Faults) -> None:
    for i, limb in enumerate(told.rows(data.get("limbs", []), "limbs"), start=1):
        told.whole(limb.get("id"), f"id of limb {i}", MOST)
        told.whole(limb.get("order", 0), f"order of limb {i}", MOST)


def _unions(data: dict[str, Any], told: Faults) -> None:
    for i, u in enumerate(told.rows(data.get("unions", []), "unions"), start=1):
        where = f"union {i}"
        if told.text(u.get("id"), f"the id of {where}", LONGEST_ID) and not u["id"].strip():
            told.add(f"the id of {where} is empty")
        _identifier(u.get("node"), f"node of {where}", told)
        if "xyz" in u:
            told.place(u["xyz"], f"xyz of {where}")
        if u.get("crotch") is not None:
            told.place(u["crotch"], f"crotch of {where}")
        if "height" in u:
            told.number(u["height"], f"height of {where}", -HIGHEST, WIDEST)
        if "parent_diameter" in u:
            told.number(u["parent_diameter"], f"parent_diameter of {where}", THINNEST, THICKEST)
        told.number(u.get("parent_diameter_sd"), f"parent_diameter_sd of {where}", 0, THICKEST, null=True)
        for key, top in (("child_diameters", THICKEST), ("attachment_deg", float(TURN)), ("limb_slope_deg", float(TURN))):
            stated = u.get(key, [])
            for v in stated if isinstance(stated, list) else [stated]:
                told.number(v, f"{key} of {where}", THINNEST if top == THICKEST else -float(TURN), top)
        flags = u.get("flags", [])
        if not isinstance(flags, list):
            told.add(f"flags of {where} is {short(flags)}, not a list")
        for flag in flags if isinstance(flags, list) else ():
            told.text(flag, f"a flag of {where}", LONGEST_ID)
        if u.get("arms") is not None:
            _arms(u["arms"], where, told)


def _arms(arms: Any, where: str, told: Faults) -> None:
    for k, a in enumerate(told.rows(arms, f"arms of {where}"), start=1):
        arm = f"arm {k} of {where}"
        _identifier(a.get("node"), f"node of {arm}", told)
        told.whole(a.get("limb"), f"limb of {arm}", MOST)
        told.number(a.get("diameter"), f"diameter of {arm}", THINNEST, THICKEST)
        told.number(a.get("diameter_sd"), f"diameter_sd of {arm}", 0, THICKEST, null=True)
        told.number(a.get("attachment_deg"), f"attachment_deg of {arm}", -TURN, TURN)
        told.number(a.get("slope_deg"), f"slope_deg of {arm}", -TURN, TURN)
        if not isinstance(a.get("continues"), bool):
            told.add(f"continues of {arm} is {short(a.get('continues'))}, not true or false")


def _frame(data: dict[str, Any], told: Faults) -> None:
    if "origin" in data:
        told.place(data["origin"], "origin", far=FARTHEST_ORIGIN)
    told.text(data.get("crs"), "crs", LONGEST_CRS, null=True)
    told.text(data.get("source", ""), "source", LONGEST_SOURCE)
    frame = data.get("frame") or {}
    if not isinstance(frame, dict):
        told.add(f"frame is {short(frame)}, not a group")
        frame = {}
    for key in ("unit_m", "vertical_unit_m"):
        told.number(frame.get(key, 1.0), f"{key} of frame", *FRAME_SCALES)
    told.text(frame.get("up", ""), "up of frame", LONGEST_ID)
    told.text(frame.get("file_crs"), "file_crs of frame", LONGEST_CRS, null=True)
    if not isinstance(frame.get("in_degrees", False), bool):
        told.add("in_degrees of frame is not true or false")
    stem = data.get("stem") or {}
    if not isinstance(stem, dict):
        told.add(f"stem is {short(stem)}, not a group")
        stem = {}
    for key, high in (("dbh", THICKEST), ("dbh_sd", THICKEST), ("height", HIGHEST), ("wood_volume", LARGEST_VOLUME)):
        told.number(stem.get(key), f"{key} of stem", 0, high, null=True)
    told.number(stem.get("lean_deg"), "lean_deg of stem", 0, HALF_TURN, null=True)
    if "base_xyz" in stem:
        told.place(stem["base_xyz"], "base_xyz of stem")
    beside = data.get("beside") or {}
    names = beside if isinstance(beside, dict) else {}
    if beside and (
        set(names) - {"points"} != {"terrain", "foliage", "surroundings"}
        or not all(isinstance(n, str) and NAME.fullmatch(n) and n not in (".", "..") for n in names.values())
    ):
        told.add("beside does not name a terrain, a foliage and a surroundings file of the same folder")


def _quality(quality: Any, told: Faults) -> None:
    if quality is None:
        return
    if not isinstance(quality, dict):
        told.add(f"quality is {short(quality)}, not a group")
        return
    if quality.get("verdict", ASSESSABLE) not in (ASSESSABLE, NOT_ASSESSABLE):
        told.add(f"verdict of quality is {short(quality['verdict'])}, not {ASSESSABLE} or {NOT_ASSESSABLE}")
    for key in ("reasons", "notes"):
        found = quality.get(key, [])
        if not isinstance(found, list):
            told.add(f"{key} of quality is {short(found)}, not a list")
        for r in found if isinstance(found, list) else ():
            _reason(r, f"an entry of {key}", told)
    for i, band in enumerate(told.rows(quality.get("bands", []), "bands of quality"), start=1):
        for key in ("from_m", "to_m"):
            told.number(band.get(key), f"{key} of band {i}", -WIDEST, WIDEST)
        _fit(band, f"band {i}", told)
        told.number(band.get("spacing_m"), f"spacing_m of band {i}", 0, WIDEST, null=True)
        told.number(band.get("arc_deg"), f"arc_deg of band {i}", 0, ROUND, null=True)
    for i, limb in enumerate(told.rows(quality.get("limbs", []), "limbs of quality"), start=1):
        told.whole(limb.get("limb"), f"limb of entry {i} of limbs of quality", MOST)
        _fit(limb, f"entry {i} of limbs of quality", told)
        told.number(limb.get("measured"), f"measured of entry {i} of limbs of quality", 0, WHOLE, null=True)
        told.number(limb.get("arc_deg"), f"arc_deg of entry {i} of limbs of quality", 0, ROUND, null=True)
        _reason(limb.get("rescan"), f"rescan of entry {i} of limbs of quality", told)


def _fit(row: dict[str, Any], where: str, told: Faults) -> None:
    if row.get("fit_for") not in FIT_FOR:
        told.add(f"fit_for of {where} is {short(row.get('fit_for'))}, not one of {', '.join(FIT_FOR)}")


def _reason(found: Any, where: str, told: Faults) -> None:
    """A plain sentence, or a code with values."""
    if found is None or isinstance(found, str):
        return
    if not isinstance(found, dict) or not isinstance(found.get("code"), str):
        told.add(f"{where} is {short(found)}, neither words nor a code with values")
    elif not isinstance(found.get("values", {}), dict):
        told.add(f"the values of {where} are {short(found['values'])}, not a group")
