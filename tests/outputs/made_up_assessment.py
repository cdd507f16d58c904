"""A made-up assessment for the tests of the outputs: a random tree, plain beam sums and parabolas. Test data only."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from strategies import random_tree

from treescan.assess import Asked, Assessment, Checks, Ranking, Settings
from treescan.cloud.point_cloud import Frame
from treescan.estimate import Estimate
from treescan.loads.limb_check import AnchorCheck, AnchorConfiguration, Catch, Exceptional, LimbCheck, limb_named
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.structural_model import whole_tree
from treescan.planning.access.access_order import Holds
from treescan.planning.access.approach import BASAL, OTHER, Approach, Option
from treescan.planning.climb.left_out import LeftOut
from treescan.planning.reach.places import Places
from treescan.planning.tie_in_point import NOT_RANKED, AccessStep, Reach, Retrieval, RopePlan, Standing, TieInPoint, Work
from treescan.planning.tree_context import TreeContext
from treescan.reason import Reason
from treescan.settings import merged
from treescan.throw.throw_path import Stances, Throw, ThrowTable
from treescan.trees.beside import Beside, Conductor, Site, Surroundings, Terrain
from treescan.trees.scan_points import scan_points
from treescan.wood.graph import ScanFitness, StemFigures, TracedTree, WoodGraph

G = 9.80665
NAN = float("nan")
UPWARD = np.array([0.0, 0.0, 1.0])


def sloping(slope: float = 0.12) -> Terrain:
    """Ground that falls to the south."""
    n = 60
    y = np.arange(n) + 0.5 - n / 2
    return Terrain(np.repeat((slope * y)[:, None], n, axis=1), np.array([-n / 2, -n / 2], float), 1.0, np.ones((n, n), bool))


def for_job(a: Assessment, **fields: str | bool) -> Assessment:
    """The same assessment with fields of the job given, and a reader's words where `words` is among them."""
    changes: dict = {"job": {k: v for k, v in fields.items() if k != "words"}}
    if "words" in fields:
        changes["reader"] = {"words": fields["words"]}
    return replace(a, asked=replace(a.asked, settings=merged(a.settings, changes)))


