"""Where does the rope of a configuration lie when it is judged: on which limbs, and how far out on the wanted one?

Twigs give way (`stout_line`); a pull from the side may drag the rope out along its limb (`rope_slip`); over limbs under the climber's leg it
may lift off the union. Each is judged, and the worse answer counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from treescan.estimate import Estimate
from treescan.loads.judging.judged import Judged, contacts_of, judged
from treescan.loads.judging.rope_slip import RopeSlip, rope_slip
from treescan.loads.judging.stout_line import StoutLine, stout_line
from treescan.loads.judging.verdict import misread, verdict
from treescan.loads.limb_check import FAILS, UNSEEN, VERDICTS, AnchorConfiguration
from treescan.loads.rope.configuration_loads import ConfigurationLoads, joined, loads_of, strung_before
from treescan.loads.rope.contacts import Contact
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.governing import governed
from treescan.loads.statics.load_path import unseen
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.units import G
from treescan.wood.graph import Floats

LIFTED = 0.1
"""A union that bears less than this share of the climber's weight under the governing load has the rope
lifted off it (project choice)."""

SECOND_PERSON = ("rescue", "load test")
"""Cases with a second person on the rope, who goes on it only where it was laid."""


@dataclass(frozen=True)
class NotSeen:
    """Why the scan cannot tell."""

    why: Reason


@dataclass(frozen=True)
class Placed:
    """One configuration with its rope where it is judged.

    found : Judged or NotSeen; line : StoutLine, what it was judged without; lifted : bool, the rope is lifted off the union and judged as if the
    limbs beyond were not there; outer : Estimate or None, as in `AnchorCheck`.
    """

    found: Judged | NotSeen
    line: StoutLine
    lifted: bool
    outer: Estimate | None

    @property
    def verdict(self) -> tuple[str, Reason]:
        """As `checks.verdict`."""
        return (UNSEEN, self.found.why) if isinstance(self.found, NotSeen) else verdict(self.found)


def placed(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> Placed:
    """The configuration under its loads.

    Where further limbs lie under the climber's leg, the climber hangs from the outermost of them. Should the
    taut rope lift off the union then, the configuration is also judged as if they were not there, and the
    worse of both is told.
    """
    line = stout_line(tree, configuration)
    if line.drop > tree.settings.slack:
        tree = replace(tree, settings=replace(tree.settings, slack=line.drop))
    found = _loaded(tree, line.configuration, work)
    if isinstance(found, NotSeen):
        return Placed(found, line, False, None)
    outer = _outer(found)
    if not _lifted_off(found):
        return Placed(found, line, False, outer)
    alone = _loaded(tree, replace(line.configuration, beyond=line.configuration.beyond[:0]), work)
    if isinstance(alone, NotSeen):
        return Placed(alone, line, True, outer)
    worse = _worse(alone, found)
    return Placed(worse, line, worse is alone, outer)


def _worse(one: Judged, other: Judged) -> Judged:
    """The one with the worse verdict, among equals that with the lower low side."""

    def how_low(found: Judged) -> float:
        low = found.use.margin.p5
        return -low if np.isfinite(low) else np.inf

    def how_bad(found: Judged) -> tuple[int, float]:
        return VERDICTS.index(verdict(found)[0]), how_low(found)

    lower = one if how_low(one) >= how_low(other) else other
    if verdict(lower)[0] == FAILS:  # nothing is worse: what else happens to the other need not be known
        return lower
    return one if how_bad(one) >= how_bad(other) else other


def _loaded(tree: StructuralModel, configuration: AnchorConfiguration, work: Floats) -> Judged | NotSeen:
    """The configuration under its loads, its rope also where a pull from the side leaves it."""
    contacts = contacts_of(tree, configuration)
    why = unseen(tree, contacts)
    if why is not None:
        return NotSeen(why)
    loads = _loads(tree, configuration, contacts, work)
    slip = rope_slip(tree, configuration, loads) if not len(configuration.beyond) else None
    laid = _seen(tree, _judged(tree, configuration, loads, slip))
    if slip is None or isinstance(laid, NotSeen):
        return laid
    out = (*contacts[:-1], slip.contact)
    why = unseen(tree, out)
    if why is not None:
        return NotSeen(Reason("not_seen_where_rope_slips", why=why))
    slid = _seen(tree, _judged(tree, configuration, _dragged(tree, configuration, out, work, slip), slip))
    return slid if isinstance(slid, NotSeen) else _worse(slid, laid)


def _judged(
    tree: StructuralModel, configuration: AnchorConfiguration, loads: ConfigurationLoads, slip: RopeSlip | None
) -> Judged:
    """As `judged`; loads that come up again on the same sections are not judged again."""
    slid = None if slip is None else (slip.contact.node, slip.contact.out, slip.way, slip.held_by, slip.work)
    p = loads.pulls
    numbers = b"".join(of.tobytes() for of in (p.place, p.work, p.hard, p.hard_spread, loads.hard_share))
    # of the hardware nothing is read but friction, which holds a basal line alone; where the rope slips is found before
    rigged = configuration if SYSTEMS[configuration.system].basal else replace(configuration, hardware="")
    key = ("judged", *rigged.key, slid, p.case, p.hard_case, numbers, *loads.key)
    found = tree.once(key, lambda bare: judged(bare, configuration, loads, slip))
    return replace(found, tree=tree, configuration=configuration, slip=slip)


def _seen(tree: StructuralModel, found: Judged) -> Judged | NotSeen:
    """A report explains a weak section; without one a limb that stands but could not was misread."""
    return NotSeen(misread(tree, found.use.node)) if found.misread else found


def _loads(
    tree: StructuralModel, configuration: AnchorConfiguration, contacts: Sequence[Contact], work: Floats
) -> ConfigurationLoads:
    base, ground = np.asarray(configuration.base, float), tree.ground_below(contacts[-1].point)
    rope = strung_before(tree.graph.kept, configuration.system, contacts, base, ground, work, tree.settings)
    return loads_of(rope, contacts, configuration.system, configuration.hardware, tree.settings)


def _dragged(
    tree: StructuralModel,
    configuration: AnchorConfiguration,
    contacts: Sequence[Contact],
    work: Floats,
    slip: RopeSlip,
) -> ConfigurationLoads:
    """The loads where the rope was dragged: those that drag it, and one climber who hangs straight below again."""
    full = _loads(tree, configuration, contacts, work)
    drags = np.isin(full.pulls.work, slip.work)
    if -1 in slip.work:
        return full.of(drags) if drags.any() else full
    cases = tuple(c for c in tree.settings.cases if c not in SECOND_PERSON)
    one_climber = replace(tree, settings=replace(tree.settings, cases=cases))
    single = _loads(one_climber, configuration, contacts, work)
    below = single.pulls.work == -1
    if not below.any():
        return full.of(drags) if drags.any() else full
    return joined(single.of(below), full.of(drags))


def _lifted_off(found: Judged) -> bool:
    """True where the rope over limbs beyond hardly bears on the union any more."""
    on_union = float(np.linalg.norm(found.use.legs.force[found.union].sum(axis=0)))
    most = LIFTED * found.tree.settings.climber_mass * G
    return bool(len(found.configuration.beyond) and found.use.margin.known and not on_union > most)


def _outer(found: Judged) -> Estimate | None:
    """The margin of the weakest wood that carries a limb under the climber's leg and not the union."""
    path, configuration = found.path, found.configuration
    rows = path.above[:, found.union + 1 :].any(axis=1) & ~path.above[:, found.union]
    return (
        governed(found.tree, found.loads, path.of(rows), configuration.system, configuration.hardware).margin
        if rows.any()
        else None
    )
