import numpy as np
import pytest

from oracles.tie_in_stiffness import (
    G,
    amplification,
    amplification_by_motion,
    amplified_limb,
    chain,
    effective_mass,
    elastica,
    limb_modes,
    stiffness_at,
    two_masses,
)

E = 9e9


def straight(length=3.0, d0=0.12, d1=0.12, n=13, up=0.0, **kw):
    s = np.linspace(0, length, n)
    return chain(np.c_[s * np.cos(up), np.zeros(n), s * np.sin(up)], np.linspace(d0, d1, n), E, **kw)


def test_uniform_cantilever():
    """k = 3 E I / L^3, turning L^2 / (2 E I), f1 = 1.875^2 / (2 pi) sqrt(E I / (m L^4))."""
    ei = E * np.pi * 0.12**4 / 64
    k, turn = stiffness_at(straight(), 12)
    assert k == pytest.approx(3 * ei / 27, rel=1e-9)
    assert turn == pytest.approx(9 / 2 / ei, rel=1e-9)
    per_m = 900 * np.pi * 0.06**2
    assert limb_modes(straight(), 12)[0] == pytest.approx(
        1.8751041**2 / 2 / np.pi * np.sqrt(ei / per_m / 81), rel=1e-4
    )
    assert effective_mass(straight(), 12) == pytest.approx(33 / 140 * per_m * 3, rel=1e-3)  # Rayleigh


def test_a_load_half_way_out_and_an_axial_one():
    ei = E * np.pi * 0.12**4 / 64
    assert stiffness_at(straight(), 6)[0] == pytest.approx(3 * ei / 1.5**3, rel=1e-9)
    assert stiffness_at(straight(), 12, (1, 0, 0))[0] == pytest.approx(E * np.pi * 0.06**2 / 3, rel=1e-9)


def test_a_cone_by_quadrature():
    """Compliance = integral of (L - s)^2 / (E I(s)) ds; many short elements."""
    s = np.linspace(0, 3, 20001)
    i = np.pi * (0.14 - 0.08 * s / 3) ** 4 / 64
    c = np.trapezoid((3 - s) ** 2 / E / i, s)
    assert stiffness_at(straight(d0=0.14, d1=0.06, n=61), 60)[0] == pytest.approx(1 / c, rel=1e-3)


def test_a_bent_limb_against_the_frame_program():
    """Three-dimensional bent chain: PyNite's frame gives the same movement."""
    pynite = pytest.importorskip("Pynite")
    p = np.array([[0, 0, 0], [0.8, 0.1, 0.5], [1.5, 0.5, 0.8], [2.1, 1.2, 0.9]], float)
    d = np.array([0.14, 0.12, 0.10, 0.09])
    model = pynite.FEModel3D()
    model.add_material("wood", E, E / 16, 0.3, 0.0)
    for i, x in enumerate(p):
        model.add_node(f"n{i}", *x)
    for i in range(3):
        r = (d[i] + d[i + 1]) / 4
        model.add_section(f"s{i}", np.pi * r**2, np.pi * r**4 / 4, np.pi * r**4 / 4, np.pi * r**4 / 2)
        model.add_member(f"m{i}", f"n{i}", f"n{i + 1}", "wood", f"s{i}")
    model.def_support("n0", True, True, True, True, True, True)
    model.add_node_load("n3", "FZ", -1000.0)
    model.analyze_linear()
    k, _turn = stiffness_at(chain(p, d, E), 3)
    assert 1000 / k == pytest.approx(-model.nodes["n3"].DZ["Combo 1"], rel=1e-6)


def test_limits_of_two_masses():
    k, m = 20e3, 90.0
    assert two_masses(k, 15.0, np.inf, m)[0] == pytest.approx(np.sqrt(k / 105) / 2 / np.pi)
    assert two_masses(k, 15.0, 1e10, m)[0] == pytest.approx(np.sqrt(k / 105) / 2 / np.pi, rel=1e-4)
    series = k * 4e3 / (k + 4e3)
    assert two_masses(k, 1e-4, 4e3, m)[0] == pytest.approx(np.sqrt(series / m) / 2 / np.pi, rel=1e-4)


def test_a_rider_on_a_heavy_chain_matches_the_single_mass():
    limb = straight()
    k, _ = stiffness_at(limb, 12)
    want = np.sqrt(k / (90 + effective_mass(limb, 12))) / 2 / np.pi
    assert limb_modes(limb, 12, rider=90.0)[0] == pytest.approx(want, rel=5e-3)


@pytest.mark.parametrize("damping", [0.05, 0.10, 0.15])
@pytest.mark.parametrize("ratio", [0.5, 0.9, 1.0, 1.5])
def test_amplification_is_the_steady_motion(damping, ratio):
    assert amplification_by_motion(ratio * 1.3, 1.3, damping) == pytest.approx(
        amplification(ratio * 1.3, 1.3, damping)[0], rel=0.01
    )


def test_amplification_at_resonance_and_far_off():
    assert amplification(1.0, 1.0, 0.05)[0] == pytest.approx(10.0)
    assert amplification(1.0, 1.0, 0.15)[0] == pytest.approx(1 / 0.3)
    assert amplification(0.01, 1.0, 0.1)[0] == pytest.approx(1.0, abs=1e-3)
    # above 1.3 lies r = sqrt(1 - 1 / 1.3) for no damping
    assert amplification(np.sqrt(1 - 1 / 1.3), 1.0, 0.0)[0] == pytest.approx(1.3)


def test_two_masses_fall_back_to_the_static_movement():
    limb = straight()
    k, _ = stiffness_at(limb, 12)
    assert amplified_limb(limb, 12, 4e3, 90.0, 200.0, 1e-3, 0.1) == pytest.approx(200 / k, rel=1e-3)


def test_elastica_against_published_values():
    """P L^2 / E I = 1, 2, 5: tip (1 - x) / L, drop / L, turning (Mattiasson 1981)."""
    for a, short, drop, turn in (
        (1, 0.05643, 0.30172, 0.46135),
        (2, 0.16064, 0.49346, 0.78175),
        (5, 0.38763, 0.71379, 1.21537),
    ):
        x, z, th, m = elastica(1.0, 1.0, float(a))
        assert (1 - x, -z, th) == pytest.approx((short, drop, turn), abs=2e-5)
        assert m == pytest.approx(a * x, rel=1e-5)


@pytest.mark.parametrize("turn", [0.02, 0.1, 0.3])
def test_what_straight_geometry_gets_wrong(turn):
    """A limb that rises steeply is bent further out: foot moment (2 / 3) turn tan(up) above the beam's; a
    level one below.
    """
    for up in (np.deg2rad(30), np.deg2rad(45), np.deg2rad(60)):
        load = 2 * turn / np.cos(up)  # beam: turning = P cos(up) L^2 / (2 E I), L = E I = 1
        x, _z, _th, m = elastica(1.0, 1.0, load, up)
        assert m == pytest.approx(load * x, rel=1e-5)
        first_order = 2 / 3 * turn * np.tan(up)
        assert m / (load * np.cos(up)) - 1 == pytest.approx(first_order, abs=0.8 * turn**2 / np.cos(up) ** 2)
    assert elastica(1.0, 1.0, 2 * turn)[3] < 2 * turn
    assert G > 9.8
