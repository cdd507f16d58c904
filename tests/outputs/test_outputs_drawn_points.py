"""What the user drew as points, anchors in other trees and bases of basal lines: on the plan, in the map layers, in the words and in the JSON."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_up_assessment import made_up

from treescan.assess import Assessment
from treescan.loads.checks.load_test import load_test
from treescan.loads.settings import LoadSettings
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.drawing.elevation import elevation
from treescan.outputs.drawing.plan_drawing import plan
from treescan.outputs.gis.gis_layers import layers
from treescan.outputs.gis.map_styles import LOOKS
from treescan.outputs.report.cards import card
from treescan.outputs.shapes.rope_lines import rope_line
from treescan.outputs.text.wording import metres

ASH, BEECH = ("the ash", np.array([7.0, 3.0, 1.0])), ("the beech", np.array([-6.0, 9.0, 14.0]))


@pytest.fixture(scope="module")
def drawn() -> Assessment:
    """The made-up assessment with an anchor and a base drawn, its basal lines tied to the base."""
    a = made_up()
    tied = [
        replace(p, check=replace(p.check, configuration=replace(p.check.configuration, base=ASH[1], tied_to=ASH[0])))
        if p.system == "SRS basal"
        else p
        for p in a.points
    ]
    return replace(a, site=replace(a.site, anchors=(BEECH,), bases=(ASH,)), points=tuple(tied))


def test_the_plan_shows_them_where_they_are(drawn: Assessment) -> None:
    """Both stand on the plan by name, the base to the east-north-east of the stem, the anchor to the north-west."""
    picture, _ = plan(drawn, None)
    at = {m.text: (m.x, m.y) for m in picture.marks if hasattr(m, "text") and ("base" in m.text or "anchor" in m.text)}
    assert set(at) == {"base at “the ash”", "anchor in “the beech”"}
    assert at["base at “the ash”"][0] > picture.width / 2 > at["anchor in “the beech”"][0]
    assert at["base at “the ash”"][1] < picture.height / 2 and at["anchor in “the beech”"][1] < picture.height / 2
    bare, _ = plan(made_up(), None)
    assert not any("base at" in getattr(m, "text", "") for m in bare.marks)


def test_the_elevation_shows_the_rope_down_to_the_base(drawn: Assessment) -> None:
    """The base of a basal line is marked and named in the side view; other systems have none."""
    for p in drawn.points:
        picture, _ = elevation(drawn, p)
        named = [m for m in picture.marks if "base: “the ash”" in getattr(m, "text", "")]
        assert len(named) == (1 if p.system == "SRS basal" else 0)


def test_map_layers_and_json_name_them(drawn: Assessment) -> None:
    """One layer with kind, name and place in map coordinates, with a legend for each kind; anchors.json says what a line is tied to."""
    layer = next(x for x in layers(drawn) if x.name == "drawn_points")
    assert list(zip(layer.columns["kind"], layer.columns["name"], strict=True)) == [("anchor", "the beech"), ("base", "the ash")]
    np.testing.assert_allclose([g.coords[0] for g in layer.shapes], np.array([BEECH[1], ASH[1]]) + drawn.tree.frame.origin, atol=1e-4)
    assert {r.value for r in LOOKS["drawn_points"].rules} == {"anchor", "base"}
    for j in anchors_out(drawn)["anchors"]:
        assert j["tied_to"] == ("the ash" if j["system"] == "SRS basal" else None)


def test_the_card_says_what_a_basal_line_is_tied_to(drawn: Assessment) -> None:
    """The name and the distance in both units, or the foot of the stem; nobody judged it either way."""
    for a, words in ((drawn, "“the ash”, 7.6 m (25.0 ft) from this stem; not judged"), (made_up(), "the foot of this stem; not judged")):
        found = [r.text for p in a.points if p.system == "SRS basal" for r in card(a, p, 1).answers[2].only("card_tied")]
        assert found and set(found) == {words}


def test_the_rope_is_drawn_over_the_limbs_under_the_climbers_leg() -> None:
    """From the base over the union and on over the outer limb, then plumb down from that one."""
    a = made_up()
    p = next(p for p in a.points if p.system == "SRS basal")
    limb = next(
        nodes for k, nodes in enumerate(a.tree.graph.limbs.nodes) if k != a.tree.graph.limb[p.check.configuration.rest_node] and len(nodes) > 3
    )
    beyond = replace(p, check=replace(p.check, configuration=replace(p.check.configuration, beyond=np.array([limb[2]], np.int32))))
    plain_line, line = rope_line(a, p), rope_line(a, beyond)
    assert len(line) == len(plain_line) + 1
    np.testing.assert_allclose(line[: len(plain_line) - 1], plain_line[:-1])
    np.testing.assert_allclose(line[-2][:2], a.tree.graph.xyz[limb[2]][:2])
    np.testing.assert_allclose(line[-1][:2], line[-2][:2])
    assert line[-1][2] < line[-2][2]


def test_the_circle_to_stand_clear_of_is_drawn_to_scale() -> None:
    """The dashed ring round the union has the load test's radius, measured against the 5 m ring of the drawing; the caption says the same metres."""
    a = made_up()
    p = replace(a.points[0], load_test=load_test(a.tree.graph, a.points[0].check, LoadSettings()))
    assert p.load_test is not None
    picture, words = plan(a, p)
    (ring,) = [m for m in picture.marks if getattr(m, "css", "") == "clear"]
    five = next(m.r for m in picture.marks if getattr(m, "css", "") == "ring")
    u, foot = p.load_test.clear_centre, a.tree.graph.xyz[0, :2]
    centre = np.array([picture.width / 2, picture.width / 2]) + (u - foot) * five / 5.0 * [1, -1]
    for part in ring.parts:
        assert np.linalg.norm(part - centre, axis=1) == pytest.approx(p.load_test.clear_radius * five / 5.0, abs=0.2)
    assert "stand clear" in words
    assert metres(p.load_test.clear_radius, 0) in words
