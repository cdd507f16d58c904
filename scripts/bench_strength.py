"""Strength against published breaking tests, storms, and how often anchors fail.

`python scripts/bench_strength.py --out FOLDER [tree.json SPECIES ...]` (two minutes, and one more for each tree):
tables on the screen, probability-integral plots as PNG in the folder.

The tests are printed as means and scatters, not piece by piece, so each is taken for a lognormal distribution with
these; a "share in the 50 % interval" is the part of that distribution which lies within the middle half of what is
predicted for one piece. A probability-integral value is the predicted chance of less than an outcome: uniform where
the prediction is right, heaped in the middle where it claims too little, toward 1 where it is too low.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from made_up.grow import grow_tree
from numpy.typing import NDArray

from treescan.assess import Settings, plan
from treescan.loads.chance.margin_kernel import FIXED, UNION
from treescan.loads.chance.margin_kernel import WOOD as WOOD_AT
from treescan.loads.chance.reliability import triangular
from treescan.loads.checks.anchor import checked
from treescan.loads.history.proof import GUST_LASTS, LOST
from treescan.loads.history.winds import (
    AIR,
    DRAG,
    DRAG_AT,
    DRAG_SPREAD,
    IN_LEAF,
    LOST_AT,
    SECTOR,
    SHORT_AT,
    drawn_winds,
    yearly_gust,
)
from treescan.loads.limb_check import HOLDS, IF_TESTED, WITHIN
from treescan.loads.material.section_strength import (
    CODOMINANT_SHARE,
    COMMON_LIMB,
    COMMON_STEM,
    LIMB_SHARE,
    OWN_CODOMINANT,
    OWN_EQUAL,
    OWN_LIMB,
    OWN_LIMB_OVAL,
    OWN_STEM,
    STEM_SHARE,
    low_side_chance,
    student_factors,
)
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.settings import LoadSettings
from treescan.loads.site_history import SiteHistory
from treescan.loads.statics.structural_model import LIMBS, StructuralModel, whole_tree
from treescan.trees.beside import Beside, Terrain
from treescan.wood.files.read_tree import read_tree
from treescan.wood.graph import WoodGraph

Floats = NDArray[np.float64]
DRAWS = 200_000
WOOD = float(np.sqrt(np.log1p(0.16**2)))


@dataclass(frozen=True)
class Printed:
    """One published test: stress at failure over the wood's MOR.

    own_wood : True where the strength of the pieces' own wood was measured, so no table is in between.
    """

    name: str
    kind: str
    mean: float
    scatter: float
    pieces: int
    own_wood: bool


MAPLES = {"silver": 40.0, "red": 53.1, "sugar": 64.8}
"""Green MOR of maples [MPa]; Kane & Clouston's own values were not opened."""



def _maples(pieces: int, what: str, kind: str, start: float, slope: float, scatter: float) -> list[Printed]:
    """Kane & Clouston's line, stress = start + slope MOR with a scatter [MPa], at the MOR of three maples."""
    return [
        Printed(
            f"{pieces} maple {what} (Kane & Clouston 2008), {name}",
            kind,
            start / mor + slope,
            scatter / (start + slope * mor),
            pieces,
            False,
        )
        for name, mor in MAPLES.items()
    ]


PRINTED = (
    Printed("pear, oval over bark (Kane 2007)", "limb, oval measured", 38.6 / 69.9, 0.17, 16, True),
    Printed("pear, circle over bark (Kane 2007)", "limb", 28.1 / 69.9, 0.446, 26, True),
    Printed("silver maple (Lilly & Sydnor 1995)", "limb", 29.7 / 40.0, 0.37, 10, False),
    Printed("Norway maple (Lilly & Sydnor 1995)", "limb", 24.5 / 53.1, 0.37, 10, False),
    *(_maples(12, "forks", "codominant", 31.337, -0.04, 15.536)),
    *(_maples(10, "stems", "stem", 5.444, 0.71, 20.78)),
)
KINDS = {
    "limb": (LIMB_SHARE, COMMON_LIMB, OWN_LIMB),
    "limb, oval measured": (LIMB_SHARE, COMMON_LIMB, OWN_LIMB_OVAL),
    "codominant": (CODOMINANT_SHARE, COMMON_LIMB, OWN_CODOMINANT),
    "equal stems": (CODOMINANT_SHARE, COMMON_LIMB, OWN_EQUAL),
    "stem": (STEM_SHARE, COMMON_STEM, OWN_STEM),
}
UNION_FACTOR_LOW = {"codominant": 0.60, "stem": 1.0}


