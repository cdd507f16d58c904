"""What is the tree, mechanically? A rooted graph of measured wood, its limbs and its unions.

Everything below this room exists to make a `WoodGraph`; everything above reads only it (throws and clearances read `Beside` too).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from treescan.arrays import Flags, Floats, Ints
from treescan.cloud.point_cloud import Frame
from treescan.reason import Reason
from treescan.trees.beside import Beside
from treescan.trees.scan_points import ScanPoints

CODOMINANT, BRIDGED, WHORL, DEAD_SUSPECT = "codominant", "bridged", "whorl", "dead suspect"
"""Flags of unions, compared as a whole."""

ASSESSABLE, NOT_ASSESSABLE = "assessable", "not assessable"
"""Verdicts of `ScanFitness`."""


@dataclass(frozen=True)
class Limbs:
    """Axes of the tree, one row each; limb 0 is the stem.

    Attributes
    ----------
    parent : (l,) int32         Limb it leaves, -1 for the stem.
    order : (l,) int32          0 stem (and codominant stems), 1 limb off a stem, 2 and up the rest.
    nodes : tuple of (k,) int32 Node ids from its first own node outward; the union node itself belongs to the parent limb.
    """

    parent: Ints
    order: Ints
    nodes: tuple[Ints, ...]

    def __len__(self) -> int:
        return len(self.parent)


@dataclass(frozen=True)
class Unions:
    """Where limbs join, one row each, sorted by height; every limb above a union has a row in the arm table.

    Attributes
    ----------
    label : tuple of str        "U01" lowest.
    node : (m,) int32           Graph node where the axes meet.
    place : (m, 3) float        [m, local]
    height : (m,) float         Above the terrain. [m]
    parent_diameter : (m,) float        Just below the union. [m]
    parent_diameter_sd : (m,) float     [m]
    arm_start : (m + 1,) int32  Rows of union k in the arm table are arm_start[k] : arm_start[k + 1], thickest first.
    arm_node : (a,) int32       First node of the limb above the union (child of `node`).
    arm_limb : (a,) int32       Limb it starts or continues.
    arm_diameter : (a,) float   Measured past the flare. [m]
    arm_diameter_sd : (a,) float        [m]
    arm_attachment : (a,) float Angle from the parent limb's own direction. [rad]
    arm_slope : (a,) float      Elevation of the limb just outside the union, negative = drooping. [rad]
    arm_continues : (a,) bool   True for the continuation of the parent limb.
    flags : tuple of tuple      Of `CODOMINANT`, `BRIDGED`, `WHORL`, `DEAD_SUSPECT`, and what a file states.
    crotch : (m, 3) float       The upper bark between the limbs, where a rope lies. [m, local]  NaN = the fork hangs, or its arms do not part.
    """

    label: tuple[str, ...]
    node: Ints
    place: Floats
    height: Floats
    parent_diameter: Floats
    parent_diameter_sd: Floats
    arm_start: Ints
    arm_node: Ints
    arm_limb: Ints
    arm_diameter: Floats
    arm_diameter_sd: Floats
    arm_attachment: Floats
    arm_slope: Floats
    arm_continues: Flags
    flags: tuple[tuple[str, ...], ...]
    crotch: Floats = field(default_factory=lambda: np.zeros((0, 3)))

    def __post_init__(self) -> None:
        if len(self.crotch) == 0:
            object.__setattr__(self, "crotch", np.full((len(self.label), 3), np.nan))

    def __len__(self) -> int:
        return len(self.label)

    def rope_place(self, k: int) -> Floats:
        """Where a rope lies in union k, (3,): its crotch; where it has none, where the axes meet. [m, local]"""
        return self.place[k] if np.isnan(self.crotch[k, 0]) else self.crotch[k]

    def arms(self, k: int) -> slice:
        """Rows of union k in the arm table."""
        return slice(int(self.arm_start[k]), int(self.arm_start[k + 1]))

    def laterals(self, k: int) -> Ints:
        """Arm rows of union k that are not the continuation of the parent limb, thickest first."""
        rows = np.arange(self.arm_start[k], self.arm_start[k + 1], dtype=np.int32)
        return rows[~self.arm_continues[rows]]

    def aspect_ratio(self, k: int) -> float:
        """Smallest listed limb over the parent just below the union."""
        return float(self.arm_diameter[self.arms(k)].min() / self.parent_diameter[k])

    def index(self, label: str) -> int:
        """Row of a label; KeyError when there is none."""
        try:
            return self.label.index(label)
        except ValueError:
            raise KeyError(label) from None


@dataclass(frozen=True)
class Segments:
    """Graph segments as tapered capsules, row i belongs to child node `node[i]`.

    start, end : (s, 3) [m];  r_start, r_end : (s,) [m];  limb, node : (s,) int32.
    """

    start: Floats
    end: Floats
    r_start: Floats
    r_end: Floats
    limb: Ints
    node: Ints


@dataclass(frozen=True)
class WoodGraph:
    """Nodes and the segments down to their parents; parent index always smaller than the child's, node 0 is the stem's foot.

    Attributes
    ----------
    xyz : (n, 3) float          [m, local]
    radius, radius_sd : (n,)    [m]  sd NaN = not stated.
    arc : (n,) float            Part of the round the scan saw. [rad]  NaN = not stated.
    seen : (n,) bool            False where the segment to the parent bridges a gap.
    parent : (n,) int32         -1 at the root.
    segment_radius : (n,) float Of the segment down to the parent. [m]
    limb : (n,) int32           Limb of that segment; segments from the parent limb's axis to its bark belong to the child limb.
    limbs : Limbs
    unions : Unions
    oval : (n,) float           Longest over shortest width of the section, at the node and along its segment; 1 = round, or not told from round.
    oval_dir : (n, 3) float     Unit vector along the longest width; 0 where round.
        The radius stays that of the round of the same area. Left out (empty): all round.
    """

    xyz: Floats
    radius: Floats
    radius_sd: Floats
    arc: Floats
    seen: Flags
    parent: Ints
    segment_radius: Floats
    limb: Ints
    limbs: Limbs
    unions: Unions
    oval: Floats = field(default_factory=lambda: np.zeros(0))
    oval_dir: Floats = field(default_factory=lambda: np.zeros((0, 3)))

    def __repr__(self) -> str:
        return f"WoodGraph(nodes={len(self)}, limbs={len(self.limbs)}, unions={len(self.unions)})"

    def __post_init__(self) -> None:
        n = len(self.xyz)
        if len(self.oval) == 0:
            object.__setattr__(self, "oval", np.ones(n))
            object.__setattr__(self, "oval_dir", np.zeros((n, 3)))
        if n == 0 or self.parent[0] != -1 or np.any(self.parent[1:] < 0) or np.any(self.parent[1:] >= np.arange(1, n)):
            raise ValueError("node 0 must be the root and every parent index smaller than its child's")
        for name in ("xyz", "radius", "radius_sd", "arc", "seen", "parent", "segment_radius", "limb", "oval", "oval_dir"):
            array = getattr(self, name)
            if len(array) != n:
                raise ValueError(f"{name} has {len(array)} rows, expected {n}")
            array.flags.writeable = False

    def __len__(self) -> int:
        return len(self.xyz)

    @cached_property
    def children(self) -> tuple[Ints, Ints]:
        """Children of every node as (start (n + 1,), node (n - 1,)): those of node i are node[start[i] : start[i + 1]]."""
        order = np.argsort(self.parent[1:], kind="stable").astype(np.int32) + np.int32(1)
        start = np.searchsorted(self.parent[order], np.arange(len(self) + 1)).astype(np.int32)
        return start, order

    def children_of(self, node: int) -> Ints:
        """Child nodes of one node."""
        start, order = self.children
        return order[start[node] : start[node + 1]]

    @cached_property
    def length(self) -> Floats:
        """Length of the segment down to the parent, 0 at the root, (n,). [m]"""
        out = np.zeros(len(self))
        out[1:] = np.linalg.norm(self.xyz[1:] - self.xyz[self.parent[1:]], axis=1)
        return out

    @cached_property
    def direction(self) -> Floats:
        """Unit vector from the parent to the node, (n, 3); straight up at the root."""
        out = np.tile([0.0, 0.0, 1.0], (len(self), 1))
        ok = self.length > 0
        out[ok] = (self.xyz[ok] - self.xyz[self.parent[ok]]) / self.length[ok, None]
        return out

    def path_to_base(self, node: int) -> Ints:
        """Nodes from `node` (first) down to the root (last)."""
        out = [int(node)]
        while self.parent[out[-1]] >= 0:
            out.append(int(self.parent[out[-1]]))
        return np.array(out, np.int32)

    def tips_to_base(self, values: Floats) -> Floats:
        """Sum of a per-node value over each node's whole upper part, itself included, (n, ...)."""
        out = np.array(values, dtype=float)
        for i in range(len(self) - 1, 0, -1):
            out[self.parent[i]] += out[i]
        return out

    def above(self, node: int) -> Flags:
        """True for `node` and every node it carries, (n,)."""
        place, carried = self._walk
        return (place >= place[node]) & (place < place[node] + carried[node])

    def carries(self, node: int, other: int) -> bool:
        """True where `other` is `node` or grows on it."""
        place, carried = self._walk
        return bool(place[node] <= place[other] < place[node] + carried[node])

    @cached_property
    def kept(self) -> dict[tuple[object, ...], Any]:
        """What was worked out of this graph alone, by what was asked; in memory only."""
        return {}

    @cached_property
    def _walk(self) -> tuple[Ints, Ints]:
        """Place of every node on a walk that finishes each limb before the next, and how many nodes it carries, itself included, (n,) each."""
        parent = self.parent.tolist()
        carried = [1] * len(parent)
        for i in range(len(parent) - 1, 0, -1):
            carried[parent[i]] += carried[i]
        place, free = [0] * len(parent), [1] * len(parent)
        for i in range(1, len(parent)):
            up = parent[i]
            place[i] = free[up]
            free[up] += carried[i]
            free[i] = place[i] + 1
        return np.array(place, np.int32), np.array(carried, np.int32)

    @cached_property
    def segments(self) -> Segments:
        """All segments as tapered capsules, (n - 1) rows; a limb's first piece starts with its own radius, not the parent's."""
        child = np.arange(1, len(self), dtype=np.int32)
        up = self.parent[1:]
        same = (self.limb[1:] == self.limb[up]) & (up > 0) | (up == 0) & (self.limb[1:] == 0)
        r_start = np.where(same, self.radius[up], self.segment_radius[1:])
        return Segments(self.xyz[up], self.xyz[1:], r_start, self.radius[1:].copy(), self.limb[1:], child)


