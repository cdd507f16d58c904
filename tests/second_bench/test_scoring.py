"""The score is full for the truth itself and falls by as much as a claim is wrong."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from second_bench.making import Made, make
from second_bench.recipes import Recipe
from second_bench.scoring import class_figures, score
from second_bench.table import whole_table


@pytest.fixture(scope="module")
def made() -> Made:
    return make(Recipe("perfect", 8, form="leaning", instrument="vehicle", place="bare wires"))


@pytest.fixture(scope="module")
def perfect(made):
    """The tree.json that the truth itself would give."""
    nodes, segments, first = [], [], {}
    for i, m in enumerate(made.scene.limbs):
        if m.radius[0] < 0.008:
            continue
        above = [k for k in range(len(m.xyz)) if m.xyz[k, 2] >= 0]
        first[i] = {}
        before = first[m.parent].get(m.at) if m.parent >= 0 else None
        for k in above:
            own = np.sqrt(np.square(made.scene.rings[i][k]).mean())
            nodes.append(
                {
                    "id": len(nodes),
                    "xyz": m.xyz[k].tolist(),
                    "radius": float(own),
                    "radius_sd": 0.02 * float(own),
                    "seen": True,
                }
            )
            if before is not None:
                segments.append({"parent": before, "child": len(nodes) - 1, "radius": float(own), "limb": i})
            before = first[i][k] = len(nodes) - 1
    unions = [
        {
            "xyz": u.place.tolist(),
            "crotch": u.crotch.tolist(),
            "child_diameters": sorted((u.child, u.onward), reverse=True),
        }
        for u in made.scene.truth.unions
    ]
    stem = {
        "base_xyz": [0, 0, 0],
        "dbh": float(made.scene.truth.stems[0, 2]),
        "height": made.scene.truth.height,
    }
    return {
        "origin": made.origin.tolist(),
        "nodes": nodes,
        "segments": segments,
        "unions": unions,
        "stem": stem,
        "quality": {"verdict": "assessable"},
    }


def cells(made, xyz, kind):
    return {
        "kinds": ["neighbour", "building", "pole", "wire"],
        "cell": 0.2,
        "xyz": np.asarray(xyz).tolist(),
        "kind": [kind] * len(xyz),
    }


def test_the_truth_scores_full(made, perfect):
    """Every union found, no bias, no false wood, stem and top right."""
    s = score(made, perfect, None)

    assert s.row["f1_5"] == s.row["f1_10"] == 1.0
    assert abs(s.row["bias_5"]) < 0.005 and abs(s.row["bias_10"]) < 0.005
    assert s.row["cover_5"] > 0.99 and s.row["false_m"] == 0
    assert s.row["followed_5"] > 0.98 and s.row["followed_10"] > 0.98
    assert s.row["dbh_off"] == pytest.approx(0) and s.row["top_off"] == pytest.approx(0)
    assert np.nanmax(s.unions[:, 1]) < 1e-9 and np.nanmax(s.unions[:, 2]) < 1e-9


def test_a_bias_is_reported_as_large_as_it_is(made, perfect):
    """All radii 10 % thick: bias 10 %, and the stated interval of 2 % holds nothing."""
    thick = copy.deepcopy(perfect)
    for n in thick["nodes"]:
        n["radius"] *= 1.1
    f = class_figures(score(made, thick, None).diameters, 0.1, 9.0)

    assert f["bias"] == pytest.approx(0.1, abs=0.006)
    assert f["cover"] < 0.02


def test_doubted_wood_is_not_claimed(made, perfect):
    """A radius_sd of a third of the radius takes the diameter out of the count."""
    shy = copy.deepcopy(perfect)
    for n in shy["nodes"]:
        n["radius_sd"] = 0.34 * n["radius"]

    assert len(score(made, shy, None).diameters) == 0


def test_a_missed_and_an_invented_union_are_counted(made, perfect):
    """One taken away, one put into the air."""
    wrong = copy.deepcopy(perfect)
    big = max(range(len(wrong["unions"])), key=lambda k: wrong["unions"][k]["child_diameters"][1])
    del wrong["unions"][big]
    wrong["unions"].append({"xyz": [9.0, 9.0, 9.0], "child_diameters": [0.2, 0.15]})
    row = score(made, wrong, None).row

    assert (row["missed_10"], row["false_10"]) == (1, 1)


def test_a_union_beside_its_place_is_told_by_how_far(made, perfect):
    """5 cm up: place and crotch 5 cm off."""
    moved = copy.deepcopy(perfect)
    for u in moved["unions"]:
        u["xyz"][2] += 0.05
        u["crotch"][2] += 0.05
    s = score(made, moved, None)

    assert np.median(s.unions[:, 1]) == pytest.approx(0.05, abs=1e-6)
    assert np.nanmedian(s.unions[:, 2]) == pytest.approx(0.05, abs=1e-6)


def test_a_limb_in_the_air_is_false_wood(made, perfect):
    """Two metres of claimed limb where none is."""
    wrong = copy.deepcopy(perfect)
    n = len(wrong["nodes"])
    wrong["nodes"] += [
        {"id": n + k, "xyz": [20.0, 20.0, 5.0 + k], "radius": 0.05, "radius_sd": 0.002, "seen": True}
        for k in range(3)
    ]
    wrong["segments"] += [{"parent": n + k, "child": n + k + 1, "radius": 0.05, "limb": 0} for k in range(2)]

    assert score(made, wrong, None).row["false_m"] == pytest.approx(2.0)


def test_wires_found_and_limbs_called_wires_are_told_apart(made, perfect):
    """Cells along the true wires find them; cells along a limb are a limb called a wire, or a building."""
    on_wires = np.vstack(
        [
            np.repeat(w.points, 3, axis=0)
            + np.linspace(0, 1, 3)[:, None].repeat(80, 1).T.reshape(-1, 1)
            * np.repeat(np.vstack([np.diff(w.points, axis=0), [[0, 0, 0]]]), 3, axis=0)
            for w in made.scene.wires
        ]
    )
    on_limb = made.scene.limbs[0].xyz[80:120]

    row = score(made, perfect, cells(made, on_wires + made.origin - made.origin, 3)).row
    assert row["wire_m"] > 20
    assert row["wire_found_m"] > 0.97 * row["wire_m"]
    assert row["limb_as_wire"] == 0
    assert score(made, perfect, cells(made, on_limb, 3)).row["limb_as_wire"] == 40
    assert score(made, perfect, cells(made, on_limb, 1)).row["limb_as_built"] == 40


def test_tables_are_written_from_scores(made, perfect):
    """Markdown with the scan in it."""
    s = score(made, perfect, None)
    s.row.update(scene="bare wires", seconds=1.0, true_wires=3)
    text = whole_table([s], [("other", "an error")])

    assert "| perfect |" in text and "an error" in text and "1.000" in text
