"""Falls followed from the first break by rigid-body integration, beside what the failure chain tells of them.

    python scripts/bench_falls.py [SEED ...]

Grown trees 22 m tall; a basal line over a limb in the upper crown, the climber 0.8 to 3 m below and up to 2 m aside; the limb breaks at the
union. The integrator (`tests/oracles/rigid_fall.py`, by another hand) knows no catches: a rod of a climber, an elastic rope, every limb a
capsule. Both take friction 0.5, and a rope whose climber's leg carries the weight before the break and the other what friction lets through.
Told lowest point: drop to the hanging place and the stretch of the rope that shares. First the first catch, on limbs that bear anything;
then the second, the first limb breaking at 100 N and the chain told that nothing stops before.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parent.parent / "tests"))

from loads.stick_trees import PLAIN
from oracles.rigid_fall import Body, Limbs, Rope, simulate
from strategies import alone, random_tree

from treescan.loads.fall import failure_chain as room
from treescan.loads.fall.backup import Fall, carried
from treescan.loads.pull.shock import sharing_length, stretch
from treescan.loads.rope.contacts import Contact, at_node, supports_of
from treescan.loads.rope.rope_run import taut_rope
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.structural_model import whole_tree
from treescan.units import G
from treescan.wood.graph import Floats, WoodGraph

MU = 0.5
NOTHING_STOPS = LoadSettings(fails_p5=20.0)
"""Every catch is told to break: the next takes the whole drop."""


@dataclass(frozen=True)
class Case:
    """One fall: the tree, the rope's contact, climber and base (3,), and the node that breaks."""

    seed: int
    graph: WoodGraph
    contact: Contact
    climber: Floats
    base: Floats
    broken: int


@dataclass(frozen=True)
class Followed:
    """One catch, told and integrated. [m], [N]

    slides : told slide of the rope along the limb, largest of the catches up to this one. limb : that catches, as told; lies_on : limbs the
    rope lies on in the end, as integrated. drop, low, peak : told, to the hanging place, to the lowest point, and of the rope; shown_low : as the
    climber reads it, with the stretch of the whole rope. rigid_low, rigid_peak : integrated.
    """

    seed: int
    slides: float
    limb: int
    lies_on: tuple[int, ...]
    drop: float
    low: float
    shown_low: float
    peak: float
    rigid_low: float
    rigid_peak: float

    @property
    def comparable(self) -> bool:
        """The rope stays where it lands and lies on the told limb in the end, not on the stem: the integrator slides no rope along a limb
        and lays it over a plumb stem as if that were rough."""
        return self.slides <= 0.25 and self.limb in self.lies_on and 0 not in self.lies_on


def cases(seeds: Sequence[int], settings: LoadSettings, each: int = 1, catches: int = 1) -> Iterator[Case]:
    """Falls on grown trees with at least so many catches, on different limbs, before the ground; at most `each` a tree."""
    for seed in seeds:
        rng = np.random.default_rng(seed)
        g = random_tree(seed, height=22.0, dbh=0.6, limbs=22)
        tree = whole_tree(g, alone(g), PLAIN, settings)
        found = 0
        for k, n in enumerate(g.limbs.nodes):
            if not k or len(n) < 4 or g.segment_radius[n[1]] < 0.03 or g.limb[g.parent[n[0]]] or g.xyz[n[0], 2] < 11:
                continue
            node = int(n[1])
            c = at_node(g, node, 0.5 * (g.xyz[node] + g.xyz[g.parent[node]]))
            for _ in range(12):
                a = rng.uniform(0, 2 * np.pi)
                side = np.array([np.cos(a), np.sin(a), 0])
                climber = c.point + side * rng.uniform(0.2, 2.0) - np.array([0, 0, rng.uniform(0.8, 3)])
                base = c.point - side * rng.uniform(0.2, 2.5)
                base[2] = 0.3
                chain = room.failure_chain(tree, True, [c], climber, base, int(n[0]))
                caught = [x.label for x in chain.catches if not x.ground]
                if len(caught) >= catches and len(set(caught[:catches])) == catches:
                    yield Case(seed, g, c, climber, base, int(n[0]))
                    found += 1
                    break
            if found >= each:
                break


