"""Nothing is recommended that the sums refuse: an outsider walks every recommendation of whole plans."""

from __future__ import annotations

import copy
import functools
import json
import os
from pathlib import Path

import pytest
from auditor import Audit, name

from treescan import plan, read_cloud, trace
from treescan.assess import Assessment, Settings, revised
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.strict_json import dumps
from treescan.planning.ranking.overrides import Override
from treescan.planning.work.removal import Cut, Removal, cut_limb
from treescan.settings import merged

SAMPLES = Path(__file__).parents[1] / "sample_clouds"
SMALL = merged(Settings(), {"planning": {"max_unions": 16, "work_points": 60}})
SPECIES = {
    "marl_steps_slope": "beech",
    "bracken_hythe_conifer": "Douglas fir",
    "quillmoor_green_qg07": "oak",
    "wick_end": "oak",
}


EVERY = bool(os.environ.get("TREESCAN_EVERY_SCENARIO"))
"""The large samples take half an hour more: their scenarios are asked for by name."""


def written(done: Assessment) -> dict:
    """anchors.json as a reader gets it."""
    return json.loads(dumps(anchors_out(done)))


@functools.cache
def planned(sample: str, small: bool = False) -> Assessment:
    tree = trace(read_cloud(str(SAMPLES / f"{sample}.laz")))
    return plan(tree, species=SPECIES[sample], settings=SMALL if small else Settings())


@pytest.mark.parametrize("sample", ["marl_steps_slope"])
def test_nothing_is_recommended_that_the_sums_refuse(sample):
    """First lines, ways up, sets, second lines, pairs, redirects, rescue lines and walks of a sample judged in part."""
    assert Audit(written(planned(sample, small=True))).faults() == []


def usable(doc):
    return [r for r in doc["anchors"] if r["usable"]]


def refuse(row):
    row["capacity"]["verdict"], row["capacity"]["margin_p5"] = "does not hold", 0.4


def first(doc):
    refuse(usable(doc)[0])


def line_of_a_step(doc):
    step = next(s for r in usable(doc) for s in r["access"] if s["union"] and s["line"])
    step["line_margin_p5"] = 0.9


def a_step_on_nothing(doc):
    step = next(s for r in usable(doc) for s in r["access"] if s["union"] and s["line"])
    step["line"] = "U99 MRS"


def rescuer(doc):
    plan = next(r for r in doc["climb"]["rescue"] if r["independent"])
    row = next(r for r in doc["anchors"] if name(r) == plan["rescue_anchor"])
    other = next(r for r in doc["anchors"] if name(r) == plan["work_anchor"])
    row["capacity"]["governing"]["node"] = other["capacity"]["way_down_nodes"][-1]


def second_line(doc):
    found = doc["climb"]["two_lines"]
    line = next(x for x in found["lines"] if x["second"] is not None)
    row = next(r for r in doc["anchors"] if name(r) == name(found["anchors"][line["second"]]))
    row["capacity"]["within_deg"] = 0.0


def way_to_work(doc):
    way = next(w for w in doc["climb"]["ways"] if w["how"] == "rope")
    way["angle_deg"] = 70.0


def redirect(doc):
    doc["climb"]["redirects"].append(
        {"main": usable(doc)[0]["union"], "union": "U01", "spoils": True, "exact": True, "main_margin_p5": 2, "margin_p5": 0.7}
    )


def pair(doc):
    doc["climb"]["two_lines"]["pair"] = {
        "breach": True,
        "lines": [
            {**{k: r[k] for k in ("union", "system")}, "margin_p5": 0.8, "if_the_other_goes": {"margin": 0.5}}
            for r in usable(doc)[:2]
        ],
        "common": {"margin_p5": 0.8},
    }


def doubtful_first(doc):
    next(r for r in doc["anchors"] if r["rank"] == 1)["capacity"]["verdict"] = "doubtful"


