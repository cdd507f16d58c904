"""A made-up removal of twelve cuts over a lane, a 20 kV line and a house, described and solved by hand.

The tree is a stem that forks at 8 m into a north leader (which continues the stem's limb) and a thinner
south leader; seven straight, conical limbs leave them. Every limb is described by its start on the parent's
axis, its tip and its two radii, so every figure below follows from plane geometry:

* a piece is the wood beyond the saw, which goes square through the limb: at the parent's bark, at a distance
  along the limb from that bark, or at a height; less what earlier cuts took. Volume, centre of mass and
  moment are the frusta's, cut exactly at the saw, not at the nearest node. Where limbs of one piece run
  into each other (a side limb's root inside its leader, the fork) the shared wood counts once: the side limb
  starts at its parent's bark.
* mass = volume x density of green wood, which is stated here; twigs are a share on top of wood that carries
  twigs (a limb's own tip beyond the saw), and none on a log.
* distances are from the bark of the piece as it stands, and, once it turns about its cut, from the ball whose
  radius is the farthest bark of the piece from the middle of the saw cut, down to the ground.
* a block bears at rest both legs of the lowering rope: twice the piece without friction. Where it sits below
  the cut the piece first falls twice that height; where it sits above, the piece's centre swings as a pendulum
  in the plumb plane through block and centre, to the mirror of where it began, and the piece may turn any way
  about its centre as it goes. The climber hangs on a straight rope from the life support to the middle of the cut.

Nothing here imports the product. Units m, kg, N. Coordinates of the description are local; `ORIGIN` is added
in the files, so that heights, places and map coordinates cannot be taken for one another.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import NamedTuple

import numpy as np

G = 9.80665
ORIGIN = np.array([3000.0, 5000.0, 48.0])
DENSITY = 1000.0  # kg/m3, stated in the settings
TWIGS = 0.25  # share of the wood, on wood that carries twigs
STEP = 0.25  # m between nodes
FORK = np.array([0.0, 0.0, 8.0])

WIRE_X, WIRE_HEIGHT = 7.0, 9.0
LANE = (3.0, 9.0)  # x from, to; endless in y
HOUSE = (-9.0, -6.0, -3.0, 4.0)  # x from, to, y from, to
CLIMBERS_ROOM = 1.5  # m: wood that swings nearer to the climber or the climber's rope is an alarm
NEIGHBOUR = np.array([-3.0, 9.0, 13.0])  # an anchor in the neighbour's tree


class Limb(NamedTuple):
    """One straight cone: on which limb it stands and how far along that limb's axis it starts, way, radii."""

    name: str
    on: str | None
    start: float  # m along the parent's axis
    way: tuple[float, float, float]  # from the parent's axis to the tip
    thick: float  # radius at the parent's axis
    thin: float  # radius at the tip


def _long(direction, length):
    d = np.asarray(direction, float)
    return tuple(d / np.linalg.norm(d) * length)


LIMBS = {
    a.name: a
    for a in (
        Limb("stem", None, 0.0, (0.0, 0.0, 8.0), 0.30, 0.22),
        Limb("north leader", "stem", 8.0, (0.0, 3.0, 8.0), 0.20, 0.02),
        Limb("south leader", "north leader", 0.0, (0.0, -2.4, 7.0), 0.125, 0.02),
        Limb("east limb", "stem", 5.0, (5.0, 0.0, 2.0), 0.07, 0.015),
        Limb("west limb", "stem", 6.5, (-4.5, 0.0, 1.5), 0.09, 0.02),
        Limb("north one", "north leader", 3.25, _long((1.0, 0.0, 0.4), 4.0), 0.085, 0.02),
        Limb("north two", "north leader", 5.25, _long((-1.0, 0.2, 0.5), 2.5), 0.045, 0.015),
        Limb("side limb", "north one", 2.0, _long((0.3, 1.0, 0.3), 1.5), 0.045, 0.015),
        Limb("south one", "south leader", 2.5, _long((-1.0, -0.3, 0.4), 3.2), 0.055, 0.015),
        Limb("south two", "south leader", 4.5, _long((1.0, -0.2, 0.5), 2.0), 0.035, 0.012),
    )
}