def predicted(kind: str, own_wood: bool, pieces: int = 1, draws: int = DRAWS) -> Floats:
    """Share of MOR at which one piece breaks, or the mean of some pieces of one kind of tree, as margins draw it."""
    rng = np.random.default_rng(1)
    median, common, own = KINDS[kind]
    shared = np.hypot(0.0 if own_wood else WOOD, common) * rng.standard_normal(draws)
    wide = student_factors(draws, rng)
    each = np.exp(own * wide[:, None] * rng.standard_normal((draws, pieces))).mean(axis=1)
    return np.asarray(median * np.exp(wide * shared) * each, float)


def predicted_low(kind: str, own_wood: bool, draws: int = DRAWS) -> Floats:
    """The same by the low alternative: 0.40 and 45 % for all, a union factor on top."""
    rng = np.random.default_rng(2)
    spread = np.sqrt(np.log1p(0.446**2))
    middle = 0.40 * np.exp(-0.5 * spread**2) * UNION_FACTOR_LOW.get(kind, 1.0)
    wide = np.hypot(0.0 if own_wood else WOOD, spread)
    return np.asarray(middle * np.exp(wide * rng.standard_normal(draws)), float)


def outcomes(test: Printed, count: int = 2000) -> Floats:
    """Evenly spread quantiles of a lognormal distribution with the printed mean and scatter."""
    from scipy.special import ndtri

    sd = np.sqrt(np.log1p(test.scatter**2))
    return np.asarray(test.mean * np.exp(-0.5 * sd**2 + sd * ndtri((np.arange(count) + 0.5) / count)), float)


def integral_values(of: Floats, drawn: Floats) -> Floats:
    """Predicted chance of less than each outcome."""
    return np.searchsorted(np.sort(drawn), of) / len(drawn)


Found = tuple[Printed, Floats, Floats, float]
"""A test, integral values of its pieces, the same by the low alternative, integral value of its mean."""


def published() -> list[Found]:
    """Of every test what `Found` says."""
    out: list[Found] = []
    for test in PRINTED:
        of = outcomes(test)
        means = predicted(test.kind, test.own_wood, test.pieces, 40_000)
        by_kind, low = (f(test.kind, test.own_wood) for f in (predicted, predicted_low))
        chance = float(np.mean(means < test.mean))
        out.append((test, integral_values(of, by_kind), integral_values(of, low), chance))
    return out


def within(values: Floats, share: float) -> float:
    """Share of integral values that lie in the middle `share` of what was predicted."""
    return float(np.mean(np.abs(values - 0.5) <= share / 2))


def row(*cells: object) -> str:
    """A line of a table."""
    return "| " + " | ".join(str(c) for c in cells) + " |"


def head(*cells: str) -> str:
    """The first two lines of a table."""
    return row(*cells) + "\n|" + "---|" * len(cells)


def published_table() -> str:
    """Share of outcomes in the predicted 50 and 90 % intervals, and below the low side."""
    rows = [
        head(
            "test", "pieces", "mean over MOR", "in 50 %", "in 90 %", "below the low side", "mean's integral value",
            "low alternative: in 50 %", "in 90 %",
        )
    ]  # fmt: skip
    found, low = published(), low_side_chance()

    def shares(u: Floats, other: Floats, mean: str) -> tuple[str, ...]:
        by_kind = (f"{within(u, 0.5):.2f}", f"{within(u, 0.9):.2f}", f"{np.mean(u < low):.3f}")
        return (*by_kind, mean, f"{within(other, 0.5):.2f}", f"{within(other, 0.9):.2f}")

    rows += [row(t.name, t.pieces, f"{t.mean:.2f}", *shares(u, other, f"{m:.2f}")) for t, u, other, m in found]
    u, other = (np.concatenate([f[i] for f in one_a_test(found)]) for i in (1, 2))
    return "\n".join([*rows, row("one row a test, alike", "", "", *shares(u, other, ""))])


