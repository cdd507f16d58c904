"""anchors.csv: one row a candidate, with the figures of anchors.json under the same names."""

from __future__ import annotations

import csv
import io
from typing import Any

from treescan.assess import Assessment
from treescan.cautions import CAUTIONS
from treescan.outputs.data.anchors_file import anchor_out
from treescan.outputs.data.codebook import columns_of
from treescan.outputs.data.for_programs import for_programs
from treescan.outputs.data.reason_data import in_a_cell
from treescan.outputs.text.say import text, word
from treescan.planning.tie_in_point import TieInPoint
from treescan.reason import Reason
from treescan.spreadsheet import guarded

CAUTION = "caution"
"""The last column: the standing caution."""


@for_programs
def anchors_table(a: Assessment) -> str:
    """The content of anchors.csv: one header row, one row a candidate; an empty cell is "not seen" or "does
    not apply"."""
    columns = [*columns_of("anchors"), CAUTION]
    out = io.StringIO()
    table = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    table.writeheader()
    for row in anchor_rows(a) or [_no_candidate(a)]:
        table.writerow(
            {**{name: "" if v is None else guarded(v) for name, v in row.items()}, CAUTION: CAUTIONS["planning_aid"]}
        )
    return out.getvalue()


@for_programs
def anchor_rows(a: Assessment) -> list[dict[str, Any]]:
    """The rows of anchors.csv by column, without the caution; None is "not seen" or "does not apply"."""
    return [_row(p, anchor_out(a, p)) for p in a.points]


def _no_candidate(a: Assessment) -> dict[str, Any]:
    """The row of a tree without candidates: why there are none."""
    fitness = a.tree.fitness
    why = fitness.reasons if not fitness.assessable and fitness.reasons else (Reason("no_union_judged"),)
    return {
        "usable": False,
        "verdict": "no candidate found" if fitness.assessable else "not assessable",
        **in_a_cell("reasons", why),
    }


def _row(p: TieInPoint, found: dict[str, Any]) -> dict[str, Any]:
    """The row of one candidate from its entry in anchors.json."""
    load, capacity, coverage, rope = found["load"], found["capacity"], found["coverage"], found["rope"]
    same = ("rank", "union", "place", "height", "system", "hardware", "usable", "verdict", "score", "rank_stability")
    return {
        **{name: found[name] for name in same},
        **dict(zip("xyz", found["xyz"], strict=True)),
        **{name: load[name] for name in ("force_kn", "multiple_of_weight")},
        **{
            name: capacity[name]
            for name in ("margin_median", "margin_p5", "overload_chance", "chance_told", "deflection_m")
        },
        "governing_node": capacity["governing"]["node"],
        "governing_mode": capacity["governing"]["mode"],
        "utilisation": capacity["governing"]["utilisation"],
        **_throw(found["throw"]),
        "fallback": "; ".join(_caught(c) for c in found["fallback"]),
        "coverage_share": coverage["share"],
        **{name: coverage[name] for name in ("worst_angle_deg", "swing_m")},
        "rope_m": rope["length_m"],
        "throwline_m": rope["throwline_m"],
        **in_a_cell("reasons", p.reasons),
    }


def _throw(throw: dict[str, Any] | None) -> dict[str, Any]:
    """The columns of the throw, empty where there is none."""
    if throw is None:
        return {}
    return {
        **{
            name: throw[name]
            for name in ("isolation_class", "chance", "expected_throws", "method", "workings")
        },
        **dict(zip(("stand_x", "stand_y", "stand_z"), throw["stand_xyz"], strict=True)),
        **throw["aim"],
        "captured": " ".join(throw["captured"]),
    }


def _caught(catch: dict[str, Any]) -> str:
    """One thing that catches, with the drop to it."""
    return text("fallback_cell", on=catch["union"] or word("ground"), drop=catch["drop_m"])
