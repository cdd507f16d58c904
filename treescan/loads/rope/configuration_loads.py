"""What does one configuration put on the wood for every place the climber may be? Points and forces of every
rope leg on every contact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numba import njit

from treescan.geometry import unit
from treescan.loads.pull.abrupt_stop import Behind
from treescan.loads.pull.load_cases import Hung, Pulls, Stops, hardest_pulls
from treescan.loads.pull.shock import sharing_length
from treescan.loads.rope.contacts import Contact, supports_of
from treescan.loads.rope.rope_kernel import SWEEPS, hang, held_turn, unit_toward
from treescan.loads.rope.rope_run import RopeRun, taut_rope
from treescan.loads.rope.rope_systems import SYSTEMS
from treescan.loads.settings import HIGH, LOW, MIDDLE, LoadSettings, friction
from treescan.units import G
from treescan.wood.graph import Floats

TOWARD_BASE, TOWARD_CLIMBER = 0, 1
"""The two legs of a contact, as columns."""


@dataclass(frozen=True)
class ConfigurationLoads:
    """All load places of one configuration; contacts in rope order, the union last.

    Attributes
    ----------
    contacts : tuple of Contact
    pulls : Pulls
    turn : (l, c) float             Turning of the rope on each contact. [rad]
    touches : (l, c) bool
    leg_point : (l, c, 2, 3)        Where the leg toward the base and the leg toward the climber bear. [m]
    leg_toward : (l, c, 2, 3)       Unit vectors along those legs, away from the contact.
    share, hard_share : (l, c, 2)   Tension of those legs over the climber's pull, as judged, in ordinary use
        and in the exceptional cases.
    """

    contacts: tuple[Contact, ...]
    pulls: Pulls
    turn: Floats
    touches: np.ndarray
    leg_point: Floats
    leg_toward: Floats
    share: Floats
    hard_share: Floats

    def leg_forces(self, *, hard: bool = False) -> Floats:
        """Force of every leg on the wood in ordinary use (or in the exceptional cases), (l, c, 2, 3). [N]"""
        pull, share = (self.pulls.hard, self.hard_share) if hard else (self.pulls.tension, self.share)
        return (pull[:, None, None] * share)[..., None] * self.leg_toward

    @cached_property
    def key(self) -> tuple[object, ...]:
        """All of the contacts and of what ordinary use puts on them, to be compared."""
        return self._key(self.pulls.tension, self.pulls.spread, self.share)

    @cached_property
    def hard_key(self) -> tuple[object, ...]:
        """The same in the exceptional cases."""
        return self._key(self.pulls.hard, self.pulls.hard_spread, self.hard_share)

    def _key(self, *pulled: Floats) -> tuple[object, ...]:
        rig = self.turn, self.touches, self.leg_point, self.leg_toward
        contacts = tuple([(c.node, c.out, *c.point.tolist()) for c in self.contacts])
        return len(self.turn), contacts, b"".join([of.tobytes() for of in (*rig, *pulled)])

    def of(self, rows: np.ndarray) -> ConfigurationLoads:
        """Some of the places only; rows (l,) bool."""
        at = np.flatnonzero(rows)
        return ConfigurationLoads(
            self.contacts,
            Pulls(**{f.name: _rows(getattr(self.pulls, f.name), at) for f in fields(Pulls)}),
            *(getattr(self, name)[at] for name in ROWS),
        )


ROWS = ("turn", "touches", "leg_point", "leg_toward", "share", "hard_share")
"""Fields of `ConfigurationLoads` with a row a place."""


def _rows(of: Any, at: np.ndarray) -> Any:
    return tuple(of[i] for i in at) if isinstance(of, tuple) else of[at]


def joined(a: ConfigurationLoads, b: ConfigurationLoads) -> ConfigurationLoads:
    """The places of two loads of the same contacts, those of `a` first."""

    def both(p: Any, q: Any) -> Any:
        return (*p, *q) if isinstance(p, tuple) else np.concatenate([p, q])

    return ConfigurationLoads(
        a.contacts,
        Pulls(**{f.name: both(getattr(a.pulls, f.name), getattr(b.pulls, f.name)) for f in fields(Pulls)}),
        *(np.concatenate([getattr(a, n), getattr(b, n)]) for n in ROWS),
    )


@njit(cache=True, error_model="numpy")
def _run_all(  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    start, end, o, a, e1, r0, g, low, high, sense, sweeps,
):
    """The taut rope for every place of the climber: arrive, leave (l, c, 3), toward (l, c, 2, 3), touches and
    turn (l, c)."""
    n, c = len(end), len(r0)
    arrive, leave, toward = np.zeros((n, c, 3)), np.zeros((n, c, 3)), np.zeros((n, c, 2, 3))
    turn, touches = np.zeros((n, c)), np.zeros((n, c), np.bool_)
    wrap, arc = np.zeros(c), np.zeros(c)
    for i in range(n):
        hang(
            start[i],
            end[i],
            o,
            a,
            e1,
            r0,
            g,
            low,
            high,
            sense,
            arrive[i],
            leave[i],
            wrap,
            turn[i],
            arc,
            sweeps,
        )
        for k in range(c):
            unit_toward(start[i] if k == 0 else leave[i, k - 1], arrive[i, k], toward[i, k, 0])
            unit_toward(end[i] if k == c - 1 else arrive[i, k + 1], leave[i, k], toward[i, k, 1])
            touches[i, k] = wrap[k] > 0.0
            if not touches[i, k]:
                turn[i, k] = 0.0
            elif high[k] <= low[k] and np.isfinite(wrap[k]):
                turn[i, k] = held_turn(wrap[k], a[k], toward[i, k, 0], toward[i, k, 1])
    return arrive, leave, toward, touches, turn


@dataclass(frozen=True)
class Strung:
    """The taut rope of one configuration at every place the climber may hang at, and what it does to stop a fall there: all of its
    loads that neither the climber's weight nor what they do changes.

    turn, touches, leg_point, leg_toward : as in `ConfigurationLoads`, a row a place of `hung`.
    behind : RopeRun or None    Rope behind the union of a basal line.
    stops : Stops               For the `asked` of the settings.
    asked : tuple               See `_asked`.
    """

    hung: Hung
    behind: RopeRun | None
    turn: Floats
    touches: np.ndarray
    leg_point: Floats
    leg_toward: Floats
    stops: Stops
    asked: tuple[object, ...]

    def rows(self, rows: np.ndarray, limit: float) -> Strung:
        """Some of the places, for a rope angle of at most `limit` [rad]."""
        return Strung(
            self.hung.rows(rows, limit),
            self.behind,
            self.turn[rows],
            self.touches[rows],
            self.leg_point[rows],
            self.leg_toward[rows],
            self.stops.rows(rows),
            self.asked,
        )

    def weighed(self, system: str, settings: LoadSettings) -> Strung:
        """The same rope with the stops of other settings."""
        asked = _asked(settings)
        return self if asked == self.asked else replace(self, stops=_stops(self.hung, self.behind, system, settings), asked=asked)


def _asked(settings: LoadSettings) -> tuple[object, ...]:
    """All of the settings that a stop depends on."""
    s = settings
    modulus = s.rope_modulus, tuple(s.rope_modulus_bounds), tuple(s.rope_in_service)
    return s.climber_mass, s.slack, s.slack_most, *modulus, tuple(s.mu_bark), s.shortest_rope


def _stops(hung: Hung, run: RopeRun | None, system: str, settings: LoadSettings) -> Stops:
    behind = Behind() if run is None else _behind(run, settings)
    return Stops.at(hung, behind, SYSTEMS[system].legs_at_climber, settings)


def configuration_loads(
    system: str,
    hardware: str,
    contacts: Sequence[Contact],
    base: Floats,
    ground: float,
    work: Floats,
    settings: LoadSettings,
) -> ConfigurationLoads:
    """Rope runs and leg forces of one configuration for every allowed place of the climber.

    Parameters
    ----------
    system, hardware : str      As in `AnchorConfiguration`.
    contacts : sequence         Rope order from the base anchor; the union's contact last. MRS and SRS canopy:
        only that.
    base : (3,) float           Base anchor. [m]
    ground : float              Height of the ground below the union. [m]
    work : (w, 3) float         Work points. [m]
    """
    return loads_of(strung(system, contacts, base, ground, work, settings), contacts, system, hardware, settings)


def strung(
    system: str, contacts: Sequence[Contact], base: Floats, ground: float, work: Floats, settings: LoadSettings
) -> Strung:
    """The rope of one configuration; parameters as of `configuration_loads`."""
    bars = supports_of(contacts)
    basal = SYSTEMS[system].basal
    anchor = contacts[-1].point + bars.top[-1] * contacts[-1].radius
    below = np.array([anchor[0], anchor[1], min(ground, anchor[2] - settings.shortest_rope)])
    run = taut_rope(base, below, bars, hung=True) if basal else None
    hung = Hung.of(anchor, contacts[-1].point, ground, work, settings)
    start = np.broadcast_to(base, hung.place.shape).copy() if basal else hung.place
    arrive, leave, toward, touches, turn = _run_all(
        start,
        hung.place,
        bars.origin,
        bars.axis,
        bars.top,
        bars.radius,
        bars.taper,
        bars.low,
        bars.high,
        bars.sense,
        SWEEPS,
    )
    if SYSTEMS[system].choked:  # a choke tightens until its eye lies on the loaded side: no twist on the limb
        leg, (x, y, z) = toward[:, 0, 1], bars.axis[0]
        # place by place: a product of matrices rounds as their number goes
        across = leg - (leg[:, 0] * x + leg[:, 1] * y + leg[:, 2] * z)[:, None] * bars.axis[0]
        # a plumb stem and a plumb rope: it hangs on the bark all the same
        flat = np.linalg.norm(across, axis=1, keepdims=True) < 1e-6
        leave = bars.origin[None] + bars.radius[0] * unit(np.where(flat, bars.top[0], across))[:, None]
    point = np.stack([arrive, leave], axis=2)
    stops = _stops(hung, run, system, settings)
    return Strung(hung, run, turn, touches, point, toward, stops, _asked(settings))


def loads_of(rope: Strung, contacts: Sequence[Contact], system: str, hardware: str, settings: LoadSettings) -> ConfigurationLoads:
    """The loads of one rope, its stops being those of the settings."""
    pull, acts = hardest_pulls(rope.hung, rope.stops, settings)
    turn, touches, point, toward = (of[acts] for of in (rope.turn, rope.touches, rope.leg_point, rope.leg_toward))
    weight = settings.climber_mass * G
    share = (
        leg_shares(system, hardware, turn, settings, weight / np.maximum(pull.tension, 1e-3 * weight))
        * touches[..., None]
    )
    hard = share
    if settings.preload > 0:  # the only thing that makes the shares depend on the pull
        hard = (
            leg_shares(system, hardware, turn, settings, weight / np.maximum(pull.hard, 1e-3 * weight))
            * touches[..., None]
        )
    return ConfigurationLoads(tuple(contacts), pull, turn, touches, point, toward, share, hard)


def strung_before(
    kept: dict[tuple[object, ...], Any],
    system: str,
    contacts: Sequence[Contact],
    base: Floats,
    ground: float,
    work: Floats,
    settings: LoadSettings,
) -> Strung:
    """As `strung`; what was strung for the same contacts and work out to the same or a wider rope angle is taken over.

    kept : of the graph; one rope of every kind and place is kept in it, the one last strung anew.
    """
    key = ("strung", system, tuple(base.tolist()), ground, *((c.node, *c.point.tolist()) for c in contacts))
    known: tuple[Strung, Floats, float] | None = kept.get(key)
    limit = float(np.deg2rad(settings.rope_angle_limit_deg))
    if known is not None and known[2] == settings.shortest_rope:
        rope, of, _ = known
        rows: np.ndarray | None = None
        if len(work) == 0:
            rows = np.zeros(1, np.intp)
        elif work is of or np.array_equal(work, of):
            rows = rope.hung.within(limit)
        if rows is not None:
            now = rope.weighed(system, settings)
            if now is not rope:
                kept[key] = now, of, known[2]
            return now if len(rows) == len(now.hung.work) else now.rows(rows, limit)
    found = strung(system, contacts, base, ground, work, settings)
    if known is None or len(work):
        kept[key] = found, np.array(work), settings.shortest_rope
    return found


def _behind(run: RopeRun, settings: LoadSettings) -> Behind:
    """Rope behind the union that shares in stopping a fall, with the most and the least friction on every
    support."""
    most, least = max(settings.mu_bark), min(settings.mu_bark)
    return Behind(*(sharing_length(0.0, run.leg[-2::-1], run.turn[::-1], mu) for mu in (most, least)))


def leg_shares(
    system: str, hardware: str, turn: Floats, settings: LoadSettings, weight_share: Floats | None
) -> Floats:
    """Tension of the leg before and after each contact over the climber's pull, (l, c, 2).

    With `weight_share` (the climber's weight over each pull): as judged, both legs of a basal anchor in full
    (or the low end of friction, where the settings say so), and never less than the pre-load left in the
    anchor leg. Without: the middle friction, for information.
    """
    n, c = turn.shape
    share = np.zeros((n, c, 2))
    if SYSTEMS[system].choked:
        share[:, -1, TOWARD_CLIMBER] = 1.0
        return share
    if not SYSTEMS[system].basal:
        return np.full((n, c, 2), 0.5)
    bound = weight_share is not None
    index = LOW if bound else MIDDLE
    mu = np.full(c, settings.mu_bark[index])
    mu[-1] = friction(hardware, settings)[index]
    if bound and settings.basal_bound == "frictionless":
        mu = np.zeros(c)
    gain = np.cumsum((mu * turn)[:, ::-1], axis=1)[:, ::-1]
    share[:, :, TOWARD_BASE] = np.exp(-gain)
    share[:, :-1, TOWARD_CLIMBER] = np.exp(-gain[:, 1:])
    share[:, -1, TOWARD_CLIMBER] = 1.0
    if weight_share is not None and settings.preload > 0:
        middle = np.array([settings.mu_bark[MIDDLE]] * (c - 1) + [friction(hardware, settings)[MIDDLE]])
        hold = np.exp(np.cumsum((middle * turn)[:, ::-1], axis=1)[:, ::-1])
        kept = np.minimum(settings.preload * weight_share[:, None], hold)
        share[:, :, TOWARD_BASE] = np.maximum(share[:, :, TOWARD_BASE], kept)
        share[:, :-1, TOWARD_CLIMBER] = share[:, 1:, TOWARD_BASE]
    return share


def eased(loads: ConfigurationLoads, hardware: str, settings: LoadSettings, *, hard: bool) -> Floats:
    """Force of every leg of a basal line when friction holds as much as it can, (l, c, 2, 3): the legs pull
    unevenly. [N]

    Less on the union, but where the two legs pull either side of a limb their twist and bending no longer
    cancel.
    """
    c = loads.turn.shape[1]
    mu = np.array([settings.mu_bark[HIGH]] * (c - 1) + [friction(hardware, settings)[HIGH]])
    gain = np.cumsum((mu * loads.turn)[:, ::-1], axis=1)[:, ::-1]
    share = np.ones((*loads.turn.shape, 2))
    share[:, :, TOWARD_BASE], share[:, :-1, TOWARD_CLIMBER] = np.exp(-gain), np.exp(-gain[:, 1:])
    pull = loads.pulls.hard if hard else loads.pulls.tension
    return (pull[:, None, None] * share * loads.touches[..., None])[..., None] * loads.leg_toward


def friction_multiple(
    loads: ConfigurationLoads, hardware: str, system: str, row: int, union: int, settings: LoadSettings
) -> float:
    """Force on the union (a row of the contacts) over the climber's pull with the middle friction:
    information only."""
    share = leg_shares(system, hardware, loads.turn[row : row + 1], settings, None)[0, union]
    return float(np.linalg.norm((share[:, None] * loads.leg_toward[row, union]).sum(axis=0)))
