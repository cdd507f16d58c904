"""Unions beyond the list: screened on the safe side, counted, and what would change the answer where they are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hands import ASSESSABLE, S, table, tree
from strategies import alone, random_tree

from treescan.loads.checks.anchor import check_anchor
from treescan.loads.limb_check import FAILS, UNSEEN, VERDICTS
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.planning.candidates.candidates import bearing_diameter, candidate_configurations, candidate_unions
from treescan.planning.candidates.screening import Screening, screening_lines, unions_left_out
from treescan.planning.climb.left_out import left_out
from treescan.planning.climb.what_would_change import what_would_change
from treescan.planning.ranking.rank import rank_points
from treescan.planning.tree_context import TreeContext
from treescan.planning.work.work_points import default_work
from treescan.trees.beside import Site

LOADS = LoadSettings(samples=400)
FEW = replace(S, max_unions=3, work_points=25)


def model_of(graph, loads=LOADS):
    return whole_tree(graph, alone(graph), wood_of("oak", loads), loads, 1)


def judged_by_all_lines(graph, work, union, model):
    """Every way of rigging one union, set by hand, as the full judgement would check it."""
    one = replace(S, max_unions=500)
    found = candidate_configurations(graph, alone(graph), table(graph), (), one)
    return [check_anchor(model, c, work, narrower=True) for c, _ in found if c.union == union]


@pytest.mark.parametrize("seed", range(3))
def test_the_screening_is_never_better_than_the_full_judgement(seed):
    """Every union left out by a short list: verdict and low side of its one line against the best of all lines."""
    graph = random_tree(seed, height=16, dbh=0.5, limbs=9)
    model, work = model_of(graph), default_work(graph, alone(graph), FEW).xyz
    lines = screening_lines(graph, alone(graph), table(graph), FEW, LOADS.min_lever)

    assert {c.union for c, _ in lines} == set(unions_left_out(graph, FEW))
    compared = 0
    for configuration, _ in lines:
        if graph.unions.height[configuration.union] < S.min_candidate_height:
            continue
        screened = check_anchor(model, configuration, work)
        full = judged_by_all_lines(graph, work, configuration.union, model)
        if not full:
            continue
        best = min(VERDICTS.index(c.check.verdict) for c in full)
        assert VERDICTS.index(screened.check.verdict) >= best
        seen = [c.check.margin.p5 for c in full if c.check.margin.known]
        if screened.check.margin.known:
            assert screened.check.margin.p5 <= max(seen) * (1 + 1e-9)
        compared += 1
    assert compared >= 2


@pytest.mark.parametrize("seed", range(3))
def test_no_union_of_eight_centimetres_is_passed_over(seed):
    """Candidates and screened unions together are all that are thick and high enough, and the counts add up."""
    graph = random_tree(seed, height=16, dbh=0.5, limbs=9)
    context = TreeContext(graph, alone(graph), Site(), default_work(graph, alone(graph), FEW), FEW)
    model = model_of(graph)
    lines = screening_lines(graph, alone(graph), table(graph), FEW, LOADS.min_lever)
    screening = Screening(tuple((check_anchor(model, c, context.work.xyz), t) for c, t in lines))
    found = left_out(context, ASSESSABLE, screening, ())
    u = graph.unions
    thick = {k for k in range(len(u)) if u.height[k] >= 3.0 and bearing_diameter(graph, k, FEW) >= 0.08}
    looked_at = set(candidate_unions(graph, FEW)) | {s.union for s in found.screened}

    assert thick <= looked_at
    judged, *_, passed = found.reasons
    total = judged["judged"] + (judged["screened"] or 0) + passed["thin"] + passed["low"]
    assert total == len(u)


def slender(diameter, lean=3.0):
    """A stout stem with one long limb at 8 m whose wood decides."""
    return tree(
        ([[0, 0, 0], [0, 0, 14]], 0.30, 0.20),
        ([[0, 0, 8], [lean, 0, 8.8]], diameter / 2, diameter / 2.2),
    )


def changes_of(graph, loads=LOADS, settings=S):
    """What would change the answer at every refused union."""
    work = default_work(graph, alone(graph), settings)
    model = model_of(graph, loads)
    found = candidate_configurations(graph, alone(graph), table(graph), ("MRS",), settings)
    checks = [check_anchor(model, c, work.xyz, narrower=True) for c, _ in found]
    context = TreeContext(graph, alone(graph), Site(), work, settings)
    points = rank_points(context, ASSESSABLE, [(c, None) for c in checks], loads, 1)
    return what_would_change(model, context, points, ()), points, model, work


def test_what_is_told_is_true():
    """Whatever is told as the nearest change is judged anew here: with it the line holds, without it it does not.

    Limbs that fail only out at the work, and heavy people under whom they fail straight below too.
    """
    told = set()
    heavy = replace(LOADS, climber_mass=220.0, rescue_mass=220.0)
    for diameter, loads in [(d, m) for m in (LOADS, heavy) for d in np.linspace(0.081, 0.17, 5)]:
        changes, points, model, work = changes_of(slender(float(diameter)), loads)
        for c in changes:
            p = next(p for p in points if p.name == c.line)
            first = c.changes[0]
            told.add(first.code)
            if first.code == "change_load":
                light = replace(model.settings, climber_mass=first["mass"], rescue_mass=first["mass"])
                again = check_anchor(replace(model, settings=light), p.check.configuration, work.xyz)
            elif first.code == "change_one_person":
                alone_ = tuple(x for x in model.settings.cases if x != "rescue")
                again = check_anchor(replace(model, settings=replace(model.settings, cases=alone_)), p.check.configuration, work.xyz)
            else:
                continue
            assert p.check.check.verdict == FAILS or p.check.check.margin.p5 < 1.0
            assert again.check.verdict not in (FAILS, UNSEEN) and again.check.margin.p5 >= 1.0
            assert first["low"] == pytest.approx(again.check.margin.p5)
    assert told & {"change_load", "change_one_person", "change_choke"}


def test_unseen_wood_asks_for_a_scan_and_not_for_a_lighter_climber():
    """Where the scan cannot tell, nothing else is told."""
    graph = slender(0.15)
    hidden = np.array(graph.seen)
    hidden[5:] = False
    changes, *_ = changes_of(replace(graph, seen=hidden))

    assert changes and all(c.changes[0].code == "change_look_again" for c in changes)
