"""Which unions hold, by thickness and distance from the stem, beside the rules of thumb of the trade; and how far the work is reached.

    python scripts/verdict_table.py FOLDER [FOLDER ...] [--training] [--made-up 17]

FOLDER is what `plan` wrote (anchors.json and tree.json are read). `--training` adds the six training trees of the planning tests, `--made-up` the trees
of the accuracy benchmark as they were grown, with diameters known to 2 % and every union within reach of a ladder (no throws): what scan and way up take away
is not in these. `--apart TREE.JSON SPECIES --above 11.3` takes the unions above a height apart instead: which load and which doubt decides. Four
tables: unions by class and verdict; disagreements with the rules, each with which errs and why; reach; work left over.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.append(str(Path(__file__).parent.parent / "tests"))

from accuracy.cases import cases
from hands import table, tree
from made_up.grow import grow_tree

from treescan.assess import Asked, Settings, _checked
from treescan.loads.judging.judged import Judged
from treescan.loads.judging.placed import placed
from treescan.loads.statics.structural_model import StructuralModel, whole_tree
from treescan.outputs.text.say import say
from treescan.planning.climb.climb_plan import Climbers, ClimbPlan, climb_plan
from treescan.planning.ranking.order import order_points
from treescan.planning.ranking.rank import rank_points
from treescan.planning.reach.places import Places
from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import default_work, work_at_points
from treescan.progress import quiet
from treescan.settings import merged
from treescan.trees.beside import Beside, Site, Terrain
from treescan.units import G
from treescan.wood.files.read_tree import read_tree
from treescan.wood.graph import ASSESSABLE, ScanFitness, WoodGraph

CLASSES = ((0.08, 0.10), (0.10, 0.13), (0.13, 0.18), (0.18, 9.0))
"""Of the wood the rope bears on. [m]"""
AWAY = ((0.0, 1.5), (1.5, 3.0), (3.0, 99.0))
"""Of the union from the foot of the stem, in the plan. [m]"""
ONE = "one climber"
EUROPE = merged(Settings(), {"loads": {"region": "Europe"}})
"""A bare "oak" is one of Europe, as on the samples by their map."""
WORDS = ("holds", "holds within angle", "holds if tested", "doubtful", ONE, "does not hold", "not seen")
"""Verdicts on the wood, the best first; a union has its best."""
RULES = {
    (0.08, 0.10): "forearm: one person, untested no less; 7.5 cm in oak and beech",
    (0.10, 0.13): "most live limbs of 10 cm and more",
    (0.13, 0.18): "13 cm high in a healthy oak: confidence inspiring",
    (0.18, 9.0): "nobody asks",
}
ACCEPTED = 0.10
"""From this diameter on a rule of thumb accepts live wood at the union. [m]"""
HEAVY = 0.15
"""A fork that uses more of its strength under its own weight is a heavy one."""


@dataclass(frozen=True)
class Union:
    """One union by the best line at it: label, height, distance and diameter [m]; verdict; low side and middle of the margin; load case; deciding
    wood: diameter [m], height [m]; share of its strength its own weight takes; code of the reason; dead or drooping by the list's own gates."""

    label: str
    height: float
    away: float
    diameter: float
    verdict: str
    low: float
    middle: float
    case: str
    decides: float
    at: float
    own: float
    code: str
    bad_wood: bool


@dataclass(frozen=True)
class Sheet:
    """One tree: name, height [m], its unions, highest usable [m], low sides of the usable, lines of the set, shares of the work by way, left over in words."""

    name: str
    height: float
    unions: tuple[Union, ...]
    highest: float
    lows: tuple[float, ...]
    lines: int
    shares: dict[str, float]
    left: tuple[str, ...]


def _verdict(word: str, one_climber: bool) -> str:
    return ONE if one_climber and word not in ("does not hold", "not seen") else word


def best_each(found: Iterable[Union]) -> tuple[Union, ...]:
    """The best line of every union of 8 cm and more, 3 m up and higher."""
    best: dict[str, Union] = {}
    for u in found:
        known = best.get(u.label)
        if known is None or (WORDS.index(u.verdict), -np.nan_to_num(u.low)) < (WORDS.index(known.verdict), -np.nan_to_num(known.low)):
            best[u.label] = u
    return tuple(u for u in best.values() if u.diameter >= CLASSES[0][0] and u.height >= 3.0)