def length(limb: Limb) -> float:
    """Length of the axis, m."""
    return float(np.linalg.norm(limb.way))


def along(limb: Limb) -> np.ndarray:
    """Unit vector to the tip."""
    return np.asarray(limb.way) / length(limb)


def foot(limb: Limb) -> np.ndarray:
    """Where the axis starts: on the parent's axis."""
    if limb.on is None:
        return np.zeros(3)
    parent = LIMBS[limb.on]
    return foot(parent) + along(parent) * limb.start


def radius(limb: Limb, s: float) -> float:
    """Radius `s` m along the axis."""
    return limb.thick + (limb.thin - limb.thick) * s / length(limb)


def bark(limb: Limb) -> float:
    """How far along the limb's axis the parent's bark lies; the parent goes on straight past the union."""
    if limb.on is None or limb.name == "north leader":
        return 0.0
    parent = LIMBS[limb.on]
    d, p = along(limb), along(parent)
    lean, apart = (parent.thin - parent.thick) / length(parent), np.linalg.norm(d - (d @ p) * p)
    return float(radius(parent, limb.start) / (apart - lean * (d @ p)))


# --- pieces ------------------------------------------------------------------------------------------------


class Cut(NamedTuple):
    """One row of the cuts file, and what its maker planted in it."""

    name: str
    limb: str  # the limb that is sawn
    by: str  # "limb", "union" or "stem": how the file names it
    at: float | None = None  # m from the parent's bark
    height: float | None = None  # m above the foot of the stem
    life_support: str = ""
    rigging: str = ""
    alarms: frozenset[str] = frozenset()  # of the life support and the block, by hand


N1, S1, W, E, SIDE, S2 = "north one", "south one", "west limb", "east limb", "side limb", "south two"
FRIEND = "beech fork"  # the neighbour's anchor, named in a person's own words
REFUSED = W  # union that the competent person refused before the first cut
# What is planted, by hand. refused: a person's word (cut 2); at cut 4 the side limb's rope hangs 2 m out on a
# limb of 17 cm: two people with a factor of 1.5 turn it with 2.94 kN x 1.86 m = 5.5 kN m, 12 MPa, against
# some 21 MPa (0.40 x 52 MPa) of which a low case keeps half. doubtful: the sling of cut 6 goes round a leader
# of 13 cm; ordinary use is borne, an abrupt stop not surely. rigged: the block of cut 3 sits 2 m above the
# climber on the same leader. gone: the limb went two cuts before. elsewhere: nobody has judged the neighbour's
# tree. rigging gone: the block's limb went one cut before. Beyond these, a rope that hangs more than 45 degrees
# off plumb, or up, does not serve its cut ("angle"): the plan's own faults at the cuts 6 to 10, found by drawing
# the ropes.
CUTS = (
    Cut("east limb, tip over the wire", E, "limb", at=2.5, life_support=N1),
    Cut("east limb, rest", E, "limb", life_support=W, rigging="fork", alarms=frozenset({"refused"})),
    Cut("west limb", W, "union", life_support=N1, rigging="north two", alarms=frozenset({"rigged"})),
    Cut("north one with its side limb", N1, "union", life_support=SIDE,
        alarms=frozenset({"piece", "refused"})),
    Cut("north two", "north two", "limb", life_support=W, alarms=frozenset({"gone"})),
    Cut("north leader, top", "north leader", "stem", height=12.0, life_support=S2,
        alarms=frozenset({"doubtful"})),
    Cut("north leader, middle", "north leader", "stem", height=10.0, life_support=FRIEND, rigging="fork",
        alarms=frozenset({"elsewhere"})),
    Cut("south one", S1, "union", life_support="fork"),
    Cut("south leader, top", "south leader", "limb", height=11.5, life_support=FRIEND, rigging=S1,
        alarms=frozenset({"elsewhere", "rigging gone"})),
    Cut("south leader, rest", "south leader", "limb", height=8.6, life_support=FRIEND,
        alarms=frozenset({"elsewhere"})),
    Cut("spar, top", "stem", "stem", height=5.5, life_support=E, alarms=frozenset({"gone"})),
    Cut("butt log", "stem", "stem", height=1.0, life_support=FRIEND, alarms=frozenset({"elsewhere"})),
)  # fmt: skip
PartOf = tuple[str, float, float]  # limb, from, to (m along its axis)


