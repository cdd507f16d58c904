"""A wire that only the scan claims: told first, and what the user says of it is followed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import S, of_code, plain_tree, ranked, throw

from treescan.errors import BadInput
from treescan.faces.user_files.wires_said import volts_said
from treescan.planning.access.approach import OTHER, recommend
from treescan.planning.climb.climb_plan import Climbers, climb_plan
from treescan.planning.reach.clearances import conductors, wires_said
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import default_work
from treescan.trees.beside import KINDS, Beside, Site, Surroundings, Terrain, as_said

WIRE = KINDS.index("wire")


def beside(x=6.0):
    """A wire the scan saw, x metres east of the stem, 8 m up."""
    places = np.array([[x, y, 8.0] for y in np.arange(-10, 10, 0.2)])
    return Beside(Terrain.flat(0.0), surroundings=Surroundings(places, np.full(len(places), WIRE, np.uint8), 0.2))


def planned(site, x=6.0):
    """The list and the plan of the climb after what is said of the wire."""
    graph, heard = plain_tree(), as_said(beside(x), site)
    points = ranked(graph, [throw(graph, k, stand=(-6, 0, 0)) for k in range(3)], beside=heard, site=site)
    context = TreeContext(graph, heard, site, default_work(graph, heard, S), S)
    return points, climb_plan(context, points, Climbers(1000.0, two_people=False)), context


def test_a_claimed_wire_is_told_first_with_what_hangs_on_it():
    """All are refused for it and nothing else: the first warning says so, and so does why nothing is recommended."""
    points, plan, context = planned(Site())

    assert not any(p.usable for p in points)
    first = plan.warnings[0]
    assert first.code == "wires_claimed" and first["refused"] == first["n"] == len(points)
    assert first["away"] == pytest.approx(6.0, abs=0.05) and first["height"] == pytest.approx(8.0)
    assert np.degrees(first["azimuth"]) == pytest.approx(90, abs=2)
    way = recommend(context.graph, points, S, context.beside).recommended
    assert way.way == OTHER
    (but,) = of_code(way.pros, "none_but_for_wires")
    assert but["n"] == first["alone"] == sum({g.code for g in p.gates} <= {"anchor_near_conductor", "not_reachable"} for p in points) > 0


@pytest.mark.parametrize(("said", "told"), [(0.0, None), (230.0, 230.0)])
def test_the_answer_follows_what_is_said(said, told):
    """No wire, or a service of 230 V 6 m away: nothing is refused for it, no claim is left, and what was said is told."""
    points, plan, _ = planned(Site(wires=said))

    assert any(p.usable for p in points)
    assert not any(of_code(p.gates, "anchor_near_conductor") for p in points)
    assert not of_code(plan.warnings, "wires_claimed")
    (heard,) = wires_said(beside(), Site(wires=said))
    assert heard["voltage"] == told and heard["places"] == 100


def test_a_stated_voltage_still_keeps_its_distance():
    """230 V at 2 m: within the approach distance, refused by its stated voltage."""
    points, _, _ = planned(Site(wires=230.0), x=2.0)
    gates = [g for p in points for g in of_code(p.gates, "anchor_near_conductor")]

    assert gates and all(g["to"].code == "wire_stated" and g["limit"] == S.approach.gate for g in gates)


def test_what_is_said_of_one_area_leaves_the_rest_claimed():
    """"No wire" south of the stem alone: north of it the scan's wire stays live with unknown voltage, whatever is said in general first."""
    south = np.array([[-20.0, -20], [20, -20], [20, 0.05], [-20, 0.05]])
    half = Site(wire_areas=((south, 0.0),))
    left = as_said(beside(), half).surroundings

    assert (left.of("wire")[:, 1] > 0).all() and 40 <= len(left.of("wire")) <= 60
    assert len(left.of("unknown")) == 100 - len(left.of("wire"))
    assert [line.name.code for line in conductors(half, as_said(beside(), half))] == ["wire_seen"]
    both = replace(half, wires=400.0)
    assert [line.name.code for line in conductors(both, as_said(beside(), both))] == ["wire_stated"]


@pytest.mark.parametrize(("text", "volts"), [("none", 0.0), ("230V", 230.0), ("0.4 kV", 400.0), ("20kv", 20e3)])
def test_what_the_option_takes(text, volts):
    """None, volts, kilovolts."""
    assert volts_said(text) == pytest.approx(volts)


@pytest.mark.parametrize("text", ["230", "", "yes", "0V", "-5V", "9999kV", "nan V"])
def test_what_the_option_refuses(text):
    """A figure without a unit may be volts or kilovolts; nothing is guessed."""
    with pytest.raises(BadInput, match="--wires"):
        volts_said(text)