def one_a_test(found: list[Found]) -> list[Found]:
    """Kane & Clouston's lines by the red maple only, and one circle of the pears' three: each test once."""
    return [f for f in found if not f[0].name.endswith((" silver", " sugar"))]


# Smiley 2003 and its companion: force [lb] on diameter [in] of codominant unions, r2; diameters 4.9 to 15.6 cm
LINES = (
    ("codominant maples (Smiley 2003)", 613.0, -1388.0, 0.92),
    ("codominant maples, included bark (Smiley 2003)", 537.0, -1285.0, 0.76),
    ("red maple, controls of the companion study, 11", 546.0, -1051.0, 0.79),
    ("red oak, controls of the companion study, 10", 603.0, -1337.0, 0.94),
)
INCHES = np.array([4.9, 15.6]) / 2.54


def lines_table() -> str:
    """Power of the diameter and scatter of one piece about each line; the section modulus has the power 3."""
    rows = [head("test", "force goes with diameter to the power", "scatter about the line", "drawn of a limb by itself")]
    low, high = INCHES
    spread = (high - low) / np.sqrt(12.0)
    for name, slope, start, r2 in LINES:
        a, b = max(low, 2.5), high
        power = np.log((slope * b + start) / (slope * a + start)) / np.log(b / a)
        about = slope * spread * np.sqrt((1 - r2) / r2) / (slope * INCHES.mean() + start)
        rows.append(row(name, f"{power:.1f}", f"{about:.2f}", f"{OWN_CODOMINANT:.2f} to {OWN_EQUAL:.2f}"))
    return "\n".join(rows)


GILMAN = (
    (-12.2, 19.2), (-41.0, 45.2), (-39.1, 47.7), (-43.9, 57.3), (-69.1, 84.6), (-66.9, 90.12), (-137.8, 146.8),
    (-155.1, 165.1), (-158.6, 165.6), (-190.5, 217.3),
)  # fmt: skip
"""Gilman 2003, Table 1: load [kg] = slope * aspect ratio + intercept, red maple branches of 5 to 20 mm, by class."""


def gilman_table() -> str:
    """Strength of unions over that at an aspect ratio of a half: his ten lines within the intervals of one union."""
    rows = [head("aspect ratio", "kept, ten lines (least, most)", "predicted (5 to 95 %)", "in 50 %", "in 90 %")]
    rng = np.random.default_rng(3)
    for aspect in (0.7, 0.85, 1.0):
        kept = np.array([(m * aspect + c) / (m * 0.5 + c) for m, c in GILMAN])
        own = OWN_EQUAL if aspect == 1.0 else OWN_CODOMINANT
        wide = student_factors(DRAWS, rng)
        one, other = rng.standard_normal((2, DRAWS))
        one = np.exp(wide * (own * one - OWN_LIMB * other))
        drawn = CODOMINANT_SHARE / LIMB_SHARE * one
        u = integral_values(kept, drawn)
        low, mid, high = np.percentile(drawn, [5, 50, 95])
        cells = f"{kept.mean():.2f} ({kept.min():.2f} to {kept.max():.2f})", f"{mid:.2f} ({low:.2f} to {high:.2f})"
        rows.append(row(f"{aspect:.2f}", *cells, f"{within(u, 0.5):.1f}", f"{within(u, 0.9):.1f}"))
    ratio = np.array([0.40, 0.72, 0.81, 0.83, 0.85])
    u = integral_values(ratio, triangular(rng.standard_normal(DRAWS), *LoadSettings().included_bark))
    values = ", ".join(f"{v:.2f}" for v in u)
    rows.append(f"\nIncluded bark (Smiley 2003: {', '.join(f'{v:.2f}' for v in ratio)}): integral values {values}.")
    return "\n".join(rows)


