"""tree.json: what goes out comes back, and what cannot be read says why."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from strategies import alone, random_tree

from treescan.cautions import all_cautions
from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.outputs.text.say import say
from treescan.reason import Reason
from treescan.trees.beside import Beside, Foliage, Surroundings, Terrain
from treescan.trees.scan_points import scan_points
from treescan.wood.files.read_tree import read_tree, tree_in
from treescan.wood.files.tree_shape import check_tree
from treescan.wood.files.write_tree import tree_out, write_tree
from treescan.wood.graph import ScanFitness, TracedTree
from treescan.wood.quality.stem_figures import stem_figures

LIMBS = ({"limb": 0, "fit_for": "stem", "rescan": Reason("view_from_above")}, {"limb": 1, "fit_for": "stem", "rescan": None})


def traced(seed: int = 1) -> TracedTree:
    """A made-up tree with something of everything beside it."""
    graph = random_tree(seed)
    rng = np.random.default_rng(seed)
    terrain = Terrain(rng.normal(0, 0.2, (30, 40)), np.array([-10.0, -8.0]), 0.5, rng.random((30, 40)) > 0.3)
    terrain.height[3, 4] = np.nan
    foliage = Foliage(rng.random((4, 5, 6)).astype(np.float32), np.array([-2.0, -2.0, 5.0]), 0.5)
    around = Surroundings(rng.normal(0, 9, (7, 3)), np.arange(7, dtype=np.uint8) % 6, 0.2, rng.normal(0, 9, (2, 3)), np.array([0.3, np.nan]))
    frame = Frame(np.array([512000.0, 5412000.0, 230.0]), "EPSG:25832", 0.3048, 0.3048)
    return TracedTree(
        graph,
        Beside(terrain, foliage, around),
        frame,
        stem_figures(graph, terrain),
        ScanFitness("assessable", (Reason("fit_main_unions", height=5.0),), ({"from_m": 0.0, "to_m": 5.0, "fit_for": "stem"},), LIMBS),
        "made up",
        (Reason("no_height_unit_stated", taken=Reason("unit_feet")), Reason("duplicates_left_out", n=7, share=0.0023279)),
        scan_points((rng.normal(0, 3, (50, 3)),)),
    )


def same(a, b) -> None:
    """Equal field by field, NaN equal to NaN."""
    assert type(a) is type(b)
    if dataclasses.is_dataclass(a):
        for f in dataclasses.fields(a):
            same(getattr(a, f.name), getattr(b, f.name))
    elif isinstance(a, np.ndarray):
        np.testing.assert_array_equal(a, b)
        assert a.dtype == b.dtype
    elif isinstance(a, tuple):
        assert len(a) == len(b)
        for x, y in zip(a, b, strict=True):
            same(x, y)
    elif isinstance(a, float):
        assert a == b or (np.isnan(a) and np.isnan(b))
    else:
        assert a == b


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_tree_comes_back_from_its_file_bit_for_bit(tmp_path, seed):
    """Reading back what was written, twice over, changes nothing at all."""
    tree = traced(seed)
    tree = tree_in(json.loads(json.dumps(tree_out(tree))), tree.beside, tree.source, tree.points)

    write_tree(tree, tmp_path / "tree.json")

    same(tree, read_tree(tmp_path / "tree.json"))


def test_notes_stand_as_code_and_values_and_old_sentences_stay_as_written():
    """tree.json holds no words of ours; a sentence in an older file comes back letter for letter."""
    data = tree_out(traced())
    codes = [note["code"] for note in data["quality"]["notes"]]
    old = "Coordinates were converted to metres [sic]."
    data["quality"]["notes"] = [old]

    (note,) = tree_in(data, None, "old.json").notes

    assert codes == ["no_height_unit_stated", "duplicates_left_out"]
    assert (note.code, say(note)) == ("own_words", old)


def test_oval_sections_come_back_bit_for_bit_and_round_ones_leave_no_key(tmp_path):
    """Where a section is oval the node says so, elsewhere it does not; a tree written without the keys is all round."""
    tree = traced()
    rng = np.random.default_rng(2)
    oval = np.where(rng.random(len(tree.graph)) < 0.3, rng.uniform(1.02, 1.4, len(tree.graph)), 1.0)
    along = np.cross(tree.graph.direction, rng.normal(size=(len(oval), 3)))
    along = np.where(oval[:, None] > 1, np.round(along / np.linalg.norm(along, axis=1, keepdims=True), 4), 0.0)
    tree = dataclasses.replace(tree, graph=dataclasses.replace(tree.graph, oval=oval, oval_dir=along))

    write_tree(tree, tmp_path / "tree.json")
    back = read_tree(tmp_path / "tree.json").graph

    same((back.oval, back.oval_dir), (oval, along))
    nodes = json.loads((tmp_path / "tree.json").read_text())["nodes"]
    assert [("oval" in n, "oval_dir" in n) for n in nodes] == [(bool(q), bool(q)) for q in oval > 1]
    plain = read_tree(put(tmp_path)).graph
    assert np.all(plain.oval == 1) and np.all(plain.oval_dir == 0)


@pytest.mark.parametrize("keys", [{"oval": 0.8, "oval_dir": [1, 0, 0]}, {"oval": 1.2, "oval_dir": [0, 0, 0]}, {"oval": 1.2}, {"oval": 4, "oval_dir": [1, 0, 0]}, {"oval": 1.2, "oval_dir": [3, 0, 2]}])
def test_an_oval_without_a_sensible_ratio_and_direction_says_so(tmp_path, keys):
    """The longest width over the shortest is above 1, and needs its direction."""
    with pytest.raises(BadInput, match="oval"):
        read_tree(put(tmp_path, nodes=[*HAND["nodes"][:4], {**HAND["nodes"][4], **keys}]))


def test_the_same_tree_gives_the_same_bytes(tmp_path):
    """Two writes of one tree differ in no byte of any of the four files."""
    first = write_tree(traced(), tmp_path / "a" / "tree.json")
    second = write_tree(traced(), tmp_path / "b" / "tree.json")

    for a, b in zip(first, second, strict=True):
        assert a.read_bytes() == b.read_bytes()


def test_every_file_carries_the_cautions(tmp_path):
    """All cautions stand in tree.json and in each file beside it."""
    for path in write_tree(traced(), tmp_path / "tree.json"):
        text = str(np.load(path)["cautions"]) if path.suffix == ".npz" else path.read_text()
        assert all(c[:40] in text for c in all_cautions()[:2])


HAND = {
    "format": "treescan-tree",
    "version": 1,
    "units": "m",
    "crs": None,
    "origin": [0, 0, 0],
    "nodes": [
        {"id": 0, "xyz": [0, 0, 0], "radius": 0.2},
        {"id": 1, "xyz": [0, 0, 4], "radius": 0.18},
        {"id": 2, "xyz": [0, 0, 8], "radius": 0.12},
        {"id": 3, "xyz": [1.5, 0, 5], "radius": 0.07},
        {"id": 4, "xyz": [3, 0, 6], "radius": 0.05},
    ],
    "segments": [{"parent": 0, "child": 1}, {"parent": 1, "child": 2}, {"parent": 1, "child": 3}, {"parent": 3, "child": 4}],
}


def put(tmp_path, **changes):
    path = tmp_path / "hand.json"
    path.write_text(json.dumps({**HAND, **changes}))
    return path


def test_a_hand_made_tree_needs_only_nodes_and_segments(tmp_path):
    """Limbs, the union and the ground are derived; what is not stated is NaN, not a guess."""
    tree = read_tree(put(tmp_path))

    assert [list(n) for n in tree.graph.limbs.nodes] == [[0, 1, 2], [3, 4]]
    assert tree.graph.unions.label == ("U01",)
    assert tree.graph.unions.height[0] == 4.0
    assert np.isnan(tree.graph.radius_sd).all()
    assert np.isnan(tree.graph.arc).all()
    assert tree.beside.terrain.height_at([3.0, 2.0]) == 0.0
    assert tree.fitness.assessable


def test_nodes_may_stand_in_any_order_but_the_first(tmp_path):
    """Parents are put before their children; geometry stays the same."""
    swapped = [HAND["nodes"][i] for i in (0, 4, 3, 2, 1)]

    tree = read_tree(put(tmp_path, nodes=swapped))

    assert np.all(tree.graph.parent[1:] < np.arange(1, 5))
    assert sorted(map(tuple, tree.graph.xyz)) == sorted(tuple(map(float, n["xyz"])) for n in HAND["nodes"])


def test_stated_unions_win_over_derived_ones(tmp_path):
    """The file's own label, diameters and slope are used; the rest comes from the graph."""
    unions = [{"id": "fork", "node": 1, "parent_diameter": 0.4, "child_diameters": [0.3, 0.1], "limb_slope_deg": 20, "flags": ["dead suspect"]}]

    u = read_tree(put(tmp_path, unions=unions)).graph.unions

    assert u.label == ("fork",)
    assert u.parent_diameter[0] == 0.4
    assert list(u.arm_diameter) == [0.3, 0.1]
    assert np.degrees(u.arm_slope[-1]) == pytest.approx(20)
    assert u.flags == (("dead suspect",),)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"format": "something"}, "treescan-tree"),
        ({"version": 9}, "version 9"),
        ({"units": "ft"}, "'ft'"),
        ({"nodes": []}, "no nodes"),
        ({"nodes": [*HAND["nodes"], HAND["nodes"][0]]}, "same id"),
        ({"nodes": [{"id": 0, "xyz": [0, 0, 0], "radius": -1}], "segments": []}, "radius"),
        ({"nodes": [{"id": 0, "xyz": [0, None, 0], "radius": 1}], "segments": []}, "xyz of node 1 is null, not a number"),
        ({"nodes": [{"id": 0, "radius": 1}], "segments": []}, "xyz of node 1 is null, not 3 numbers"),
        ({"segments": [{"parent": 0, "child": 99}]}, "not there"),
        ({"segments": HAND["segments"][:2]}, "hang on nothing"),
        ({"segments": [*HAND["segments"], {"parent": 2, "child": 4}]}, "two parents"),
        ({"segments": [{"parent": 0, "child": 1}, {"parent": 1, "child": 2}, {"parent": 4, "child": 3}, {"parent": 3, "child": 4}]}, "loop"),
        ({"unions": [{"id": "U01", "node": 77}]}, "not there"),
        ({"unions": [{"id": "a", "node": 1}, {"id": "a", "node": 1}]}, "same id"),
        ({"beside": {"terrain": "no.json", "foliage": "no.npz", "surroundings": "no.json"}}, "cannot be read"),
    ],
)
def test_a_faulty_file_gives_one_clear_sentence(tmp_path, changes, words):
    """The file's name and the fault are named; nothing else escapes."""
    path = put(tmp_path, **changes)

    with pytest.raises(BadInput) as caught:
        read_tree(path)

    assert "json" in str(caught.value)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_not_json_and_not_there(tmp_path):
    """A text that is no JSON and a file that does not exist are named as such."""
    (tmp_path / "x.json").write_text("{nodes")
    with pytest.raises(BadInput, match="not valid JSON"):
        read_tree(tmp_path / "x.json")
    with pytest.raises(BadInput, match="cannot be read"):
        read_tree(tmp_path / "y.json")


