"""What does the plan say after these changes? By the shortest way that gives what `plan` gives."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import RLock
from typing import Any

from treescan.assess import Assessment, judged_again, plan, revised, throw_again
from treescan.faces.session.inputs import Inputs, arguments
from treescan.loads.checks.anchor import Heard
from treescan.planning.tie_in_point import TieInPoint
from treescan.progress import Progress, quiet
from treescan.throw.throw_path import Throw
from treescan.wood.graph import TracedTree

HeardThrow = Callable[[TieInPoint, Throw | None, int, int], None]
"""Told a line of an earlier plan, its throw now, how many are told by then, and of how many."""

MOST_THROWN = 6
"""Throws that are asked again by themselves before all are searched."""

UNMET = ("anchor", "base")
"""What may be drawn that no throw meets."""

KEPT = 10
"""Plans of one tree kept at hand: the first of all, and those last asked for."""


def answered(
    tree: TracedTree,
    now: Inputs,
    known: tuple[Inputs, Assessment] | None = None,
    progress: Progress = quiet,
    heard: Heard | None = None,
    first: str | None = None,
) -> Assessment:
    """The plan for these inputs, from one that is known or from the start; equal to `plan` with `arguments`. heard, first :
    as in `judged_again`."""
    asked = arguments(tree, now)
    if known is None:
        return plan(tree, **asked, progress=progress)
    was, a = known
    parts = {
        "species": ("species",),
        "systems": ("systems",),
        "work": ("work",),
        "site": ("drawn", "wires"),
        "removal": ("cuts", "drawn"),
        "settings": ("settings",),
    }
    changed = {name: asked[name] for name, of in parts.items() if was.key(*of) != now.key(*of)}
    if "work" not in changed and now.work is not None and "settings" in changed:
        changed["work"] = asked["work"]
    if changed:
        a = judged_again(a, **changed, progress=progress, heard=heard, first=first)
    if was.key("findings") != now.key("findings"):
        a = revised(a, asked["overrides"], progress)
    return a


def throws_anew(was: Inputs, now: Inputs) -> bool:
    """Whether a change from one to the other has the throws searched again."""

    def of_throws(inputs: Inputs) -> list[Any]:
        met = [dict(d) for d in inputs.drawn if d["what"] not in UNMET]
        return [met, inputs.wires, *(s for s in inputs.settings if s[0].startswith("throw."))]

    return of_throws(was) != of_throws(now)


class Answers:
    """The plans of one tree that are at hand; safe to ask from several threads, one question at a time."""

    def __init__(self, tree: TracedTree) -> None:
        self.tree = tree
        self._known: OrderedDict[str, tuple[Inputs, Assessment]] = OrderedDict()
        self._first = ""
        self._lock, self._book = RLock(), RLock()

    def at_hand(self, inputs: Inputs) -> Assessment | None:
        """The plan for these inputs if it is known."""
        with self._book:
            found = self._known.get(inputs.key())
            if found is not None:
                self._known.move_to_end(inputs.key())
        return None if found is None else found[1]

    def of(
        self, inputs: Inputs, progress: Progress = quiet, heard: Heard | None = None, first: str | None = None
    ) -> Assessment:
        """The plan for these inputs; heard, first : as in `judged_again`."""
        with self._lock:
            if (known := self.at_hand(inputs)) is not None:
                return known
            done = answered(self.tree, inputs, self._nearest(inputs), progress, heard, first)
            with self._book:
                self._known[inputs.key()] = (inputs, done)
                self._first = self._first or inputs.key()
                while len(self._known) > KEPT:
                    self._known.pop(next(k for k in self._known if k != self._first))
            return done

    def first_throws(self, inputs: Inputs, first: str, heard: HeardThrow, progress: Progress = quiet) -> None:
        """Where a change has the throws searched again: those of the union asked for and of the lines that stood highest, asked
        again from the places proposed so far; nothing where no plan is known, or its throws stay."""
        near = self._nearest(inputs)
        if near is None or self.at_hand(inputs) is not None or not throws_anew(near[0], inputs):
            return
        a, asked = near[1], arguments(self.tree, inputs)
        order = sorted((p for p in a.points if p.throw is not None), key=lambda p: (p.label != first, not p.usable, p.rank))
        lines = list({(p.union, p.throw.isolation_class, p.throw.stance): p for p in order[::-1] if p.throw is not None}.values())[::-1]
        for n, p in enumerate(lines[:MOST_THROWN], 1):
            if p.throw is not None:
                now = throw_again(a, p.throw, site=asked["site"], settings=asked["settings"], progress=progress)
                heard(p, now, n, min(len(lines), MOST_THROWN))

    def quick(self, inputs: Inputs) -> bool:
        """Whether a plan with the same throws is at hand."""
        near = self._nearest(inputs)
        return near is not None and not throws_anew(near[0], inputs)

    def _nearest(self, inputs: Inputs) -> tuple[Inputs, Assessment] | None:
        """The known plan that differs least: the same throws first, then the fewest other parts."""
        with self._book:
            known = list(self._known.values())
        parts = ("species", "systems", "work", "cuts", "settings", "findings")

        def far(one: tuple[Inputs, Assessment]) -> tuple[bool, int]:
            was = one[0]
            return throws_anew(was, inputs), sum(was.key(p) != inputs.key(p) for p in parts)

        return min(reversed(known), key=far, default=None)