BREAST_HEIGHT = 1.3
"""Where a stem's diameter is measured in most of the world [m]."""


@dataclass(frozen=True)
class StemAtBreast:
    """One stem at breast height.

    Attributes
    ----------
    limb : int              Its limb.
    xyz : (3,) float        Its axis where it was measured. [m, local]
    height : float          Above the ground at the stem [m]: breast height, or lower where a fork swells the stem there.
    dbh, dbh_sd : float     Diameter there and its standard deviation. [m]  NaN = not seen well enough.
    """

    limb: int
    xyz: Floats
    height: float
    dbh: float
    dbh_sd: float


@dataclass(frozen=True)
class StemFigures:
    """The inventory values of the tree.

    Attributes
    ----------
    base : (3,) float       Stem centre at the ground. [m, local]
    dbh, dbh_sd : float     Diameter at breast height above the highest ground at the stem. [m]  NaN = not seen.
    height : float          Top of the tree above the stem's ground. [m]
    wood_volume : float     Of the graph's segments. [m3]
    lean : float            Of the lower stem from the vertical. [rad]
    stems : tuple of StemAtBreast   Every stem at breast height, thickest first: one for most trees, more for clumps and low forks.
    """

    base: Floats
    dbh: float
    dbh_sd: float
    height: float
    wood_volume: float
    lean: float
    stems: tuple[StemAtBreast, ...] = ()