def saw(cut: Cut) -> float:
    """Where the saw goes, m along the limb's axis."""
    limb = LIMBS[cut.limb]
    if cut.height is not None:
        return float((cut.height - foot(limb)[2]) / along(limb)[2])
    return bark(limb) + (cut.at or 0.0)


def pieces() -> list[list[PartOf]]:
    """What comes off at each cut, in their order."""
    here = {name: (bark(limb), length(limb)) for name, limb in LIMBS.items()}
    off = []
    for cut in CUTS:
        at, piece = saw(cut), []
        beyond = {cut.limb}
        for name, limb in LIMBS.items():  # parents come first in LIMBS
            if name == cut.limb:
                part = (at, here[name][1])
            elif limb.on in beyond and (limb.on != cut.limb or limb.start >= at):
                beyond.add(name)
                part = here[name]
            else:
                continue
            if name in here and part[1] > part[0]:
                piece.append((name, *part))
                here[name] = (here[name][0], here[name][0]) if name != cut.limb else (here[name][0], at)
        off.append(piece)
    return off


def frustum(a: float, b: float, long: float) -> tuple[float, float]:
    """Volume of a frustum with end radii a, b, and how far its centre lies from the end a."""
    v = np.pi * long / 3 * (a * a + a * b + b * b)
    return v, long / 4 * (a * a + 2 * a * b + 3 * b * b) / (a * a + a * b + b * b)


class Solved(NamedTuple):
    """One cut by hand."""

    name: str
    wood: float  # kg
    mass: float  # kg, with twigs
    bearing_twigs: float  # kg of the wood that carries twigs
    centre: np.ndarray  # local m
    cut: np.ndarray  # middle of the saw cut, local m
    diameter: float  # m, at the saw
    reach: float  # m, from the middle of the cut to the farthest bark
    length: float  # m, along the limb that is sawn (the north leader goes on from the stem), to its end
    moment: float  # N m at the saw as it stands
    lowest: float  # m above ground, lowest bark as it stands
    wire: float  # m, bark to wire as it stands
    wire_turned: float
    lane: float  # m in plan
    lane_turned: float
    house: float
    house_turned: float
    block: float  # N, both legs at rest without friction
    angle: float  # degrees from plumb of the rope from the life support to the cut; over 90 where it is above
    swing_centre: float  # m, least from the swinging centre to the climber's rope; nan where nothing swings
    swing_reach: float  # m, from the centre to the farthest bark
    drop: float  # m the piece falls before the rope can bear: twice the height of the cut over the block
    alarms: frozenset[str]


def _surface(parts: list[PartOf], step: float = 0.01) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points of the axes, radii there and the limb's direction."""
    xyz, r, way = [], [], []
    for name, a, b in parts:
        limb = LIMBS[name]
        s = np.linspace(a, b, max(2, int((b - a) / step) + 1))
        xyz.append(foot(limb) + s[:, None] * along(limb))
        r.append(radius(limb, s))
        way.append(np.broadcast_to(along(limb), (len(s), 3)))
    return np.concatenate(xyz), np.concatenate(r), np.concatenate(way)


def _bark_points(parts: list[PartOf], sides: int = 48) -> np.ndarray:
    """Points of the bark."""
    xyz, r, way = _surface(parts)
    u = np.cross(way, np.where(np.abs(way[:, 2:]) < 0.9, [[0, 0, 1.0]], [[1.0, 0, 0]]))
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(way, u)
    turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    ring = np.cos(turn)[:, None, None] * u + np.sin(turn)[:, None, None] * v
    return (xyz + r[:, None] * ring).reshape(-1, 3)


