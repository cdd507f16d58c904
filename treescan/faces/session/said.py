"""How is a line of the history told? Each change as a finding, which `outputs/text` says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from treescan.faces.session.changes import Change
from treescan.reason import Reason
from treescan.wood.graph import TracedTree


def said(change: Change, tree: TracedTree) -> Reason:
    """A change as a finding with its values."""
    v = change.values
    if change.kind == "species":
        return Reason("stated_species", name=v["name"], unknown=v["name"] is None)
    if change.kind == "systems":
        return Reason("stated_systems", names=tuple(v["names"]))
    if change.kind == "setting":
        return Reason("stated_setting", name=v["name"], value=_value(v["value"]))
    if change.kind == "work":
        whole = not v["words"] and not v["points"]
        return Reason("stated_work", words=tuple(v["words"]), n=len(v["points"]), whole=whole)
    if change.kind == "cuts":
        return Reason("stated_cuts", n=len(v["rows"]), stays=not v["rows"])
    if change.kind == "drawn":
        wired = v["what"] in {"conductor", "wires-seen"}
        return Reason(
            "stated_drawn",
            what=v["what"],
            name=v["name"],
            volts=v["volts"] or None,
            unknown=wired and v["volts"] is None,
            dead=wired and v["volts"] == 0,
        )
    if change.kind == "wires":
        return Reason("stated_wires", volts=v["volts"] or None, unknown=v["volts"] is None, dead=v["volts"] == 0)
    if change.kind == "finding":
        return _finding(v["row"])
    if change.kind == "own throws":
        return Reason("stated_own_throws", methods=tuple(_own(m) for m in v["methods"]))
    if change.kind == "stand":
        east, north = (float(p - b) for p, b in zip(v["place"], tree.graph.xyz[0, :2], strict=True))
        return Reason("stated_stand", union=v["union"], east=east, north=north)
    return Reason("stated_withdrawn", line=v["line"])


def _finding(row: Mapping[str, Any]) -> Reason:
    return Reason(
        "stated_finding",
        kind=row["kind"],
        union=row.get("union") or None,
        limb=row.get("limb"),
        above=row.get("above"),
        share=row.get("value"),
        people=row.get("people"),
        bounce=row.get("bounce"),
        who=row["who"],
        when=row["when"],
        why=row["why"],
    )


def _own(row: Mapping[str, Any]) -> Reason:
    """What a record says of one way of throwing."""
    s = row["spread"]
    return Reason(
        "throws_spread",
        method=row["method"],
        n=row["throws"],
        side=s["side_sd"],
        up=s["elevation_sd"],
        speed=s["speed_sd"],
        off_side=abs(s["side_bias"]),
        left=s["side_bias"] < 0,
        off_up=abs(s["elevation_bias"]),
        low=s["elevation_bias"] < 0,
        off_speed=abs(s["speed_bias"]),
        slow=s["speed_bias"] < 0,
    )


def _value(value: Any) -> str:
    """A setting's value as it is written."""
    return ", ".join(str(v) for v in value) if isinstance(value, (list, tuple)) else str(value)
