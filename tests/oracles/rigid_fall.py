"""Where do climber, rope and limbs go from the first break to rest, if one simply integrates the motion?

Nothing is assumed about who catches whom. Three dimensions, fixed step, semi-implicit Euler:

* the climber is a rigid rod with round ends (a capsule): harness point, head 0.6 m above, feet 1.0 m below,
  radius 0.15 m, mass m spread evenly, I = m L^2 / 12 about its middle, no spin about its own axis;
* the rope is massless and elastic, tension only, T_i = K (l_i - n_i) / n_i on each straight leg between
  contacts. It lies on a limb as soon as a leg, moving, sweeps over the limb's axis (triangle against
  segment); it leaves as soon as its bend there would have to pull (the sign of axis . (u_in x u_out) turns).
  When a limb goes, the bend over it collapses, and whatever limb axis stands in the triangle it sweeps is the
  next to be lain on: the taut string's own law, not a list;
* rope creeps over a limb only when the tensions of its two legs differ by more than exp(mu beta) (stick and
  slip, both ways, so unloading has its hysteresis); it does not slide along the limb; the limb's radius is
  left out of the wrap;
* limbs are fixed capsules to the climber's body: penalty spring 1e5 N/m, a little damping, Coulomb friction;
* a limb goes, at once and taking no energy, when the whole force of all its contacts (rope and body, mean
  over about 2 ms) passes its break force; nan = unknown: the first 50 N break it;
* the ground ends the run at the first touch of feet or head and tells the speed.

Left out: the rope's mass (0.08 kg/m), bending of limbs and give of the body (both would lower peaks), the
falling wood. Sources: closest points of segments, Ericson 2005, Real-Time Collision Detection, 5.1.9;
triangle against segment, Moller & Trumbore 1997 (both memory); capstan: formula_checks.csv F001 ff. Checked
in the tests on free fall, pendulum, elastic arrest, capstan, a toppling rod, a taut rope that finds its
limbs, and the chain of falls.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

G = 9.80665


class Body(NamedTuple):
    """The climber: kg, m, m/s. `up` points from feet to head."""

    mass: float = 100.0
    harness: tuple = (0.0, 0.0, 10.0)
    up: tuple = (0.0, 0.0, 1.0)
    velocity: tuple = (0.0, 0.0, 0.0)
    head: float = 0.6
    feet: float = 1.0
    radius: float = 0.15


class Rope(NamedTuple):
    """A rope along `points` (k, 3): fixed end, places it bends over (they break or are gone at the start),
    harness.

    length : unstretched, m (None: as drawn). both_ends : the first point is the harness too (moving rope).
    on : for each inner point the limb it lies on, -1 a place that is gone at the start (None: all gone).
    """

    points: object
    length: float | None = None
    modulus: float = 30e3
    both_ends: bool = False
    on: object = None


class Limbs(NamedTuple):
    """Capsules: ends (n, 3), (n, 3), radius (n,), break force (n,) in N (inf: never), friction of rope and
    body.
    """

    start: object
    end: object
    radius: object
    break_force: object
    mu: float = 0.3


class Run(NamedTuple):
    """What happened. Forces N, speeds m/s, heights m, times s."""

    peak_force: np.ndarray  # (n,) at each limb, all contacts together, 2 ms mean
    peak_by_rope: np.ndarray  # (n,) the rope's contacts alone
    broke_at: np.ndarray  # (n,) time, nan if it stood
    rope_peak: float  # pull at the harness, all strands
    lowest_feet: float
    lowest_harness: float
    hits: list  # (time, limb index or -1 ground, part "head", "feet" or "trunk", closing speed)
    ground_speed: float  # 0 if the ground was not reached
    energy_lost: float  # J, of climber and rope, start to end
    lies_on: list  # limbs the rope lies on at the end, from the fixed end on
    path: np.ndarray  # (t, x, y, z of the harness, x, y, z of the feet, pull) every 5 ms


def _cross(a, b):
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def closest(p1, d1, p2, d2):
    """Parameters s, t in [0, 1] of the closest points of segments p1 + s d1, p2 + t d2 (broadcast over
    rows).
    """
    r = p1 - p2
    a = np.einsum("...i,...i", d1, d1)
    e = np.maximum(np.einsum("...i,...i", d2, d2), 1e-12)
    f = np.einsum("...i,...i", d2, r)
    c = np.einsum("...i,...i", d1, r)
    b = np.einsum("...i,...i", d1, d2)
    den = a * e - b * b
    s = np.where(den > 1e-12, np.clip((b * f - c * e) / np.maximum(den, 1e-12), 0, 1), 0.0)
    t = (b * s + f) / e
    tc = np.clip(t, 0, 1)
    s = np.where(t != tc, np.clip((b * tc - c) / np.maximum(a, 1e-12), 0, 1), s)
    return s, tc


def pierced(p, q, r, start, along):
    """Which segments start + t along (n, 3) pass through the triangle p q r: (indices, points (k, 3))."""
    e1, e2 = q - p, r - p
    if len(start) == 0:
        return np.zeros(0, int), np.zeros((0, 3))
    h = np.cross(along, e2)
    det = h @ e1
    ok = np.abs(det) > 1e-12
    inv = np.where(ok, 1 / np.where(ok, det, 1), 0)
    s = start - p
    u = np.einsum("ij,ij->i", s, h) * inv
    g = np.cross(s, e1)
    v = np.einsum("ij,ij->i", along, g) * inv
    t = (g @ e2) * inv
    hit = ok & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t >= 0) & (t <= 1)
    k = np.flatnonzero(hit)
    return k, start[k] + t[k, None] * along[k]


class _String:
    """The taut string: fixed end, contacts, harness; unstretched length of each leg."""

    def __init__(self, rope, start, along, mu):
        p = np.asarray(rope.points, float)
        self.start, self.along, self.k, self.mu = start, along, rope.modulus, mu
        self.alive = np.ones(len(start), bool)
        self.points = [x.copy() for x in p]
        on = [-1] * (len(p) - 2) if rope.on is None else list(rope.on)
        self.limb = [-2, *on, -2]
        self.sign = [0.0] * len(p)
        self.both = rope.both_ends
        self.swept = p[-1].copy()  # where the harness was when its legs were last swept
        legs = np.linalg.norm(np.diff(p, axis=0), axis=1)
        self.total = legs.sum() if rope.length is None else rope.length
        self.rest = list(legs * self.total / legs.sum())
        for i in range(len(p) - 2, 0, -1):
            if on[i - 1] >= 0:
                self.sign[i] = self._bend(i)
        while -1 in self.limb:
            self.let_go(self.limb.index(-1))

    def _bend(self, i):
        """Sign of the turn at point i about its limb's axis."""
        u, v = self.points[i] - self.points[i - 1], self.points[i + 1] - self.points[i]
        return float(np.sign(self.along[self.limb[i]] @ _cross(u, v)))

    def _insert(self, i, limb, point):
        """New contact between points i and i + 1."""
        a, b = np.linalg.norm(point - self.points[i]), np.linalg.norm(point - self.points[i + 1])
        n = self.rest[i]
        self.rest[i : i + 1] = [n * a / (a + b), n * b / (a + b)]
        self.points.insert(i + 1, point)
        self.limb.insert(i + 1, int(limb))
        self.sign.insert(i + 1, 0.0)

    def _remove(self, i):
        self.rest[i - 1 : i + 1] = [self.rest[i - 1] + self.rest[i]]
        del self.points[i], self.limb[i], self.sign[i]

    def _sweep(self, i, corner):
        """Leg i was bent over `corner` and falls straight: insert what stands in its way. Returns contacts
        added.
        """
        a, b = self.points[i], self.points[i + 1]
        k, at = pierced(a, corner, b, self.start, self.along)
        own = {self.limb[i], self.limb[i + 1]}
        ends = np.array([a, b])  # the next piece of a limb met at its joint is the same place
        apart = [np.linalg.norm(ends - q, axis=1).min() > 1e-4 for q in at]
        keep = [j for j, m in enumerate(k) if self.alive[m] and m not in own and apart[j]]
        if not keep:
            return 0
        span = (b - a) / max(np.linalg.norm(b - a), 1e-12)
        off = [np.linalg.norm(at[j] - a - ((at[j] - a) @ span) * span) for j in keep]
        j = keep[int(np.argmax(off))]
        self._insert(i, k[j], at[j])
        u, v = corner - a, b - corner  # the bend was about the corner: same turn about the limb that stops it
        self.sign[i + 1] = float(np.sign(self.along[k[j]] @ _cross(u, v)))
        right = self._sweep(i + 1, corner)
        return 1 + right + self._sweep(i, corner)

    def let_go(self, i):
        """Contact i is gone: its bend collapses onto what stands below."""
        corner = self.points[i].copy()
        self._remove(i)
        self._sweep(i - 1, corner)
        self.straighten()

    def straighten(self):
        """Leave every limb on which the rope would have to pull."""
        again = True
        while again:
            again = False
            for i in range(1, len(self.points) - 1):
                u, v = self.points[i] - self.points[i - 1], self.points[i + 1] - self.points[i]
                if self._bend(i) * self.sign[i] <= 0 and u @ v > 0:  # a wrap of more than half a turn stays
                    self._remove(i)
                    again = True
                    break

    def move(self, harness):
        """The harness end(s) go to a new place; legs pick up and leave limbs."""
        ends = (len(self.points) - 1, 0) if self.both else (len(self.points) - 1,)
        old, self.swept = self.swept, harness.copy()
        for end in ends:
            self.points[end] = harness.copy()
            if end:
                self._sweep(len(self.points) - 2, old)
            else:
                self._sweep(0, old)
        self.straighten()

    def pull(self):
        """Tension of each leg (k,), unit directions (k, 3) after friction has had its say."""
        p = np.array(self.points)
        d = p[1:] - p[:-1]
        length = np.maximum(np.sqrt(np.einsum("ij,ij->i", d, d)), 1e-9)
        u = d / length[:, None]
        whole = length.sum()
        if whole <= self.total:
            self.rest = list(length * self.total / whole)
            return np.zeros(len(length)), u
        n = np.array(self.rest)
        if len(n) > 1:
            beta = np.arccos(np.clip(np.einsum("ij,ij->i", u[1:], u[:-1]), -1, 1))
            past = np.array([self._bend(j) * self.sign[j] < 0 for j in range(1, len(n))])
            beta = np.where(past, 2 * np.pi - beta, beta)
            grip = np.exp(self.mu * beta)
            if self.mu == 0 or (n <= 0).any():
                n = length * self.total / whole
            for _ in range(4):
                if self.mu == 0:
                    break
                for i in range(len(n) - 1):
                    ta, tb = (
                        self.k * max(length[i] / n[i] - 1, 0),
                        self.k * max(length[i + 1] / n[i + 1] - 1, 0),
                    )
                    ka, kb = self.k * length[i] / n[i] ** 2, self.k * length[i + 1] / n[i + 1] ** 2
                    if ta > tb * grip[i]:
                        s = (ta - tb * grip[i]) / (ka + kb * grip[i])
                    elif tb > ta * grip[i]:
                        s = -(tb - ta * grip[i]) / (kb + ka * grip[i])
                    else:
                        continue
                    s = min(max(s, -0.9 * n[i]), 0.9 * n[i + 1])
                    n[i] += s
                    n[i + 1] -= s
            self.rest = list(n)
        return self.k * np.maximum(length / n - 1, 0), u

    def energy(self):
        t, _u = self.pull()
        return float((t**2 * np.array(self.rest)).sum() / (2 * self.k))