def plots(folder: Path) -> Path:
    """Probability-integral plots: one small panel a test, and all tests alike."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    found = published()
    every = one_a_test(found)
    fig, axes = plt.subplots(3, 4, figsize=(13, 9), sharex=True, sharey=True)
    at = np.linspace(0, 1, 201)

    def panel(ax, title: str, u: Floats, other: Floats) -> None:
        ax.plot([0, 1], [0, 1], color="0.7", lw=1)
        ax.plot(at, np.mean(u[None] <= at[:, None], axis=1), color="tab:blue", label="by kind of section")
        low = np.mean(other[None] <= at[:, None], axis=1)
        ax.plot(at, low, color="tab:orange", ls="--", label="low alternative")
        ax.set_title(title, fontsize=8)

    for ax, (test, u, other, _) in zip(axes.flat, found, strict=False):
        panel(ax, test.name, u, other)
    for ax in axes.flat[len(found) :]:
        ax.axis("off")
    last = axes.flat[len(found)]
    last.axis("on")
    panel(last, "one row a test, alike", *(np.concatenate([f[i] for f in every]) for i in (1, 2)))
    last.legend(fontsize=7, loc="upper left")
    fig.supxlabel("predicted chance of breaking below the outcome")
    fig.supylabel("share of outcomes below")
    fig.tight_layout()
    out = folder / "integral_plots.png"
    fig.savefig(out, dpi=110)
    plt.close(fig)
    return out


# --- storms


def codominant_unions(model: StructuralModel, thick: float = 0.10) -> NDArray[np.int_]:
    """Sections at nearly equal unions (aspect ratio 0.7 and more) of limbs of 10 cm and more."""
    s = model.sections
    here = s.counted & s.known & (np.nan_to_num(s.aspect) >= 0.70) & (2 * s.radius >= thick)
    return np.flatnonzero(here)


def storm_chances(
    model: StructuralModel, rows: NDArray[np.int_], site: SiteHistory, gust: float, leafy: float = 1.0
) -> Floats:
    """Chance of every union to break in one gust, given that it stood the years of the site, (s,).

    leafy : what leaves multiply the storm's load by; the years before count bare wood.
    """
    breaks, stood = storm_draws(model, rows, site, gust, leafy)
    return np.array([np.mean(b[u]) if u.any() else np.nan for b, u in zip(breaks, stood, strict=True)])


def tree_loses(
    model: StructuralModel, rows: NDArray[np.int_], site: SiteHistory, gust: float, leafy: float = 1.0, before: float = 1.0
) -> float:
    """Chance that a tree loses any of its unions in one gust, given that all of them stood the years of the site.

    Drag, the years' gusts, the tree's wood and what its limbs share are one draw for all unions; each union's own part is
    its own.

    leafy, before : what leaves multiply the load by, of the storm and of the years before.
    """
    return _lost(*storm_draws(model, rows, site, gust, leafy, before, each_its_own=True))


def _lost(breaks: NDArray[np.bool_], stood: NDArray[np.bool_]) -> float:
    """Share of the draws in which every union stood the years where one breaks in the gust."""
    up = stood.all(axis=0)
    return float(np.mean(breaks[:, up].any(axis=0))) if up.any() else float("nan")


def storm_draws(
    model: StructuralModel,
    rows: NDArray[np.int_],
    site: SiteHistory,
    gust: float,
    leafy: float = 1.0,
    before: float = 1.0,
    each_its_own: bool = False,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Of every union (s) in every draw (n): would it break in the gust, had it stood its own weight and the years?"""
    s, z, weather = model.sections, model.normals, model.weather
    rng = np.random.default_rng(11)
    apart = np.random.default_rng(12)
    winds = drawn_winds(site, weather, False)
    drag = DRAG * np.exp(DRAG_SPREAD * weather[:, DRAG_AT])
    prevailing = 2 * np.pi * rng.random(len(z)) if len(winds.azimuth) == 0 else winds.azimuth[0]
    toward = prevailing + SECTOR * rng.standard_normal(len(z))
    gone = triangular(weather[:, SHORT_AT], *GUST_LASTS)
    gone = gone * (1 - np.minimum(LOST * np.abs(weather[:, LOST_AT]), 0.5))
    breaks, stood = np.zeros((2, len(rows), len(z)), bool)
    for i, node in enumerate(rows):
        axis = model.graph.direction[node]
        map_ = s.stretch[node] if len(s.stretch) else np.eye(3)
        own = _across(map_ @ s.own_moment[node], axis)
        k = triangular(z[:, UNION], *s.k[node])
        bears = 0.25 * np.pi * s.radius[node] ** 3 * s.bending[node] * k
        bears = bears * np.exp(s.tree_spread[node] * z[:, WOOD_AT])
        e, other = z[:, FIXED], z[:, FIXED + LIMBS]
        if each_its_own:
            e, other = model.widened * apart.standard_normal((2, len(z)))
        plane = own / max(float(np.linalg.norm(own)), 1e-9)

        def strength(moment: Floats) -> Floats:
            along = moment @ plane  # noqa: B023
            turned = 1.0 - along**2 / np.maximum(np.sum(moment**2, axis=1), 1e-9)
            shared = 1.0 - (1.0 - s.plane[node]) * np.clip(turned, 0.0, 1.0)  # noqa: B023
            both = shared * e + np.sqrt(1.0 - shared**2) * other  # noqa: B023
            return np.asarray(bears * np.exp(s.limb_spread[node] * both))  # noqa: B023

        def blown(azimuth: Floats) -> Floats:
            return _across(model.crown.wind([node], s.point[[node]], azimuth)[0] @ map_.T, axis)  # noqa: B023

        up = strength(np.tile(own, (len(z), 1))) > np.linalg.norm(own)
        for pressure, azimuth in zip(winds.pressure, winds.azimuth, strict=True):
            m = own + before * pressure[:, None] * blown(azimuth)
            up &= strength(m) > gone * np.linalg.norm(m, axis=1)
        m = own + (0.5 * AIR * drag * leafy * gust**2)[:, None] * blown(toward)
        breaks[i], stood[i] = strength(m) < gone * np.linalg.norm(m, axis=1), up
    return breaks, stood


