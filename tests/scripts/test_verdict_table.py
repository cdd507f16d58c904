"""The table of verdicts beside the rules of thumb counts every union once, by its best line, and tells every disagreement."""

from __future__ import annotations

import json
from typing import Any

import pytest
from verdict_table import ONE, WHY, Sheet, Union, best_each, by_class, cause, disagreements, of_folder, reach


def union(label: str, verdict: str, **also: Any) -> Union:
    given: dict[str, Any] = {
        "height": 8.0, "away": 1.0, "diameter": 0.12, "low": 0.8, "middle": 2.0, "case": "rescue", "decides": 0.2, "at": 6.0, "own": 0.05,
        "code": "strength_fails", "bad_wood": False,
    }  # fmt: skip
    return Union(label=label, verdict=verdict, **(given | also))


def sheet(*unions: Union) -> Sheet:
    return Sheet("oak", 18.0, unions, 11.3, (1.1, 1.2, 2.0), 2, {"rope": 0.2, "redirect": 0.1, "not reached": 0.7}, ())


def test_a_union_has_its_best_line_and_thin_or_low_ones_are_left_out():
    """Of two lines the better verdict, of equals the higher low side."""
    found = best_each(
        [union("U1", "does not hold"), union("U1", "doubtful", low=1.1), union("U1", "doubtful", low=1.2), union("U2", ONE), union("U3", "holds", diameter=0.07),
         union("U4", "holds", height=2.9)]
    )  # fmt: skip
    assert [(u.label, u.verdict, u.low) for u in found] == [("U1", "doubtful", 1.2), ("U2", ONE, 0.8)]


def test_every_union_stands_in_one_cell():
    """Classes and distances part the unions: the counts sum to them."""
    unions = [union(f"U{i}", v, diameter=d, away=a) for i, (v, d, a) in enumerate([("holds", 0.09, 0.2), ("doubtful", 0.12, 2.0), (ONE, 0.17, 4.0), ("not seen", 0.3, 1.5)])]
    rows = list(by_class([sheet(*unions)]))[1:]
    assert sum(int(r.split("|")[4]) for r in rows) == len(unions) == len(rows)


@pytest.mark.parametrize(
    ("found", "why"),
    [
        (union("U", "not seen"), "unseen"),
        (union("U", "does not hold", code="shock_breaks"), "stop"),
        (union("U", "does not hold", code="turns_too_far"), "turns"),
        (union("U", "does not hold", middle=1.2), "middle"),
        (union("U", "does not hold", own=0.27), "heavy"),
        (union("U", "does not hold"), "scatter"),
    ],
)
def test_a_refusal_a_rule_would_not_share_has_one_cause_with_a_sentence(found, why):
    assert cause(found) == why
    (row,) = list(disagreements([sheet(found)]))[1:]
    assert WHY[why] in row and "accepts" in row and "U (12 cm" in row


def test_where_both_agree_nothing_is_told():
    """Thick wood that holds, thin wood that does not, and wood refused for what it is."""
    agree = (union("A", "holds"), union("B", "does not hold", diameter=0.09), union("C", "does not hold", bad_wood=True))
    assert len(list(disagreements([sheet(*agree)]))) == 1
    assert len(list(disagreements([sheet(union("D", ONE, diameter=0.09))]))) == 2


def test_a_folder_is_read_as_it_is_written(tmp_path):
    """Verdict of one climber, distance in the plan, deciding wood from inside a narrower answer; shares and groups as written."""
    inner = {"code": "strength_doubtful", "values": {"diameter": 0.14, "height": 11.0}}
    capacity = {
        "verdict": "doubtful", "two_people_within_deg": 0.0, "margin_p5": 1.1, "margin_median": 3.0, "self_weight_share": 0.1,
        "reason_data": {"code": "holds_one_climber", "values": {"why": inner}},
    }  # fmt: skip
    row = {
        "union": "U1", "height": 12.0, "usable": True, "capacity": capacity, "reasons_data": [],
        "load": {"case": "ascent", "contacts": [{"side": "union", "diameter_m": 0.13}]},
    }  # fmt: skip
    doc = {"anchors": [row], "left_out": {"screened": []}, "climb": {"set": {"anchors": [{}]}, "shares": {"rope": 1.0}, "left_over": ["rest"]}}
    wood = {"unions": [{"id": "U1", "xyz": [3.0, 4.0, 12.0], "arms": []}], "stem": {"base_xyz": [0.0, 0.0, 0.0], "height": 17.0}}
    (tmp_path / "anchors.json").write_text(json.dumps(doc))
    (tmp_path / "tree.json").write_text(json.dumps(wood))
    s = of_folder(tmp_path)
    (u,) = s.unions
    assert (u.verdict, u.away, u.decides, u.at, u.diameter) == (ONE, 5.0, 0.14, 11.0, 0.13)
    assert (s.highest, s.lows, s.left) == (12.0, (1.1,), ("rest",))
    assert "100 %" in list(reach([s]))[1]
