"""Which trees does one crew climb on one day? Climbs near one another together, with the kit they need."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from treescan.cautions import CAUTIONS
from treescan.outputs.city.city_rows import PLANNED, CityTree
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.job_sheet.sheet_parts import may_run_on
from treescan.outputs.text.say import text

CLIMBS_A_DAY = 4
"""Tie-in points a crew sets and works from in a day (project choice; no published figure was found)."""
NEAR_WIRE = 10.0
"""A crown nearer to a wire than this gets a note (project choice; ask the network operator at any distance). [m]"""
TOGETHER = 2000
"""Trees whose days are planned together (project choice: time grows with the square of it)."""
LONGEST_ROW = 450.0
"""A row higher than this goes on on the next page: a page holds 535 with the table's head. [points]"""
SPARE = 1.1
"""Ropes are taken longer than the longest climb by this factor (project choice)."""


@dataclass(frozen=True)
class Package:
    """One crew-day: its number and the trees in visiting order."""

    number: int
    trees: tuple[CityTree, ...]


def packages(trees: Sequence[CityTree], climbs_a_day: int = CLIMBS_A_DAY) -> tuple[Package, ...]:
    """Planned trees with a candidate, parted into crew-days by place.

    The next tree of a day is the nearest one left; a day begins at the tree farthest from the middle of all that
    is left. A tree that needs more climbs than a day holds has a day of its own. A city of more than `TOGETHER` is
    halved by place first, until no part is larger.
    """
    known = sorted((t for t in trees if t.state == PLANNED and _climbs(t) and t.place is not None), key=lambda t: t.name)
    days = [day for part in _halved(known) for day in _days(part, climbs_a_day)]
    return tuple(Package(n + 1, day) for n, day in enumerate(days))


