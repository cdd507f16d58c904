"""The main job from a scan to its ranked list: what must not depend on how the scan lies, and what sample scans must say."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from pathlib import Path

import laspy
import numpy as np
import pytest

from treescan import plan, read_cloud, read_tree, trace
from treescan.assess import Assessment, TieInPoint, judged_again
from treescan.faces.cli.commands import run
from treescan.outputs.text.say import say
from treescan.planning.work.work_points import work_at_points
from treescan.reason import from_plain

pytestmark = pytest.mark.slow
SAMPLES = Path(__file__).parents[1] / "sample_clouds"
SCAN = SAMPLES / "marl_steps_slope.laz"
TURN = np.array([[np.cos(0.65), -np.sin(0.65), 0.0], [np.sin(0.65), np.cos(0.65), 0.0], [0.0, 0.0, 1.0]])
Lie = Callable[[np.ndarray], np.ndarray]
MAP = np.array([512_000.0, 5_400_000.0, 300.0])
FOOT = 0.3048
LYING = {
    "turned about the vertical": (lambda xyz: xyz @ TURN.T, lambda xyz: xyz @ TURN, None),
    "in map coordinates": (lambda xyz: xyz + MAP, lambda xyz: xyz - MAP, None),
    "in feet": (lambda xyz: xyz / FOOT, lambda xyz: xyz, "ft"),
}


@functools.cache
def _as_it_is() -> tuple[Assessment, np.ndarray]:
    done = plan(trace(read_cloud(str(SCAN))), species="oak")
    return done, _places(done)


def _places(done: Assessment) -> np.ndarray:
    """Where the ranked candidates are, in the scan's own coordinates [m]."""
    used = [p.union for p in done.points if p.usable]
    return done.tree.graph.unions.place[used] + done.tree.frame.origin


def _anchors_at(done: Assessment) -> np.ndarray:
    """Where all anchors are, in the scan's own coordinates [m]."""
    return done.tree.graph.unions.place[[p.union for p in done.points]] + done.tree.frame.origin


def _alike(p: TieInPoint, q: TieInPoint) -> bool:
    """One rope system on one hardware, tied to the same."""
    a, b = p.check.configuration, q.check.configuration
    return (a.system, a.hardware, a.tied_to) == (b.system, b.hardware, b.tied_to)


@pytest.mark.parametrize("how", LYING)
def test_the_same_tree_lying_otherwise_has_the_same_anchors(how, tmp_path):
    """A scan turned, shifted or in feet gives the same list.

    Every one of the first ten candidates is judged again with the same rope system within 25 cm, and ranked again unless its low end stands
    within a quarter of the gate at 1: there the gate decides between near ties. The first three stand within 5 cm, with scores within 0.05;
    dbh agrees to 1 mm, height to 1 cm. (Not to the last digit: grids lie otherwise over the points.) Their margins: see `_same_margins`.
    """
    there, back, unit = LYING[how]
    source = laspy.read(SCAN)
    xyz = there(np.column_stack([source.x, source.y, source.z]))
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [1e-4] * 3, np.floor(xyz.min(axis=0))
    moved = laspy.LasData(header)
    moved.xyz = xyz
    for name in ("intensity", "return_number", "number_of_returns", "point_source_id"):
        moved[name] = source[name]
    moved.write(str(tmp_path / "moved.las"))

    first, at = _as_it_is()
    other = plan(trace(read_cloud(str(tmp_path / "moved.las"), unit=unit)), species="oak")
    there_at = back(_places(other))
    a, b = ([p for p in done.points if p.usable] for done in (first, other))

    assert len(a) >= 10
    assert abs(first.tree.stem.dbh - other.tree.stem.dbh) < 0.001
    assert abs(first.tree.stem.height - other.tree.stem.height) < 0.01
    judged = back(other.tree.graph.unions.place[[q.union for q in other.points]] + other.tree.frame.origin)
    for k, p in enumerate(a[:10]):
        at_the_gate = p.check.check.margin.p5 < 1.25 * first.settings.planning.margin_gate
        twins = [
            np.linalg.norm(judged[j] - at[k])
            for j, q in enumerate(other.points)
            if q.system == p.system and (q.usable or at_the_gate)
        ]
        assert min(twins) < 0.25, (p.rank, min(twins))
    for k, p in enumerate(a[:3]):
        gaps = [np.linalg.norm(there_at[j] - at[k]) if q.system == p.system else np.inf for j, q in enumerate(b)]
        twin = b[int(np.argmin(gaps))]
        assert min(gaps) < 0.05
        assert twin.score == pytest.approx(p.score, abs=0.05)
    _same_margins(first, other, there if unit is None else lambda xyz: xyz, back)


