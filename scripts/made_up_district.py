"""A made-up district: small trees on tiles with seams, some tiles in feet or without a system, and an inventory with
wrong, double and missing entries. What is true stands beside it.

    python scripts/made_up_district.py OUT [--trees 200] [--records 190] [--seed 7] [--dense 1.0]
    python scripts/made_up_district.py OUT --compare BATCH     found, matched and missed against the truth

Twelve trees are grown (seeds SEED ... SEED + 11) and stand turned and shifted; points lie at random on their bark, with
3 mm of noise, so that a tree takes seconds and not minutes. No scanner is simulated: nothing is hidden from view.
"""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path

import laspy
import numpy as np
from made_up.grow import grow
from numpy.typing import NDArray
from pyproj import CRS

Floats = NDArray[np.float64]
TILE = 60.0
APART = 13.0
KINDS, HEIGHTS = ("broadleaf", "conifer", "codominant"), (6.0, 9.0)
PER_M2, GROUND_M2 = 1500.0, 25.0
NOISE = 0.003
CORNER = np.array([300_000.0, 60_000.0])
"""South-west corner in the metric system of the district."""
METRIC, FEET = "EPSG:32118", "EPSG:2263"
"""One projection, once in metres and once in US survey feet."""
FOOT = 1200 / 3937
SPECIES = ("oak", "lime", "ash", "maple")


def bark_points(seed: int, dense: float) -> tuple[Floats, float, float]:
    """Points on the bark of one tree with its foot at zero (n, 3), its height and diameter at breast height [m]."""
    rng = np.random.default_rng([seed, 1])
    height = float(rng.uniform(*HEIGHTS))
    dbh = 0.03 * height
    graph = grow(seed, KINDS[seed % len(KINDS)], height=height, dbh=dbh, thinnest=0.015).graph(0.02)
    s = graph.segments
    axis = s.end - s.start
    length = np.linalg.norm(axis, axis=1)
    area = length * np.pi * (s.r_start + s.r_end)
    count = int(dense * PER_M2 * area.sum())
    k = rng.choice(len(area), count, p=area / area.sum())
    t, turn = rng.uniform(0, 1, count), rng.uniform(0, 2 * np.pi, count)
    d = axis[k] / np.maximum(length[k, None], 1e-9)
    side = np.cross(d, np.where(np.abs(d[:, 2:]) > 0.9, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]))
    side /= np.linalg.norm(side, axis=1)[:, None]
    r = s.r_start[k] + t * (s.r_end - s.r_start)[k]
    out = s.start[k] + t[:, None] * axis[k]
    out += r[:, None] * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(d, side))
    return out + rng.normal(0, NOISE, out.shape), height, dbh


def ground(xy: Floats) -> Floats:
    """Height of the ground, (n,) [m]."""
    return 20.0 + 0.02 * xy[:, 0] + 0.8 * np.sin(xy[:, 0] / 25) * np.cos(xy[:, 1] / 30)


def district(trees: int, seed: int, dense: float) -> tuple[Floats, list[dict[str, float]]]:
    """All points from the district's corner (n, 3) [m], and the true trees."""
    rng = np.random.default_rng(seed)
    side = int(np.ceil(np.sqrt(trees)))
    grown = [bark_points(seed + k, dense) for k in range(min(12, trees))]
    parts, truth = [], []
    for n in range(trees):
        points, height, dbh = grown[n % len(grown)]
        at = (np.array([n % side, n // side]) + 0.5) * APART + rng.uniform(-1.5, 1.5, 2)
        turn = rng.uniform(0, 2 * np.pi)
        c, s = np.cos(turn), np.sin(turn)
        xyz = points @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]])
        z = float(ground(at[None])[0])
        parts.append(xyz + np.array([at[0], at[1], z]))
        truth.append({"number": n + 1, "x": CORNER[0] + at[0], "y": CORNER[1] + at[1], "height": height, "dbh": dbh})
    wide, high = side * APART, int(np.ceil(trees / side)) * APART
    xy = rng.uniform(0, 1, (int(GROUND_M2 * wide * high), 2)) * [wide, high]
    parts.append(np.column_stack([xy, ground(xy) + rng.normal(0, 0.005, len(xy))]))
    return np.vstack(parts), truth