def number(value: float | None) -> float:
    """NaN where a file says null."""
    return float("nan") if value is None else float(value)


def of_folder(folder: Path) -> Sheet:
    """From the files of a plan."""
    doc = json.loads((folder / "anchors.json").read_text())
    wood = json.loads((folder / "tree.json").read_text())
    place = {u["id"]: u["xyz"] for u in wood["unions"]}
    foot = wood["stem"]["base_xyz"]

    def one(row: dict[str, Any], diameter: float, case: str, codes: set[str]) -> Union:
        c = row["capacity"]
        values = (c["reason_data"] or {}).get("values", {})
        inner = values.get("why", {}).get("values", values) if isinstance(values.get("why"), dict) else values
        away = float(np.hypot(*(np.array(place[row["union"]]) - foot)[:2]))
        return Union(
            row["union"], row["height"], away, diameter,
            _verdict(c["verdict"], not number(c["two_people_within_deg"]) > 0),
            number(c["margin_p5"]), number(c["margin_median"]), case,
            number(inner.get("diameter")), number(inner.get("height")), number(c["self_weight_share"]),
            (c["reason_data"] or {"code": ""})["code"], bool(codes & {"dead_suspect", "limb_droops"}),
        )  # fmt: skip

    found = [
        one(
            r,
            max((number(c["diameter_m"]) for c in r["load"]["contacts"] if c["side"] == "union"), default=np.nan) if r["load"]["contacts"] else np.nan,
            r["load"]["case"],
            {x["code"] for x in r["reasons_data"]},
        )
        for r in doc["anchors"]
    ]
    arms = {u["id"]: max((a["diameter"] or 0.0 for a in u["arms"] if not a["continues"]), default=0.0) for u in wood["unions"]}
    found = [u if np.isfinite(u.diameter) else replace(u, diameter=arms[u.label]) for u in found]
    found += [one(r, r["diameter_m"], "", set()) for r in doc["left_out"]["screened"]]
    usable = [r for r in doc["anchors"] if r["usable"]]
    climb = doc["climb"]
    return Sheet(
        folder.name,
        wood["stem"]["height"],
        best_each(found),
        max((r["height"] for r in usable), default=np.nan),
        tuple(r["capacity"]["margin_p5"] for r in usable),
        len(climb["set"]["anchors"]),
        climb["shares"],
        tuple(climb["left_over"]),
    )


def planned(name: str, graph: WoodGraph, species: str, work: Work | None = None) -> Sheet:
    """A tree of which everything is known: judged, ranked and planned without throws; the way up is left out of account."""
    settings = EUROPE
    asked = Asked(species, ("MRS", "SRS canopy"), None, 1, settings, settings)
    beside, fitness = Beside(Terrain.flat(float(graph.xyz[0, 2]), graph.xyz[0])), ScanFitness(ASSESSABLE, ())
    work = work if work is not None else default_work(graph, beside, settings.planning)
    context = TreeContext(graph, beside, Site(), work, settings.planning)
    checks = _checked(context, table(graph, []), asked, quiet)
    places = Places.of(context, [c for c, _ in checks.configurations], None, settings.loads)
    pairs = [(check, None) for check in checks.anchors]
    points = rank_points(context, fitness, pairs, settings.loads, 1, places, quiet, checks.screening)
    free = [replace(p, gates=tuple(g for g in p.gates if g.code != "not_reachable")) for p in points]
    points = order_points(graph, free, settings.planning, 1)
    climb = climb_plan(context, points, Climbers(settings.loads.climber_mass * G, True), checks.model)
    return _of_plan(name, graph, points, climb)