def to_wire(points: np.ndarray) -> np.ndarray:
    """Distance of points to the wire, which runs north and south."""
    points = np.atleast_2d(points)
    return np.hypot(points[:, 0] - WIRE_X, points[:, 2] - WIRE_HEIGHT)


def to_lane(points: np.ndarray) -> np.ndarray:
    """Distance in plan, 0 over the lane."""
    x = np.atleast_2d(points)[:, 0]
    return np.maximum(0.0, np.maximum(LANE[0] - x, x - LANE[1]))


def to_house(points: np.ndarray) -> np.ndarray:
    """Distance in plan, 0 over the house."""
    points = np.atleast_2d(points)
    dx = np.maximum(0.0, np.maximum(HOUSE[0] - points[:, 0], points[:, 0] - HOUSE[1]))
    dy = np.maximum(0.0, np.maximum(HOUSE[2] - points[:, 1], points[:, 1] - HOUSE[3]))
    return np.hypot(dx, dy)


def _long_way(cut: Cut, parts: list[PartOf]) -> float:
    """Length of the piece along the limb that is sawn."""
    same = ("stem", "north leader") if cut.limb == "stem" else (cut.limb,)
    return float(sum(b - a for name, a, b in parts if name in same))


def _block_height(cut: Cut) -> float:
    """Height of the union that carries the block; none: high above."""
    carries = "south leader" if cut.rigging == "fork" else cut.rigging
    return float(foot(LIMBS[carries])[2]) if carries else np.inf


def solve(share: float = TWIGS) -> list[Solved]:
    """All twelve cuts, with `share` of twigs on the wood that carries them."""
    out = []
    for cut, parts in zip(CUTS, pieces(), strict=True):
        wood, bearing, first, moment_of = 0.0, 0.0, np.zeros(3), 0.0
        for name, a, b in parts:
            limb = LIMBS[name]
            volume, middle = frustum(radius(limb, a), radius(limb, b), b - a)
            twigs = b > length(limb) - 1e-9 and name != "stem"
            wood += volume * DENSITY
            bearing += volume * DENSITY * twigs
            kg = volume * DENSITY * (1 + share * twigs)
            moment_of += kg
            first = first + kg * (foot(limb) + along(limb) * (a + middle))
        centre, limb = first / moment_of, LIMBS[cut.limb]
        place = foot(limb) + along(limb) * saw(cut)
        skin = _bark_points(parts)
        reach = float(np.linalg.norm(skin - place, axis=1).max())
        past, round_it = swing_past_climber(cut, centre, place), float(np.linalg.norm(skin - centre, axis=1).max())
        out.append(
            Solved(
                cut.name, wood, moment_of, bearing, centre, place, 2 * radius(limb, saw(cut)), reach,
                _long_way(cut, parts),
                moment_of * G * float(np.hypot(*(centre - place)[:2])), float(skin[:, 2].min()),
                float(to_wire(skin).min()), max(0.0, float(to_wire(place)[0]) - reach),
                float(to_lane(skin).min()), max(0.0, float(to_lane(place)[0]) - reach),
                float(to_house(skin).min()), max(0.0, float(to_house(place)[0]) - reach),
                2 * moment_of * G if cut.rigging else 0.0, rope_angle(cut),
                past, round_it, max(0.0, 2 * (place[2] - _block_height(cut))),
                _alarms(cut) | ({"swing"} if past - round_it < CLIMBERS_ROOM else set()),
            )
        )  # fmt: skip
    return out


def hangs_from(cut: Cut) -> np.ndarray:
    """Where the climber's rope is tied."""
    name = "south leader" if cut.life_support == "fork" else cut.life_support
    return NEIGHBOUR if name == FRIEND else foot(LIMBS[name])


