"""How true is the wood graph? Simulated scans with exact truth, one table.

    python scripts/bench_accuracy.py                      all groups, half of the trees drawn from the machine's entropy
    python scripts/bench_accuracy.py --seed 5             drawn from a seed you choose
    python scripts/bench_accuracy.py --groups leaf-off    one group
    python scripts/bench_accuracy.py --cut truth          wood points handed over perfectly: the wood room alone
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import pickle
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from accuracy.cases import GROUPS, POINTS, Case, Scanned, cases, scan
from accuracy.compare import Comparison, compare
from accuracy.table import as_text, figures

from treescan.atomic import write_text
from treescan.trees.single_tree import Tree
from treescan.wood.build import build_graph
from treescan.wood.graph import WoodGraph
from treescan.wood.quality.fitness import scan_fitness


def cut(scanned: Scanned, how: str) -> Tree:
    """The tree by its truth, or as `find_tree` separates it from everything else."""
    if how == "truth":
        return scanned.cut_by_truth()
    from treescan.trees.single_tree import find_tree

    return find_tree(scanned.cloud, at=scanned.truth.xyz[0, :2])


def scanned_case(case: Case, cache: Path | None) -> Scanned:
    """Scan, or take the same scan from the cache folder."""
    if cache is None:
        return scan(case)
    key = hashlib.sha256(json.dumps([case.seed, case.habit, repr(case.how)]).encode()).hexdigest()[:16]
    path = cache / f"{key}.pkl"
    if path.exists():
        return pickle.loads(path.read_bytes())
    got = scan(case)
    cache.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps(got))
    return got


def run(case: Case, how: str, cache: Path | None) -> tuple[Comparison, WoodGraph, Tree, Scanned]:
    """Scan, cut, build, compare one case; one line of progress on stderr."""
    scanned = scanned_case(case, cache)
    tree = cut(scanned, how)
    began = time.perf_counter()
    graph = build_graph(tree)
    took = time.perf_counter() - began
    top = max(float(c.xyz[:, 2].max()) for c in (tree.wood, tree.leaf) if len(c))
    found = compare(graph, scanned.truth, tree.beside.terrain, top, case.how.get("height", 15.0))
    found = replace(found, assessable=scan_fitness(graph, tree).assessable, seconds=took)
    line = {"unions >= 5 cm: F1": np.nan, "unions >= 10 cm: F1": np.nan, **figures([found])}
    print(
        f"{case.name:20s} {len(tree.wood) / 1e6:5.2f} M {took:5.1f} s  F1>=5 {line['unions >= 5 cm: F1']:.3f}  F1>=10 {line['unions >= 10 cm: F1']:.3f}"
        f"  bias " + " ".join(f"{100 * np.mean(found.diameters[k][0]):+5.1f}" if len(found.diameters[k][0]) else "  -  " for k in found.diameters)
        + "  rmse " + " ".join(f"{100 * np.sqrt(np.mean(found.diameters[k][0] ** 2)):4.1f}" if len(found.diameters[k][0]) else " -  " for k in found.diameters)
        + f"  wrong {line['wrong parent, wood >= 10 cm [%]']:.1f}  false {line['false wood >= 5 cm [%]']:.1f}  dbh {1000 * found.dbh_error:+.1f}  height {100 * found.height_error:+.0f}  vol {100 * found.volume_error:+.1f}"
        + ("" if found.assessable else "  not assessable"),
        file=sys.stderr,
        flush=True,
    )
    return found, graph, tree, scanned


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=int.from_bytes(os.urandom(3), "big"))
    parser.add_argument("--groups", nargs="*", default=list(GROUPS), choices=list(GROUPS))
    parser.add_argument("--names", nargs="*", help="only these cases")
    parser.add_argument("--cut", choices=("truth", "find"), default="find")
    parser.add_argument("--cache", type=Path, help="folder that keeps scans between runs")
    parser.add_argument("--out", type=Path, help="file that holds the table of the scans done so far")
    args = parser.parse_args()
    print(f"seed {args.seed}, cut {args.cut}", file=sys.stderr)
    asked = [c for c in cases(args.seed, tuple(args.groups)) if not args.names or c.name in args.names]
    found: dict[str, list[Comparison]] = {g: [] for g in args.groups}
    done = []
    for case in _in_turn(asked):
        found[case.group].append(run(case, args.cut, args.cache)[0])
        done.append(case)
        if args.out:
            write_text(args.out, _report(found, done, len(asked), args.seed))
    print(_report(found, done, len(asked), args.seed))


def _in_turn(asked: list[Case]) -> list[Case]:
    """The cases with the groups mixed in proportion, so that a table after part of the run speaks for all of them."""
    size = {g: sum(c.group == g for c in asked) for g in {c.group for c in asked}}
    seen = dict.fromkeys(size, 0)
    key = []
    for c in asked:
        seen[c.group] += 1
        key.append((seen[c.group] - 0.5) / size[c.group])
    return [asked[i] for i in np.argsort(key, kind="stable")]


def _report(found: dict[str, list[Comparison]], done: list[Case], asked: int, seed: int) -> str:
    """What was run, and the table."""
    fresh = sum(c.fresh for c in done)
    points = sum(c.how.get("points", POINTS) for c in done) / 1e6
    head = f"{len(done)} of {asked} scans, {points:.1f} M points off the ground, {fresh} scans of trees drawn from {seed}"
    return f"{head}\n\n{as_text({g: figures(f) for g, f in found.items() if f})}\n"


if __name__ == "__main__":
    main()
