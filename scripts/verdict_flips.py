#!/usr/bin/env python
"""Which anchors are judged otherwise than before, and by what? A table of every one whose verdict flipped.

    python scripts/verdict_flips.py OLD NEW [--summary]

OLD and NEW are folders that `plan` wrote, or folders of such folders, as for compare_runs.py. An anchor is the same where system, hardware and
what it is tied to are, and it lies within 0.25 m: labels of unions change with the wood that was traced. Two verdicts may flip: that of the wood (does it hold?) and that of the list (candidate, inspect
first, not ranked, not assessable). The reason is read from figures and codes, not from sentences; results older than the codes give
figures only, so the reason is what the figures that changed say. Ends with 0.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from compare_runs import results

NEAR = 0.25
"""Anchors no farther apart are the same. [m]"""
ELSEWHERE = 0.5
"""Deciding sections farther apart are two. [m]"""
THICKER = 0.05
"""A diameter that changed by more than this share was measured otherwise."""

TWIG = 0.05
"""Wood thinner than this was judged as a support before; now it gives way at once. [m]"""
SAYS_NOTHING = {"why_this", "ranked_after", "ranked_after_slightly", "tied_with_next", "line_over_unions", "codominant"}
"""Codes that tell of the ranking or of what to look at, not why an anchor is where it is on the list."""
ASKED_DEG = 45.0

REASONS = {
    "seen now": "the way to the ground that was not seen is seen, or is no longer taken",
    "not seen now": "a section on the way is told as not seen",
    "nearer plumb": "it fails at the angle asked for and was judged again for work nearer to plumb",
    "abrupt stop": "worse by the abrupt stop alone: its drawn stops are harder than the fixed one was",
    "twigs": "wood under 5 cm under the line decided on one side only; the line over stout limbs is judged on the other",
    "another section": "a section more than 0.5 m away decides",
    "diameter": "the same section decides, and its diameter is another by more than 5 %",
    "strength": "the same section decides with another low end: strength by kind, direction of the bending, or load",
    "chance or test": "the low end stays on its side; the chance of overload or the load test decides",
    "list": "the wood is judged as before; the list's own rules decide (codes given)",
}
"""What a reason means, in the order in which they are tried."""


@dataclass(frozen=True)
class Flip:
    """One anchor whose verdict flipped: list and wood before and after, reason (a key of `REASONS`), codes with their value, low ends."""

    scan: str
    anchor: str
    listed: tuple[str, str]
    wood: tuple[str, str]
    reason: str
    codes: str
    low: tuple[float | None, float | None]
    stop: tuple[float | None, float | None]


def pairs(before: Sequence[dict[str, Any]], after: Sequence[dict[str, Any]]) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Entries that are the same anchor, the nearest first, each once."""
    close = []
    for i, a in enumerate(before):
        for j, b in enumerate(after):
            if all(a.get(k) == b.get(k) for k in ("system", "hardware", "tied_to")):
                apart = float(np.linalg.norm(np.subtract(a["xyz"], b["xyz"])))
                if apart <= NEAR:
                    close.append((apart, i, j))
    taken: tuple[set[int], set[int]] = (set(), set())
    found = {}
    for _, i, j in sorted(close):
        if i not in taken[0] and j not in taken[1]:
            taken[0].add(i)
            taken[1].add(j)
            found[i] = j
    return [(before[i], after[found[i]]) for i in sorted(found)]


@dataclass(frozen=True)
class Deciding:
    """The section that decides: diameter and place from the stem's foot (3,). [m]"""

    thick: float
    place: tuple[float, ...]


def sections(result: Path) -> dict[int, Deciding]:
    """Every node of the wood, from tree.json; empty where there is none."""
    if not (result / "tree.json").exists():
        return {}
    nodes = json.loads((result / "tree.json").read_text(encoding="utf-8"))["nodes"]
    foot = nodes[0]["xyz"]
    return {
        int(n["id"]): Deciding(2 * n["radius"], tuple(np.subtract(n["xyz"], foot))) for n in nodes if n["radius"] is not None
    }


def reason_of(old: dict[str, Any], new: dict[str, Any], at: tuple[Deciding | None, Deciding | None]) -> str:
    """A key of `REASONS`; at: the deciding section before and after."""
    was, now = old["capacity"], new["capacity"]
    if "not seen" in (was["verdict"], now["verdict"]) and was["verdict"] != now["verdict"]:
        return "seen now" if was["verdict"] == "not seen" else "not seen now"
    if was["verdict"] == now["verdict"]:
        return "list"
    deciding = set(codes_in(now.get("reason_data")))
    if any(d is not None and d.thick < TWIG for d in at) and any(d is None or d.thick >= TWIG for d in at):
        return "twigs"
    if now.get("within_deg", ASKED_DEG) < ASKED_DEG - 0.5:
        return "nearer plumb"
    worse = better((was["verdict"], now["verdict"])) < 0
    if worse and deciding & {"shock_doubtful", "shock_breaks", "shock_not_judged"}:
        return "abrupt stop"
    if side(was["margin_p5"]) == side(now["margin_p5"]):
        return "chance or test"
    first, second = at
    if first is None or second is None or np.linalg.norm(np.subtract(first.place, second.place)) > ELSEWHERE:
        return "another section"
    return "diameter" if abs(second.thick / first.thick - 1.0) > THICKER else "strength"


def side(low: float | None) -> int:
    """Which side of 1 and of 1.5 a low end lies on."""
    return -1 if low is None else int(low >= 1.0) + int(low >= 1.5)


