"""The page that plans a million trees, worked out from what scripts/bench_batch.py measured; nothing in it is typed.

    python scripts/city_plan.py            writes treescan/faces/METHODS.md
    python scripts/city_plan.py --check    fails where the page is not what the figures give
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
FIGURES, PAGE = ROOT / "scripts" / "batch_figures.json", ROOT / "treescan" / "faces" / "METHODS.md"
MILLION = 1_000_000
CORES = (2, 100, 1000)
DISTRICT = 20_000
"""Trees of one run (the plan's choice: the memory of the process that starts it, and a page that a browser still opens)."""


def hours(seconds: float) -> str:
    """Seconds as hours in three figures."""
    return f"{round(float(f'{seconds / 3600:.3g}')):,}" if seconds >= 360_000 else f"{seconds / 3600:.3g}"


def size(megabytes: float) -> str:
    """Megabytes as a size in three figures."""
    for unit, each in (("TB", 1e6), ("GB", 1e3), ("MB", 1.0)):
        if megabytes >= each:
            return f"{megabytes / each:.3g} {unit}"
    return f"{megabytes:.2g} MB"


def page(held: dict[str, Any]) -> str:
    """The page as Markdown."""
    parts = [HEAD, _scheduler(held["graph"]), _workers(held["workers"]), _memory(held.get("memory", {})), _kinds(held["kinds"], held["triage"]), _plan(held)]
    return "\n".join(parts)


HEAD = """# How a city of trees is run, and what a million cost

Made by `scripts/city_plan.py` from `scripts/batch_figures.json`, which `scripts/bench_batch.py` measured: change the figures, not the page. Processor times were
taken on a machine of two cores that other work shared; a core that is alone is not slower.

**How.** Every tile is sorted once into blocks of 8 m (COPC is read by its own). Parts of at most 6 million points, with 16 m of what lies beside, are looked through on a cloud
thinned to 2 cm: stems, else crowns; a tree on a seam is told by the part that sees it deepest inside. Triage sorts by spacing, stem, side seen and the end of the
scan. Records are matched by place, nearest first. Trees fit for it are traced and planned from a window of all tiles. Every task leaves a whole file or none, so a run goes on
from what stands; a task that took three processes along, or the time limit, is a row with a sentence. No more than 2,000 tasks wait at the scheduler.
"""


def _scheduler(g: dict[str, Any]) -> str:
    stages = "".join(f"| {k} | {v['tasks']:,} | {v['clock_ms']:.0f} | {v['scheduler_ms']:.1f} |\n" for k, v in g["stages"].items() if "clock_ms" in v)
    return f"""## The scheduler's own cost

The real graph over {g['trees']:,} stubs of trees ({g['planned']:,} planned; found, matched with {g['trees']:,} records, "planned" by writing the record of a small tree, gathered), one worker; after
each {2000:,} tasks as many empty ones on the same cluster, by bare dask.

| a task | scheduler and client, ms of processor | worker, ms of processor | clock, ms |
|---|---|---|---|
| tree (stub) | {g['a_tree']['scheduler_ms']:.2f} | {g['a_tree']['workers_ms']:.2f} | {g['a_tree']['clock_ms']:.2f} |
| empty, bare dask | {g['an_empty_task']['scheduler_ms']:.2f} | {g['an_empty_task']['workers_ms']:.2f} | {g['an_empty_task']['clock_ms']:.2f} |

A task of the run costs the scheduler and the client {g['scheduler_over_floor']:.2f} times what an empty one does. The whole run took {g['clock_s']:,} s by the clock and {g['client_processor_s']:,} s of processor in the
client, gathering and writing the city's files included; memory {g['scheduler_mb']:,} MB at most while tasks ran and {g['client_mb_at_end']:,} MB at the end, {g['worker_mb']:,} MB in the worker. The files of
the city are {g['city_files_mb']} MB, its page {g['city_page_mb']} MB.

| other stages | tasks | clock, ms a task | scheduler, ms a task |
|---|---|---|---|
{stages}"""


def _workers(w: dict[str, Any]) -> str:
    import statistics

    cpu = w["processor_s_a_tree"]
    rows = "".join(f"| {name} | {statistics.median(v):.2f} | {min(v):.2f} to {max(v):.2f} | {cpu[name]:.2f} |\n" for name, v in w["seconds_a_tree"].items())
    gain = w["gain_of_two"]
    return f"""## One worker and two

{w['rounds']} rounds in turn, {w['trees_a_turn_and_worker']} small trees a worker and turn, load of the machine {w['load']:.0f}: medians of the rounds' own ratios.

| | s a tree by the clock, median | all | s of processor, scheduler included, median |
|---|---|---|---|
{rows}
Two workers do {gain['workers']:.2f} times the work of one, two plain processes side by side {gain['plain processes']:.2f} times: {gain['workers'] / gain['plain processes']:.0%} of the best possible here (more than all is noise of the shared machine). Two workers
against two plain processes in the same round: {w['two_workers_of_two_plain_processes']:.0%} (by processor time, which the load of the machine does not touch:
{cpu['2 plain processes'] / cpu['2 workers']:.0%}); one against one {w['one_worker_of_one_plain_process']:.0%}; two threads of one process
{w['two_threads_of_two_plain_processes']:.0%}, which is why workers are processes.
"""


def _memory(m: dict[str, Any]) -> str:
    if not m:
        return "## Memory of a worker\n\nNot measured on this state of the code.\n"
    rows = "".join(
        f"| {v['points'] / 1e6:.0f} M points, {v['trees']:,} trees | {v['index_mb']:,} | {v['index_processor_s'] / v['points'] * 1e6:.2f} | {v['parts']:,}, {v['parts_looked_through']} looked through | "
        f"{v['points_of_the_fullest'] / 1e6:.1f} M | {v['look_processor_s_a_part']:.1f} | {v['peak_mb']:,} |\n"
        for v in m.values()
    )
    return f"""## Memory of a worker

| tile | to index, MB | s a million points | parts | the fullest holds | s a part | peak, MB |
|---|---|---|---|---|---|---|
{rows}
The bound is 4 GB a worker (`--memory`). Only the fullest parts were looked through: others hold fewer points.
"""


def _kinds(k: dict[str, Any], t: dict[str, Any]) -> str:
    full = "".join(
        f"| {name}, full plan | {v['processor_s']:.1f} | {3600 / v['processor_s']:,.0f} | {v['peak_mb']:,} | {v['result_mb']:.1f} | {v['cloud_mb']:.2f} |\n" for name, v in k.items()
    )
    sorted_ = "".join(
        f"| {name}, triage only ({v['trees_told']} trees) | {v['processor_s_a_tree']:.2f} | {3600 / v['processor_s_a_tree']:,.0f} | {v['peak_mb']:,} | | {v['cloud_mb'] / max(1, v['trees_told']):.3f} |\n"
        for name, v in t.items()
    )
    return f"""## Trees an hour and core

| scan | s of processor a tree | trees an hour and core | peak, MB | results, MB a tree | cloud, MB a tree (packed) |
|---|---|---|---|---|---|
{full}{sorted_}"""


def _plan(held: dict[str, Any]) -> str:
    full, flown = _middle(held["kinds"], "processor_s"), _middle(held["triage"], "processor_s_a_tree")
    g, efficiency = held["graph"], _efficiency(held["workers"])
    cells = []
    for name, trees, each, cloud, result, index in (
        ("all flown, triage only", MILLION, flown["processor_s_a_tree"], flown["cloud_mb"] / flown["trees_told"], 0.0, flown["points"] * flown["index_bytes_a_point"] / 1e6 / flown["trees_told"]),
        ("a tenth also scanned from tripods, full plan", MILLION // 10, full["processor_s"], full["cloud_mb"], full["result_mb"], full["cloud_mb"] * index_over_cloud(held)),
        ("all scanned from tripods, full plan", MILLION, full["processor_s"], full["cloud_mb"], full["result_mb"], full["cloud_mb"] * index_over_cloud(held)),
    ):
        work = trees * each
        on = " | ".join(hours(work / n / efficiency) for n in CORES)
        cells.append(f"| {name} | {trees:,} | {hours(work)} | {on} | {size(trees * cloud)} | {size(trees * index)} | {size(trees * result)} | {size(trees * (cloud + index + result))} |\n")
    tasks = 1000 / g["a_tree"]["scheduler_ms"]
    client = 1024 * (g["client_mb_at_end"]) / g["trees"]
    return f"""## A million trees

From the middle scan of each kind above and {efficiency:.0%} of what more cores could give, the least of the three measures above. Network: each packed cloud to the worker that indexes it, its index and the results once over the wire, where
they lie on one store; a window reads its blocks again, which a disk beside the worker saves. COPC tiles need no index.

| what | trees | core hours | hours on {CORES[0]} cores | on {CORES[1]} | on {CORES[2]} | clouds | index | results | network |
|---|---|---|---|---|---|---|---|---|---|
{''.join(cells)}
- Scheduler: {hours(MILLION * g['a_tree']['scheduler_ms'] / 1000)} hours of processor for a million tasks; it hands out {tasks:,.0f} a second, enough for {tasks * full['processor_s']:,.0f} cores with full plans and for
  {tasks * flown['processor_s_a_tree'] * 80:,.0f} that look through parts of 80 trees.
- The process that starts a run keeps what each tree's record says: {client:.0f} kB a tree at the end of {g['trees']:,}, {size(MILLION * client / 1000)} for a million at once. So run districts of {DISTRICT:,}
  trees, {MILLION // DISTRICT} of them ({size(DISTRICT * client / 1000)} each), each a folder with its own map of {size(DISTRICT * g['city_page_mb'] / g['trees'])}; tiles at a border belong to both.
- Money: core hours times what a core hour costs you; none is stated here.
"""


def index_over_cloud(held: dict[str, Any]) -> float:
    """Bytes of the index a byte of the packed cloud, of what was looked through."""
    rows = held["triage"].values()
    return sum(v["points"] * v["index_bytes_a_point"] / 1e6 for v in rows) / sum(v["cloud_mb"] for v in rows)


def _efficiency(w: dict[str, Any]) -> float:
    """The least that the ways of measuring give of the best possible; at most 1."""
    gain, cpu = w["gain_of_two"], w["processor_s_a_tree"]
    by_clock = gain["workers"] / gain["plain processes"]
    return min(1.0, by_clock, w["two_workers_of_two_plain_processes"], cpu["2 plain processes"] / cpu["2 workers"])


def _middle(rows: dict[str, Any], by: str) -> dict[str, Any]:
    """The middle of some scans by one figure; of two the dearer."""
    order = sorted(rows.values(), key=lambda v: v[by])
    return order[len(order) // 2]


def main() -> None:
    text = page(json.loads(FIGURES.read_text()))
    if "--check" in sys.argv:
        raise SystemExit(0 if PAGE.read_text() == text else f"{PAGE} is not what the figures give: run scripts/city_plan.py")
    PAGE.write_text(text)


if __name__ == "__main__":
    main()