def _of_plan(name: str, graph: WoodGraph, points: tuple[TieInPoint, ...], climb: ClimbPlan) -> Sheet:
    foot = graph.xyz[0]

    def one(p: TieInPoint) -> Union:
        c, u = p.check.check, p.union
        node = c.governing
        return Union(
            p.label, float(graph.unions.height[u]), float(np.hypot(*(graph.unions.place[u] - foot)[:2])),
            2 * float(graph.segment_radius[p.check.configuration.rest_node]),
            _verdict(c.verdict, p.check.one_climber_only), c.margin.p5, c.margin.median, p.check.case,
            2 * float(graph.segment_radius[node]) if node > 0 else np.nan, float(graph.xyz[node, 2] - foot[2]) if node > 0 else np.nan,
            c.self_weight_share, c.reason.code, any(g.code in ("dead_suspect", "limb_droops") for g in p.gates),
        )  # fmt: skip

    usable = [p for p in points if p.usable]
    return Sheet(
        name,
        float(graph.xyz[:, 2].max() - foot[2]),
        best_each(map(one, points)),
        max((float(graph.unions.height[p.union]) for p in usable), default=np.nan),
        tuple(p.check.check.margin.p5 for p in usable),
        len(climb.anchors.points),
        climb.shares,
        tuple(say(r) for r in climb.left_over),
    )


def training_trees() -> Iterator[Sheet]:
    """The trees drawn by hand in tests/planning/test_plan_training_trees.py, each with the work of its exercise."""
    drawn = {
        "T-1 lever arm": (
            tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 9], [4, 0, 9.4]], 0.10, 0.05), ([[0, 0, 9.25], [-4, 0, 9.65]], 0.10, 0.05)),
            [[0, 0, 3], [0, 0, 5], [0, 0, 7]],
        ),
        "T-2 included angle, T-5 bark": (
            tree(([[0, 0, 0], [0, 0, 14]], 0.3, 0.12), ([[0, 0, 10], [2.5, 0, 12]], 0.09, 0.04)),
            [[0, 0, 3], [0, 0, 6], [0, 0, 8]],
        ),
        "T-3 redirect": (
            tree(
                ([[0, 0, 0], [0, 0, 16]], 0.22, 0.05),
                ([[0, 0, 13], [0.25, 0, 14], [0.4, 0, 15]], 0.05, 0.03),
                ([[0, 0, 8], [4, 0, 11], [8, 0, 10]], 0.15, 0.06),
                ([[4, 0, 11], [4.3, 0, 12.5]], 0.06, 0.03),
            ),
            [[6.5, 0, 10.4], [0, 0, 5]],
        ),
        "T-4 isolation": (
            tree(([[0, 0, 0], [0, 0, 18]], 0.35, 0.12), ([[0, 0, 8], [2.5, 0, 10]], 0.12, 0.05), ([[0, 0, 15], [-2, 0, 16.5]], 0.10, 0.05)),
            [[0, 0, 4], [0, 0, 6], [0, 0, 10], [0, 0, 12]],
        ),
        "T-6 thin high, thick low": (
            tree(([[0, 0, 0], [0, 0, 18]], 0.35, 0.07), ([[0, 0, 8], [3, 0, 10]], 0.12, 0.06), ([[0, 0, 15], [-1.2, 0, 16.3]], 0.046, 0.03)),
            [[0, 0, 4], [0, 0, 6], [0, 0, 10], [0, 0, 12], [0, 0, 13]],
        ),
    }
    for name, (graph, places) in drawn.items():
        yield planned(name, graph, "Quercus robur", work_at_points(graph, places))


SPECIES = {"conifer": "Douglas fir"}
"""What a habit is grown as; the others as oak of no named species."""


def made_up_trees(most: int) -> Iterator[Sheet]:
    """The trees of the accuracy benchmark that are always the same, without their scans."""
    seen = set()
    for case in cases(1):
        size = {k: case.how[k] for k in ("height", "dbh") if k in case.how}
        key = (case.seed, case.habit, *size.items())
        if case.fresh or key in seen or len(seen) >= most:
            continue
        seen.add(key)
        graph = grow_tree(case.seed, case.habit, thinnest=0.01, **size)
        graph = replace(graph, radius_sd=0.02 * graph.radius)
        print(case.name, file=sys.stderr, flush=True)
        yield planned(f"{case.name} ({case.habit})", graph, SPECIES.get(case.habit, "oak"))


# --- tables


def row(*cells: object) -> str:
    """One line of a table."""
    return "| " + " | ".join(str(c) for c in cells) + " |"


def head(*cells: str) -> str:
    """The first two lines of a table."""
    return row(*cells) + "\n" + "|" + "---|" * len(cells)


