"""An outsider's audit of one plan: reads anchors.json as written, imports nothing from the product.

Every recommendation (first line, way up, set, second line, pair, redirect, rescue line, limb walk, load test) is
traced to the very line it uses, and that line's own figures must not refuse it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

LITTLE = 0.1
"""Share of the most work reached below which a line is no way to do the work."""

REFUSED = {"does not hold", "not seen"}
BESIDE_THE_LINE = {"not_reachable", "serves_no_work", "goes_with_cut"}
"""What says nothing against hanging on a line (the last: until that cut, which `removal` looks after)."""
ROUND_THE_STEM = {"lanyards", "spurs", "ladder"}
"""Ways that end on two lanyards round the stem, or on a ladder with one."""
FROM_THE_GROUND = {"thrown line", "basal line", "ascend"}
ROUNDING = 1.0001
"""Figures in the file have six digits."""

Row = dict[str, Any]


class Audit:
    """One anchors.json with its rows by name."""

    def __init__(self, doc: Row) -> None:
        self.doc, self.climb = doc, doc["climb"]
        self.rows = {name(r): r for r in doc["anchors"]}
        self.screened = {name(r): r for r in doc["left_out"]["screened"]}
        planning, loads = doc["settings"]["planning"], doc["settings"]["loads"]
        self.gate, self.loads, self.planning = planning["margin_gate"], loads, planning
        self.two_people = "rescue" in loads["cases"]

    def faults(self) -> list[str]:
        """Everything that is recommended and refused, in words for the tester; empty when there is nothing."""
        parts = (
            self.ranked,
            self.verdicts_first,
            self.ways_up,
            self.approach,
            self.sets,
            self.two_lines,
            self.pair,
            self.redirects,
            self.rescue,
            self.work,
            self.hung,
            self.removal,
        )
        return [f"{part.__name__}: {fault}" for part in parts for fault in part()]

    def against(self, row: Row) -> list[str]:
        """What the row's own figures say against hanging on it, whatever the work and the way up."""
        c = row["capacity"]
        out = [f"verdict {c['verdict']}"] if c["verdict"] in REFUSED else []
        if not (c["margin_p5"] is not None and c["margin_p5"] * ROUNDING >= self.gate):
            out.append(f"low end {c['margin_p5']}")
        if not row["usable"]:
            out += [r["code"] for r in row["reasons_data"] if r["code"] not in BESIDE_THE_LINE]
        out += [x["what"] for x in row.get("clearances", ()) if x["breach"] and x["what"] == "tie-in point"]
        return out

    def recommended(self, called: str) -> list[str]:
        """Faults of a row that is offered to hang on by itself."""
        row = self.rows.get(called)
        if row is None:
            return [f"{called} is not in the list"]
        unusable = [] if row["usable"] else [f"{called} is not usable"]
        return unusable + [f"{called}: {why}" for why in self.against(row)]

    def one_climber(self, called: str) -> bool:
        """True where it does not hold a rescuer as well, at any angle."""
        return not self.rows[called]["capacity"]["two_people_within_deg"] > 0

    def share_governing(self, one: str, other: str) -> bool:
        """True where the wood that would break first under one line carries the other too."""
        a, b = self.rows[one]["capacity"], self.rows[other]["capacity"]
        first = a["governing"]["node"] in b["way_down_nodes"] or b["governing"]["node"] in a["way_down_nodes"]
        return first or self.taken_by(one, other) or self.taken_by(other, one)

    def ranked(self) -> Iterator[str]:
        """Ranks are 1, 2, ... over the usable ones; only these carry a load test."""
        ranks = sorted(r["rank"] for r in self.doc["anchors"] if r["usable"])
        if ranks != list(range(1, len(ranks) + 1)):
            yield f"ranks {ranks}"
        for called, row in self.rows.items():
            if row["usable"]:
                yield from self.recommended(called)
                hard = row["exceptional"]
                if hard is not None and not hard["margin_median"] * ROUNDING >= self.loads["exceptional_median"]:
                    yield f"{called}: an abrupt stop rather breaks it"
            elif row["rank"] is not None or row["load_test"] is not None or row["verdict"] == "candidate":
                yield f"{called} is refused and ranked, tested or a candidate"

    def verdicts_first(self) -> Iterator[str]:
        """No doubtful line stands before one that holds and reaches a tenth of what the farthest-reaching one does, its
        unions' best lines compared with each other and the other systems with each other."""
        usable = sorted((r for r in self.doc["anchors"] if r["usable"]), key=lambda r: r["rank"])
        most = max((r["coverage"]["share"] for r in usable), default=0.0)
        met: set[str] = set()
        behind: dict[bool, str] = {}
        for row in usable:
            again = row["union"] in met
            met.add(row["union"])
            held = row["capacity"]
            doubtful = held["verdict"] == "doubtful" or held["two_people_within_deg"] < held["within_deg"] / ROUNDING
            if doubtful:
                behind.setdefault(again, name(row))
            elif again in behind and row["coverage"]["share"] >= LITTLE * most * ROUNDING:
                yield f"{behind[again]} is doubtful and stands before {name(row)}, which holds"
        for called in map(name, self.climb["set"]["anchors"]):
            said = str(self.climb["set"]["words_data"])
            if self.rows[called]["capacity"]["verdict"] == "doubtful" and ("set_doubtful" not in said or called not in said):
                yield f"{called} of the set is doubtful, which is not told"

    def ways_up(self) -> Iterator[str]:
        """Every step hangs on a line that its own figures do not refuse; from the ground it has its own throw."""
        for called, row in self.rows.items():
            if not row["usable"]:
                continue
            steps = [s for s in row["access"] if s["union"] is not None]
            if not steps or steps[-1]["union"] != row["union"]:
                yield f"{called} has no way up to it"
            for step in steps:
                for fault in self.step(step, row["union"]):
                    yield f"{called} by {step['union']}: {fault}"
            for lower, upper in pairwise(steps):
                if upper["way"] == "advance" and lower["line"] is None and lower["way"] not in ROUND_THE_STEM:
                    yield f"{called}: advances from {lower['union']} without a line"

    def step(self, step: Row, leads_to: str) -> Iterator[str]:
        """Faults of one step on the way to a union."""
        low = step["line_margin_p5"]
        if not (low is not None and low * ROUNDING >= self.gate):
            yield f"low end {low} on {step['line'] or 'lanyards'}"
        if step["line"] is None:
            if step["way"] not in ROUND_THE_STEM:
                yield f"{step['way']} on no line"
            return
        used = self.rows.get(step["line"]) or self.screened.get(step["line"])
        if used is None:
            yield f"{step['line']} was never judged"
            return
        if used["union"] != step["union"]:
            yield f"{step['line']} hangs elsewhere"
        if step["union"] != leads_to and not used["capacity"]["two_people_within_deg"] > 0:
            yield f"{step['line']} holds one climber only"
        yield from (f"{step['line']}: {why}" for why in self.against(used))
        if step["way"] in FROM_THE_GROUND:
            if not used["thrown"] if "thrown" in used else used["throw"] is None:
                yield f"{step['line']} is set by no throw"
            yield from (
                f"{step['line']}: its throw comes near {x['to']}"
                for x in used.get("clearances", ())
                if x["breach"] and x["what"] == "throw"
            )

    def approach(self) -> Iterator[str]:
        """The recommended way and the others climb on usable lines."""
        for r in self.doc["approach_data"]:
            anchor = r["values"].get("anchor")
            if anchor is None:
                continue
            called = f"{anchor['values']['label']} {anchor['values']['system']}"
            yield from self.recommended(called)
            throw = self.rows[called]["throw"]
            if r["values"]["way"] == "isolate" and (throw is None or throw["isolation_class"] > 2):
                yield f"{called} is not isolated"

    def sets(self) -> Iterator[str]:
        """Lines of both sets are usable and serve within the angle they hold."""
        for which in ("set", "two_lines"):
            found = self.climb[which]
            names = [name(x) for x in found["anchors"]]
            for called in names:
                yield from self.recommended(called)
            for line in found["lines"]:
                for k, angle in (("line", "angle_deg"), ("second", "second_angle_deg")):
                    if line[k] is not None:
                        yield from self.within(names[line[k]], line[angle], line["work"])

    def within(self, called: str, angle: float | None, work: str) -> Iterator[str]:
        """A rope angle at which the line is used, and the one it was judged for."""
        held = self.rows[called]["capacity"]["within_deg"]
        if angle is None or angle > held * ROUNDING:
            yield f"{called} at {work}: {angle} degrees, holds within {held}"

    def two_lines(self) -> Iterator[str]:
        """Second lines hang on another union, and on no wood that governs the other line."""
        found = self.climb["two_lines"]
        names = [name(x) for x in found["anchors"]]
        for line in found["lines"]:
            if line["second"] is None:
                continue
            one, other = names[line["line"]], names[line["second"]]
            yield from (f"{x} holds one climber only" for x in (one, other) if self.one_climber(x))
            if self.rows[one]["union"] == self.rows[other]["union"] or self.share_governing(one, other):
                yield f"{one} and {other} share their governing wood"

    def pair(self) -> Iterator[str]:
        """The two lines that share the load hold it, together and each when the other goes."""
        pair = self.climb["two_lines"]["pair"]
        if pair is None:
            return
        if pair["breach"]:
            yield "the pair told is refused"
        one, other = (name(x) for x in pair["lines"])
        if self.share_governing(one, other):
            yield f"{one} and {other} share their governing wood"
        for part in (*pair["lines"], pair["common"]):
            if not (part["margin_p5"] is not None and part["margin_p5"] * ROUNDING >= self.gate):
                yield f"low end {part['margin_p5']}"
        for part in pair["lines"]:
            yield from self.recommended(name(part))
            left = part["if_the_other_goes"]["margin"]
            if not (left is not None and left * ROUNDING >= self.loads["exceptional_median"]):
                yield f"{name(part)} rather breaks when the other goes: {left}"

    def redirects(self) -> Iterator[str]:
        """A redirect offered holds by all forces, and so does its main anchor."""
        for r in self.climb["redirects"]:
            called = f"{r['main']} over {r['union']}"
            if r["spoils"] or not r["exact"]:
                yield f"{called} spoils or is an estimate"
            for key in ("main_margin_p5", "margin_p5"):
                if not (r[key] is not None and r[key] * ROUNDING >= self.gate):
                    yield f"{called}: {key} {r[key]}"
            if not any(x["usable"] and x["union"] == r["main"] for x in self.doc["anchors"]):
                yield f"{called}: the main anchor is not usable"

    def taken_by(self, one: str, other: str) -> bool:
        """True where a break told as likely for one line takes the other with it."""
        down = self.rows[other]["capacity"]["way_down_nodes"]
        return any(x["likely"] and x["node"] in down for x in self.rows[one]["breaks"])

    def rescue(self) -> Iterator[str]:
        """A rescue line is usable, holds two people, reaches some of the work, and is independent where it says so."""
        for r in self.climb["rescue"]:
            yield from self.recommended(r["work_anchor"])
            line = r["rescue_anchor"]
            if self.one_climber(r["work_anchor"]) and not (line is not None and r["independent"]):
                yield f"{r['work_anchor']} holds one climber only and has no independent line for a rescuer"
            if line is None:
                continue
            yield from self.recommended(line)
            if self.one_climber(line):
                yield f"{line} holds one climber only"
            if not r["share"] > 0:
                yield f"{line} reaches nothing of the work on {r['work_anchor']}"
            low = self.rows[line]["capacity"]["margin_p5"] / (1.0 if self.two_people else 2.0)
            told, of = r["two_person_margin_p5"], self.rows[line]["capacity"]
            if told is None and not of["two_people_within_deg"] < of["within_deg"]:
                yield f"{line} for two people: no figure is told although two are held as far as one"
            if (told is not None and told > low * ROUNDING) or low * ROUNDING < self.gate:
                yield f"{line} for two people: {r['two_person_margin_p5']}, {low}"
            if self.rows[line]["union"] == self.rows[r["work_anchor"]]["union"]:
                yield f"{line} hangs at the same union as {r['work_anchor']}"
            shared, said = self.share_governing(line, r["work_anchor"]), codes(r["words_data"])
            if r["independent"] and shared:
                yield f"{line} is called independent of {r['work_anchor']}"
            if not r["independent"] and "rescue_shares_wood" not in said:
                yield f"{line} is not independent of {r['work_anchor']}, which is not told"

    def work(self) -> Iterator[str]:
        """Every way to the work is by a usable line, within the angle it was judged for; a walk or redirect is judged by itself."""
        for w in self.climb["ways"]:
            if w["how"] == "not reached":
                continue
            yield from self.recommended(w["by"])
            if w["how"] == "rope":
                yield from self.within(w["by"], w["angle_deg"], w["work"])
            elif w["how"] == "pole saw":
                if not self.planning["pole_reach"] > 0:
                    yield f"a pole saw to {w['work']}, which nobody carries"
            elif w["angle_deg"] > self.planning["walk_limit_deg"] * ROUNDING:
                yield f"a {w['how']} to {w['work']} at {w['angle_deg']} degrees"
            elif not (w["margin_p5"] is not None and w["margin_p5"] * ROUNDING >= self.gate):
                yield f"a {w['how']} to {w['work']}: low end {w['margin_p5']}"

    def hung(self) -> Iterator[str]:
        """A line hung to another tree whose own end is refused says so."""
        for h in self.climb["neighbours"]["hung"]:
            said = codes(h["words_data"])
            if h["own_end"] is not None and h["own_end"]["breach"] and not said & {"hung_too_weak", "line_pulls_upward"}:
                yield f"{h['between']} is refused, which is not told"

    def removal(self) -> Iterator[str]:
        """Anchors left at a stage, and those offered to hang on, are lines against which nothing stands; whatever the
        way up and the work, which a cut alters."""
        for stage in self.climb["removal"]:
            for called in {*stage["left"], *stage["hang"]}:
                if called not in self.rows:
                    yield f"stage {stage['number']}: {called} is not in the list"
                    continue
                row = self.rows[called]
                yield from (f"stage {stage['number']}: {called}: {why}" for why in self.against(row))
                goes = [r["values"]["cut"] for r in row["reasons_data"] if r["code"] == "goes_with_cut"]
                if goes and goes[0] <= stage["number"]:
                    yield f"stage {stage['number']}: {called} has gone with cut {goes[0]}"


def name(row: Row) -> str:
    """A line by union and rope system."""
    return f"{row['union']} {row['system']}"


def codes(reasons: Any) -> set[str]:
    """Every code in findings as data, those inside others too."""
    if isinstance(reasons, dict):
        inside = codes(list(reasons.get("values", {}).values()))
        return inside | ({reasons["code"]} if "code" in reasons else set())
    return set().union(*map(codes, reasons)) if isinstance(reasons, list) else set()