def _same_margins(first: Assessment, other: Assessment, there: Lie, back: Lie) -> None:
    """The first three under one and the same work: pulled alike within 2 %, and strength over stress at the middle values no more than 3 % above
    what the other trace's diameter at the other's governing place leaves of it (strength goes with the cube). At the middle values, for the
    middle of all draws goes by the doubts of both traces too: two uses alike to 0.5 % had medians of 13.7 and 14.2.

    By themselves the two would be asked for other work: the default sample is drawn from the limb ends as traced, and the place that governs
    may lie a metre off. That, and where along a flare a trace sets the step of the diameter, made up to a quarter.
    """
    world = first.work.xyz + first.tree.frame.origin
    names = [str(i) for i in range(len(world))]
    again = judged_again(other, work=work_at_points(other.tree.graph, there(world) - other.tree.frame.origin, names))
    same = judged_again(first, work=work_at_points(first.tree.graph, first.work.xyz, names))
    at, twins_at = _anchors_at(same), back(_anchors_at(again))
    for p, place in [(p, x) for p, x in zip(same.points, at, strict=True) if p.usable][:3]:
        off = [np.linalg.norm(x - place) if _alike(p, q) else np.inf for q, x in zip(again.points, twins_at, strict=True)]
        q = again.points[int(np.argmin(off))]
        pull, twin_pull = p.check.force, back(q.check.force + other.tree.frame.origin) - back(other.tree.frame.origin)
        assert np.linalg.norm(pull) == pytest.approx(np.linalg.norm(twin_pull), rel=0.02)
        for one, two, mine, yours, turn in ((p, q, same, again, there), (q, p, again, same, back)):
            node = one.check.check.governing
            spot = turn(mine.tree.graph.xyz[node] + mine.tree.frame.origin)
            off = np.linalg.norm(yours.tree.graph.xyz + yours.tree.frame.origin - spot, axis=1)
            ratio = yours.tree.graph.radius / mine.tree.graph.radius[node]
            there_too = ratio[np.where(ratio > 0.8, off, np.inf).argmin()]  # not a side limb's first piece
            assert off.min() < 0.12
            assert _at_the_middle(two) <= 1.03 * there_too**3 * _at_the_middle(one)


def _at_the_middle(p: TieInPoint) -> float:
    """Strength over stress of the governing section at the middle values."""
    found = p.check.check
    return 1.0 / float(found.utilisation[list(found.nodes).index(found.governing)])


def test_a_scan_from_one_side_is_not_assessable(tmp_path):
    """The scan from one place only ends in "not assessable" with what a rescan needs, states no diameter, and ranks nothing."""
    assert run(["plan", str(SAMPLES / "wick_end.laz"), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    tree = json.loads((tmp_path / "out" / "tree.json").read_text())
    anchors = json.loads((tmp_path / "out" / "anchors.json").read_text())["anchors"]

    assert tree["quality"]["verdict"] == "not assessable"
    assert any("Rescan" in say(from_plain(r)) for r in tree["quality"]["reasons"])
    assert tree["stem"]["dbh"] is None
    assert not any(a["usable"] for a in anchors)


@pytest.mark.parametrize("name", ["quillmoor_green_qg07", "bracken_hythe_conifer", "marl_steps_slope"])
def test_sample_scans_measure_as_the_truth_beside_them(name):
    """Stem diameter within 5 mm and height within 10 cm of the grown tree; of the unions whose smaller limb is over 10 cm all are found
    within 20 cm, four in five within 10 cm."""
    truth = read_tree(str(SAMPLES / f"{name}.truth.json"))
    traced = trace(read_cloud(str(SAMPLES / f"{name}.laz")))
    u = truth.graph.unions
    second = np.array([np.sort(u.arm_diameter[a:b])[-2] for a, b in zip(u.arm_start[:-1], u.arm_start[1:], strict=True)])
    wanted = u.place[second >= 0.10] + truth.frame.origin
    found = traced.graph.unions.place + traced.frame.origin
    miss = np.array([np.linalg.norm(found - p, axis=1).min() for p in wanted])

    assert traced.stem.dbh == pytest.approx(truth.stem.dbh, abs=0.005)
    assert traced.stem.height == pytest.approx(truth.stem.height, abs=0.10)
    assert (miss < 0.20).all()
    assert np.count_nonzero(miss < 0.10) >= 0.8 * len(miss)