def swing_past_climber(cut: Cut, centre: np.ndarray, place: np.ndarray) -> float:
    """Least distance, m, of the swinging centre to the climber's rope; nan where no block hangs above the cut."""
    if not cut.rigging or not cut.life_support or _block_height(cut) < place[2]:
        return float("nan")
    block = foot(LIMBS["south leader" if cut.rigging == "fork" else cut.rigging])
    out = (centre - block) * [1, 1, 0]
    long, aside = float(np.linalg.norm(centre - block)), float(np.linalg.norm(out))
    angle = np.linspace(1, -1, 2001)[:, None] * np.arcsin(aside / long)
    way = block + long * (np.sin(angle) * out / aside - np.cos(angle) * [0, 0, 1])
    rope = place - hangs_from(cut)
    share = np.clip((way - hangs_from(cut)) @ rope / (rope @ rope), 0, 1)[:, None]
    return float(np.linalg.norm(way - hangs_from(cut) - share * rope, axis=1).min())


def rope_angle(cut: Cut) -> float:
    """Degrees from plumb of a straight rope from the life support to the saw cut."""
    down = hangs_from(cut) - (foot(LIMBS[cut.limb]) + along(LIMBS[cut.limb]) * saw(cut))
    return float(np.degrees(np.arctan2(np.hypot(*down[:2]), down[2])))


def _alarms(cut: Cut) -> frozenset[str]:
    """What was planted, and the angle where the anchor is not ruled out anyway."""
    out = cut.alarms & {"refused", "gone", "piece"}
    return cut.alarms | ({"angle"} if rope_angle(cut) > 45 and not out else set())


# --- the files ---------------------------------------------------------------------------------------------

# Numbers as the tree.json states them, and as a count outwards and upwards gives them: both must be the same.
NUMBER = {"stem": 0, "north leader": 0, E: 1, W: 2, "south leader": 3, N1: 4, "north two": 5}
NUMBER |= {S1: 6, S2: 7, SIDE: 8}


def union_of(name: str) -> str:
    """Label of the union from which a limb grows, counted upwards; "fork" is the south leader's."""
    name = "south leader" if name == "fork" else name
    order = sorted((n for n in LIMBS if n not in ("stem", "north leader")), key=lambda n: foot(LIMBS[n])[2])
    return f"U{order.index(name) + 1:02d}"


def tree() -> dict:
    """The tree as a tree.json: nodes every 0.25 m, and one wherever a limb leaves or ends."""
    nodes, segments, at_node = [], [], {}
    for name, limb in LIMBS.items():
        stops = {0.0, length(limb)} | {a.start for a in LIMBS.values() if a.on == name}
        stops |= {float(s) for s in np.arange(STEP, length(limb) - 0.05, STEP)}
        before, last = None, 0.0
        for s in sorted(stops):
            if s == 0.0 and limb.on is not None:
                before = at_node[limb.on, limb.start]
                at_node[name, 0.0] = before
                continue
            node = len(nodes)
            xyz = foot(limb) + along(limb) * s
            seen = {"radius": float(radius(limb, s)), "radius_sd": 0.003, "arc_deg": 360, "seen": True}
            nodes.append({"id": node, "xyz": [float(c) for c in xyz]} | seen)
            if before is not None:
                mean = float(radius(limb, last) + radius(limb, s)) / 2
                segments.append({"parent": before, "child": node, "radius": mean, "limb": NUMBER[name]})
            at_node[name, s], before, last = node, node, s
    return {
        "format": "treescan-tree", "version": 1, "units": "m", "crs": None, "origin": ORIGIN.tolist(),
        "nodes": nodes, "segments": segments,
    }  # fmt: skip


def _map(xy) -> list[float]:
    return [float(xy[0] + ORIGIN[0]), float(xy[1] + ORIGIN[1])]


