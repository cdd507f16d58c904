"""What a climber calls a place: leaders by compass and rank, limbs by direction, unions by order and height."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from made_up_assessment import made_up
from strategies import assemble, random_trees

from treescan.outputs.data.anchors_csv import anchor_rows
from treescan.outputs.data.standing_file import standing_out
from treescan.outputs.data.tables import table
from treescan.outputs.gis.gis_layers import layers
from treescan.outputs.shapes.place_names import place_names, place_of
from treescan.outputs.text.say import say
from treescan.wood.graph import WoodGraph


def grown(*axes: tuple[tuple[float, float, float], tuple[float, float, float], float, float]) -> WoodGraph:
    """A tree of straight axes (foot, tip, thickness at foot and tip [m]), each but the first growing out of wood made before."""
    xyz, radius, parent = [np.zeros(3)], [axes[0][2] / 2], [-1]
    for foot, tip, thick, thin in axes:
        at = int(np.argmin(np.linalg.norm(np.array(xyz) - np.array(foot), axis=1)))
        count = max(2, round(float(np.linalg.norm(np.subtract(tip, foot))) / 0.25))
        for i in range(1, count + 1):
            xyz.append(np.array(foot) + (np.array(tip) - np.array(foot)) * i / count)
            radius.append((thick + (thin - thick) * i / count) / 2)
            parent.append(at)
            at = len(xyz) - 1
    return assemble(np.array(xyz), np.array(radius), np.array(parent), radius_sd=0.03 * np.array(radius))


def two_leaders() -> WoodGraph:
    """A stem that parts at 6 m into a leader to the north and a thinner one to the south, with limbs on both."""
    return grown(
        ((0, 0, 0), (0, 0, 6), 0.5, 0.42),
        ((0, 0, 6), (0, 4, 14), 0.36, 0.05),
        ((0, 0, 6), (0, -4, 13), 0.32, 0.05),
        ((0, 0, 3), (3, 0, 4), 0.14, 0.04),
        ((0, 1, 8), (3, 1, 9), 0.12, 0.04),
        ((0, 2, 10), (-2, 0, 11), 0.12, 0.04),
    )


def test_a_union_is_named_by_leader_order_height_and_the_limb_that_points() -> None:
    """The words of the trade, for every union of a tree whose parts one can point at."""
    names = [say(n) for n in place_names(two_leaders())]
    assert names == [
        "stem, first union, 3.0 m (9.8 ft)",
        "stem, second union, 6.0 m (19.7 ft)",
        "north leader, first union, 8.0 m (26.2 ft)",
        "north leader, second union, 10.0 m (32.8 ft)",
    ]


def test_a_union_too_high_to_count_to_is_named_by_its_limb() -> None:
    """Six are counted; the next are told by where their limbs point, and counted all the same where that would name two."""
    sides = ((3, 0), (0, 3), (-3, 0), (0, -3))
    limbs = [((0, 0, 2.0 + k), (*sides[k % 4], 3.0 + k), 0.12, 0.04) for k in range(8)]
    names = [say(n) for n in place_names(grown(((0, 0, 0), (0, 0, 12), 0.5, 0.1), *limbs))]
    assert names[5].startswith("stem, sixth union, 7.0 m")
    assert names[6:] == ["stem, at the west limb, 8.0 m (26.2 ft)", "stem, at the south limb, 9.0 m (29.5 ft)"]


def test_turning_the_tree_turns_its_names() -> None:
    """The same tree turned by a right angle, north to east."""
    graph = two_leaders()
    turn = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    turned = replace(graph, xyz=graph.xyz @ turn.T)
    assert [say(n).replace("east", "north") for n in place_names(turned)] == [say(n) for n in place_names(graph)]


def test_two_leaders_of_one_direction_are_ranked_by_thickness() -> None:
    """The thicker is "north leader", the thinner "second north leader"."""
    graph = grown(
        ((0, 0, 0), (0, 0, 5), 0.6, 0.5),
        ((0, 0, 5), (0, 4, 14), 0.3, 0.05),
        ((0, 0, 5), (0.5, 6, 13), 0.27, 0.05),
        ((0, 0, 5), (0, -4, 13), 0.28, 0.05),
        ((0, 2, 9.5), (3, 2, 10), 0.12, 0.04),
        ((0.25, 3, 9), (-3, 3, 10), 0.12, 0.04),
    )
    leaders = {say(n["axis"]) for n in place_names(graph)}
    assert leaders == {"stem", "north leader", "second north leader"}


@given(random_trees())
@settings(max_examples=25, deadline=None)
def test_no_two_counted_unions_have_one_name(graph: WoodGraph) -> None:
    """A name that is counted says one union and no other; every union has a name."""
    names = place_names(graph)
    assert len(names) == len(graph.unions)
    told = Counter(say(n) for n in names if n.code == "place_named")
    assert all(times == 1 for times in told.values())


def test_tables_say_the_same_words() -> None:
    """anchors.csv, the table of unions and the name itself agree."""
    a = made_up()
    assert [row["place"] for row in anchor_rows(a)] == [say(place_of(a.tree.graph, p)) for p in a.points]
    unions = table(a, "unions").drop_duplicates("union")
    assert list(unions["place"]) == [say(n) for n in place_names(a.tree.graph)]


def test_map_layers_and_standing_places_say_the_same_words() -> None:
    """Unions, throws, ropes, candidates and the stem's first candidate on the map; the table of throws; standing.json."""
    a = made_up()
    graph = a.tree.graph
    union = {label: say(n) for label, n in zip(graph.unions.label, place_names(graph), strict=True)}
    candidate = {(p.rank, p.label, p.system): say(place_of(graph, p)) for p in a.points if p.usable}
    on_map = {layer.name: layer.columns for layer in layers(a)}
    assert on_map["anchors"]["place"] == [say(place_of(graph, p)) for p in a.points]
    assert on_map["stem"]["first_place"] == [say(place_of(graph, next(p for p in a.points if p.usable)))]
    for name in ("unions", "throws"):
        assert on_map[name]["place"] == [union[label] for label in on_map[name]["union"]] and on_map[name]["place"]
    ropes = on_map["ropes"]
    assert ropes["place"] == [candidate[key] for key in zip(ropes["rank"], ropes["union"], ropes["system"], strict=True)]
    throws = table(a, "throws")
    assert list(throws["union_place"]) == [union[label] for label in throws["union"]]
    assert {u["union"]: u["place"] for u in standing_out(a)["unions"]} == union


def test_the_name_says_which_limb_the_rope_lies_over() -> None:
    """The way the limb under the rope points; round the stem there is none."""
    a = made_up()
    p = a.points[0]
    assert "limb over it points" in say(place_of(a.tree.graph, p))
    round_stem = replace(p, hardware="ring, round the stem")
    assert say(place_of(a.tree.graph, round_stem)).endswith("rope round the stem")