def _across(vector: Floats, axis: Floats) -> Floats:
    return np.asarray(vector - (vector @ axis)[..., None] * axis, float)


def storm_trees() -> list[tuple[str, WoodGraph, str]]:
    """Trees with codominant unions of which everything is known: grown, not scanned."""
    each = [("codominant", seed) for seed in range(4)] + [("three-stemmed", seed) for seed in range(2)]
    return [(f"{habit} {seed}", grow_tree(seed, habit, thinnest=0.01), "oak") for habit, seed in each]


LEAVES_GIVE_WAY, AT = 0.31, 22.0
"""In leaf the load of an oak goes with the 1.64th power of the gust, bare with the 1.95th (Angelou 2019, middle of the ranges): what leaves multiply the load by falls
with the difference; 2.2 was found for 22 m/s."""


def in_leaf(gust: float) -> float:
    """What leaves multiply the load of a gust by. [m/s]"""
    return float(IN_LEAF * (AT / gust) ** LEAVES_GIVE_WAY)


STORM_DRAWS = 8_000
SITES = (
    (SiteHistory(years=0), "0"),
    (SiteHistory(years=5), "5, 15 m/s"),
    (SiteHistory(years=5, exposure="open", station_gust=19.0), "5, 19 m/s"),
    (SiteHistory(years=5, exposure="open", station_gust=25.0), "5, 25 m/s"),
)


def storm_models(trees: list[tuple[str, WoodGraph, str]]) -> list[StructuralModel]:
    """The trees with enough draws to see one in 500."""
    settings = LoadSettings(samples=STORM_DRAWS, region="Europe")
    return [whole_tree(graph, Beside(Terrain.flat(0.0)), wood_of(s, settings), settings, 1) for _, graph, s in trees]


