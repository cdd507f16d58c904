import numpy as np
import pytest
from scipy.stats import norm

from oracles.isotropic_thrower import G, Weight, aim_speed, chance, directions, fly, side_spread

NO_DRAG = Weight(cd=0.0)


def test_a_flight_without_drag_is_the_parabola():
    el, v = np.deg2rad(60), 20.0
    y, z, rising, t, speed = fly((0, 0, 0), [[v * np.cos(el), 0, v * np.sin(el)]], NO_DRAG, plane_x=12.0)[
        :, 0
    ]
    assert z == pytest.approx(12 * np.tan(el) - G * 144 / (2 * v**2 * np.cos(el) ** 2), abs=1e-6)
    assert y == 0
    assert rising == (t < v * np.sin(el) / G)
    assert speed == pytest.approx(np.sqrt(v**2 - 2 * G * z), rel=1e-4)


def test_apex_with_drag_straight_up():
    """h = (v_t^2 / 2 g) ln(1 + v0^2 / v_t^2)."""
    w = Weight()
    vt2 = 2 * w.mass * G / (1.2 * w.cd * np.pi * w.radius**2)
    assert np.sqrt(vt2) == pytest.approx(56.6, abs=1.0)  # throwline.md section 3
    assert fly((0, 0, 0), [[0, 0, 20.0]], w)[0] == pytest.approx(
        vt2 / 2 / G * np.log(1 + 400 / vt2), rel=1e-4
    )


def test_apex_with_a_line_picked_up():
    """h = (m / l)((1 + 3 l v0^2 / (2 g m))^(1/3) - 1): 18.3 m for 340 g, 2 g/m, 20 m/s."""
    w = Weight(cd=0.0, line=0.002)
    h = 0.34 / 0.002 * ((1 + 3 * 0.002 * 400 / (2 * G * 0.34)) ** (1 / 3) - 1)
    assert fly((0, 0, 0), [[0, 0, 20.0]], w)[0] == pytest.approx(h, rel=1e-4)
    assert h == pytest.approx(18.3, abs=0.1)


@pytest.mark.parametrize("degrees", [30, 60, 80])
def test_scatter_is_the_same_across_the_flight_and_wider_in_azimuth_when_steep(degrees):
    rng = np.random.default_rng(3)
    s = np.deg2rad(1.0)
    d = directions(0.4, np.deg2rad(degrees), *(s * rng.standard_normal((2, 100_000))))
    aim = directions(0.4, np.deg2rad(degrees), np.zeros(1), np.zeros(1))[0]
    off = np.arccos(np.clip(d @ aim, -1, 1))
    assert np.sqrt((off**2).mean() / 2) == pytest.approx(s, rel=0.01)  # Rayleigh: mean square 2 sigma^2
    az = np.arctan2(d[:, 1], d[:, 0]) - 0.4
    assert az.std() == pytest.approx(s / np.cos(np.deg2rad(degrees)), rel=0.02)
    assert np.linalg.norm(d, axis=1) == pytest.approx(1.0)


def test_aim_goes_through_the_middle_and_misses_nothing_without_scatter():
    el = np.deg2rad(65)
    v = aim_speed(9.0, 12.0, el)
    assert chance(9.0, 11.9, 12.1, 0.1, el, v, 0.0, 0.0, n=10)[0] == 1.0


@pytest.mark.parametrize("degrees", [30, 60, 80])
def test_small_scatter_is_the_product_of_two_normals(degrees):
    """Across: x sigma / cos(el). Upward: dz/d el sigma and dz/dv share v, both from the parabola; no drag."""
    el, h = np.deg2rad(degrees), 16.0
    x = 1.15 * 2 * h / np.tan(el)
    v = aim_speed(x, h + 0.6, el, NO_DRAG)
    s, share = np.deg2rad(0.3), 0.004
    dz_el = x / np.cos(el) ** 2 - G * x**2 / v**2 * np.tan(el) / np.cos(el) ** 2
    dz_v = G * x**2 / (v**3 * np.cos(el) ** 2)
    sz = np.hypot(dz_el * s, dz_v * share * v)
    sy = side_spread(x, h, el, s)
    want = (2 * norm.cdf(0.6 / sz) - 1) * (2 * norm.cdf(0.3 / sy) - 1)
    got, se = chance(x, h, h + 1.2, 0.3, el, v, s, share, weight=NO_DRAG, n=12_000)
    assert got == pytest.approx(want, abs=4 * se + 0.01)


@pytest.mark.parametrize(("height", "degrees"), [(10, 60), (16, 80), (30, 80)])
def test_reading_sigma_as_azimuth_is_far_too_hopeful(height, degrees):
    el = np.deg2rad(degrees)
    x = 1.15 * 2 * height / np.tan(el)
    v = aim_speed(x, height + 0.6, el)
    args = (x, height, height + 1.2, 0.6, el, v, np.deg2rad(1.5), 0.02)
    right, wrong = (chance(*args, az_is_sigma=wrong, n=8_000)[0] for wrong in (False, True))
    assert wrong > right * (1.25 if degrees == 60 else 2.0)


def test_wind_drifts_and_gusts_scatter():
    """Side wind on a slow flight: drift within a tenth of k w (t - ...) by an independent fine integration.
    """
    from scipy.integrate import solve_ivp

    w = Weight()
    c = 0.5 * 1.2 * w.cd * np.pi * w.radius**2 / w.mass
    el, v = np.deg2rad(70), 18.0
    blow = np.array([0, 5.0, 0])

    def rhs(_, q):
        u = q[3:] - blow
        return [*q[3:], *(-c * np.linalg.norm(u) * u - (0, 0, G))]

    def at(_, q):
        return q[0] - 6.0

    at.terminal = True
    run = solve_ivp(
        rhs, (0, 5), [0, 0, 0, v * np.cos(el), 0, v * np.sin(el)], rtol=1e-10, atol=1e-12, events=at
    )
    y, z, *_ = fly((0, 0, 0), [[v * np.cos(el), 0, v * np.sin(el)]], wind=blow, plane_x=6.0)[:, 0]
    assert (y, z) == pytest.approx(run.y[1:3, -1], abs=1e-3)
    assert y > 0.05
    calm = chance(6.0, z - 0.5, z + 0.5, 0.3, el, v, np.deg2rad(0.5), 0.01, n=10_000)[0]
    windy = chance(
        6.0,
        z - 0.5,
        z + 0.5,
        0.3,
        el,
        v,
        np.deg2rad(0.5),
        0.01,
        n=10_000,
        wind_speed=8.0,
        wind_towards=np.pi / 2,
        gust=0.5,
    )[0]
    assert windy < calm - 0.1
