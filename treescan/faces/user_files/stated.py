"""What people state beside the scan: the cuts of a removal in their order, and a competent person's
findings."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

from treescan.errors import BadInput
from treescan.faces.user_files.asked_work import limb_named
from treescan.faces.user_files.faults import raise_together
from treescan.faces.user_files.table_rows import HIGHEST, read_rows, real, whole, words, yes_or_no
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.planning.ranking.overrides import MOST_BOUNCE, Override
from treescan.planning.work.removal import OVER, Cut, Removal, check_order, cut_limb, cut_stem
from treescan.wood.graph import WoodGraph

CUT_COLUMNS = (
    "order",
    "name",
    "limb",
    "union",
    "at_m",
    "height_m",
    "stem_height_m",
    "life_support",
    "rigging",
    "rigging_over",
)
MOST_PEOPLE = 10.0
"""More people than this never hang on a rope to test it (project choice)."""

OVERRIDE_COLUMNS = tuple(Override.__dataclass_fields__)


def read_cuts(path: Path | str, graph: WoodGraph, others: Collection[str] | None = ()) -> Removal:
    """The cuts of a removal from a table (CSV, TOML [[cut]] or JSON), sorted by `order` where given.

    A row names one cut: `limb` (number in tree.json), `union` (its thickest limb comes off) or
    `stem_height_m` (the stem is cut there); with a limb or union also `at_m` (metres out along it from the
    bark of its parent) or `height_m` (above the stem's foot). `life_support` is what the climber hangs
    on at that cut: a union ("U07"), one anchor ("U07 MRS") or an anchor drawn in another tree, one of `others` (None: they
    are not known, and any name will do). `rigging` is the union that carries the rigging block, `rigging_over` what the rope
    runs over there: "block" (also where it is empty), "ring" or "bark".
    """
    path = Path(path)
    return cuts_of(read_rows(path, CUT_COLUMNS, "cut"), path, graph, others)


def cuts_of(
    rows: Sequence[dict[str, Any]], path: Path, graph: WoodGraph, others: Collection[str] | None = ()
) -> Removal:
    """The cuts of a removal from rows as `read_cuts` takes them; `path` names them in what is said of a fault."""
    cuts, faults = [], []
    for number, row in enumerate(rows, start=1):
        try:
            turn = real(row, "order", path, number) if "order" in row else float(number)
            block = _union(row, "rigging", path, number, graph)
            node = int(graph.unions.node[graph.unions.label.index(block)]) if block else -1
            support = _support(row, path, number, graph, others)
            cuts.append((turn, _cut(row, path, number, graph), support, node, _over(row, path, number)))
        except BadInput as err:
            known = err.what.startswith(f"row {number}")
            what = err.what if known else f"row {number}: {err.what}"
            faults.append(BadInput(what, file=str(path), remedy=err.remedy))
    raise_together(faults, str(path))
    cuts.sort(key=lambda c: c[0])
    removal = Removal(
        tuple(c[1] for c in cuts), tuple(c[2] for c in cuts), tuple(c[3] for c in cuts), tuple(c[4] for c in cuts)
    )
    try:
        check_order(graph, removal)
    except BadInput as err:
        raise BadInput(err.what, file=str(path), remedy=err.remedy) from err
    return removal


def read_overrides(path: Path | str, graph: WoodGraph) -> tuple[Override, ...]:
    """Statements of a competent person from a table (CSV, TOML [[override]] or JSON); each needs kind, who,
    when and why, and names a limb or union of this tree. Every row at fault is told."""
    path = Path(path)
    return overrides_of(read_rows(path, OVERRIDE_COLUMNS, "override"), path, graph)


def overrides_of(rows: Sequence[dict[str, Any]], path: Path, graph: WoodGraph) -> tuple[Override, ...]:
    """Statements from rows as `read_overrides` takes them; `path` names them in what is said of a fault."""
    out, faults = [], []
    for number, row in enumerate(rows, start=1):
        try:
            out.append(_override(row, path, number, graph))
        except BadInput as err:
            faults.append(err)
    raise_together(faults, str(path))
    return tuple(out)


def _override(row: dict[str, Any], path: Path, number: int, graph: WoodGraph) -> Override:
    """One statement, checked against the tree."""
    for column in ("kind", "who", "why", "when", "union", "direction"):
        if column in row:
            row[column] = words(row, column, path, number)
    missing = [c for c in ("kind", "who", "when", "why") if not row.get(c)]
    if missing:
        raise BadInput(
            f"row {number} lacks {', '.join(missing)}", file=str(path), remedy="state kind, who, when and why"
        )
    if "value" in row:
        row["value"] = real(row, "value", path, number, low=0.0, high=1.0)
    if "above" in row:
        row["above"] = _above(real(row, "above", path, number, low=0.0, high=HIGHEST), path, number, graph)
    if "people" in row:
        row["people"] = real(row, "people", path, number, low=1.0, high=MOST_PEOPLE)
    if "bounce" in row:
        row["bounce"] = real(row, "bounce", path, number, low=1.0, high=MOST_BOUNCE)
    if "inspected" in row:
        row["inspected"] = yes_or_no(row, "inspected", path, number)
    if "limb" in row:
        row["limb"] = whole(row, "limb", path, number, low=0, high=len(graph.limbs) - 1)
    if row.get("union"):
        _union(row, "union", path, number, graph)
    try:
        return Override(**row)
    except BadInput as err:
        raise BadInput(f"row {number}: {err.what}", file=str(path), remedy=err.remedy) from err


def _above(above: float, path: Path, number: int, graph: WoodGraph) -> float:
    """A height over the stem's foot that some of the tree reaches."""
    top = float(graph.xyz[:, 2].max() - graph.xyz[0, 2])
    if above < top:
        return above
    raise BadInput(
        f"row {number}: nothing of this tree is higher than {above:g} m: it is {top:.1f} m tall",
        file=str(path),
        remedy="give metres above the stem's foot",
    )


def _cut(row: dict[str, str], path: Path, number: int, graph: WoodGraph) -> Cut:
    ways = [c for c in ("limb", "union", "stem_height_m") if c in row]
    if len(ways) != 1:
        raise BadInput(
            f"row {number} names {len(ways)} places to cut",
            file=str(path),
            remedy="give one of limb, union or stem_height_m",
        )
    name = str(row.get("name", ""))
    farther = [c for c in ("at_m", "height_m") if c in row]
    if ways[0] == "stem_height_m":
        if farther:
            raise BadInput(
                f"row {number} gives stem_height_m and {' and '.join(farther)}",
                file=str(path),
                remedy="give stem_height_m alone; at_m and height_m go with a limb or a union",
            )
        return cut_stem(graph, real(row, "stem_height_m", path, number, low=0.0, high=HIGHEST), name)
    if ways[0] == "union":
        _union(row, "union", path, number, graph)  # a bare number here is no limb's
    if len(farther) > 1:
        raise BadInput(f"row {number} gives at_m and height_m", file=str(path), remedy="give one of them")
    out = {c: real(row, c, path, number, low=0.0, high=HIGHEST) for c in farther}
    made = f"{ways[0]} {row[ways[0]]}" + "".join(f" at {row[c]} m" for c in farther)
    limb = limb_named(graph, str(row[ways[0]]))
    if limb == 0 and set(out) == {"height_m"}:
        return cut_stem(graph, out["height_m"], name)
    return cut_limb(graph, limb, name or made, out.get("at_m"), out.get("height_m"))


def _union(row: dict[str, str], column: str, path: Path, number: int, graph: WoodGraph) -> str:
    label = str(row.get(column, ""))
    if label and label not in graph.unions.label:
        raise BadInput(
            f"row {number}: {column} '{label}' is not a union of this tree",
            file=str(path),
            remedy="write its label, for example U07" + ("; a limb by its number goes under limb" if column == "union" else ""),
        )
    return label


def _over(row: dict[str, str], path: Path, number: int) -> str:
    """What the rope of the rigging runs over, "" = not stated."""
    named = str(row.get("rigging_over", "")).lower()
    if named and named not in OVER:
        raise BadInput(
            f"row {number}: rigging_over '{named}' is none of {', '.join(OVER)}",
            file=str(path),
            remedy="say what the rope of the rigging runs over",
        )
    if named and not row.get("rigging"):
        raise BadInput(
            f"row {number} gives rigging_over without rigging", file=str(path), remedy="name the union that carries it"
        )
    return named


def _support(
    row: dict[str, str], path: Path, number: int, graph: WoodGraph, others: Collection[str] | None
) -> str:
    """What the climber hangs on: a drawn anchor, a union, or one anchor by union and rope system; BadInput where the name
    stands for more than one thing."""
    named = str(row.get("life_support", ""))
    label, _, system = named.partition(" ")
    own = named in graph.unions.label or (label in graph.unions.label and system in SYSTEMS)
    meant = list(others or ()).count(named) + own
    if meant > 1:
        raise BadInput(
            f"row {number}: life_support '{named}' names {meant} anchors"
            + (", one in this tree and one drawn in another" if own else " drawn on the site plan"),
            file=str(path),
            remedy="give the drawn anchor another name",
        )
    if not named or meant or others is None:
        return named
    raise BadInput(
        f"row {number}: life_support '{named}' is not a union of this tree",
        file=str(path),
        remedy="name a union (U07), an anchor (U07 MRS), or an anchor drawn on the site plan",
    )
