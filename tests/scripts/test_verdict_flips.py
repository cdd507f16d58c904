"""A flip is told with what made it, from figures and codes alone."""

from __future__ import annotations

import json
from typing import Any

import pytest
from verdict_flips import REASONS, flips, table


def anchor(verdict: str, wood: str, low: float | None, *, node: int = 3, code: str | None = None, within: float | None = None, **values: Any) -> dict[str, Any]:
    """One entry of anchors.json; before the codes without `code`."""
    capacity: dict[str, Any] = {"verdict": wood, "margin_p5": low, "governing": {"node": node, "mode": "bending"}}
    if code:
        capacity |= {"reason_data": {"code": code, "values": {"low": low, **values}}, "within_deg": within or 45.0}
    return {
        "union": "U01", "xyz": [0.0, 0.0, node / 100], "system": "MRS", "hardware": "ring", "tied_to": None, "verdict": verdict, "capacity": capacity,
        "exceptional": {"margin_p5": 0.9}, "redundant": False, "reasons_data": [{"code": "too_thin", "values": {"diameter": 0.05}}],
    }  # fmt: skip


NODES = [
    {"id": 0, "radius": 0.3, "xyz": [0, 0, 0]}, {"id": 2, "radius": 0.01, "xyz": [0, 0, 4]}, {"id": 3, "radius": 0.1, "xyz": [0, 0, 5]},
    {"id": 4, "radius": 0.1, "xyz": [0, 0, 6]}, {"id": 5, "radius": None, "xyz": [0, 0, 7]}, {"id": 6, "radius": 0.12, "xyz": [0, 0, 5.1]},
]  # fmt: skip


def folders(tmp_path, old, new):
    """Two results of one anchor each, of `NODES`."""
    for name, one in (("old", old), ("new", new)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "anchors.json").write_text(json.dumps({"anchors": [one]}))
        (tmp_path / name / "tree.json").write_text(json.dumps({"nodes": NODES}))
    return flips("scan", tmp_path / "old", tmp_path / "new")


FAILED = anchor("not ranked", "does not hold", 0.8)


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        (FAILED, anchor("candidate", "holds", 1.6, code="strength_holds"), "strength"),
        (FAILED, anchor("candidate", "holds", 1.6, node=4, code="strength_holds"), "another section"),
        (FAILED, anchor("candidate", "holds", 1.6, node=6, code="strength_holds"), "diameter"),
        (anchor("not ranked", "does not hold", 0.1, node=2), anchor("candidate", "holds", 1.6, code="strength_holds"), "twigs"),
        (FAILED, anchor("inspect first", "holds within angle", 1.6, code="holds_within", within=20.0), "nearer plumb"),
        (anchor("candidate", "holds", 2.0), anchor("inspect first", "doubtful", 3.0, code="shock_doubtful"), "abrupt stop"),
        (FAILED, anchor("inspect first", "doubtful", 1.2, code="shock_doubtful"), "strength"),
        (anchor("not assessable", "not seen", None), anchor("not ranked", "does not hold", 0.4, code="strength_fails"), "seen now"),
        (anchor("candidate", "holds", 2.0), anchor("not assessable", "not seen", None, code="gap_bridged"), "not seen now"),
        (anchor("inspect first", "doubtful", 1.2), anchor("inspect first", "holds if tested", 1.2, code="strength_if_tested"), "chance or test"),
        (anchor("candidate", "holds", 2.0), anchor("not ranked", "holds", 2.0, code="strength_holds"), "list"),
    ],
)
def test_the_reason_of_a_flip(tmp_path, old, new, reason):
    """One flip each, its reason, and the deciding code in the table's line."""
    (flip,), counts = folders(tmp_path, old, new)
    assert flip.reason == reason
    assert reason in REASONS
    assert counts == {"both": 1, "gone": 0, "new": 0, "redundant": 0}
    line = list(table([flip]))[-1]
    assert ("too_thin" if reason == "list" else new["capacity"]["reason_data"]["code"]) in line


def test_an_anchor_elsewhere_is_another(tmp_path):
    """More than 0.25 m away nothing is held against each other; a new label at the same place is named."""
    old, new = FAILED, anchor("candidate", "holds", 1.6, code="strength_holds")
    found, counts = folders(tmp_path, old, new | {"xyz": [0.3, 0.0, 0.03]})
    assert found == [] and counts["gone"] == counts["new"] == 1
    (tmp_path / "new" / "anchors.json").write_text(json.dumps({"anchors": [new | {"union": "U09"}]}))
    ((flip,), _) = flips("scan", tmp_path / "old", tmp_path / "new")
    assert "U01 (now U09)" in flip.anchor


def test_what_did_not_flip_is_not_told(tmp_path):
    """Another margin alone is no flip."""
    found, _ = folders(tmp_path, anchor("candidate", "holds", 2.0), anchor("candidate", "holds", 3.0, code="strength_holds"))
    assert found == []
