import numpy as np
import pytest

from oracles.section_strength import (
    GREEN_TENSION_ACROSS,
    UNIONS,
    round_section,
    straightens,
    transverse_by_equilibrium,
    transverse_tension,
    transverse_tension_exact,
    utilisation,
)

AREA = np.pi * 0.1**2 / 4


def test_round_wood_has_four_thirds_and_the_published_form_is_on_the_safe_side():
    got = transverse_by_equilibrium(1000.0, 0.5, 0.1)
    assert got == pytest.approx(transverse_tension(1000.0, 0.5, AREA, 4 / 3), rel=1e-4)
    assert transverse_tension(1000.0, 0.5, AREA) / got == pytest.approx(1.125, rel=1e-4)


def test_it_is_most_at_the_neutral_axis():
    v = [transverse_by_equilibrium(1000.0, 0.5, 0.1, at) for at in (0, 0.3, 0.6, 0.9)]
    assert (np.diff(v) < 0).all()


@pytest.mark.parametrize(("ratio", "near"), [(20, 0.01), (5, 0.05), (2, 0.15)])
def test_the_thick_bend_tends_to_the_slender_one(ratio, near):
    thick = transverse_tension_exact(1000.0, ratio * 0.1, 0.1)
    assert thick == pytest.approx(transverse_tension(1000.0, ratio * 0.1, AREA, 4 / 3), rel=near)


def test_a_bend_is_straightened_by_lifting_its_inner_side():
    """A limb that rises steeper outward (upward curve): a load that pulls its tip down straightens it."""
    before, after = np.array([1.0, 0, 0]), np.array([np.cos(0.5), 0, np.sin(0.5)])
    down = np.cross(np.array([1.0, 0, 0.3]), np.array([0, 0, -1000.0]))  # lever x force
    assert straightens(before, after, down)
    assert not straightens(before, after, -down)


def test_a_limb_that_splits_before_it_breaks():
    """Oak: 40 MPa bending, 4.3 MPa across: the split comes first where R / d < 4 / 3 x f / (8 x f_t) ... by
    the formulas.
    """
    f, across = 40e6, GREEN_TENSION_ACROSS["oak, white"][0]
    d = 0.1
    m = f * np.pi * d**3 / 32
    r = transverse_tension(m, 1.0, AREA, 4 / 3) / across  # radius at which both are reached together
    assert r / d == pytest.approx(4 / 3 * f / (8 * across), rel=1e-9)
    assert across == pytest.approx(4.29e6, rel=1e-2)
    assert 1.4 < r / d < 1.7


def test_section_stresses():
    s, t, q = round_section(0.1, 1000.0, 5000.0, 300.0)
    assert s == pytest.approx(32 * 1000 / np.pi / 0.001)
    assert t == pytest.approx(4 / 3 * 5000 / AREA)
    assert q == pytest.approx(16 * 300 / np.pi / 0.001)


def test_interaction_ends_on_the_published_points_and_scales():
    f, fv = 75.5e6, 11.2e6
    for form in ("ellipse", "line"):
        assert utilisation(f, 0, 0, f, fv, form) == pytest.approx(1.0)
        assert utilisation(0, 0, fv, f, fv, form) == pytest.approx(1.0)
        assert utilisation(2e7, 1e6, 3e6, f, fv, form) == pytest.approx(
            utilisation(1e7, 5e5, 1.5e6, f, fv, form) * 2
        )
    assert utilisation(0.6 * f, 0, 0.8 * fv, f, fv) == pytest.approx(1.0)
    assert utilisation(0.6 * f, 0, 0.8 * fv, f, fv, "line") == pytest.approx(1.4)


def test_von_mises_hides_torsion_of_wood():
    """A limb at its torsion strength would be told 26 % used."""
    assert utilisation(0, 0, 11.2e6, 75.5e6, 11.2e6, "von Mises") < 0.3


def test_rows_of_the_union_table_say_where_they_come_from():
    for row in UNIONS:
        assert row[7] in {"read", "memory", "derived", "choice", "none"}
        assert (row[4] is None) == (row[7] == "none")
        if row[4]:
            assert 0 < row[4][0] <= row[4][1] <= 1