def write_tiles(xyz: Floats, folder: Path) -> list[str]:
    """Tiles of the district: every fourth in feet, one without a system in metres, one without in feet; each overlaps
    the next by half a metre."""
    folder.mkdir(parents=True, exist_ok=True)
    last = np.floor(xyz[:, :2].max(axis=0) / TILE).astype(int)
    names = []
    for i in range(last[0] + 1):
        for j in range(last[1] + 1):
            low = np.array([i, j]) * TILE
            held = np.all((xyz[:, :2] >= low) & (xyz[:, :2] < low + TILE + 0.5), axis=1)
            number = i * (last[1] + 1) + j
            feet = number % 4 == 1 or number == 6
            system = None if number in (2, 6) else FEET if feet else METRIC
            own = (xyz[held] + [*CORNER, 0.0]) / (FOOT if feet else 1.0)
            if len(own):
                name = f"tile_{i}_{j}.laz"
                write_laz(own, folder / name, system)
                names.append(name)
    return names


def write_laz(xyz: Floats, path: Path, system: str | None) -> None:
    """One LAZ file in thousandths of its unit."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.001), np.floor(xyz.min(axis=0))
    if system:
        header.add_crs(CRS.from_user_input(system))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = xyz.T
    cloud.write(path)


def inventory(truth: list[dict[str, float]], records: int, seed: int) -> list[dict[str, object]]:
    """Records of the first trees, 10 % of them faulty in turn: no identifier, the identifier of another, a place 60 m
    off, an entry twice, no place, a tree that is gone."""
    rng = np.random.default_rng([seed, 2])
    rows: list[dict[str, object]] = []
    for t in truth[:records]:
        off = rng.normal(0, 0.4, 2)
        rows.append(
            {
                "id": f"K-{t['number']:04.0f}",
                "x": round(t["x"] + off[0], 2),
                "y": round(t["y"] + off[1], 2),
                "species": SPECIES[int(t["number"]) % len(SPECIES)],
                "dbh": round(100 * t["dbh"] * rng.uniform(0.93, 1.07), 0),
                "address": f"Row {int(t['number']) % 9 + 1}",
                "target_use": ("footpath", "road", "")[int(t["number"]) % 3],
                "truth": int(t["number"]),
                "fault": "",
            }
        )
    for k in range(0, len(rows), 10):
        row, fault = rows[k], ("no id", "id of another", "far off", "twice", "no place", "gone")[k // 10 % 6]
        row["fault"] = fault
        if fault == "no id":
            row["id"] = ""
        elif fault == "id of another":
            row["id"] = rows[(k + 5) % len(rows)]["id"]
        elif fault == "far off":
            row["x"] = round(float(row["x"]) + 60.0 + 0.5 * APART, 2)  # type: ignore[arg-type]
            row["y"] = round(float(row["y"]) + 0.5 * APART, 2)  # type: ignore[arg-type]
            row["truth"] = 0
        elif fault == "twice":
            row["x"], row["y"], row["id"], row["truth"] = rows[k + 1]["x"], rows[k + 1]["y"], rows[k + 1]["id"], 0
        elif fault == "no place":
            row["x"] = row["y"] = ""
            row["truth"] = 0
        else:
            row["x"] = round(CORNER[0] - 30.0 - k, 2)
            row["truth"] = 0
    return rows


def compare(folder: Path, batch: Path) -> dict[str, object]:
    """Found, matched and missed trees of a batch against the truth."""
    truth = json.loads((folder / "truth.json").read_text())
    with (batch / "trees.csv").open(encoding="utf-8") as f:
        rows = list(csv.DictReader(f))
    import geopandas

    places = geopandas.read_parquet(batch / "trees.parquet").to_crs(METRIC).geometry
    at = {r["tree"]: (g.x, g.y) for r, g in zip(rows, places, strict=True) if g is not None and r["state"] != "not found"}
    names, feet = list(at), np.array(list(at.values())).reshape(-1, 2)
    true = np.array([[t["x"], t["y"]] for t in truth["trees"]])
    away = np.hypot(*(true[:, None] - feet[None]).transpose(2, 0, 1))
    of_true = [int(np.argmin(row)) if row.min() < 1.0 else -1 for row in away]
    found = {names[k]: n + 1 for n, k in enumerate(of_true) if k >= 0}
    inv = truth["inventory"]
    right = wrong = lost = 0
    by_name = {r["tree"]: r for r in rows}
    for i, row in enumerate(inv):
        name = next((n for n, number in found.items() if number == row["truth"]), None) if row["truth"] else None
        if name is None:
            continue
        matched = by_name[name]["match"]
        same = by_name[name]["inv_id"] == row["id"] and by_name[name]["address"] == row["address"]
        right, wrong, lost = right + (bool(matched) and same), wrong + (bool(matched) and not same), lost + (not matched)
        del i
    faulty = [r for r in inv if r["fault"]]
    doubted = {(r["inv_id"]) for r in rows if r["doubt"] or r["state"] == "not found"}
    heights = [abs(float(by_name[n]["height_m"]) - truth["trees"][k - 1]["height"]) for n, k in found.items()]
    thick = [
        abs(float(by_name[n]["dbh_m"]) / truth["trees"][k - 1]["dbh"] - 1) for n, k in found.items() if by_name[n]["dbh_m"]
    ]
    return {
        "true trees": len(true),
        "found": len(found),
        "missed": len(true) - len(found),
        "false": len(names) - len(found),
        "records": len(inv),
        "records of a found tree matched right": right,
        "matched wrong": wrong,
        "not matched": lost,
        "faulty records": len(faulty),
        "faulty records told in doubt": sum(r["id"] in doubted for r in faulty),
        "height off, median m": round(float(np.median(heights)), 3),
        "dbh off, median share": round(float(np.median(thick)), 3),
        "foot off, median m": round(float(np.median([away[n].min() for n, k in enumerate(of_true) if k >= 0])), 3),
    }


def make(folder: Path, trees: int, records: int, seed: int, dense: float) -> None:
    """Write tiles, inventory.csv and truth.json."""
    xyz, truth = district(trees, seed, dense)
    names = write_tiles(xyz, folder / "tiles")
    rows = inventory(truth, min(records, trees), seed)
    with (folder / "inventory.csv").open("w", encoding="utf-8", newline="") as f:
        columns = ("id", "x", "y", "species", "dbh", "address", "target_use")
        table = csv.DictWriter(f, columns, delimiter=";", extrasaction="ignore", lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
    (folder / "fields.toml").write_text(f'[fields]\ncrs = "{METRIC}"\n', encoding="utf-8")
    told = {"seed": seed, "points": len(xyz), "tiles": names, "trees": truth, "inventory": rows}
    (folder / "truth.json").write_text(json.dumps(told, indent=1), encoding="utf-8")


def main() -> None:
    asked = argparse.ArgumentParser(description="A made-up district of trees, or a comparison of a batch with it.")
    asked.add_argument("folder", type=Path)
    asked.add_argument("--trees", type=int, default=200)
    asked.add_argument("--records", type=int, default=190)
    asked.add_argument("--seed", type=int, default=7)
    asked.add_argument("--dense", type=float, default=1.0)
    asked.add_argument("--compare", type=Path)
    given = asked.parse_args()
    if given.compare:
        for name, value in compare(given.folder, given.compare).items():
            print(f"{name}: {value}")
    else:
        make(given.folder, given.trees, given.records, given.seed, given.dense)


if __name__ == "__main__":
    main()
