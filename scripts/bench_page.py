#!/usr/bin/env python
"""How long does each kind of change at the planner's page take? Processor time, for a tree.json and the species it is planned with.

    python scripts/bench_page.py TREE.json SPECIES [KIND ...]

For each change from one and the same plan: until the first line is judged anew (or its throw asked again), until ten are (or all throws that
are asked again first), and until the whole plan is there.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from treescan.assess import Assessment
from treescan.faces.session.answers import Answers, throws_anew
from treescan.faces.session.changes import Change
from treescan.faces.session.history import History
from treescan.faces.session.inputs import Inputs
from treescan.wood.files.read_tree import read_tree


def changes(a: Assessment) -> dict[str, Change]:
    """One change of every kind that is planned again."""
    graph, foot = a.tree.graph, a.tree.graph.xyz[0]
    ranked = next((p.label for p in a.points if p.usable), graph.unions.label[0])
    top = [float(v) for v in graph.xyz[int(np.argmax(graph.xyz[:, 2]))]]
    square = [[float(foot[0] + x), float(foot[1] + y)] for x, y in ((4, 4), (12, 4), (12, 12), (4, 12))]

    def setting(name: str, value: Any) -> Change:
        return Change("setting", {"name": name, "value": value})

    said = {"who": "bench", "when": "today", "why": "bench"}
    return {
        "species": Change("species", {"name": "beech"}),
        "climber": setting("loads.climber_mass", 70.0),
        "rescuer": setting("loads.rescue_mass", 120.0),
        "load test": setting("loads.test_people", 3.0),
        "leaves": setting("loads.leaves", "on"),
        "wind": setting("loads.history.years", 12),
        "rope angle": setting("planning.rope_angle_limit_deg", 30.0),
        "hardware": setting("planning.mrs_hardware", ["pulley"]),
        "systems": Change("systems", {"names": ["MRS", "SRS basal"]}),
        "work": Change("work", {"words": [], "points": [{"name": "top", "kind": "prune", "xyz": top}]}),
        "cuts": Change("cuts", {"rows": [{"limb": int(graph.limb[a.tree.graph.unions.node[0] + 1]) or 1}]}),
        "refused": Change("finding", {"row": {"kind": "refused", "union": ranked, **said}}),
        "no-stand": Change("drawn", {"what": "no-stand", "name": "x", "places": square, "volts": None}),
        "spread": setting("throw.hand.side_sd", 0.05),
    }


def main() -> None:
    """One line a change."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    ask.add_argument("tree", type=Path)
    ask.add_argument("species")
    ask.add_argument("kinds", nargs="*")
    given = ask.parse_args()
    base = replace(Inputs(), species=given.species)
    answers, start = Answers(read_tree(given.tree)), time.process_time()
    first = answers.of(base)
    print(f"| the plan itself | | | {time.process_time() - start:.2f} s |", flush=True)
    answers.of(History(base).with_change(Change("setting", {"name": "loads.climber_mass", "value": 90.0})).inputs)
    for kind, change in changes(first).items():
        if given.kinds and kind not in given.kinds:
            continue
        inputs, heard = History(base).with_change(change).inputs, list[float]()
        start = time.process_time()
        thrown = hasattr(answers, "first_throws") and throws_anew(base, inputs)
        if thrown:
            answers.first_throws(inputs, "", lambda *_, of=heard, since=start: of.append(time.process_time() - since))
        told = list(heard)
        answers.of(inputs, **_hearing(heard, start))
        whole = time.process_time() - start
        told = [told[0], told[-1]] if told else [heard[0], heard[min(9, len(heard) - 1)]] if heard else []
        print(f"| {kind} | {' | '.join(f'{t:.2f} s' for t in told) or ' | '} | {whole:.2f} s |", flush=True)


def _hearing(heard: list[float], start: float) -> dict[str, Any]:
    """Where the lines are told as they are judged: when each was."""
    if "heard" not in Answers.of.__annotations__:
        return {}
    return {"heard": lambda *_: heard.append(time.process_time() - start)}


if __name__ == "__main__":
    main()
