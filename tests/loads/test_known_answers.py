"""A tree that was judged before, asked again for other loads: the answer is that of a tree nobody has asked about yet, to the last figure."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from loads.stick_trees import configuration, tree
from strategies import alone

from treescan.loads.checks.anchor import checked
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.site_history import SiteHistory
from treescan.loads.statics.structural_model import whole_tree
from treescan.reason import Reason

LIMBS = [(8.0, 0, 40, 3.0, 0.16, 0.08), (5.0, 120, 30, 3.0, 0.14, 0.06), (9.0, 200, 15, 3.5, 0.12, 0.05)]
PLAIN = LoadSettings()
LOADS = {
    "a lighter climber": {"climber_mass": 62.0},
    "a heavier rescuer": {"rescue_mass": 130.0},
    "another load test": {"test_people": 3.0},
    "a narrower rope angle": {"rope_angle_limit_deg": 25.0},
    "a wider one": {"rope_angle_limit_deg": 60.0},
    "no rescue": {"cases": tuple(c for c in PLAIN.cases if c != "rescue")},
    "two people to and fro": {"rescue_factor": (1.1, 1.3)},
    "more years of wind": {"history": replace(SiteHistory(), years=9, station_gust=22.0)},
    "more slack": {"slack": 0.8},
    "a softer rope": {"rope_modulus": 20000.0},
    "a loaded anchor leg": {"preload": 0.4, "basal_bound": "friction"},
    "in leaf": {"leaves": "on"},
    "another friction": {"mu_bark": (0.1, 0.2, 0.4)},
}


def figures(value: object) -> object:
    """All figures, words and arrays of an answer, to be compared to the bit."""
    if isinstance(value, np.ndarray):
        return value.shape, value.tobytes()
    if isinstance(value, Reason):
        return value.code, figures(dict(value.values))
    if is_dataclass(value):
        return [(f.name, figures(getattr(value, f.name))) for f in fields(value)]
    if isinstance(value, (tuple, list)):
        return [figures(v) for v in value]
    if isinstance(value, dict):
        return {k: figures(v) for k, v in value.items()}
    return repr(value) if isinstance(value, float) else value


def asked(graph):
    """Every system over every union, and work all round."""
    rng = np.random.default_rng(4)
    work = np.column_stack([rng.uniform(-4, 4, 30), rng.uniform(-4, 4, 30), rng.uniform(1, 8, 30)])
    lines = [configuration(graph, label, s) for label in graph.unions.label for s in ("MRS", "SRS canopy", "SRS basal")]
    return lines, work


@pytest.mark.parametrize("name", LOADS)
def test_other_loads_are_answered_as_on_a_tree_nobody_asked_about(name):
    """There and back, and with other work in between: word for word what a new model of a new graph gives."""
    changed = replace(PLAIN, **LOADS[name])
    graph = tree(LIMBS)
    lines, work = asked(graph)
    beside, wood = alone(graph), wood_of("oak", PLAIN)
    before = whole_tree(graph, beside, wood, PLAIN)
    first = checked(before, lines, work)
    checked(before, lines, work[::3])
    now = whole_tree(graph, beside, wood, changed, like=before)
    again = checked(now, lines, work)
    back = checked(whole_tree(graph, beside, wood, PLAIN, like=now), lines, work)

    new = tree(LIMBS)
    anew = checked(whole_tree(new, alone(new), wood, changed), lines, work)
    assert figures(again) == figures(anew)
    assert figures(back) == figures(first)
    assert figures(again) != figures(first)


def test_sections_are_laid_out_anew_for_other_wood_and_weight_alone():
    """What loads do not change stays: the same sections for another climber, others for another species, for leaves and a report."""
    graph = tree(LIMBS)
    beside, wood = alone(graph), wood_of("oak", PLAIN)
    before = whole_tree(graph, beside, wood, PLAIN)
    assert whole_tree(graph, beside, wood, replace(PLAIN, climber_mass=60.0, test_people=3.0), like=before).sections is before.sections
    for other in ({"leaves": "on"}, {"reported": ("U02 crack",)}, {"twig_share": 0.3}):
        assert whole_tree(graph, beside, wood, replace(PLAIN, **other), like=before).sections is not before.sections
    assert whole_tree(graph, beside, wood_of("willow", PLAIN), PLAIN, like=before).sections is not before.sections
