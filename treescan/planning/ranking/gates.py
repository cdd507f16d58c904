"""What stands against a candidate, and what must be looked at first? Every answer in words."""

from __future__ import annotations

import numpy as np

from treescan.loads.limb_check import AnchorCheck
from treescan.planning.candidates.contact import round_stem
from treescan.planning.candidates.rescan_advice import what_settles
from treescan.planning.settings import PlanningSettings
from treescan.planning.tie_in_point import AccessStep, Clearance, Reach
from treescan.throw.throw_path import Throw
from treescan.wood.graph import ScanFitness, WoodGraph

MOST_NAMED = 6
"""Unions under a line that are named in a sentence; all of them stand with the throw."""

NOT_SEEN = "Not seen"
"""How a gate starts that only a better scan or a climber's eye can lift; one makes the verdict "not assessable"."""


def rest_diameter(graph: WoodGraph, check: AnchorCheck) -> tuple[float, float]:
    """Diameter of the limb the rope bears on and its standard deviation; NaN = not stated. [m]"""
    node = check.configuration.rest_node
    return 2 * float(graph.segment_radius[node]), 2 * float(graph.radius_sd[node])


def bearing_row(graph: WoodGraph, check: AnchorCheck) -> int:
    """Row of the arm table the rope bears on, -1 where the rest node lies on no arm of this union."""
    u = graph.unions
    rows = np.arange(u.arm_start[check.configuration.union], u.arm_start[check.configuration.union + 1])
    found = rows[u.arm_limb[rows] == graph.limb[check.configuration.rest_node]]
    return int(found[0]) if len(found) else -1


def gates(
    graph: WoodGraph,
    fitness: ScanFitness,
    check: AnchorCheck,
    throw: Throw | None,
    reach: Reach,
    access: tuple[AccessStep, ...],
    electric: tuple[Clearance, ...],
    settings: PlanningSettings,
) -> tuple[str, ...]:
    """Reasons not to rank a candidate, one sentence each; empty when there is none."""
    unseen = _scan_gates(graph, fitness, check)
    return (
        *unseen,
        *((what_settles(graph, check),) if unseen and fitness.assessable else ()),
        *_wood_gates(graph, check, settings),
        *_margin_gate(graph, check, settings),
        *(c.words + " Ask the line owner." for c in electric if c.breach and c.what == "tie-in point"),
        *_access_gate(throw, access),
        *(("It serves none of the work: every straight rope is too flat, fouled, or the work lies above it.",) if reach.share <= 0 else ()),
    )


def _scan_gates(graph: WoodGraph, fitness: ScanFitness, check: AnchorCheck) -> list[str]:
    out = []
    if not fitness.assessable:
        out += [f"{NOT_SEEN}: the scan is not assessable. {r}" for r in fitness.reasons or ("No reason was stated.",)]
    union, node = check.configuration.union, check.configuration.rest_node
    height = float(graph.unions.height[union])
    for band in fitness.bands:
        if band["from_m"] <= height < band["to_m"] and band["fit_for"] == "nothing":
            out.append(f"{NOT_SEEN}: between {band['from_m']:.0f} and {band['to_m']:.0f} m the scan is fit for nothing.")
    limb = fitness.of_limb(int(graph.limb[node]))
    if limb.get("fit_for") == "nothing":
        out.append(f"{NOT_SEEN}: the scan is fit for nothing on the limb the rope bears on. {limb['rescan']}")
    u = graph.unions
    if "bridged" in u.flags[union]:
        out.append(f"{NOT_SEEN}: the union is doubtful, the scan has a gap where the limbs join.")
    elif not graph.seen[node]:
        out.append(f"{NOT_SEEN}: the limb the rope bears on is bridged over a gap in the scan.")
    elif not np.isfinite(graph.segment_radius[node]):
        out.append(f"{NOT_SEEN}: no diameter was measured where the rope bears.")
    elif check.check.verdict == "not seen":
        out.append(f"{NOT_SEEN}: {check.check.reason.removeprefix('Not seen: ')}")
    return out


