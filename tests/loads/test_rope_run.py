"""The taut rope: shortest, in balance, and honest about what it touches."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loads.by_hand import subset, tensions
from scipy.optimize import minimize

from treescan.loads.rope.rope_run import Supports, taut_rope

WIDE = {"low": -50.0, "high": 50.0}


def random_supports(rng, count, taper):
    """Limbs side by side between x = 0 and x = 4, roughly square to the rope, at various heights and thicknesses."""
    x = np.linspace(0.8, 3.2, count)
    origin = np.column_stack([x + rng.uniform(-0.1, 0.1, count), rng.uniform(-0.3, 0.3, count), 5 + rng.uniform(0, 0.6, count)])
    axis = np.column_stack([rng.uniform(-0.3, 0.3, count), np.ones(count), rng.uniform(-0.3, 0.3, count)])
    return Supports.of(origin, axis, rng.uniform(0.03, 0.25, count), taper=rng.uniform(-taper, taper, count), sense=1.0, **WIDE)


def angles(run, s):
    """Angle of arrival and departure about each limb's axis from its top, in the sense of the rope, (c, 2). [rad]"""
    e2 = np.cross(s.axis, s.top)
    out = []
    for p in (run.arrive, run.leave):
        d = p - s.origin
        out.append(np.arctan2(np.sum(d * e2, axis=1), np.sum(d * s.top, axis=1)))
    return np.stack(out, axis=1)


def by_optimiser(start, end, s, fan, rays=24):
    """Length of the shortest rope over the supports by a general bounded optimiser that knows nothing of tangents.

    The rope is a string of points on fixed half planes through each limb's axis (between the angles of `fan` (c, 2)), each free along
    the axis and free to rise off the bark.
    """
    e2 = np.cross(s.axis, s.top)
    theta = np.linspace(fan[:, 0], fan[:, 1], rays, axis=1)[..., None]
    ring = np.cos(theta) * s.top[:, None] + np.sin(theta) * e2[:, None]

    def points(v):
        along, off = v.reshape(2, len(s), rays)
        r = s.radius[:, None] + s.taper[:, None] * along + off
        p = s.origin[:, None] + along[..., None] * s.axis[:, None] + r[..., None] * ring
        return np.concatenate([start[None], p.reshape(-1, 3), end[None]])

    def length(v):
        d = np.diff(points(v), axis=0)
        size = np.linalg.norm(d, axis=1)
        u = d / size[:, None]
        g = (u[:-1] - u[1:]).reshape(len(s), rays, 3)
        along = np.einsum("cki,ci->ck", g, s.axis) + s.taper[:, None] * np.sum(g * ring, axis=-1)
        return size.sum(), np.concatenate([along.ravel(), np.sum(g * ring, axis=-1).ravel()])

    n = len(s) * rays
    v, best = np.concatenate([np.zeros(n), np.full(n, 0.02)]), np.inf
    for _ in range(8):  # the optimiser sometimes stops early; begun again from there it goes on
        found = minimize(length, v, jac=True, method="L-BFGS-B", bounds=[(None, None)] * n + [(0, None)] * n,
                         options={"maxiter": 4000, "maxfun": 8000, "maxcor": 30, "ftol": 1e-13, "gtol": 1e-8})  # fmt: skip
        if found.fun > best - 1e-8:
            break
        v, best = found.x, found.fun
    step = (fan[:, 1] - fan[:, 0]) / (rays - 1)
    return min(best, found.fun), step


def compared(seed, count, taper):
    """Our length, the optimiser's, and how much its chords cut off the arcs (r turn step^2 / 24)."""
    rng = np.random.default_rng([seed, count, int(taper * 100)])
    s = random_supports(rng, count, taper)
    start, end = np.array([0.0, 0, rng.uniform(0, 4)]), np.array([4.0, rng.uniform(-1, 1), rng.uniform(0, 4)])
    run = taut_rope(start, end, s)
    touched = subset(s, np.flatnonzero(run.touches))
    fan = angles(run, s)[run.touches] + [-0.25, 0.25]
    other, step = by_optimiser(start, end, touched, fan)
    along = np.sum((0.5 * (run.arrive + run.leave)[run.touches] - touched.origin) * touched.axis, axis=1)
    radius = touched.radius + touched.taper * along
    return run.length, other, float(np.sum(run.turn[run.touches] * radius * step**2 / 24))