def test_a_tree_alone_stands_on_level_ground():
    """The strategies' helper and the reader agree on what 'alone' means."""
    graph = random_tree(5)

    assert alone(graph).terrain.height_at([1.0, 1.0]) == graph.xyz[0, 2]


def test_the_sentences_of_older_files_stay_as_they_were_written():
    """Reasons, notes and wants that stand as plain English are read as somebody's own words; an empty want is none."""
    data = tree_out(traced())
    data["quality"]["reasons"], data["quality"]["notes"] = ["Rescan from the north."], ["odd"]
    data["quality"]["limbs"] = [{"limb": 0, "fit_for": "stem", "rescan": ""}, {"limb": 1, "fit_for": "stem", "rescan": "Nearer."}]
    back = tree_in(data, None, "old.json")

    assert back.fitness.reasons == (Reason("own_words", words="Rescan from the north."),)
    assert back.notes == (Reason("own_words", words="odd"),)
    assert [b["rescan"] for b in back.fitness.limbs] == [None, Reason("own_words", words="Nearer.")]


def numbered(*stated):
    """A stem of four nodes with two limbs off it, each of two segments, numbered in the file as told; the upper limb first in the file."""
    nodes = [[0, 0, 0], [0, 0, 3], [0, 0, 6], [0, 0, 9], [1, 0, 7], [2, 0, 8], [-1, 0, 4], [-2, 0, 5]]
    segments = [(0, 1, 0), (1, 2, 0), (2, 3, 0), (2, 4, stated[0]), (4, 5, stated[0]), (1, 6, stated[1]), (6, 7, stated[1])]
    return {
        "format": "treescan-tree",
        "version": 1,
        "units": "m",
        "nodes": [{"id": i, "xyz": xyz, "radius": 0.2 if i < 4 else 0.06} for i, xyz in enumerate(nodes)],
        "segments": [{"parent": p, "child": c, "limb": k} for p, c, k in segments],
    }