def codes_in(reason: Any) -> Iterator[str]:
    """The codes of a finding and of all inside it."""
    if isinstance(reason, dict):
        if "code" in reason:
            yield reason["code"]
        for value in reason.values():
            yield from codes_in(value)
    elif isinstance(reason, list):
        for value in reason:
            yield from codes_in(value)


def told(new: dict[str, Any], reason: str) -> str:
    """The deciding codes of the new result with their first figures."""
    if reason == "list":
        found = [r for part in ("reasons_data", "look_first_data") for r in new.get(part, []) if r["code"] not in SAYS_NOTHING]
        return "; ".join(dict.fromkeys(short(r) for r in found)) or "-"
    data = new["capacity"].get("reason_data")
    if not data:
        return "-"
    inner = data["values"].get("why") if data["code"] == "holds_within" else None
    return short(data) + (f": {short(inner)}" if isinstance(inner, dict) and "code" in inner else "")


def short(reason: dict[str, Any]) -> str:
    """A code with the figures a reader needs to see why."""
    keep = ("angle", "shock_low", "low", "p5", "asked", "diameter", "overload", "share", "moment_share")
    figures = [f"{k} {v:.3g}" for k in keep if isinstance(v := reason["values"].get(k), (int, float))]
    return reason["code"] + (f" ({', '.join(figures)})" if figures else "")


def flips(scan: str, old: Path, new: Path) -> tuple[list[Flip], dict[str, int]]:
    """Every flip between two results, and how many anchors are only in one of them or in both."""
    before, after = (json.loads((p / "anchors.json").read_text(encoding="utf-8"))["anchors"] for p in (old, new))
    both = pairs(before, after)
    out, wood = [], (sections(old), sections(new))
    for a, b in both:
        if a["verdict"] == b["verdict"] and a["capacity"]["verdict"] == b["capacity"]["verdict"]:
            continue
        node = [(x["capacity"].get("governing") or {}).get("node") for x in (a, b)]
        why = reason_of(a, b, (wood[0].get(node[0]), wood[1].get(node[1])))
        stop = tuple((x.get("exceptional") or {}).get("margin_p5") for x in (a, b))
        low = tuple(x["capacity"]["margin_p5"] for x in (a, b))
        union = a["union"] if a["union"] == b["union"] else f"{a['union']} (now {b['union']})"
        name = f"{union} {a['system']}, {a['hardware']}" + (f", {a['tied_to']}" if a.get("tied_to") else "")
        out.append(
            Flip(scan, name, (a["verdict"], b["verdict"]), (a["capacity"]["verdict"], b["capacity"]["verdict"]), why, told(b, why), low, stop)
        )
    redundant = sum(a["redundant"] != b["redundant"] for a, b in both)
    return out, {"both": len(both), "gone": len(before) - len(both), "new": len(after) - len(both), "redundant": redundant}


def figure(pair: Sequence[float | None]) -> str:
    """Two figures with an arrow."""
    return " -> ".join("-" if v is None else f"{v:.2f}" for v in pair)


def arrow(pair: Sequence[str]) -> str:
    """A change; the one word where there is none."""
    return pair[0] if pair[0] == pair[1] else f"{pair[0]} -> {pair[1]}"


def table(found: Sequence[Flip]) -> Iterator[str]:
    """Every flip, one line each."""
    yield "| scan | anchor | list | wood | low end | low end of the stop | reason | decided by |"
    yield "|---|---|---|---|---|---|---|---|"
    for f in found:
        yield (
            f"| {f.scan} | {f.anchor} | {arrow(f.listed)} | {arrow(f.wood)} | {figure(f.low)} | {figure(f.stop)} | {f.reason} | {f.codes} |"
        )


def summary(scans: dict[str, tuple[list[Flip], dict[str, int]]]) -> Iterator[str]:
    """How many flipped by reason, up or down the list of verdicts."""
    yield "| scan | anchors on both sides | wood flips: better / worse | list flips | redundant flips | reasons |"
    yield "|---|---|---|---|---|---|"
    for scan, (found, counts) in scans.items():
        ups = sum(better(f.wood) > 0 for f in found)
        downs = sum(better(f.wood) < 0 for f in found)
        listed = sum(f.listed[0] != f.listed[1] for f in found)
        why = ", ".join(f"{n} {r}" for r, n in Counter(f.reason for f in found).most_common())
        yield f"| {scan} | {counts['both']} | {ups} / {downs} | {listed} | {counts['redundant']} | {why or '-'} |"


ORDER = ("holds", "holds within angle", "holds if tested", "doubtful", "does not hold", "not seen")


def better(wood: Sequence[str]) -> int:
    """Above 0 where the verdict of the wood rose, below where it fell."""
    return ORDER.index(wood[0]) - ORDER.index(wood[1])


def main() -> None:
    """Prints the summary, and every flip unless told otherwise."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--summary", action="store_true", help="how many, without every one")
    asked = parser.parse_args()
    old, new = results(asked.old, []), results(asked.new, [])
    scans = {name: flips(name, old[name], new[name]) for name in old if name in new}
    print("\n".join(summary(scans)))
    print()
    print("\n".join(f"- {name}: {meaning}" for name, meaning in REASONS.items()))
    if not asked.summary:
        print()
        print("\n".join(table([f for found, _ in scans.values() for f in found])))


if __name__ == "__main__":
    main()