def told_falls(case: Case, settings: LoadSettings) -> list[Fall]:
    """Every catch of the chain with its rope."""
    seen: list[Fall] = []
    before = room._catch

    def spy(state, found, *rest):
        seen.append(found)
        return before(state, found, *rest)

    room._catch = spy
    try:
        g = case.graph
        room.failure_chain(whole_tree(g, alone(g), PLAIN, settings), True, [case.contact], case.climber, case.base, case.broken)
    finally:
        room._catch = before
    return seen


def followed(case: Case, catch: int, settings: LoadSettings, duration: float = 6.0) -> Followed:
    """Catch number `catch` (0 = the first) both ways; limbs that caught before break at 100 N."""
    g, told = case.graph, told_falls(case, settings)
    limb = [int(g.limb[f.suspension.contacts[-1].node]) for f in told if f.suspension is not None]
    weak = np.where(np.isin(g.limb, limb[:catch]), 100.0, np.inf)
    gone = carried(g.parent, case.broken)
    node = np.array([i for i in range(1, len(g)) if not gone[i] and g.segment_radius[i] >= 0.025])
    limbs = Limbs(g.xyz[g.parent[node]], g.xyz[node], g.segment_radius[node], weak[node], MU)
    top = case.contact.point + np.array([0, 0, case.contact.radius])
    weight, k = settings.climber_mass * G, settings.rope_modulus
    turn = float(taut_rope(case.base, case.climber, supports_of([case.contact]), hung=True).turn[0])
    behind, leg = np.linalg.norm(top - case.base), np.linalg.norm(case.climber - top)
    length = leg / (1 + weight / k) + behind / (1 + weight * np.exp(-MU * turn) / k)
    rope = Rope([case.base, top, case.climber], length=float(length), modulus=k)
    run = simulate(Body(mass=settings.climber_mass, harness=tuple(case.climber)), rope, limbs, None, duration=duration)
    f = told[catch]
    assert f.suspension is not None and f.run is not None
    sharing = sharing_length(float(f.run.leg[-1]), f.run.leg[-2::-1], f.run.turn[::-1], MU)
    drop = float(case.climber[2] - f.suspension.climber[2])
    return Followed(
        case.seed,
        max(x.slide for x in told[: catch + 1]),
        limb[catch],
        tuple(int(g.limb[node[i]]) for i in run.lies_on),
        drop,
        drop + float(stretch(f.peak, sharing, k)),
        drop + f.stretch,
        f.peak,
        float(case.climber[2] - run.lowest_harness),
        run.rope_peak,
    )


def table(rows: Sequence[Followed]) -> Iterator[str]:
    """Lines of a table."""
    yield "| tree | slide told (m) | lowest told / integrated (m) | as shown (m) | peak told / integrated (kN) | told / integrated | comparable |"
    yield "|---|---|---|---|---|---|---|"
    for r in rows:
        yield (
            f"| {r.seed} | {r.slides:.2f} | {r.low:.2f} / {r.rigid_low:.2f} | {r.shown_low:.2f} | {r.peak / 1e3:.2f} / {r.rigid_peak / 1e3:.2f} "
            f"| {r.peak / r.rigid_peak:.2f} | {'yes' if r.comparable else 'no'} |"
        )


def main(seeds: Sequence[int]) -> None:
    """Both tables."""
    print("First catch:\n", flush=True)
    print("\n".join(table([followed(c, 0, LoadSettings()) for c in cases(seeds, LoadSettings())])), flush=True)
    print("\nSecond catch, the first limb breaks:\n", flush=True)
    print("\n".join(table([followed(c, 1, NOTHING_STOPS) for c in cases(seeds, NOTHING_STOPS, catches=2)])), flush=True)


if __name__ == "__main__":
    main([int(a) for a in sys.argv[1:]] or range(1, 13))