@pytest.mark.parametrize(("count", "taper"), [(1, 0.0), (1, 0.05), (2, 0.03), (3, 0.05)])
@pytest.mark.parametrize("seed", range(3))
def test_length_equals_a_general_optimiser(seed, count, taper):
    """Over one to three limbs, straight or tapered, the rope is as short as a general optimiser finds, less its corner cutting."""
    ours, other, cut = compared(seed, count, taper)
    assert ours - other == pytest.approx(cut, rel=0.25, abs=5e-6)


@pytest.mark.slow
@pytest.mark.parametrize(("count", "taper"), [(1, 0.0), (1, 0.05), (2, 0.0), (2, 0.05)])
def test_length_equals_a_general_optimiser_100_times(count, taper):
    """The same on 100 random cases in all."""
    for seed in range(100, 125):
        ours, other, cut = compared(seed, count, taper)
        assert ours - other == pytest.approx(cut, rel=0.25, abs=5e-6), seed


def test_two_bars_against_the_belt_tangent():
    """Over two level, parallel bars the legs are the tangents of the open belt and of the points, and the length adds up."""
    r1, r2, d, h = 0.2, 0.1, 2.0, 5.0
    s = Supports.of([[0, 0, h], [d, 0, h]], [0, 1, 0], [r1, r2])
    run = taut_rope([-1.0, 0, 0], [d + 1.0, 0, 0], s)
    tilt = np.arcsin((r1 - r2) / d)  # the outer tangent of two circles falls toward the smaller one
    assert run.leave[0] == pytest.approx([r1 * np.sin(tilt), 0, h + r1 * np.cos(tilt)], abs=1e-12)
    assert run.arrive[1] == pytest.approx([d + r2 * np.sin(tilt), 0, h + r2 * np.cos(tilt)], abs=1e-12)
    legs = [np.sqrt(1 + h * h - r1 * r1), np.sqrt(d * d - (r1 - r2) ** 2), np.sqrt(1 + h * h - r2 * r2)]
    up = [np.arctan2(1, h) + np.arccos(r / np.hypot(1, h)) - np.pi / 2 for r in (r1, r2)]
    arcs = [r1 * (np.pi / 2 + tilt - up[0]), r2 * (np.pi / 2 - tilt - up[1])]
    assert run.turn == pytest.approx([arcs[0] / r1, arcs[1] / r2], abs=1e-12)
    assert run.length == pytest.approx(sum(legs) + sum(arcs), abs=1e-12)


def test_helix_on_one_bar():
    """A rope that leaves at another place along the bar runs on it as a helix: straight on the rolled-out bark."""
    r, h = 0.15, 4.0
    s = Supports.of([[0, 0, h]], [0, 1, 0], [r], **WIDE)
    run = taut_rope([-1.0, -0.6, 0], [1.0, 0.9, 0], s)
    straight = np.sqrt(1 + h * h - r * r)
    wrap = np.pi - 2 * (np.arctan2(1, h) + np.arccos(r / np.hypot(1, h)) - np.pi / 2)
    assert run.length == pytest.approx(np.hypot(2 * straight + r * wrap, 1.5), abs=1e-12)
    assert run.turn[0] < wrap


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(1, 5), free=st.booleans(), mu=st.floats(0, 0.6))
def test_forces_balance_at_every_contact(seed, count, free, mu):
    """On every contact the two legs' pulls and the wood's answer cancel, and over the whole rope all forces cancel, to 1e-9."""
    rng = np.random.default_rng(seed)
    s = random_supports(rng, count, 0.04)
    if not free:
        s = Supports.of(s.origin, s.axis, s.radius, taper=s.taper, top=s.top)
    run = taut_rope([0.0, 0, 0], [4.0, 1, 1.0], s)
    tension = tensions(run, 1000.0, mu)
    force = run.contact_forces(tension)
    first = int(np.argmax(run.touches)) if run.touches.any() else -1
    last = len(s) - 1 - int(np.argmax(run.touches[::-1])) if run.touches.any() else -1
    if first < 0:
        assert not force.any()
        return
    base = tension[0] * (run.start - run.arrive[first]) / np.linalg.norm(run.start - run.arrive[first])
    climber = tension[-1] * (run.end - run.leave[last]) / np.linalg.norm(run.end - run.leave[last])
    assert np.abs(base + climber - force.sum(axis=0)).max() < 1e-9 * 1000
    assert np.all(np.linalg.norm(force, axis=1) <= tension[:-1] + tension[1:] + 1e-9)
    touched = np.flatnonzero(run.touches)
    for i, j in itertools.pairwise(touched):
        assert np.abs(run.toward_end[i] + run.toward_start[j]).max() < 1e-9