def _wood_gates(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> list[str]:
    out = []
    flags, choked = graph.unions.flags[check.configuration.union], round_stem(graph, check.configuration)
    if any("dead" in f for f in flags) and not choked:
        out.append("Dead suspect: the limb looks dead in the scan; no anchor unless a competent person has inspected it.")
    diameter, _ = rest_diameter(graph, check)
    if diameter < settings.min_limb:
        what = "stem" if choked else "limb"
        out.append(f"Too thin: the {what} is {100 * diameter:.1f} cm where the rope bears, at least {100 * settings.min_limb:.0f} cm is asked.")
    arm = bearing_row(graph, check)
    if arm >= 0 and not choked and graph.unions.arm_slope[arm] < -settings.steepest_droop:
        out.append(f"The limb falls away at {np.degrees(-graph.unions.arm_slope[arm]):.0f} degrees: the rope can run out along it.")
    return out


def _margin_gate(graph: WoodGraph, check: AnchorCheck, settings: PlanningSettings) -> list[str]:
    if check.check.verdict == "not seen":
        return []
    margin = check.check.margin
    if check.check.verdict == "does not hold" and margin.p5 >= settings.margin_gate:
        return [f"Does not hold: {check.check.reason}{_weakest(graph, check)}"]
    if not margin.p5 >= settings.margin_gate:
        return [
            f"Strength over stress is {margin.median:.2f} and may be as low as {margin.p5:.2f}; "
            f"at least {settings.margin_gate:.2f} is asked on the low side ({check.check.mode}, load case {check.case}).{_weakest(graph, check)}"
        ]
    return []


def _weakest(graph: WoodGraph, check: AnchorCheck) -> str:
    """Where it would go first, as a further sentence; "" where that is not known."""
    node = check.check.governing
    if not 0 < node < len(graph):
        return ""
    size, height = 2 * float(graph.segment_radius[node]), float(graph.xyz[node, 2] - graph.xyz[0, 2])
    away = float(np.linalg.norm(graph.xyz[node] - graph.xyz[check.configuration.rest_node]))
    where = f", {away:.1f} m from the rope" if away >= 0.5 else ", next to the rope"
    return f" It would go first where the wood is {100 * size:.0f} cm thick, {height:.1f} m up{where}."


def _access_gate(throw: Throw | None, access: tuple[AccessStep, ...]) -> list[str]:
    if throw is None and not access:
        return ["Not reachable: no throw sets a line over it as this system needs it, and no chain of steps leads up to it."]
    return []


def doubts(graph: WoodGraph, check: AnchorCheck, throw: Throw | None, electric: tuple[Clearance, ...], settings: PlanningSettings) -> tuple[str, ...]:
    """What to look at first although nothing stands against it, one sentence each."""
    out: list[str] = []
    union, node, margin = check.configuration.union, check.configuration.rest_node, check.check.margin
    if margin.known and margin.p5 < settings.margin_doubt:
        out.append(f"The low side of its margin is {margin.p5:.2f}, below {settings.margin_doubt:.2f}: inspect and load-test before use.")
    elif check.check.verdict == "doubtful":
        out.append(f"Doubtful by the sums: {check.check.reason}")
    hard = check.exceptional
    if hard is not None and hard.margin.known and hard.margin.p5 < 1.0:
        out.append(f"Under an exceptional load ({hard.case}) the low side of its margin is {hard.margin.p5:.2f}: no slack, no swing.")
    diameter, sd = rest_diameter(graph, check)
    if np.isfinite(sd) and diameter - 1.645 * sd < settings.min_limb <= diameter:
        out.append(f"Its {'stem' if round_stem(graph, check.configuration) else 'limb'} may be thinner than {100 * settings.min_limb:.0f} cm: {100 * diameter:.1f} cm with an error of {100 * sd:.1f} cm.")
    arc = float(graph.arc[node])
    if arc < settings.min_arc:
        out.append(f"The scan saw {np.degrees(arc):.0f} degrees of the limb's round: the far side is unknown.")
    arms = graph.unions.arm_diameter[graph.unions.arms(union)]
    if len(arms) > 1 and arms[1] >= settings.max_included * arms[0]:
        out.append(f"Codominant (second limb over the thickest {arms[1] / arms[0]:.2f}): included bark is possible and cannot be seen in a scan.")
    if check.check.lively:
        turn = np.degrees(check.check.slope_change)
        out.append(f"It gives way by about {check.check.deflection:.2f} m and turns by {turn:.0f} degrees under the governing load: lively.")
    if check.run_out > 0:
        out.append(f"Pulled from the side the rope can run {check.run_out:.1f} m out along its limb: choke it, or set it where the limb rises.")
    if check.common_cause:
        out.append(f"Anchor and back-up hang on the same wood: {check.common_cause}.")
    if throw is not None and throw.isolation_class == 3:
        named = [u for u in throw.captured_unions if u in graph.unions.label] or list(throw.captured_unions)
        more = len(throw.captured_unions) - len(named[:MOST_NAMED])
        also = (", ".join(named[:MOST_NAMED]) or "other limbs") + (f" and {more} more" if more > 0 else "")
        out.append(f"The line runs over {also} as well: inspect those unions too.")
    out += [c.words for c in electric if c.breach and c.what != "tie-in point"]
    return tuple(out)


def verdict(gate_words: tuple[str, ...], doubt_words: tuple[str, ...]) -> str:
    """One of four words; "not assessable" as soon as the scan could not tell, whatever else stands against it."""
    if gate_words:
        return "not assessable" if any(w.startswith(NOT_SEEN) for w in gate_words) else "not ranked"
    return "inspect first" if doubt_words else "candidate"