def storm_table(models: list[StructuralModel]) -> Iterator[str]:
    """Predicted failures of codominant unions in one gust: of a union, and any of a tree's, together and as if independent."""
    at = [(m, u) for m in models if len(u := codominant_unions(m))]
    yield head(
        "gust at the tree", "years stood, yearly gust", "leaves", "unions", "a union breaks", "worst union",
        "a tree loses one, as if independent", "a tree loses one",
    )  # fmt: skip
    for gust in (15.0, 20.0, 25.0, 30.0):
        for site, said in SITES:
            leafy = in_leaf(gust)
            ways = {"none": (1.0, 1.0), "in the storm": (leafy, 1.0), "in storm and years": (leafy, in_leaf(yearly_gust(site)))}
            for leaves, (now, before) in ways.items():
                drawn = [storm_draws(m, u, site, gust, now, before, each_its_own=True) for m, u in at]
                each = [np.array([np.mean(b[s]) for b, s in zip(*d, strict=True)]) for d in drawn]
                every = np.concatenate(each)
                apart = np.mean([1 - np.prod(1 - c) for c in each])
                lost = np.mean([_lost(*d) for d in drawn])
                yield row(f"{gust:.0f} m/s", said, leaves, len(every), *(f"{100 * v:.2f} %" for v in (every.mean(), every.max(), apart, lost)))


SEEN_AT_MOST = 0.002
"""Trees that lost a codominant union, of 1,518: none, fewer than this at 95 %."""


def agreement_table(models: list[StructuralModel]) -> Iterator[str]:
    """The gust at the tree up to which the prediction, a tree loses one, stays within what was seen; bare, and in leaf in storm and years."""
    yield head("years stood, yearly gust", "leaves", "predicted and seen agree up to a gust at the tree of", "over the yearly gust")
    at = [(m, u) for m in models if len(u := codominant_unions(m))]
    for gust in (15.0, 19.0, 25.0):
        site = SiteHistory(years=5, exposure="open", station_gust=gust)
        for said in ("bare", "in leaf, storm and years"):

            def lost(storm: float, site: SiteHistory = site, bare: bool = said == "bare") -> float:
                leaves = (1.0, 1.0) if bare else (in_leaf(storm), in_leaf(yearly_gust(site)))
                return float(np.mean([tree_loses(m, u, site, storm, *leaves) for m, u in at]))

            low, high = 8.0, 40.0
            while high - low > 0.4:
                low, high = ((low + high) / 2, high) if lost((low + high) / 2) <= SEEN_AT_MOST else (low, (low + high) / 2)
            yield row(f"5, {gust:.0f} m/s", said, f"{low:.1f} m/s", f"{low / gust:.2f}")


# --- how often anchors fail

ONE_CLIMBER = ("at rest", "ascent", "work positioning")


KEPT = (HOLDS, WITHIN, IF_TESTED)


def chosen_table(files: list[tuple[str, str]]) -> str:
    """Chance that sound wood breaks at the anchors a climber would choose: hardest ordinary use, and one climber plumb."""
    rows = [head("tree", "anchors", "hardest ordinary use: least, middle, most", "one climber, plumb: least, middle, most")]
    for name, species in files:
        tree = read_tree(Path(name))
        a = plan(tree, species=species, settings=Settings())
        usable = [p for p in a.points if p.usable]
        holds = [p for p in usable if p.check.check.verdict in KEPT]
        chosen = holds or usable[:3]
        said = f"{len(holds)} that hold" if holds else "first three, none holds"
        alone = replace(a.checks.model, settings=replace(a.checks.model.settings, cases=ONE_CLIMBER))
        ropes = [p.check.configuration for p in chosen]
        one = [c.check.sound_chance for c in checked(alone, ropes, np.zeros((0, 3)))]
        use = [p.check.check.sound_chance for p in chosen]
        cells = [", ".join(f"{v:.0e}" for v in np.quantile(each, [0, 0.5, 1])) for each in (use, one)]
        rows.append(row(f"{tree.source} ({species})", said, *cells))
    rows.append(row("record: an anchor gives way, a climb", "", "1e-7 to 3e-5", "1e-7 to 3e-5"))
    return "\n".join(rows)


def main() -> None:
    """All tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("trees", nargs="*", help="tree.json and species in turn")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    for part in (published_table(), lines_table(), gilman_table()):
        print(part, end="\n\n")
    print(plots(asked.out), end="\n\n")
    models = storm_models(storm_trees())
    for table in (storm_table(models), agreement_table(models)):
        for line in table:
            print(line, flush=True)
        print()
    if asked.trees:
        print(chosen_table(list(zip(asked.trees[::2], asked.trees[1::2], strict=True))))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    main()