def _push(normal, depth, v, stiffness, damping, mu):
    """Penalty and friction on the moving thing: normal (3,), depth m, v (3,) its velocity at the contact."""
    vn = v @ normal
    fn = max(stiffness * depth - damping * vn, 0.0)
    vt = v - vn * normal
    return fn * normal - mu * fn / max(np.sqrt(vt @ vt), 0.02) * vt


def simulate(body, rope, limbs, ground=0.0, *, duration=4.0, dt=2e-4, stop_at_rest=True):
    """Integrate the fall.

    Parameters
    ----------
    body : Body.   rope : Rope or None.   limbs : Limbs or None.   ground : height, m (None: no ground).
    stop_at_rest : end when the climber has turned upward for the second time (peaks lie behind him).

    Returns
    -------
    Run
    """
    up = np.asarray(body.up, float) / np.linalg.norm(body.up)
    lean = (body.head - body.feet) / 2  # from harness to the middle
    tall = body.head + body.feet
    inertia = body.mass * max(tall, 1e-3) ** 2 / 12
    inset = min(body.radius, tall / 2)  # the round ends lie within the height
    span = max(tall - 2 * inset, 1e-6)
    x = np.asarray(body.harness, float) + lean * up
    v = np.asarray(body.velocity, float).copy()
    spin = np.zeros(3)
    n = 0 if limbs is None else len(limbs.radius)
    a = np.asarray(limbs.start, float) if n else np.zeros((0, 3))
    ab = np.asarray(limbs.end, float) - a if n else np.zeros((0, 3))
    rad = np.asarray(limbs.radius, float) if n else np.zeros(0)
    limit = (
        np.where(np.isnan(np.asarray(limbs.break_force, float)), 50.0, limbs.break_force)
        if n
        else np.zeros(0)
    )
    mu = limbs.mu if n else 0.0
    string = None if rope is None else _String(rope, a, ab, mu)
    alive = np.ones(n, bool)
    k_body, c_body = 1e5, 0.1 * 2 * np.sqrt(1e5 * body.mass)
    blend = dt / 2e-3
    mean_all, mean_rope = np.zeros((n, 3)), np.zeros((n, 3))
    peak_all, peak_rope, broke_at = np.zeros(n), np.zeros(n), np.full(n, np.nan)
    hits, touched, path = [], set(), []
    rope_peak, ground_speed, turns, was_down = 0.0, 0.0, 0, False
    low_feet = low_harness = np.inf
    every, look = max(int(5e-3 / dt), 1), max(int(1e-3 / dt), 1)
    by_body = np.zeros(0, int)

    def energy():
        e = body.mass * (v @ v / 2 + G * x[2]) + inertia * (spin @ spin) / 2
        return e + (string.energy() if string is not None else 0.0)

    start_energy = energy()
    for i in range(int(duration / dt)):
        arm = -lean * up
        harness = x + arm
        feet, head = harness - body.feet * up, harness + body.head * up
        force, torque, pull = np.array([0.0, 0.0, -G * body.mass]), np.zeros(3), np.zeros(3)
        on_rope, on_body = np.zeros((n, 3)), np.zeros((n, 3))
        if string is not None:
            if i % look == 0:
                string.move(harness)
            else:
                string.points[-1] = harness.copy()
                if string.both:
                    string.points[0] = harness.copy()
            t, u = string.pull()
            pull = -t[-1] * u[-1] + (t[0] * u[0] if string.both else 0.0)
            if t[-1] > 0 or t[0] > 0:
                for j in range(1, len(string.points) - 1):
                    on_rope[string.limb[j]] += t[j] * u[j] - t[j - 1] * u[j - 1]
            rope_peak = max(rope_peak, float(np.sqrt(pull @ pull)))
            force = force + pull
            torque = torque + _cross(arm, pull)
        if n and i % look == 0:
            low = feet + inset * up
            s, w = closest(low[None], (span * up)[None], a, ab)
            gap = np.linalg.norm(low + s[:, None] * span * up - a - w[:, None] * ab, axis=1)
            by_body = np.flatnonzero(alive & (gap < rad + body.radius + 0.4))
            touched -= set(np.flatnonzero(gap > rad + body.radius + 0.3).tolist())
        for m in by_body[alive[by_body]]:
            low = feet + inset * up
            s, w = closest(low, span * up, a[m], ab[m])
            at = low + s * span * up
            gap = at - a[m] - w * ab[m]
            dist = max(np.sqrt(gap @ gap), 1e-9)
            depth = rad[m] + body.radius - dist
            if depth <= 0:
                continue
            normal = gap / dist
            lever = at - body.radius * normal - x
            here = v + _cross(spin, lever)
            if m not in touched:
                touched.add(int(m))
                part = "feet" if s < 0.05 else "head" if s > 0.95 else "trunk"
                hits.append((i * dt, int(m), part, float(-here @ normal)))
            p = _push(normal, depth, here, k_body, c_body, mu)
            force = force + p
            torque = torque + _cross(lever, p)
            on_body[m] -= p
        if n:
            mean_all += blend * (on_rope + on_body - mean_all)
            mean_rope += blend * (on_rope - mean_rope)
            size = np.sqrt(np.einsum("ij,ij->i", mean_all, mean_all))
            peak_all = np.maximum(peak_all, np.where(alive, size, 0))
            peak_rope = np.maximum(
                peak_rope, np.where(alive, np.sqrt(np.einsum("ij,ij->i", mean_rope, mean_rope)), 0)
            )
            for m in np.flatnonzero(alive & (size > limit)):
                alive[m] = False
                broke_at[m] = i * dt
                if string is not None:
                    string.alive[m] = False
                    while m in string.limb:
                        string.let_go(string.limb.index(m))
        low_feet, low_harness = min(low_feet, feet[2]), min(low_harness, harness[2])
        if i % every == 0:
            path.append((i * dt, *harness, *feet, np.sqrt(pull @ pull)))
        if ground is not None and min(feet[2], head[2]) <= ground:
            end = feet if feet[2] <= head[2] else head
            ground_speed = float(max(-(v + _cross(spin, end - x))[2], 0.0))
            hits.append((i * dt, -1, "feet" if feet[2] <= head[2] else "head", ground_speed))
            break
        v = v + dt * force / body.mass
        spin = spin + dt * torque / inertia
        spin -= (spin @ up) * up
        x = x + dt * v
        up = up + dt * _cross(spin, up)
        up /= np.sqrt(up @ up)
        if stop_at_rest:
            if was_down and v[2] > 0.2:
                turns, was_down = turns + 1, False
            elif v[2] < -0.2:
                was_down = True
            if turns >= 2:
                break
    lies_on = [] if string is None else string.limb[1:-1]
    return Run(
        peak_all,
        peak_rope,
        broke_at,
        rope_peak,
        float(low_feet),
        float(low_harness),
        hits,
        ground_speed,
        float(start_energy - energy()),
        lies_on,
        np.array(path),
    )