def site() -> dict:
    """Wire with z = 0 and height_m, lane and house in two dimensions, the neighbour's anchor in three."""

    def feature(kind, geometry, coordinates, **more):
        shape = {"type": geometry, "coordinates": coordinates}
        return {"type": "Feature", "properties": {"kind": kind} | more, "geometry": shape}

    def box(x0, x1, y0, y1):
        return [[_map(p) for p in ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0))]]

    line = [[*_map((WIRE_X, y)), 0] for y in (-40.0, 40.0)]
    friend = [*_map(NEIGHBOUR), float(NEIGHBOUR[2] + ORIGIN[2])]
    return {
        "type": "FeatureCollection",
        "features": [
            feature("conductor", "LineString", line, name="20 kV line", voltage_kv=20, height_m=WIRE_HEIGHT),
            feature("road", "Polygon", box(*LANE, -40, 40), name="the lane"),
            feature("building", "Polygon", box(*HOUSE), name="neighbour's house"),
            feature("no-stand", "Polygon", box(-6, 3, -9, -5), name="glass"),
            feature("anchor", "Point", friend, name=FRIEND),
        ],
    }


def cut_rows(label=union_of) -> list[dict]:
    """Rows of the cuts file; `label` names the union of a limb."""

    def anchor(name):
        return "" if not name else name if name == FRIEND else f"{label(name)} MRS"

    rows = []
    for cut in CUTS:
        row = dict.fromkeys(("name", "limb", "union", "stem_height_m", "at_m", "height_m"), "")
        row["name"] = cut.name
        if cut.by == "stem":
            row["stem_height_m"] = cut.height
        else:
            by_union = cut.by == "union"
            row["union" if by_union else "limb"] = label(cut.limb) if by_union else NUMBER[cut.limb]
            row["at_m"] = "" if cut.at is None else cut.at
            row["height_m"] = "" if cut.height is None else cut.height
        row["life_support"] = anchor(cut.life_support)
        row["rigging"] = label(cut.rigging) if cut.rigging else ""
        rows.append(row)
    return rows


def findings(label=union_of) -> str:
    """The competent person's findings, as TOML."""
    return (
        f'[[override]]\nkind = "refused"\nunion = "{label(REFUSED)}"\nwho = "J., competent person"\n'
        'when = "on the day, 9:40"\nwhy = "crack on the upper side, U1 to U9 look alike"\n'
    )


def settings(twigs: float) -> str:
    """Density of the wood and share of twigs, as TOML."""
    return f"[loads]\ngreen_density = {DENSITY}\n[planning]\ncrown_allowance = {twigs}\n"


def write(folder: Path, label=union_of, twigs: float = TWIGS) -> dict[str, Path]:
    """All files of the removal, into `folder`."""
    names = ("tree.json", "site.geojson", "cuts.csv", "findings.toml", "settings.toml")
    files = {name: folder / name for name in names}
    files["tree.json"].write_text(json.dumps(tree()))
    files["site.geojson"].write_text(json.dumps(site()))
    with files["cuts.csv"].open("w", newline="") as f:
        rows = cut_rows(label)
        table = csv.DictWriter(f, list(rows[0]))
        table.writeheader()
        table.writerows(rows)
    files["findings.toml"].write_text(findings(label))
    files["settings.toml"].write_text(settings(twigs))
    return files


def printed() -> str:
    """The twelve cuts as a table."""
    head = "wood", "mass", "d cm", "com z", "length", "reach", "N m", "lowest"
    head += "wire", "turned", "lane", "turned", "house", "turned", "block kN", "drop", "rope deg"
    lines = [f"{'cut':30}" + "".join(f"{h:>9}" for h in head) + "  alarms"]
    for s in solve():
        row = [s.wood, s.mass, 100 * s.diameter, s.centre[2], s.length, s.reach, s.moment, s.lowest, s.wire]
        row += [s.wire_turned, s.lane, s.lane_turned, s.house, s.house_turned, s.block / 1e3, s.drop, s.angle]
        lines.append(f"{s.name:30}" + "".join(f"{v:9.2f}" for v in row) + "  " + ", ".join(sorted(s.alarms)))
    return "\n".join(lines)


if __name__ == "__main__":
    print(printed())
