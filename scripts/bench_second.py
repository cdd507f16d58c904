"""Judge treescan on the second bench: simulated scans it was not made with.

    python scripts/bench_second.py --scans 60 --seed 7       half of them fixed, half drawn from the seed
    python scripts/bench_second.py --only F04 --pictures 1      one scan by (part of) its name, with a picture
    python scripts/bench_second.py --only F04 --keep         and its cloud and tree.json
    python scripts/bench_second.py --out /tmp/second --pictures 10

Writes table.md, rows.json (a line of figures a scan) and pictures into --out.
"""

from __future__ import annotations

import argparse
import json
import secrets
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from second_bench.cloud_file import write
from second_bench.making import make
from second_bench.pictures import draw
from second_bench.recipes import bench
from second_bench.scoring import score
from second_bench.table import whole_table

from treescan import TreescanError, read_cloud, trace, write_tree


def badness(row: dict) -> float:
    """How far a scan is from what is asked; for the order of pictures."""
    bias = sum(abs(row[k] or 0) for k in ("bias_5", "bias_10")) if row["verdict"] == "assessable" else 0
    f1 = sum(1 - (row[k] if row[k] is not None else 1) for k in ("f1_5", "f1_10"))
    return (
        f1
        + 5 * bias
        + 0.01 * row["limb_as_wire"]
        + 0.3 * (abs(row.get("top_off") or 0) > 0.3)
        + 0.02 * row["false_m"]
    )


def read_and_traced(made, folder: Path) -> float:
    """Write the cloud, read and trace it, write tree.json; seconds that tracing took."""
    path = folder / "scan.laz"
    write(made.scan, path, made.origin, made.recipe.feet, made.recipe.sources)
    cloud = read_cloud(path)
    foot = made.origin[:2] - cloud.frame.to_map(np.zeros((1, 3)))[0, :2]
    start = time.perf_counter()
    traced = trace(cloud, at=foot)
    seconds = time.perf_counter() - start
    write_tree(traced, folder / "tree.json")
    return seconds


def run(recipe, folder: Path, again: bool = False):
    """One scan made, read, traced (or kept earlier), scored: score, made scan, tree.json, surroundings.json."""
    start = time.process_time()
    made = make(recipe)
    making = time.process_time() - start
    seconds = 0.0
    if not (again and (folder / "tree.json").exists()):
        seconds = read_and_traced(made, folder)
    tree = json.loads((folder / "tree.json").read_text(encoding="utf-8"))
    beside = folder / "surroundings.json"
    beside = json.loads(beside.read_text(encoding="utf-8")) if beside.exists() else None
    result = score(made, tree, beside)
    result.row.update(
        seconds=seconds,
        making=making,
        points=len(made.scan.xyz),
        scene=recipe.place,
        true_wires=len(made.scene.wires),
        recipe=vars(recipe),
        reasons=tree.get("quality", {}).get("reasons", []),
        misses=list(result.misses),
    )
    return result, made, tree, beside


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--scans", type=int, default=60)
    ask.add_argument(
        "--seed", type=int, default=None, help="of the half drawn afresh; default: a new one, printed"
    )
    ask.add_argument("--only", default=None, help="scans whose name holds this")
    ask.add_argument(
        "--minutes",
        type=float,
        default=None,
        help="start no further scan after so many minutes of this process's time",
    )
    ask.add_argument("--pictures", type=int, default=0, help="draw so many of the worst scans")
    ask.add_argument("--out", type=Path, default=Path(tempfile.gettempdir()) / "second_bench")
    ask.add_argument("--keep", action="store_true", help="leave each scan's cloud and tree.json in --out")
    ask.add_argument(
        "--again", action="store_true", help="score what an earlier run with --keep left in --out"
    )
    asked = ask.parse_args()
    seed = asked.seed if asked.seed is not None else secrets.randbelow(10**6)
    recipes = bench(asked.scans, seed)
    half = (len(recipes) + 1) // 2
    recipes = [
        r
        for pair in zip(recipes[:half], [*recipes[half:], None], strict=False)
        for r in pair
        if r is not None
    ]
    if asked.only:
        recipes = [r for r in recipes if asked.only in r.name]
    asked.out.mkdir(parents=True, exist_ok=True)
    print(f"seed {seed}, {len(recipes)} scans, {asked.out}", flush=True)

    scores, failed, worst, text = [], [], [], "no scan was read"
    with tempfile.TemporaryDirectory() as temporary:
        for recipe in recipes:
            if asked.minutes is not None and time.process_time() > 60 * asked.minutes:
                break
            try:
                folder = asked.out / recipe.name.split()[0] if asked.keep or asked.again else Path(temporary)
                folder.mkdir(exist_ok=True)
                result, made, tree, beside = run(recipe, folder, asked.again)
            except TreescanError as error:
                failed.append((recipe.name, str(error)))
                print(f"{recipe.name}: {error}", flush=True)
                continue
            scores.append(result)
            r = result.row
            print(
                f"{r['name']} | {r['scene']} | {r['verdict']} F1 {r['f1_5']} {r['f1_10']} "
                f"bias {r['bias_5']} {r['bias_10']} make {r['making']:.0f} s trace {r['seconds']:.0f} s",
                flush=True,
            )
            (asked.out / "rows.json").write_text(
                json.dumps([s.row for s in scores], indent=1), encoding="utf-8"
            )
            text = f"Seed {seed}; {len(scores)} scans.\n\n" + whole_table(scores, failed)
            (asked.out / "table.md").write_text(text, encoding="utf-8")
            if asked.pictures:
                picture = asked.out / (recipe.name.replace(" ", "_").replace(",", "") + ".png")
                draw(made, tree, beside, result, picture)
                worst = sorted([*worst, (badness(r), picture)], key=lambda w: -w[0])
                for _, path in worst[asked.pictures :]:
                    path.unlink(missing_ok=True)
                worst = worst[: asked.pictures]
    print(text)


if __name__ == "__main__":
    main()