def by_class(sheets: Iterable[Sheet]) -> Iterator[str]:
    """Counts of verdicts by thickness and distance."""
    yield head("tree", "wood", "from the stem's foot", "unions", *WORDS, "rule of thumb")
    for s in sheets:
        for low, high in CLASSES:
            for near, far in AWAY:
                here = [u for u in s.unions if low <= u.diameter < high and near <= u.away < far]
                if not here:
                    continue
                count = Counter(u.verdict for u in here)
                thick = f"{100 * low:.0f} to {100 * high:.0f} cm" if high < 1 else f"over {100 * low:.0f} cm"
                away = f"{near} to {far} m" if far < 50 else f"over {near} m"
                yield row(s.name, thick, away, len(here), *(count[w] or "" for w in WORDS), RULES[low, high])


WHY = {
    "stop": "the sums count what the rule leaves out: it bears ordinary use, and an abrupt stop rather breaks it than not. Who never has slack loses nothing by the rule",
    "turns": "the rule errs: the wood bends so far under the rope that no figure for it is right",
    "middle": "the rule errs: it looks at the limb under the rope alone; the wood that decides bears less than 1.5 times the hardest ordinary pull in the middle of what is known",
    "heavy": (
        "the sums err to the safe side, if either does: in the middle the fork bears more than 1.5 times; 12 forks were tested, so its low side lies at a third of that, "
        "and it carries its own leader already. What wind it stood would tell more, and must not count"
    ),
    "scatter": "neither is shown to err: in the middle it bears more than 1.5 times, at the low side of what few tests show not once. Species, a tape and a load test settle it",
    "unseen": "the rule knows no scan: the wood or its way down was not seen",
}  # fmt: skip


def cause(u: Union) -> str:
    """Why the sums refuse what a rule of thumb accepts."""
    if u.verdict == "not seen":
        return "unseen"
    if u.code.startswith("shock"):
        return "stop"
    if u.code == "turns_too_far":
        return "turns"
    if u.middle < 1.5:
        return "middle"
    return "heavy" if u.own >= HEAVY else "scatter"


def disagreements(sheets: Iterable[Sheet]) -> Iterator[str]:
    """Unions on which rule and sums differ, by what decides."""
    yield head("tree", "rule", "sums", "unions", "which", "low side, middle (least to most)", "deciding wood", "which errs, and why")
    for s in sheets:
        refused = [u for u in s.unions if u.diameter >= ACCEPTED and not u.bad_wood and u.verdict in ("does not hold", "not seen")]
        for key, why in WHY.items():
            here = [u for u in refused if cause(u) == key]
            if here:
                yield row(s.name, "accepts", "refuse", len(here), _names(here), *_figures(here), why)
        thin = [u for u in s.unions if u.diameter < ACCEPTED and WORDS.index(u.verdict) <= 4]
        if thin:
            said = "neither: forearm thickness is the rule's least for one person; these are of strong wood, close to the stem or upright, and are inspected first"
            yield row(s.name, "hesitates", "accept", len(thin), _names(thin), *_figures(thin), said)


def _names(found: list[Union]) -> str:
    named = [f"{u.label} ({100 * u.diameter:.0f} cm, {u.height:.1f} m up, {u.away:.1f} m out)" for u in sorted(found, key=lambda u: -u.height)]
    return ", ".join(named[:12]) + (f" and {len(named) - 12} more" if len(named) > 12 else "")


def _figures(found: list[Union]) -> tuple[str, str]:
    def span(values: list[float], form: str) -> str:
        known = [v for v in values if np.isfinite(v)]
        return f"{min(known):{form}} to {max(known):{form}}" if known else "not seen"

    margins = f"{span([u.low for u in found], '.2f')}; {span([u.middle for u in found], '.1f')}"
    return margins, f"{span([100 * u.decides for u in found], '.0f')} cm, {span([u.at for u in found], '.1f')} m up"