@pytest.mark.parametrize("stated", [(1, 2), (2, 1)])
def test_limb_numbers_that_the_file_states_are_kept(stated):
    """By them the user cuts: another numbering sawed another limb."""
    tree = tree_in(numbered(*stated), None, "a")
    tips = {round(float(tree.graph.xyz[tree.graph.limbs.nodes[k][-1], 2])): k for k in (1, 2)}

    assert (tips[8], tips[5]) == stated
    assert not tree.notes
    assert all(tree.graph.limb[n] == k for k in (1, 2) for n in tree.graph.limbs.nodes[k])


@pytest.mark.parametrize("stated", [(5, 9), (1, 1), (2, 7)])
def test_limb_numbers_that_cannot_be_kept_are_told(stated):
    """Numbers with holes or one for two limbs: numbered anew, and which is which is said."""
    (note,) = tree_in(numbered(*stated), None, "a").notes

    assert note.code == "limbs_numbered_anew"
    assert all(str(r["stated"]) in say(note) for r in note["limbs"])


@pytest.mark.parametrize("stated", [[0.4, 0.0, 4.5], None])
def test_a_crotch_that_a_file_states_is_kept(stated):
    """Its place, or that there is none; without the key it is found from the limbs."""
    tree = traced()
    own, data = tree.graph.unions.crotch, json.loads(json.dumps(tree_out(tree)))
    k = int(np.flatnonzero(np.isfinite(own[:, 0]))[0])
    assert np.array_equal(tree_in(data, None, "tree.json").graph.unions.crotch, own, equal_nan=True)
    data["unions"][k]["crotch"] = stated
    found = tree_in(data, None, "tree.json").graph.unions.crotch
    assert np.isnan(found[k]).all() if stated is None else found[k].tolist() == stated
    del data["unions"][k]["crotch"]
    assert tree_in(data, None, "tree.json").graph.unions.crotch[k] == pytest.approx(own[k])