@dataclass(frozen=True)
class ScanFitness:
    """What the scan is fit for.

    Attributes
    ----------
    verdict : str           ASSESSABLE or NOT_ASSESSABLE.
    reasons : tuple of Reason   Why; for "not assessable" also what a rescan would need.
    bands : tuple of dict   Per height band: {"from_m", "to_m", "fit_for": "stem" | "main unions" | "small limbs" | "nothing", "spacing_m", "arc_deg"}.
    limbs : tuple of dict   Per limb of the graph, in its order: {"limb", "fit_for" (as for bands), "measured" (share of its length), "arc_deg", "rescan":
        Reason, what a rescan of it would need, None where nothing is wanting}; empty = not stated.
    """

    verdict: str
    reasons: tuple[Reason, ...]
    bands: tuple[dict, ...] = ()
    limbs: tuple[dict, ...] = ()

    @property
    def assessable(self) -> bool:
        """False when the tree must not be ranked from this scan."""
        return self.verdict == ASSESSABLE

    def of_limb(self, limb: int) -> dict:
        """What is stated of one limb; empty where nothing is."""
        return self.limbs[limb] if limb < len(self.limbs) else {}


@dataclass(frozen=True)
class TracedTree:
    """The result of `trace`: the wood graph, what is beside it, and how far the scan can be trusted."""

    graph: WoodGraph
    beside: Beside
    frame: Frame
    stem: StemFigures
    fitness: ScanFitness
    source: str
    notes: tuple[Reason, ...] = ()
    points: ScanPoints | None = None
    """Thinned points of the tree for pictures."""

    def __repr__(self) -> str:
        return f"TracedTree({self.source!r}, {self.graph!r})"
