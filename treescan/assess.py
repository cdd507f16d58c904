"""The main thing: from a scan to ranked tie-in points. Reads like the job itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from treescan.planning.tie_in_point import TieInPoint, Work
from treescan.throw.throw_path import ThrowTable
from treescan.trees.beside import Site
from treescan.wood.graph import TracedTree


@dataclass(frozen=True)
class Assessment:
    """Everything the outputs show.

    Attributes
    ----------
    tree : TracedTree
    site : Site
    work : Work
    throws : ThrowTable
    points : tuple of TieInPoint    Usable ones by rank first, then those not ranked with their reasons.
    approach : tuple of str         Recommended approach and the arguments for and against, one sentence each.
    settings : Settings
    species : str                   As used, with how it was matched.
    warnings : tuple of str
    timings : mapping               Stage to seconds.
    """

    tree: TracedTree
    site: Site
    work: Work
    throws: ThrowTable
    points: tuple[TieInPoint, ...]
    approach: tuple[str, ...]
    settings: object
    species: str
    warnings: tuple[str, ...] = ()
    timings: Mapping[str, float] = field(default_factory=dict)