def test_rope_clears_a_low_limb():
    """A limb below the straight line between its neighbours bears nothing and adds no length."""
    s = Supports.of([[1, 0, 5], [2, 0, 4], [3, 0, 5]], [0, 1, 0], 0.1)
    run = taut_rope([0, 0, 0], [4.0, 0, 0], s)
    alone = taut_rope([0, 0, 0], [4.0, 0, 0], subset(s, [0, 2]))
    assert list(run.touches) == [True, False, True]
    assert run.length == pytest.approx(alone.length, abs=1e-12)
    assert run.leg.sum() == pytest.approx(run.length)
    assert not run.contact_forces(tensions(run, 1.0))[1].any()


def test_turned_and_moved_tree_gives_the_same_rope():
    """Turning everything about the vertical and shifting it changes neither length nor turning."""
    rng = np.random.default_rng(3)
    s = random_supports(rng, 3, 0.03)
    a = taut_rope([0.0, 0, 0], [4.0, 1, 1.0], s)
    c, d = np.cos(1.1), np.sin(1.1)
    turn, move = np.array([[c, -d, 0], [d, c, 0], [0, 0, 1]]), np.array([500.0, -80, 30])
    t = Supports.of(s.origin @ turn.T + move, s.axis @ turn.T, s.radius, taper=s.taper, sense=1.0, **WIDE)
    b = taut_rope(turn @ [0.0, 0, 0] + move, turn @ [4.0, 1, 1.0] + move, t)
    assert b.length == pytest.approx(a.length, abs=1e-9)
    assert b.turn == pytest.approx(a.turn, abs=1e-9)


def test_frictions_compound():
    """Two turns in series hold like one turn of their sum."""
    s = Supports.of([[1, 0, 5], [3, 0, 5]], [0, 1, 0], 0.1)
    run = taut_rope([0, 0, 0], [4.0, 0, 0], s)
    assert tensions(run, 1000.0, 0.25)[0] == pytest.approx(1000 * np.exp(-0.25 * run.turn.sum()))


def test_turning_of_a_held_rope_is_that_of_its_direction():
    """A rope held at one place of a bar turns at least by the angle between its legs (vectors), and within 2 % by the length of the way its
    direction takes on the unit sphere, summed up in 2,000 small steps from one leg round the axis to the other."""
    rng = np.random.default_rng(3)
    tried = 0
    for _ in range(300):
        axis = rng.normal(size=3)
        axis /= np.linalg.norm(axis)
        start, end = rng.uniform(-4, 4, (2, 3)) - [0, 0, 6]
        run = taut_rope(start, end, Supports.of([[0.0, 0, 0]], axis, 0.1))
        if not run.touches[0]:
            continue
        tried += 1
        come, go = -run.toward_start[0], run.toward_end[0]
        slopes = np.arccos(np.clip([come @ axis, go @ axis], -1, 1))
        flat = [v - (v @ axis) * axis for v in (come, go)]
        swept = np.arctan2(np.cross(flat[0], flat[1]) @ axis, flat[0] @ flat[1])
        sense = np.sign(np.cross(run.arrive[0], flat[0]) @ axis)  # which way round the rope goes, more than half round or not
        sweep = np.linspace(0, (sense * swept) % (2 * np.pi), 2001)
        slope = np.linspace(*slopes, 2001)
        way = np.column_stack([np.sin(slope) * np.cos(sweep), np.sin(slope) * np.sin(sweep), np.cos(slope)])
        length = np.linalg.norm(np.diff(way, axis=0), axis=1).sum()

        assert run.turn[0] >= np.arccos(np.clip(come @ go, -1, 1)) - 1e-9
        assert run.turn[0] == pytest.approx(length, rel=0.02)
    assert tried > 100
