"""treescan: from a laser scan of a tree to candidate tie-in points for a climbing arborist to inspect.

    >>> from treescan import read_cloud, trace, plan            # doctest: +SKIP
    >>> assessment = plan(trace(read_cloud("scan.laz")))        # doctest: +SKIP

The public names, by the question they answer:

- what did we see?      `read_cloud`, `inspect_cloud`, `trace`, `read_tree`, `write_tree`
- where to tie in?      `plan`, `judged_again` (any other input: species, climber, work, site, cuts, settings), `throws_from`,
                        `throw_again`
- beside the scan?      `Site`, `Work`, `Removal` with `cut_limb` and `cut_stem`, `Override`, and `revised` for what is stated later
- from files?           `read_site`, `read_work`, `read_cuts`, `read_overrides`
- what came out?        `write_outputs`, and `table` for one tidy table as a data frame
- what can be set?      `Settings`
- what went wrong?      `TreescanError`, `BadInput`, `RunFailed`

Everything else may change freely. Importing this package loads nothing heavy; each name brings its room along when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from treescan.errors import BadInput, RunFailed, TreescanError

if TYPE_CHECKING:
    from treescan.assess import (
        Assessment,
        Override,
        Removal,
        Settings,
        Site,
        Work,
        judged_again,
        plan,
        revised,
        throw_again,
        throws_from,
        trace,
    )
    from treescan.cloud.inspect import inspect_cloud
    from treescan.cloud.point_cloud import PointCloud
    from treescan.cloud.read import read_cloud
    from treescan.outputs.write import write_outputs
    from treescan.wood.files.read_tree import read_tree
    from treescan.wood.files.write_tree import write_tree
    from treescan.wood.graph import TracedTree, WoodGraph

__version__ = "0.1.0"

_ROOMS = {
    "Assessment": "treescan.assess",
    "Override": "treescan.assess",
    "PointCloud": "treescan.cloud.point_cloud",
    "Removal": "treescan.assess",
    "Settings": "treescan.assess",
    "Site": "treescan.assess",
    "TracedTree": "treescan.wood.graph",
    "WoodGraph": "treescan.wood.graph",
    "Work": "treescan.assess",
    "cut_limb": "treescan.planning.work.removal",
    "cut_stem": "treescan.planning.work.removal",
    "inspect_cloud": "treescan.cloud.inspect",
    "judged_again": "treescan.assess",
    "plan": "treescan.assess",
    "read_cloud": "treescan.cloud.read",
    "read_cuts": "treescan.faces.user_files.stated",
    "read_overrides": "treescan.faces.user_files.stated",
    "read_site": "treescan.faces.user_files.drawn",
    "read_tree": "treescan.wood.files.read_tree",
    "read_work": "treescan.faces.user_files.asked_work",
    "revised": "treescan.assess",
    "table": "treescan.outputs.data.tables",
    "throw_again": "treescan.assess",
    "throws_from": "treescan.assess",
    "trace": "treescan.assess",
    "write_outputs": "treescan.outputs.write",
    "write_tree": "treescan.wood.files.write_tree",
}

__all__ = [
    "Assessment",
    "BadInput",
    "Override",
    "PointCloud",
    "Removal",
    "RunFailed",
    "Settings",
    "Site",
    "TracedTree",
    "TreescanError",
    "WoodGraph",
    "Work",
    "cut_limb",
    "cut_stem",
    "inspect_cloud",
    "judged_again",
    "plan",
    "read_cloud",
    "read_cuts",
    "read_overrides",
    "read_site",
    "read_tree",
    "read_work",
    "revised",
    "table",
    "throw_again",
    "throws_from",
    "trace",
    "write_outputs",
    "write_tree",
]


def __getattr__(name: str) -> Any:
    """Bring a public name's room along when it is first used."""
    if name in _ROOMS:
        return getattr(import_module(_ROOMS[name]), name)
    raise AttributeError(f"module 'treescan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_ROOMS])
