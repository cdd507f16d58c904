"""What did a person report, on which wood, and what does it do to the strength?

A scan sees none of this. Reports come in as short sentences: "U07 dead", "limb 3 hollow 0.35" (wall over
radius), "node 12 cavity 0.4 open 60" (wall over radius, degrees of opening), "stem decay", "U04 included
bark", "limb 2 crack", "limb 5 oval 0.8" (height over width of the section).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from treescan.errors import BadInput
from treescan.loads.settings import LoadSettings
from treescan.reason import Reason
from treescan.wood.graph import Floats, WoodGraph

LEAST_KEEP = 1e-3
"""Share kept by a section opened all the way round: such wood is refused anyway, and its stress stays a
number (project choice)."""

GATES = {
    "dead": "reported_dead",
    "decay": "reported_decayed",
    "decayed": "reported_decayed",
    "crack": "reported_cracked",
    "cracked": "reported_cracked",
}
"""Words of a report that forbid an anchor, and the code of the reason."""


@dataclass(frozen=True)
class Reported:
    """Reports laid on the wood graph.

    keep : (n,) float           Share of the bending strength each segment keeps.
    oval : (n,) float           Height over width of the section, height in the plumb plane of the limb; NaN =
        nothing reported.
    gate : dict                 Segment node to the `Reason` why it must not carry anyone.
    included : dict             Fork nodes with included bark, and the report that says so.
    """

    keep: Floats
    oval: Floats
    gate: dict[int, Reason]
    included: dict[int, str]


def hollow_keep(wall_over_radius: ArrayLike) -> Floats:
    """Share of the section modulus a concentric hollow keeps: 1 - (1 - t/R)^4 (Coder 1989)."""
    return 1.0 - (1.0 - np.asarray(wall_over_radius, float)) ** 4


def kept_area(keep: ArrayLike) -> Floats:
    """Share of the area of a concentric hollow whose section modulus keeps `keep`."""
    return np.asarray(1.0 - np.sqrt(1.0 - np.asarray(keep, float)))


def kept_shear(keep: ArrayLike) -> Floats:
    """Share of the shear strength of a concentric hollow whose section modulus keeps `keep`.

    Notes
    -----
    From V Q / (I b) at the middle of a ring, x = r / R: peak = 4 V / (3 A_ring) (1 + x + x^2) / (1 + x^2),
    4/3 V / A full and 2 V / A for a thin ring (derived). So the share is (1 - x^4) / (1 + x + x^2); twisted,
    the ring keeps more, 1 - x^4, and is judged by the same share.
    """
    left = np.asarray(keep, float)
    x = (1.0 - left) ** 0.25
    return np.asarray(left / (1.0 + x + x * x))


def open_cavity_loss(hollow_share: ArrayLike, opening: ArrayLike) -> Floats:
    """Loss with an opening, (d^3 + r (D^3 - d^3)) / D^3, r the opening over the girth (Smiley & Fraedrich
    1992)."""
    x, r = np.asarray(hollow_share, float) ** 3, np.asarray(opening, float)
    return x + r * (1 - x)


def lay_out(graph: WoodGraph, settings: LoadSettings) -> Reported:
    """The reports of `settings.reported` on the graph's segments.

    Raises
    ------
    BadInput    For a report that names no known wood or no known defect.
    """
    keep, oval = np.ones(len(graph)), np.full(len(graph), np.nan)
    gate: dict[int, Reason] = {}
    included: dict[int, str] = {}
    for text in settings.reported:
        nodes, fork, rest = _where(graph, text)
        what = rest[0] if rest else ""
        if what in GATES:
            gate |= dict.fromkeys(nodes, Reason(GATES[what], report=text))
        elif what == "included" and fork >= 0:
            included[fork] = text
        elif what in ("hollow", "cavity"):
            share, reason = _hollow(text, rest, settings)
            if reason is not None:
                gate |= dict.fromkeys(nodes, reason)
            keep[nodes] = np.minimum(keep[nodes], max(share, LEAST_KEEP))
        elif what == "oval":
            oval[nodes] = _oval(text, rest)
        else:
            raise BadInput(
                f"the report '{text}' names no known defect",
                remedy="use dead, decay, crack, hollow t/R, cavity t/R open DEGREES, oval H/W, or U.. "
                "included bark",
            )
    return Reported(keep, oval, gate, included)


def _where(graph: WoodGraph, text: str) -> tuple[list[int], int, list[str]]:
    """Segments a report lies on, its fork (or -1), and the words left."""
    words = text.replace(",", " ").split()
    head, rest = (words[0] if words else ""), [w.lower() for w in words[1:]]
    label = {name.lower(): i for i, name in enumerate(graph.unions.label)}
    if head.lower() in label:
        row = label[head.lower()]
        fork = int(graph.unions.node[row])
        return [fork, *(int(i) for i in graph.unions.arm_node[graph.unions.arms(row)])], fork, rest
    if head.lower() == "stem":
        return [int(i) for i in np.flatnonzero(graph.limb == 0)], -1, rest
    if head.lower() in ("limb", "node") and rest and rest[0].isdigit():
        number = int(rest[0])
        if head.lower() == "limb" and number < len(graph.limbs):
            return [int(i) for i in np.flatnonzero(graph.limb == number)], -1, rest[1:]
        if head.lower() == "node" and number < len(graph):
            return [number], -1, rest[1:]
    raise BadInput(
        f"the report '{text}' names no wood of this tree",
        remedy="start it with a union label such as U07, or 'limb 3', 'node 12', 'stem'",
    )


def _oval(text: str, rest: list[str]) -> float:
    """Height over width of an oval section."""
    try:
        ratio = float(rest[1])
    except (IndexError, ValueError):
        raise BadInput(
            f"the report '{text}' lacks its figure",
            remedy="write for example 'limb 5 oval 0.8', height over width",
        ) from None
    if not 0.4 <= ratio <= 2.5:
        raise BadInput(f"the report '{text}' has a height over width outside 0.4-2.5")
    return ratio


def _hollow(text: str, rest: list[str], settings: LoadSettings) -> tuple[float, Reason | None]:
    """Share kept, and a reason to refuse where the formulas do not hold."""
    try:
        wall = float(rest[1])
        opening = float(rest[rest.index("open") + 1]) if "open" in rest else 0.0
    except (IndexError, ValueError):
        raise BadInput(
            f"the report '{text}' lacks its figures",
            remedy="write for example 'limb 3 hollow 0.35' or 'U07 cavity 0.4 open 60'",
        ) from None
    if not 0 < wall <= 1 or not 0 <= opening <= 360:
        raise BadInput(
            f"the report '{text}' has a wall over radius outside 0-1 or an opening outside 0-360 degrees"
        )
    share = (
        float(hollow_keep(wall))
        if rest[0] == "hollow" and not opening
        else 1.0 - float(open_cavity_loss(1 - wall, opening / 360))
    )
    if wall < settings.min_wall:
        return share, Reason("wall_too_thin", report=text, wall=wall, asked=settings.min_wall)
    if opening > settings.widest_opening_deg:
        limit = float(np.deg2rad(settings.widest_opening_deg))
        return share, Reason("cavity_too_open", report=text, opening=float(np.deg2rad(opening)), limit=limit)
    return share, None
