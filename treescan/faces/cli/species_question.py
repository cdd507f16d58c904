"""Would naming the species change a verdict? Then the person at the terminal is asked for it, once.

Nothing is asked in a pipe, with `--quiet` or `--json`, or where the species is named already.
"""

from __future__ import annotations

import sys

import numpy as np

from treescan.assess import Assessment, judged_again
from treescan.faces.told.progress_bar import Reporter
from treescan.loads.material.wood_strength import LOW_SHARE, wood_of
from treescan.loads.material.wood_table import Row, green_wood
from treescan.outputs.text.say import say, text
from treescan.reason import Reason

NAMED = {"wood_by_name", "wood_stand_in", "wood_never_tested"}
"""Codes of wood that a name has settled."""
NOT_KNOWN = "wood_not_in_table"


def may_ask(quiet: bool, as_json: bool) -> bool:
    """Whether somebody sits at a terminal who can read a question and answer it."""
    return not quiet and not as_json and sys.stdin.isatty() and sys.stderr.isatty()


def with_species_asked(done: Assessment, report: Reporter) -> Assessment:
    """The plan, or the plan for the species the person names when asked.

    Asked only where the name given may mean several kinds of wood, or none is given, and the strongest of them
    (of a name not known: the high end of the table) changes a verdict.
    """
    label = _matched(done)
    if label.code in NAMED or not done.points:
        return done
    other = _could_be(label)
    changed = _verdicts_changed(done, judged_again(done, species=other.botanical, progress=report))
    if not changed:
        return done
    report.close()
    with report.paused():
        return _asked(done, label, other, changed, report)


def _asked(done: Assessment, label: Reason, other: Row, changed: int, report: Reporter) -> Assessment:
    """Say what hangs on it, ask, and judge again for a name that is known; else leave the plan as it is."""
    strength = wood_of(other.botanical, done.settings.loads).mor
    figures = {"botanical": other.botanical, "mor": strength, "changed": changed, "candidates": len(done.points)}
    print(text("species_matters", used=label, **figures), file=sys.stderr)
    print(text("species_asked"), end="", file=sys.stderr, flush=True)
    name = sys.stdin.readline().strip()
    if not name:
        print(text("species_left_as_it_is"), file=sys.stderr)
        return done
    told = wood_of(name, done.settings.loads).label
    print(say(told), file=sys.stderr)
    if told.code == NOT_KNOWN or len(name) > 200:
        print(text("species_left_as_it_is"), file=sys.stderr)
        return done
    return judged_again(done, species=name, progress=report)


def _matched(done: Assessment) -> Reason:
    """How the species was matched, without the word on a measured density."""
    label = done.checks.wood.label
    return label["matched"] if label.code == "wood_density_measured" else label


def _could_be(label: Reason) -> Row:
    """The wood it is held against: the strongest the name may mean, or the high end of the table (of its kind), as
    far from its top as the low end from its foot."""
    tested = [r for r in green_wood() if np.isfinite(r.mor) and r.standing != "derived"]
    named = label.values.get("named")
    if named:
        return next(r for r in tested if r.botanical == named[0]["botanical"])
    kinds = [r for r in tested if label.values.get("kind") in (r.kind, "any_kind", None)]
    return sorted(kinds, key=lambda r: (r.mor, r.botanical))[int((1.0 - LOW_SHARE / 100.0) * (len(kinds) - 1))]


def _verdicts_changed(a: Assessment, b: Assessment) -> int:
    """How many lines are told another verdict, or are offered in one plan only."""
    one, other = ({(p.named, p.hardware): (p.verdict, p.usable) for p in x.points} for x in (a, b))
    return sum(one.get(key) != other.get(key) for key in one.keys() | other.keys())