def unsaid_doubt(doc):
    climb = doc["climb"]["set"]
    row = next(r for r in doc["anchors"] if name(r) == name(climb["anchors"][0]))
    row["capacity"]["verdict"], climb["words_data"] = "doubtful", []


def rescuer_on_a_likely_break_of_the_stem(doc):
    plan = next(r for r in doc["climb"]["rescue"] if r["independent"])
    row = next(r for r in doc["anchors"] if name(r) == plan["rescue_anchor"])
    other = next(r for r in doc["anchors"] if name(r) == plan["work_anchor"])
    other["breaks"].append({"likely": True, "kind": "stem", "node": row["capacity"]["way_down_nodes"][-2]})


SPOILED = [doubtful_first, unsaid_doubt, rescuer_on_a_likely_break_of_the_stem, first, line_of_a_step, a_step_on_nothing, rescuer, second_line, way_to_work, redirect, pair]


@pytest.mark.parametrize("spoil", SPOILED, ids=lambda f: f.__name__)
def test_the_auditor_finds_what_is_put_in(spoil):
    """Each kind of refused recommendation, put into a good plan, is found."""
    doc = copy.deepcopy(written(planned("marl_steps_slope", small=True)))
    spoil(doc)

    assert Audit(doc).faults()


@pytest.mark.parametrize("kind", ["refused", "dead", "defect"])
def test_nothing_is_recommended_after_a_statement_that_takes_steps_away(kind):
    """The union most ways go over is refused, dead or weakened by half: no way goes over it any more."""
    done = planned("marl_steps_slope", small=True)
    stops = [s.label for p in done.points if p.usable for s in p.access[1:]]
    most = max(set(stops), key=stops.count)
    said = Override(kind, "A", "rot", "today", union=most, **({"value": 0.1} if kind == "defect" else {}))
    after = revised(done, [said])

    assert Audit(written(after)).faults() == []
    assert all(s.line.split()[0] != most for p in after.points if p.usable for s in p.access if s.line)


@pytest.mark.slow
@pytest.mark.parametrize("sample", SPECIES if EVERY else [s for s in SPECIES if s != "quillmoor_green_qg07"])
def test_no_sample_recommends_what_the_sums_refuse(sample):
    """Every recommendation of every sample, as planned by default and with no species."""
    assert Audit(written(planned(sample))).faults() == []


def _refused_first(done):
    return revised(done, [Override("refused", "A", "rot", "today", union=done.points[0].label)])


def _defect_on_the_set(done):
    labels = {p.label for p in done.climb.anchors.points}
    return revised(done, [Override("defect", "A", "crack", "today", union=u, value=0.6) for u in sorted(labels)])


def _removal(done):
    graph = done.tree.graph
    limbs = [int(graph.unions.arm_limb[graph.unions.laterals(p.union)[0]]) for p in done.points[:3]]
    cuts = (cut_limb(graph, limb) for limb in dict.fromkeys(limbs))
    stem = Cut(int(graph.limbs.nodes[0][3]), "stem")
    return plan(done.tree, species=done.asked.species, removal=Removal((*cuts, stem)))


def _unknown_species(done):
    return plan(done.tree)


def _heavy_climber(done):
    return plan(done.tree, species=done.asked.species, settings=merged(Settings(), {"loads": {"climber_mass": 130.0}}))


SCENARIOS = [_refused_first, _defect_on_the_set, _removal, _unknown_species, _heavy_climber]


@pytest.mark.slow
@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda f: f.__name__[1:])
@pytest.mark.parametrize("sample", ["marl_steps_slope", *(["bracken_hythe_conifer", "quillmoor_green_qg07"] if EVERY else [])])
def test_no_scenario_recommends_what_the_sums_refuse(sample, scenario):
    """After statements, in a removal, for an unknown species and a heavier climber."""
    done = planned(sample)
    if not any(p.usable for p in done.points):
        pytest.skip("nothing is ranked on this sample")

    assert Audit(written(scenario(done))).faults() == []