def reach(sheets: Iterable[Sheet]) -> Iterator[str]:
    """Highest anchor, coverage, spread of margins."""
    ways = ("rope", "redirect", "limb walk", "pole saw", "not reached")
    yield head("tree", "height [m]", "usable lines", "highest [m]", "lines of the set", *ways, "low sides: least, middle, most")
    for s in sheets:
        lows = ", ".join(f"{v:.2f}" for v in np.quantile(s.lows, [0, 0.5, 1])) if s.lows else "none"
        shares = (f"{100 * s.shares.get(w, 0.0):.0f} %" for w in ways)
        yield row(s.name, f"{s.height:.1f}", len(s.lows), f"{s.highest:.1f}", s.lines, *shares, lows)


def taken_apart(path: Path, species: str, above: float) -> Iterator[str]:
    """Every candidate union above a height by its best line set by hand: low side and middle of the margin with one thing left out at a time."""
    known = read_tree(path)
    graph, settings = known.graph, EUROPE
    asked = Asked(species, ("MRS", "SRS canopy"), None, 1, settings, settings)
    context = TreeContext(graph, known.beside, Site(), default_work(graph, known.beside, settings.planning), settings.planning)
    checks = _checked(context, table(graph, []), asked, quiet)
    model, work = checks.model, context.work.xyz
    loads = model.settings
    alone = tuple(c for c in loads.cases if c != "rescue")
    sharp = replace(graph, radius_sd=np.fmin(graph.radius_sd, loads.diameter_sd_least * graph.radius))

    def again(graph: WoodGraph = graph, **changes: Any) -> StructuralModel:
        return whole_tree(graph, known.beside, model.wood, replace(loads, **changes), 1)

    ways = {
        "as asked": model,
        "one climber": again(cases=alone),
        "within 30 degrees": again(rope_angle_limit_deg=30.0),
        "both": again(cases=alone, rope_angle_limit_deg=30.0),
        "no own weight": again(self_weight=False),
        "diameters exact": again(sharp),
    }
    yield head("union", "rope on", "decides (share of its strength its own weight takes)", *ways, "abrupt stop", "told")
    best: dict[int, Any] = {}
    for c in checks.anchors:
        k = c.configuration.union
        low = float(np.nan_to_num(c.check.margin.p5, nan=-1.0))
        if graph.unions.height[k] > above and (k not in best or low > best[k][0]):
            best[k] = (low, c)
    for k in sorted(best, key=lambda k: -graph.unions.height[k]):
        told = best[k][1]
        cells, stop = [], ""
        for m in ways.values():
            found = placed(m, told.configuration, work).found
            if not isinstance(found, Judged):
                cells.append("not seen")
                continue
            cells.append(f"{found.use.margin.p5:.2f}, {found.use.margin.median:.1f}")
            if m is model and found.exceptional is not None:
                stop = f"{found.exceptional.margin.p5:.2f}, {found.exceptional.margin.median:.1f}"
        node = told.check.governing
        at = f"{200 * graph.segment_radius[node]:.0f} cm, {graph.xyz[node, 2] - graph.xyz[0, 2]:.1f} m up ({told.check.self_weight_share:.2f})" if node > 0 else "not seen"
        word = _verdict(told.check.verdict, told.one_climber_only) + (f" within {np.degrees(told.within):.0f}" if told.within < 0.78 else "")
        rests = f"{200 * graph.segment_radius[told.configuration.rest_node]:.0f} cm"
        yield row(f"{graph.unions.label[k]}, {graph.unions.height[k]:.1f} m", rests, at, *cells, stop, word)


def main() -> None:
    """All tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--training", action="store_true")
    parser.add_argument("--made-up", type=int, default=0)
    parser.add_argument("--apart", nargs=2, metavar=("TREE", "SPECIES"))
    parser.add_argument("--above", type=float, default=0.0)
    asked = parser.parse_args()
    if asked.apart:
        print("\n".join(taken_apart(Path(asked.apart[0]), asked.apart[1], asked.above)))
        return
    sheets = [of_folder(f) for f in asked.folders]
    if asked.training:
        sheets += training_trees()
    known = list(made_up_trees(asked.made_up)) if asked.made_up else []
    for part in (by_class(sheets), disagreements(sheets), reach([*sheets, *known])):
        print("\n".join(part), end="\n\n")
    print("Work left over:\n")
    for s in [*sheets, *known]:
        for sentence in s.left:
            print(f"- {s.name}: {sentence}")


if __name__ == "__main__":
    main()