def made_up(
    seed: int = 3,
    *,
    assessable: bool = True,
    judged: bool = True,
    origin: tuple[float, float, float] = (456789.0, 5432100.0, 210.0),
    crs: str | None = "EPSG:25832",
) -> Assessment:
    """One tree with about ten judged candidates."""
    rng = np.random.default_rng(seed)
    graph = random_tree(seed, height=17.0, dbh=0.62, limbs=12)
    hidden = np.array(graph.seen)
    for limb in range(4, len(graph.limbs), 5):
        hidden[graph.limbs.nodes[limb][len(graph.limbs.nodes[limb]) // 2 :]] = False
    hidden[graph.limbs.nodes[graph.unions.arm_limb[graph.unions.arms(16)][-1]]] = False
    graph = WoodGraph(
        graph.xyz,
        graph.radius,
        graph.radius_sd,
        np.full(len(graph), 4.2),
        hidden,
        graph.parent,
        graph.segment_radius,
        graph.limb,
        graph.limbs,
        graph.unions,
    )
    stance_xy = np.array([[r * np.sin(a), r * np.cos(a)] for r in (4.0, 7.0, 10.0, 13.0) for a in np.linspace(0, 2 * np.pi, 16, endpoint=False)])
    terrain = sloping()
    stances = Stances(np.column_stack([stance_xy, terrain.height_at(stance_xy)]), (("too steep", 14), ("no-stand area", 6)))
    throws = _throws(graph, stances, rng)
    tips = np.array([line[-1] for line in graph.limbs.nodes[1:]])[:14]
    work = Work(graph.xyz[tips].copy(), tuple(f"limb {i + 1} tip" for i in range(len(tips))), ("prune",) * len(tips), np.ones(len(tips)))
    points = _points(graph, throws, work, terrain) if judged else ()
    if not assessable:
        against = (Reason("scan_not_assessable", why=None),)
        points = tuple(TieInPoint.of(replace(p, gates=against), NOT_RANKED, p.reasons) for p in points)
    cloud = graph.xyz[rng.integers(1, len(graph), 30000)] + rng.normal(0, 0.12, (30000, 3))
    neighbour = np.column_stack([rng.uniform(11, 13, 400), rng.uniform(4, 6, 400), rng.uniform(0, 9, 400)])
    beside = Beside(terrain, surroundings=Surroundings(neighbour, np.zeros(400, np.uint8), 0.2, np.array([[12.0, 5.0, 0.6]]), np.array([0.3])))
    bands = tuple(
        {"from_m": z, "to_m": z + 3.0, "fit_for": fit, "spacing_m": s, "arc_deg": arc}
        for z, fit, s, arc in [
            (0.0, "small limbs", 0.006, 320.0),
            (3.0, "small limbs", 0.008, 290.0),
            (6.0, "main unions", 0.014, 220.0),
            (9.0, "main unions", 0.021, 190.0),
            (12.0, "stem", 0.045, 120.0),
            (15.0, "nothing", 0.12, 60.0),
        ]
    )
    fitness = (
        ScanFitness("assessable", (Reason("own_words", words="Six scan positions; bark seen all round on the lower stem."),), bands)
        if assessable
        else ScanFitness(
            "not assessable",
            (
                Reason("own_words", words="The stem was seen from one side only: 74° of its round."),
                Reason("own_words", words="Rescan from the north-west, leaf-off, from at least three positions."),
            ),
            bands,
        )
    )
    stem = StemFigures(np.array([0.0, 0.0, 0.0]), 0.62, 0.004, float(graph.xyz[:, 2].max()), 2.1, 0.04)
    tree = TracedTree(
        graph,
        beside,
        Frame(np.array(origin), crs),
        stem,
        fitness,
        "quillmoor_green_QG-07.laz",
        ("Grass hid the foot of the stem.",),
        scan_points((cloud,)),
    )
    site = Site(
        no_stand=(np.array([[3.0, -14.0], [9.0, -14.0], [9.0, -9.0], [3.0, -9.0]]),),
        buildings=(np.array([[-17.0, 4.0], [-12.0, 4.0], [-12.0, 11.0], [-17.0, 11.0]]),),
        conductors=(Conductor(np.array([[-20.0, -12.0, 7.0], [20.0, -15.0, 7.0]]), 400.0),),
    )
    first = next((p for p in points if p.usable), None)
    best = Option(OTHER, None, (Reason("no_union_to_judge"),))
    if first is not None:
        best = Option(BASAL, first, (Reason("basal_lowerable"),), (Reason("basal_both_legs", label=first.label),))
    approach = Approach(best, ())
    asked = Asked("oak", tuple(SYSTEMS), None, 1, Settings())
    model = whole_tree(graph, beside, wood_of("oak", asked.settings.loads), replace(asked.settings.loads, samples=10))
    context = TreeContext(graph, beside, site, work, asked.settings.planning)
    ranking = Ranking(points, Places.of(context, ()), Holds({}, {}, {}))
    climb = None
    return Assessment(tree, site, work, asked, throws, Checks((), (), model), ranking, points, approach, climb, LeftOut(), (), ())


def _throws(graph: WoodGraph, stances: Stances, rng: np.random.Generator) -> ThrowTable:
    m = len(graph.unions)
    chance = np.zeros((m, len(stances), 3), np.float32)
    best: dict[tuple[int, int], Throw] = {}
    words = []
    for k in range(m):
        base = max(0.0, 0.5 - 0.03 * graph.unions.height[k])
        one = np.clip(base * rng.random(len(stances)) ** 2, 0, 1)
        chance[k] = np.sort(np.column_stack([one * 0.3 * (k % 2), one * 0.6, one]), axis=1)
        words.append("" if base > 0 else "the crown above it")
        for c in (1, 2, 3):
            s = int(np.argmax(chance[k, :, c - 1]))
            if chance[k, s, c - 1] > 0.02:
                best[(k, c)] = _one_throw(graph, k, c, s, stances.xyz[s], float(chance[k, s, c - 1]))
    return ThrowTable(stances, best, chance, tuple(words))


def _one_throw(graph: WoodGraph, k: int, c: int, s: int, stand: np.ndarray, chance: float) -> Throw:
    u = graph.unions
    target = u.place[k] + [0.0, 0.0, 0.8]
    hand = stand + 1.5 * UPWARD
    flat = float(np.linalg.norm((target - hand)[:2]))
    azimuth = float(np.arctan2(target[0] - hand[0], target[1] - hand[1]))
    rise = target[2] - hand[2] + 0.5
    up = np.sqrt(2 * G * rise)
    t_top = up / G
    along = flat / t_top
    t = np.linspace(0, 2 * t_top, 40)
    out = np.array([np.sin(azimuth), np.cos(azimuth)])
    path = np.column_stack([hand[0] + out[0] * along * t, hand[1] + out[1] * along * t, hand[2] + up * t - G * t**2 / 2])
    path = path[path[:, 2] > stand[2]]
    rest = u.place[k] + UPWARD * graph.radius[u.node[k]]
    settled = np.array([hand, rest, rest + np.array([out[0] * 0.3, out[1] * 0.3, -(rest[2] - 0.4)])])
    caught = [int(n) for n in range(len(u)) if n != k and u.height[n] < u.height[k]][: c - 1]
    return Throw(
        k,
        c,
        s,
        stand,
        "launcher" if rise > 12 else "hand",
        azimuth,
        float(np.arctan2(up, along)),
        float(np.hypot(up, along)),
        chance,
        path,
        settled,
        rest,
        0.15,
        True,
        np.array([u.arm_node[u.arms(k)][0]], np.int32),
        u.arm_limb[[u.arms(n).start for n in caught]].astype(np.int32),
        tuple(u.label[n] for n in caught),
        c - 1,
        0.28,
        (
            Reason("own_words", words="Stand at the marked place."),
            Reason("own_words", words="Throw over the union."),
            *([Reason("own_words", words="Work the weight back once over the captured limb.")] * (c - 1)),
        ),
    )


def _limb_check(graph: WoodGraph, k: int, force: np.ndarray) -> LimbCheck:
    u = graph.unions
    start = int(u.arm_node[u.arms(k)][-1])
    nodes = graph.path_to_base(start)[:-1]
    out = graph.limbs.nodes[graph.limb[start]]
    lever = graph.xyz[out[min(2, len(out) - 1)]] - graph.xyz[graph.parent[nodes]]
    m = np.cross(lever, force)
    along = graph.direction[nodes]
    torsion = np.abs(np.sum(m * along, axis=1))
    bending = np.linalg.norm(m - np.sum(m * along, axis=1)[:, None] * along, axis=1)
    r = graph.segment_radius[nodes]
    axial = np.abs(along @ force)
    stress = 4 * bending / (np.pi * r**3) + axial / (np.pi * r**2)
    strength = np.full(len(nodes), 45e6)
    use = stress / strength
    worst = int(np.argmax(use))
    margin = float(1 / use[worst])
    unseen = not bool(graph.seen[nodes].all())
    low = margin * 0.55
    verdict = "not seen" if unseen else "holds" if low > 4 else "doubtful" if low > 1.5 else "does not hold"
    est = Estimate(NAN, NAN, NAN) if unseen else Estimate(margin, low, margin * 1.7)
    none = Reason("gap_bridged", height=2.0, wood=Reason("stem_itself"))
    return LimbCheck(
        nodes=nodes,
        moment=bending,
        torsion=torsion,
        axial=axial,
        shear=np.full(len(nodes), np.linalg.norm(force)),
        stress=stress,
        strength=strength,
        utilisation=use,
        margin=est,
        governing=int(nodes[worst]),
        mode="bending",
        self_weight_share=0.08,
        deflection=0.02,
        sources=("geometry", "project_choice"),
        verdict=verdict,
        reason=none if unseen else _least_margin(graph, int(nodes[worst]), est),
        overload_chance=NAN if unseen else 0.003,
        slope_change=NAN,
        notes=(),
        lively=False,
        tested=(),
    )


def _least_margin(graph: WoodGraph, node: int, margin: Estimate) -> Reason:
    return Reason(
        "strength_holds",
        low=margin.p5,
        middle=margin.median,
        height=graph.xyz[node, 2] - graph.xyz[0, 2],
        wood=limb_named(graph.limb[node]),
        diameter=2 * graph.segment_radius[node],
        mode="bending",
        asked=1.5,
    )


def _caught(label: str) -> Reason:
    return Reason(
        "rope_caught", catch=label, wood=limb_named(1), diameter=0.2, height=6.0, slide=1.2, drop=0.9, sideways=None, met=None, speed=0.0,
        peak=3400.0, force=3000.0, also=(), low=2.2, seen=True, stops=True, again=None, stretch=1.0, lowest=Reason("feet_stay_up", feet=3.0),
    )  # fmt: skip


def _points(graph: WoodGraph, throws: ThrowTable, work: Work, terrain: Terrain) -> tuple[TieInPoint, ...]:
    u, rows = graph.unions, []
    weight = 100.0 * G
    for k in np.argsort(-u.height)[:16].tolist():
        for system in ("SRS basal", "MRS"):
            lean = np.array([0.15, -0.1, -1.0])
            force = weight * (1.9 if system == "SRS basal" else 1.0) * 1.3 * lean / np.linalg.norm(lean)
            check = _limb_check(graph, k, force)
            throw = throws.best.get((k, 3 if system == "SRS basal" else 1))
            below = [n for n in range(len(u)) if u.height[n] < u.height[k] - 0.8][-1:]
            catches = (
                tuple(Catch(n, u.label[n], 1.2, 0.9, 3400.0, Estimate(4.0, 2.2, 6.0), _caught(u.label[n])) for n in below)
                if system == "SRS basal"
                else ()
            )
            catches = (
                *catches,
                Catch(
                    None,
                    "ground",
                    0.0,
                    float(u.height[k]),
                    NAN,
                    Estimate(NAN, NAN, NAN),
                    Reason("falls_on_to_ground", drop=float(u.height[k])),
                ),
            )
            configuration = AnchorConfiguration(
                k,
                system,
                "rope on bark" if system != "MRS" else "ring",
                int(u.arm_node[u.arms(k)][-1]),
                0.15,
                np.zeros(0, np.int32) if system == "MRS" else u.node[below],
                np.array([0.6, 0.0, 0.9]),
            )
            pair = system != "MRS" and bool(below)
            known = check.margin.known
            stop = Exceptional("abrupt stop", -1, 2 * force, 2.47, Estimate(1.9, 1.1, 3.0), 0.0204, check.governing, "bending", (1.0, 1.0))
            anchor = AnchorCheck(
                configuration=configuration,
                force=force,
                multiple_of_weight=float(np.linalg.norm(force) / weight),
                case="hard stop",
                worst_work_point=3,
                contact_forces=np.array([force, -0.2 * force] if pair else [force]),
                friction_multiple=1.5,
                check=check,
                catches=catches,
                redundant=bool(below),
                common_cause=None,
                exceptional=stop if known else None,
                cases=(),
                breaks=(),
                rope_slip=0.0,
                outer=None,
                contact_turns=np.array([2.9, 0.4] if pair else [3.0]),
                within=np.deg2rad(45.0),
            )
            rows.append((k, system, anchor, throw, _reach(u.place[k], work)))
    rows.sort(key=lambda r: -(r[2].check.margin.p5 if r[2].check.margin.known else -1) * 0.02 - r[4].share)
    out, rank = [], 0
    for k, system, anchor, throw, reach in rows:
        good = anchor.check.verdict in ("holds", "doubtful") and throw is not None and anchor.check.margin.p5 > 2
        rank += good
        reasons = (
            (Reason("fact_coverage", share=reach.share),)
            if good
            else (Reason("strength_not_seen", why=anchor.check.reason) if anchor.check.verdict != "holds" else Reason("not_reachable"),)
        )
        height = float(u.height[k])
        rope = RopePlan(
            2 * height + 6,
            2 * height + 10,
            (("climber leg", height), ("base leg", height), ("tail", 6.0)),
            45.0,
            True,
            (Reason("kit_rope", stock=45.0, length=2 * height + 6), Reason("kit_throwline", length=60.0, mass=0.34)),
        )
        steps = (
            AccessStep(None, "ground", 0.0, "ground", Reason("access_ground")),
            AccessStep(k, u.label[k], height, "ascend", Reason("access_ascend")),
        )
        scores = {
            "height": min(1.0, height / 14),
            "margin": 0.6,
            "rope angle": 0.5,
            "coverage": reach.share,
            "isolation": throw.chance if throw else 0.0,
            "redundancy": 0.4,
            "effort": 0.7,
        }
        doubtful = anchor.check.verdict != "holds"
        standing = Standing(rank, float(np.mean(list(scores.values()))), rank <= 2, 0.66, NAN, (rank, rank)) if good else NOT_RANKED
        out.append(
            TieInPoint(
                label=u.label[k],
                hardware=anchor.configuration.hardware,
                check=anchor,
                throw=throw,
                place=np.full(3, NAN),
                reach=reach,
                access=steps,
                rope=rope,
                clearances=(),
                retrieval=Retrieval("yes", (), Reason("retrieval_clear", anchor=Reason("anchor_named", label=u.label[k], system=system))),
                fouling=(),
                care=(),
                load_test=None,
                scores=scores,
                score_sd={},
                cautions=("basal",) if system == "SRS basal" else ("swing",),
                gates=() if good else reasons,
                doubts=(Reason("check_doubtful", why=anchor.check.reason),) if doubtful else (),
                standing=standing,
                reasons=reasons,
            )
        )
    out.sort(key=lambda p: (not p.usable, p.rank))
    return tuple(out)


def _reach(tip: np.ndarray, work: Work) -> Reach:
    d = work.xyz - tip
    flat, down = np.linalg.norm(d[:, :2], axis=1), -d[:, 2]
    angle = np.arctan2(flat, down)
    served = angle < np.radians(60)
    length = np.linalg.norm(d, axis=1)
    swing = float((length * np.sin(angle))[served].max()) if served.any() else 0.0
    at = tuple((float(np.radians(x)), float((angle < np.radians(x)).mean())) for x in (30, 45, 60))
    return Reach(
        served,
        angle,
        float(served.mean()),
        at,
        float(angle[served].max()) if served.any() else NAN,
        swing,
        4.2,
        Reason("the_stem") if swing else Reason("hits_nothing_seen"),
        1500.0,
        np.full(len(work), -1, np.int32),
    )