def test_a_crotch_of_two_numbers_is_refused():
    """By its union's place in the file."""
    data = json.loads(json.dumps(tree_out(traced())))
    data["unions"][0]["crotch"] = [1.0, 2.0]
    with pytest.raises(BadInput, match="crotch of union 1"):
        check_tree(data, "tree.json")


def with_points(folder: Path) -> Path:
    """A tree.json and its files, points of a scan among them; the file of those points."""
    write_tree(traced(4), folder / "tree.json")
    return folder / "scan_points.npz"


def test_the_first_points_of_a_scan_are_an_even_pick():
    """Points along a line: every first part reaches from end to end without a gap; all are there once, to half a step."""
    line = np.column_stack([np.linspace(0, 10, 5001), np.zeros(5001), np.full(5001, 3.0)])
    kept = scan_points((line[:2000], line[2000:]), 4000)

    assert len(kept) == 4000 and kept.top == 3.0
    for share in (8, 4, 2, 1):
        x = np.sort(kept.xyz(4000 // share)[:, 0])
        assert np.diff(x).max() < 2.6 * 10 / 4000 * share and x[0] == 0 and x[-1] > 10 - 0.1
    every = np.sort(line[np.linspace(0, 5000, 4000).astype(int), 0])
    np.testing.assert_allclose(np.sort(kept.xyz()[:, 0]), every, atol=kept.step / 2 + 1e-6)
    assert scan_points((np.zeros((0, 3)),)) is None


def test_a_wide_scan_has_wider_steps():
    """Five hundred metres need more than 2 mm to a step, and keep their ends."""
    kept = scan_points((np.array([[0.0, 0, 0], [500, 10, 20]]),))

    assert kept.step == pytest.approx(500 / 65535)
    np.testing.assert_allclose(kept.xyz()[1], [500, 10, 20], atol=kept.step / 2)


def test_points_that_stood_with_the_foliage_are_still_read(tmp_path):
    """A folder of an earlier version: no file of points, a preview in foliage.npz; and one with neither."""
    with_points(tmp_path).unlink()
    data = json.loads((tmp_path / "tree.json").read_text())
    del data["beside"]["points"]
    (tmp_path / "tree.json").write_text(json.dumps(data))
    assert read_tree(tmp_path / "tree.json").points is None

    with np.load(tmp_path / "foliage.npz") as held:
        np.savez(tmp_path / "foliage.npz", preview=np.array([[1.0, 2, 3], [4, 5, 6]], np.float32), **held)
    np.testing.assert_allclose(read_tree(tmp_path / "tree.json").points.xyz(), [[1, 2, 3], [4, 5, 6]], atol=1e-3)


def test_a_tree_without_a_scan_leaves_no_points_of_an_earlier_one(tmp_path):
    """Its folder names no such file and holds none."""
    points = with_points(tmp_path)
    written = write_tree(dataclasses.replace(traced(5), points=None), tmp_path / "tree.json")

    assert not points.exists() and points not in written
    assert "points" not in json.loads((tmp_path / "tree.json").read_text())["beside"]


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        ({"coarse": np.zeros((3, 9), np.int64)}, "bytes"),
        ({"coarse": np.zeros((2, 9), np.uint8)}, "bytes"),
        ({"fine": np.zeros((3, 8), np.uint8)}, "bytes"),
        ({"coarse": np.zeros((3, 0), np.uint8), "fine": np.zeros((3, 0), np.uint8)}, "not 1 to"),
        ({"coarse": np.zeros((3, 200_001), np.uint8), "fine": np.zeros((3, 200_001), np.uint8)}, "not 1 to"),
        ({"step": np.array(np.nan)}, "its step"),
        ({"step": np.array(-1.0)}, "its step"),
        ({"step": np.array("x")}, "cannot be read"),
        ({"low": np.array([np.inf, 0, 0])}, "its lowest place"),
        ({"low": np.zeros(2)}, "its lowest place"),
        ({"low": None}, "lacks"),
    ],
    ids=str,
)  # fmt: skip
def test_a_harmed_file_of_points_is_named(tmp_path, harm, words):
    points = with_points(tmp_path)
    with np.load(points) as held:
        arrays = {name: a for name, a in ({**held} | harm).items() if a is not None}
    np.savez(points, **arrays)

    with pytest.raises(BadInput) as caught:
        read_tree(tmp_path / "tree.json")

    assert "scan_points.npz" in str(caught.value) and words in str(caught.value) and "\n" not in str(caught.value)


def test_the_same_points_give_the_same_bytes(tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    assert with_points(tmp_path / "a").read_bytes() == with_points(tmp_path / "b").read_bytes()
