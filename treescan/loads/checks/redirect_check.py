"""What does a redirect put on both unions, and does the wood hold there?

The rope no longer hangs plumb from the main anchor: it runs from there over the redirect and on to the
climber. The redirect bears both legs, the main anchor is pulled toward the redirect, and the worst place of
the climber over the work governs, as without it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from treescan.estimate import Estimate
from treescan.geometry import angle_between, unit
from treescan.loads.judging.judged import contacts_of, could_not_stand
from treescan.loads.judging.verdict import misread
from treescan.loads.limb_check import UNKNOWN, AnchorConfiguration
from treescan.loads.pull.abrupt_stop import Behind
from treescan.loads.pull.load_cases import pulls
from treescan.loads.rope.configuration_loads import ConfigurationLoads
from treescan.loads.rope.contacts import supports_of, union_contact
from treescan.loads.rope.rope_run import taut_rope
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.statics.governing import gate, governed
from treescan.loads.statics.load_path import load_path, unseen
from treescan.loads.statics.structural_model import StructuralModel
from treescan.reason import Reason
from treescan.wood.graph import Floats

SHARES = {"MRS": (0.5, 0.5), "SRS canopy": (0.0, 1.0), "SRS basal": (1.0, 1.0)}
"""Tension of the two legs on the main anchor over the climber's pull, without friction."""


@dataclass(frozen=True)
class RedirectCheck:
    """One main anchor with one redirect.

    Attributes
    ----------
    reason : Reason or None     Why the scan cannot tell, where it cannot.
    case : str, worst_work_point : int      Of ordinary use.
    main_force, redirect_force : (3,)       On the wood. [N]
    turn : float                Bend of the rope at the redirect, 0 = it hangs clear; the redirect bears 2
        sin(turn / 2) times the tension. [rad]
    margin : Estimate           Strength over stress of the weakest section below either union, ordinary use.
    exceptional : Estimate      The same in an abrupt stop or a swing.
    governing : int, mode : str
    at_redirect : bool          True where the weakest section carries the redirect and not the main anchor.
    main_margin, redirect_margin : Estimate     As `margin`, of the weakest section that carries the main
        anchor (supports of a basal line included), and of the weakest that carries the redirect; wood that
        carries both counts for both.
    gate : Reason or None       The reported defect that forbids it.
    """

    reason: Reason | None
    case: str
    worst_work_point: int
    main_force: Floats
    redirect_force: Floats
    turn: float
    margin: Estimate
    exceptional: Estimate
    governing: int
    mode: str
    at_redirect: bool
    main_margin: Estimate
    redirect_margin: Estimate
    gate: Reason | None


def check_redirect(
    tree: StructuralModel, configuration: AnchorConfiguration, redirect: AnchorConfiguration, work_xyz: Floats
) -> RedirectCheck:
    """Check a configuration whose rope runs over another union on its way to the climber.

    Parameters
    ----------
    tree : StructuralModel                 From `structural_model.whole_tree`.
    configuration, redirect : AnchorConfiguration         Main anchor, and where the redirect hangs (its
        system and base do not matter).
    work_xyz : (w, 3) float     Work points; those beyond the allowed rope angle from the redirect are left
        out. [m]
    """
    main = contacts_of(tree, configuration)
    over = union_contact(tree.graph, redirect)
    contacts = (*main, over)
    why = unseen(tree, contacts)
    if why is not None:
        return _not_seen(why)
    path = load_path(tree, contacts)
    loads = redirect_loads(tree, configuration, contacts, work_xyz)
    use = governed(tree, loads, path, configuration.system, configuration.hardware)
    hard = (
        governed(tree, loads, path, configuration.system, configuration.hardware, hard=True)
        if (loads.pulls.hard > 0).any()
        else use
    )
    at_main = path.of(np.any(path.above[:, :-1], axis=1))
    main_use = governed(tree, loads, at_main, configuration.system, configuration.hardware)
    over_use = governed(tree, loads, path.of(path.above[:, -1]), configuration.system, configuration.hardware)
    reported = gate(tree, path)
    wrong = [g.node for g in (use, main_use, over_use) if could_not_stand(tree, g)]
    if wrong and reported is None:
        return _not_seen(misread(tree, wrong[0]))
    force = use.legs.force.sum(axis=1)
    return RedirectCheck(
        reason=None,
        case=loads.pulls.case[use.row],
        worst_work_point=int(loads.pulls.work[use.row]),
        main_force=force[-2],
        redirect_force=force[-1],
        turn=float(np.pi - angle_between(*loads.leg_toward[use.row, -1]))
        if loads.touches[use.row, -1]
        else 0.0,
        margin=use.margin,
        exceptional=hard.margin,
        governing=use.node,
        mode=use.mode,
        at_redirect=bool(path.above[use.section, -1] and not path.above[use.section, -2]),
        main_margin=main_use.margin,
        redirect_margin=over_use.margin,
        gate=reported,
    )


def _not_seen(why: Reason) -> RedirectCheck:
    nan = np.full(3, np.nan)
    return RedirectCheck(
        reason=why,
        case="",
        worst_work_point=-1,
        main_force=nan,
        redirect_force=nan,
        turn=float("nan"),
        margin=UNKNOWN,
        exceptional=UNKNOWN,
        governing=-1,
        mode="",
        at_redirect=False,
        main_margin=UNKNOWN,
        redirect_margin=UNKNOWN,
        gate=None,
    )


def redirect_loads(
    tree: StructuralModel, configuration: AnchorConfiguration, contacts: tuple, work_xyz: Floats
) -> ConfigurationLoads:
    """Rope runs and leg forces for every allowed place of the climber; contacts in rope order, main anchor
    and redirect last.

    Both ends of a moving rope run over the redirect, so it bears the whole pull twice, bent; no friction is
    counted, and rope beyond the redirect does not soften a stop.
    """
    basal = SYSTEMS[configuration.system].basal
    over = supports_of(contacts[-1:])
    bars = supports_of(contacts) if basal else over
    anchor, ground = over.origin[0] + over.radius[0] * over.top[0], tree.ground_below(contacts[-1].point)
    pull = pulls(
        anchor,
        contacts[-1].point,
        ground,
        np.asarray(work_xyz, float).reshape(-1, 3),
        Behind(),
        SYSTEMS[configuration.system].legs_at_climber,
        tree.settings,
    )
    fixed = supports_of(contacts[-2:-1])
    foot = fixed.origin[0] + fixed.radius[0] * fixed.top[0]
    n, c = len(pull.place), len(contacts)
    point, toward = np.zeros((n, c, 2, 3)), np.zeros((n, c, 2, 3))
    turn, touches = np.zeros((n, c)), np.zeros((n, c), bool)
    for i, place in enumerate(pull.place):
        run = taut_rope(np.asarray(configuration.base, float) if basal else foot, place, bars)
        k = len(bars)
        point[i, c - k :] = np.stack([run.arrive, run.leave], axis=1)
        toward[i, c - k :] = np.stack([run.toward_start, run.toward_end], axis=1)
        turn[i, c - k :], touches[i, c - k :] = run.turn, run.touches
        if not basal:
            on = run.arrive[0] if run.touches[0] else place
            point[i, -2], toward[i, -2], touches[i, -2] = foot, unit(on - foot), True
    share = np.ones((n, c, 2))
    share[:, -2] = SHARES[configuration.system]
    share = share * touches[..., None]
    return ConfigurationLoads(contacts, pull, turn, touches, point, toward, share, share)