def _halved(trees: list[CityTree]) -> list[list[CityTree]]:
    """Parts by place, each in the order of the trees, of at most `TOGETHER`."""
    if len(trees) <= TOGETHER:
        return [trees] if trees else []
    xy = np.array([_xy(t) for t in trees])
    along = int(np.argmax(np.ptp(xy, axis=0)))
    first = np.zeros(len(trees), bool)
    first[np.argsort(xy[:, along], kind="stable")[: len(trees) // 2]] = True
    return [
        *_halved([t for t, f in zip(trees, first, strict=True) if f]),
        *_halved([t for t, f in zip(trees, first, strict=True) if not f]),
    ]


def _days(trees: list[CityTree], climbs_a_day: int) -> list[tuple[CityTree, ...]]:
    """Crew-days of one part, whose trees stand by name."""
    xy = np.array([_xy(t) for t in trees])
    left = np.ones(len(trees), bool)
    out = []
    while left.any():
        away = np.hypot(*(xy - xy[left].mean(axis=0)).T)
        at = int(np.argmax(np.where(left, away, -1.0)))
        left[at] = False
        day, climbs = [at], _climbs(trees[at])
        while left.any() and climbs < climbs_a_day:
            at = int(np.argmin(np.where(left, np.hypot(*(xy - xy[day[-1]]).T), np.inf)))
            if climbs + _climbs(trees[at]) > climbs_a_day:
                break
            left[at] = False
            day.append(at)
            climbs += _climbs(trees[at])
        out.append(tuple(trees[k] for k in day))
    return out


def _climbs(t: CityTree) -> int:
    return int(t.plan.get("figures", {}).get("climbs") or 0)


def _xy(t: CityTree) -> np.ndarray:
    assert t.place is not None
    return np.array(t.place[:2])


@for_programs
def package_rows(made: Sequence[Package]) -> list[dict[str, Any]]:
    """One row a tree and crew-day: the order, the climbs, ropes and kit, and what to ask about first."""
    rows = []
    for day in made:
        ropes = [float(v) for t in day.trees if (v := t.plan["figures"].get("rope_m")) is not None]
        for order, t in enumerate(day.trees):
            f = t.plan["figures"]
            rows.append(
                {
                    "package": day.number,
                    "order": order + 1,
                    "tree": t.name,
                    "inv_id": t.record.get("inv_id", ""),
                    "species": t.record.get("species", ""),
                    "address": t.record.get("address", ""),
                    "client": t.record.get("client", ""),
                    "x": None if t.place is None else round(t.place[0], 2),
                    "y": None if t.place is None else round(t.place[1], 2),
                    "climbs": _climbs(t),
                    "rope_m": f.get("rope_m"),
                    "throwline_m": f.get("throwline_m"),
                    "launcher": bool(f.get("launcher")),
                    "day_rope_m": round(max(ropes, default=0.0) * SPARE, 1),
                    "notes": " | ".join(notes(t)),
                    "kit": f.get("kit") or "",
                    "caution": CAUTIONS["planning_aid"],
                }
            )
    return rows


def notes(t: CityTree) -> tuple[str, ...]:
    """What to settle before the day: traffic and people, wires, buildings, doubts about which tree it is."""
    out = []
    if t.record.get("target_use"):
        out.append(text("package_targets", use=t.record["target_use"]))
    else:
        out.append(text("package_targets_unknown"))
    if t.found is not None and t.found.wire == t.found.wire and t.found.wire < NEAR_WIRE:
        out.append(text("package_wire", distance=t.found.wire))
    if t.found is not None and t.found.building == t.found.building and t.found.building < NEAR_WIRE:
        out.append(text("package_building", distance=t.found.building))
    if t.doubts:
        out.append(text("package_doubt"))
    return tuple(out)


@for_programs
def sheet_bytes(made: Sequence[Package]) -> bytes:
    """The packages as pages to print, one a crew-day, every caution at the end; the same bytes for the same rows."""
    style = getSampleStyleSheet()
    small, body = style["BodyText"].clone("small", fontSize=8, leading=10), style["BodyText"]
    parts: list[Any] = []
    rows = package_rows(made)
    for day in made:
        own = [r for r in rows if r["package"] == day.number]
        climbs, rope = sum(r["climbs"] for r in own), own[0]["day_rope_m"]
        launcher = any(r["launcher"] for r in own)
        parts.append(Paragraph(text("package_head", n=day.number), style["Heading1"]))
        parts.append(
            Paragraph(text("package_sum", trees=len(own), climbs=climbs, rope=rope, launcher=launcher), body)
        )
        head = [
            text(f"daycolumn_{c}")
            for c in ("order", "tree", "place", "climbs", "rope", "launcher", "notes")
        ]
        cells = [[Paragraph(h, small) for h in head]]
        for r in own:
            place = ", ".join(str(v) for v in (r["address"], r["x"], r["y"]) if v not in ("", None))
            called = " / ".join(v for v in (r["tree"], r["inv_id"], r["species"]) if v)
            values = (
                r["order"],
                called,
                place,
                r["climbs"],
                _metres(r["rope_m"]),
                text("yes" if r["launcher"] else "no"),
            )
            cells.append([Paragraph(_plain(str(v)), small) for v in (*values, r["notes"])])
        table = Table(cells, colWidths=[30, 130, 150, 40, 55, 50, 300], repeatRows=1)
        table.setStyle(
            TableStyle([("GRID", (0, 0), (-1, -1), 0.4, colors.grey), ("VALIGN", (0, 0), (-1, -1), "TOP")])
        )
        may_run_on(table, 755.0, LONGEST_ROW)
        parts += [table, Spacer(1, 8)]
        kit = dict.fromkeys(k for r in own for k in r["kit"].split(" | ") if k)
        parts += [Paragraph(_plain(k), small) for k in kit]
        parts += [Spacer(1, 6), Paragraph(CAUTIONS["planning_aid"], small), PageBreak()]
    if not made:
        parts.append(Paragraph(text("package_none"), body))
    parts += [Paragraph(c, small) for c in CAUTIONS.values()]
    out = io.BytesIO()
    SimpleDocTemplate(
        out, pagesize=landscape(A4), leftMargin=36, rightMargin=36, topMargin=30, bottomMargin=30, invariant=1
    ).build(parts)
    return out.getvalue()


def _metres(value: float | None) -> str:
    return "" if value is None else f"{value:.1f} m"


def _plain(words: str) -> str:
    """Words of others as text, not as markup."""
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
