"""Closed-form checks of the load formulas: every row names where the expected value comes from.

Textbook and printed examples: Picked Shares mechanics exercise 27; a statics problem page (belt friction, 1.5 turns); Scilab textbook
companion example 5.16; Delaney 2022, Physics for Roping Technicians, p. 88; a forum load-cell measurement; Huang et al. 2017, R. Soc.
Open Sci. 4:160972; a tree-care mailing list of 2021; comparison of decay formulas, Arboric. Urban For. table 6705; Kane 2007, Arboric.
Urban For. 33(4) Table 3; Smiley 2003, J. Arboric. 29(2):104; Lilly & Sydnor 1995 table 6373; fxsolver "Fall Impact Force"; Cryer, "Fall
factor"; EN 1891 limits read on a manual's page and a data sheet. Rows marked "computed" follow from the stated formula by hand.
"""

from dataclasses import replace
from math import pi, radians

import numpy as np
import pytest
from loads.stick_trees import WEIGHTLESS, checked, configuration, tree
from scipy.optimize import brentq
from strategies import alone
from validation.handbook import (
    fall_factor,
    modulus_from_impact,
    modulus_from_stretch,
    resultant,
    strung_tension,
)

from treescan.loads.material.defects import hollow_keep, open_cavity_loss
from treescan.loads.pull.shock import arrest_force, braced_tension, pendulum_force, pendulum_speed, stretch
from treescan.loads.rope.configuration_loads import leg_shares
from treescan.loads.rope.rope_run import Supports, taut_rope
from treescan.loads.rope.strung_rope import hanging_between
from treescan.loads.sections.deflection import displacements
from treescan.loads.sections.section_stress import SectionForces, oval_stretch, section_forces, utilisation
from treescan.loads.sections.tree_sections import tree_sections
from treescan.loads.settings import LoadSettings
from treescan.units import PSI_PA, G

W = 100 * 9.80665
MU_TUBE = np.log(3.0) / (2 * pi)


def over_a_bar(between):
    """The taut rope over one level bar, its two legs leaving at `between` to each other, even about the plumb."""
    half, r = between / 2, 0.1
    legs = np.array([[-np.sin(half), 0.0, -np.cos(half)], [np.sin(half), 0.0, -np.cos(half)]])
    ends = r * np.array([[-np.cos(half), 0.0, np.sin(half)], [np.cos(half), 0.0, np.sin(half)]]) + 3.0 * legs
    return taut_rope(ends[0], ends[1], Supports.of([[0.0, 0, 0]], [[0.0, 1.0, 0]], [r]))


def ratio(mu, turn):
    """Tension after over tension before a support, by the product's shares of a basal line's legs (any turning, whole turns too)."""
    return 1.0 / leg_shares("SRS basal", "rope on bark", np.array([[turn]]), LoadSettings(mu_bark=(mu, mu, mu)), None)[0, 0, 0]


def legs(between, mu=0.0):
    """Force of a rope of 1 kN at its end on one support, from the product's rope run and shares of its legs. [N]"""
    run = over_a_bar(between)
    share = leg_shares("SRS basal", "rope on bark", run.turn[None], LoadSettings(mu_bark=(mu, mu, mu)), None)[0, 0]
    return np.linalg.norm(run.contact_forces(1000.0 * share)[0])


def stress(d, *, axial=0.0, shear=0.0, bending=0.0, torsion=0.0):
    """The larger stress on a round of diameter d, as the product's `utilisation` has it at a strength of 1 Pa. [Pa]"""
    forces = SectionForces(*(np.full((1, 1), float(v)) for v in (axial, shear, bending, torsion)))
    return max(u.item() for u in utilisation(forces, np.array([d / 2]), *np.ones((3, 1))))


def inertia(d):
    """Second moment of area the product's deflection works with: that of M L / (E turn) at the end of a beam. [m4]"""
    xyz, moment = np.array([[0.0, 0, 0], [1.0, 0, 0]]), np.array([[0.0, 0, 0], [0.0, 1.0, 0]])
    return 1.0 / displacements(xyz, np.array([-1, 0], np.int32), np.full(2, d / 2), 1.0, 1.0, np.zeros((2, 3)), moment)[1][1, 1]


def ellipse(width, height):
    """Section modulus of a level oval limb under a plumb load: moment over the stress the product finds. [m3]"""
    axis, d = np.array([[1.0, 0, 0]]), np.sqrt(width * height)
    load = np.array([[[0.0, 0, -1.0]]])
    f = section_forces(np.zeros((1, 3)), axis, np.ones((1, 1), bool), axis[None], load, stretch=oval_stretch(axis, np.array([height / width])))
    return 1.0 / stress(d, bending=f.bending.item())


def taper(thick, thin, length):
    """Diameter, distance from the loaded thin end and stress under 1 kN of the most stressed section of an evenly tapered limb."""
    at = np.linspace(0.0, length, 700001)[1:]
    forces = SectionForces(np.zeros((1, len(at))), np.zeros((1, len(at))), 1000.0 * at[None], np.zeros((1, len(at))))
    d = thin + (thick - thin) * at / length
    use = utilisation(forces, d / 2, *np.ones((3, 1)))[0][0]
    worst = int(np.argmax(use))
    return d[worst], at[worst], use[worst]


def under_bark(d, bark):
    """Bending stress over bark as a share of that inside it, `bark` on one side: by the radii of the product's two sections."""
    graph = tree([(6.0, 0, 0, 3.0, d, d)])
    wood = replace(WEIGHTLESS, bark_share=2 * bark / d)
    first = graph.limbs.nodes[1][-1]
    outer, inner = (
        tree_sections(graph, alone(graph), wood, LoadSettings(section=s)).radius[first] for s in ("circle outside bark", "inside bark")
    )
    return stress(2 * outer, bending=1.0) / stress(2 * inner, bending=1.0)


def fall_of(fall, rope):
    """Fall factor the product's peak force answers to. [-]"""
    k = 30000.0
    return ((arrest_force(W, k, fall, rope) - W) ** 2 - W * W) / (2 * W * k)


ROWS = [
    ("capstan 0.3, 180 deg", lambda: ratio(0.3, pi), 2.5663324, 1e-4, "computed"),
    ("capstan 0.2, 180 deg", lambda: ratio(0.2, pi), 1.8744561, 1e-4, "computed"),
    ("capstan 0.1, 180 deg", lambda: ratio(0.1, pi), 1.3691078, 1e-4, "computed"),
    ("capstan 0.5, 180 deg", lambda: ratio(0.5, pi), 4.8104774, 1e-4, "computed"),
    ("capstan 0.3, 90 deg", lambda: ratio(0.3, pi / 2), 1.6019777, 1e-4, "computed"),
    ("capstan 0.3, 360 deg", lambda: ratio(0.3, 2 * pi), 6.586062, 1e-4, "computed"),
    ("capstan 0.25, 120 deg", lambda: ratio(0.25, radians(120)), 1.6880918, 1e-4, "computed"),
    ("lowering 100 kg over 1.5 pi", lambda: 100 * 9.81 / ratio(0.2, 1.5 * pi), 382.26, 2e-5, "Picked Shares, exercise 27, prints 382.26 N"),
    ("1.5 turns, about to fall", lambda: 1000 * ratio(0.25, 3 * pi), 10550.72, 1e-5, "statics problem page prints 10550.72 N"),
    ("1.5 turns, about to rise", lambda: 1000 / ratio(0.25, 3 * pi), 94.78, 1e-4, "statics problem page prints 94.78 N"),
    ("250 degrees", lambda: ratio(0.3, radians(250)), 3.7025, 1e-4, "Scilab textbook companion 5.16 prints 3.7025"),
    ("one turn on a tube, kgf", lambda: 100 / ratio(MU_TUBE, 2 * pi), 33.30, 2e-3, "Delaney 2022 p. 88 prints 33.30"),
    ("two turns on a tube, kgf", lambda: 100 / ratio(MU_TUBE, 4 * pi), 11.09, 5e-3, "Delaney 2022 p. 88 prints 11.09"),
    ("friction of a 2:1 split", lambda: np.log(2) / pi, 0.22, 5e-3, "forum load cells, prints 0.22"),
    ("two unions in series", lambda: 1000 / (ratio(0.25, radians(120)) * ratio(0.25, radians(60))), 455.93813, 1e-4, "computed"),
    *(
        (f"equal legs at {a}", lambda a=a: legs(radians(a)), v, 1e-6, "computed")
        for a, v in [(0, 2000), (30, 1931.8517), (60, 1732.0508), (90, 1414.2136), (120, 1000), (150, 517.63809)]
    ),
    *(
        (f"basal, parallel legs, mu {m}", lambda m=m: legs(0.0, m), v, 1e-6, "computed")
        for m, v in [(0.0, 2000), (0.2, 1533.4881), (0.3, 1389.6611), (0.5, 1207.8796)]
    ),
    ("basal, 30 deg between legs", lambda: legs(radians(30), 0.25), 1473.1742, 1e-5, "computed"),
    ("basal, measured split", lambda: over_a_bar(0.0).contact_forces([120, 250])[0] @ [0, 0, -1] / 250, 1.48, 1e-6, "forum load cells 250 and 120 lbf"),
    ("mid-span load on a taut line", lambda: hanging_between([[-5, 0, 0], [5, 0, 0]], [0, 0, -5 * np.tan(radians(10))], 1000.0).tension[0], 2879.3852, 1e-5, "computed"),
    ("held out at 45 deg", lambda: 1000 * braced_tension(radians(45)), 1414.2136, 1e-5, "computed"),
    ("sideways pull at 30 deg", lambda: 1000 * braced_tension(radians(30)) * np.sin(radians(30)), 577.35027, 1e-5, "computed"),
    *(
        (f"pendulum speed {a}", lambda a=a: pendulum_speed(10, radians(a)), v, 1e-5, "computed")
        for a, v in [(30, 5.126094), (45, 7.5793156), (60, 9.9028531), (90, 14.004749)]
    ),
    *(
        (f"pendulum force {a}", lambda a=a: pendulum_force(radians(a)), v, 1e-6, "computed")
        for a, v in [(30, 1.2679492), (45, 1.5857864), (60, 2.0), (90, 3.0)]
    ),
    ("sudden load is twice the weight", lambda: arrest_force(W, 19613.3, 0.0, 10.0), 1961.33, 1e-4, "computed"),
    ("fall 0.3, soft rope", lambda: arrest_force(W, 19613.3, 0.3, 1.0), 4516.5029, 1e-4, "fxsolver formula, computed"),
    ("fall 0.1, 30 kN", lambda: arrest_force(W, 30000, 0.1, 1.0), 3597.0927, 1e-4, "fxsolver formula, computed"),
    ("fall 0.3, 30 kN", lambda: arrest_force(W, 30000, 3.0, 10.0), 5295.0217, 1e-4, "fxsolver formula, computed"),
    ("fall 1.0, 30 kN", lambda: arrest_force(W, 30000, 4.0, 4.0), 8713.8147, 1e-4, "fxsolver formula, computed"),
    ("fall 0.5, 80 kg, 25 kN", lambda: arrest_force(80 * G, 25000, 5.0, 10.0), 5282.1748, 1e-4, "fxsolver formula, computed"),
    ("rope modulus, lower bound", lambda: brentq(lambda k: stretch(W, 1.0, k) - 0.05, 1e3, 1e6), 19613.3, 1e-6, "EN 1891 elongation 5 %, derived"),
    ("rope modulus, upper bound", lambda: brentq(lambda k: arrest_force(W, k, 0.3, 1.0) - 6000, 1e3, 1e6), 41182.973, 1e-5, "EN 1891 impact 6 kN at 0.3, derived"),
    ("fall factor two", lambda: fall_of(20, 10), 2.0, 1e-6, "Cryer, fall factor, 20 ft on 10 ft"),
    ("fall factor, long rope", lambda: fall_of(20, 100), 0.2, 1e-6, "Cryer, fall factor, 20 ft on 100 ft"),
    ("stretch under a climber", lambda: stretch(W, 20, 30000), 0.65377667, 1e-5, "computed"),
    ("section modulus", lambda: 1.0 / stress(0.15, bending=1.0), 0.00033133985, 1e-4, "computed"),
    ("second moment", lambda: inertia(0.15), 2.4850489e-05, 1e-4, "computed"),
    ("cantilever stress, MPa", lambda: stress(0.10, bending=2000 * 0.5) / 1e6, 10.185916, 1e-4, "computed"),
    ("diameter for 10 MPa", lambda: brentq(lambda d: stress(d, bending=2000 * 0.5) - 10e6, 0.05, 0.5), 0.10061592, 1e-4, "computed"),
    ("torsion, MPa", lambda: stress(0.10, torsion=300) / 1e6, 1.5278875, 1e-4, "computed"),
    ("shear, MPa", lambda: stress(0.10, shear=2000) / 1e6, 0.33953055, 1e-4, "computed"),
    ("axial plus bending, MPa", lambda: stress(0.12, axial=-1500, bending=800) / 1e6, 4.8483311, 1e-4, "computed"),
    ("hollow, t/R 0.3", lambda: hollow_keep(0.3), 0.76, 2e-3, "Huang et al. 2017 prints 76 %"),
    ("hollow, section modulus lost", lambda: 1 - hollow_keep(0.3), 0.24, 5e-3, "tree-care list 2021 prints 24 %"),
    *(
        (f"hollow loss d/D {x}", lambda x=x: 1 - hollow_keep(1 - x), v, 1e-6, "computed")
        for x, v in [(0.3, 0.0081), (0.5, 0.0625), (0.7, 0.2401), (0.8, 0.4096), (0.9, 0.6561)]
    ),
    ("open cavity", lambda: open_cavity_loss(0.5, 0.2), 0.3, 1e-6, "computed"),
    ("taper: most stressed diameter", lambda: taper(0.12, 0.05, 2.0)[0], 0.075, 1e-6, "computed"),
    ("taper: its place", lambda: taper(0.12, 0.05, 2.0)[1], 0.71428571, 1e-4, "computed"),
    ("taper: peak stress, MPa", lambda: taper(0.12, 0.05, 2.0)[2] / 1e6, 17.245996, 1e-4, "computed"),
    ("ellipse modulus", lambda: ellipse(0.10, 0.14), 0.00019242255, 1e-4, "computed"),
    ("bark 4 mm on 100 mm", lambda: under_bark(0.10, 0.004), 0.778688, 1e-6, "computed"),
    ("handbook psi to MPa", lambda: 9400 * PSI_PA / 1e6, 64.810716, 1e-6, "sugar maple, 9400 psi"),
]


@pytest.mark.parametrize(("name", "value", "expected", "tolerance", "source"), ROWS, ids=[r[0] for r in ROWS])
def test_formula_gives_the_published_value(name, value, expected, tolerance, source):
    """What the product computes with gives the printed or hand-computed value."""
    assert source
    assert float(value()) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(
    ("raise_pull", "lower_pull", "turn_deg", "printed"),
    [(179, 17, 180, 0.37), (140, 15, 180, 0.36), (127, 29, 180, 0.24), (140, 31, 180, 0.24), (135, 34, 90, 0.44), (88, 35, 180, 0.15),
     (103, 47, 90, 0.25)],
)  # fmt: skip
def test_friction_from_raise_and_lower_tests(raise_pull, lower_pull, turn_deg, printed):
    """Raise and lower pulls give the two-decimal friction printed by Delaney 2022, p. 88."""
    mu = brentq(lambda m: ratio(m, radians(turn_deg)) ** 2 - raise_pull / lower_pull, 0.0, 2.0)
    assert mu == pytest.approx(printed, abs=0.0051)


def test_a_rope_slides_above_the_friction_angle():
    """With mu 0.3 a rope stays on a limb that falls away at 16.6 degrees and runs out at 16.8 (atan 0.3 = 16.699 degrees)."""
    for slope, runs in ((-16.6, False), (-16.8, True)):
        graph = tree([(8.0, 0, slope, 4.0, 0.03, 0.03)], step=0.1)  # thin: the rope hangs from its top, the angle is its axis's
        (found,) = checked(graph, [configuration(graph, "U01", "MRS", distance=1.0)], wood=WEIGHTLESS, cases=("at rest",), mu_bark=(0.3, 0.3, 0.5))
        assert (found.rope_slip > 0) is runs


@pytest.mark.parametrize("between", [0.0, 0.5, 1.0, 2.0, 2.6])
@pytest.mark.parametrize("mu", [0.0, 0.15, 0.5])
def test_rope_runs_agree_with_the_parallelogram_of_forces(between, mu):
    """The force of both legs, one eased by friction, is the handbook's resultant; a strung rope's tension and the fall the handbook's too."""
    assert legs(between, mu) == pytest.approx(resultant(1000.0, 1000.0 * np.exp(-mu * (pi - between)), between), rel=1e-9)


def test_ropes_agree_with_the_handbook():
    """Strung tension, rope modulus and fall factor of the product are the handbook's at other figures than the printed ones."""
    for below in (0.1, 0.4, 1.0):
        assert hanging_between([[-5, 0, 0], [5, 0, 0]], [0, 0, -5 * np.tan(below)], 1000.0).tension == pytest.approx(strung_tension(1000.0, below))
    k = modulus_from_impact(5000.0, 80 * G, 0.2)
    assert arrest_force(80 * G, k, 0.4, 2.0) == pytest.approx(5000.0)
    assert stretch(700.0, 3.0, modulus_from_stretch(700.0, 0.04)) == pytest.approx(0.12)
    assert fall_of(3.0, 8.0) == pytest.approx(fall_factor(3.0, 8.0))


@pytest.mark.parametrize(("wagener", "printed"), [(0.22, 0.13), (0.09, 0.04)])
def test_decay_table_rows(wagener, printed):
    """A section whose third power of d/D the table prints loses, by the product's fourth power, what the table prints beside it (Arboric. Urban
    For. table 6705)."""
    assert 1 - hollow_keep(1 - wagener ** (1 / 3)) == pytest.approx(printed, abs=0.006)


def beam(length, diameters, load, at=None, moe=9e9):
    """A level cantilever of equal pieces under a downward load at the tip (or at node `at`)."""
    n = len(diameters)
    xyz = np.column_stack([np.linspace(0, length, n + 1), np.zeros(n + 1), np.zeros(n + 1)])
    force = np.zeros((n + 1, 3))
    force[-1 if at is None else at, 2] = -load
    radius = np.concatenate([[diameters[0]], diameters]) / 2
    parent = np.arange(-1, n, dtype=np.int32)
    return displacements(xyz, parent, radius, moe, moe / 16, force, np.zeros((n + 1, 3)))


def test_uniform_cantilever():
    """Tip deflection P L^3 / (3 E I) and slope P L^2 / (2 E I), computed: 29.109 mm and 21.832 mrad."""
    u, turn = beam(2.0, np.full(4, 0.12), 1000.0)
    assert -u[-1, 2] == pytest.approx(0.029109272, rel=1e-6)
    assert turn[-1, 1] == pytest.approx(0.021831954, rel=1e-6)


def test_load_inside_the_tip():
    """Tip deflection P a^2 (3 L - a) / (6 E I) for a load at 1.2 m of 2 m, computed: 12.575 mm."""
    u, _ = beam(2.0, np.full(5, 0.12), 1000.0, at=3)
    assert -u[-1, 2] == pytest.approx(0.012575205, rel=1e-6)


def test_own_weight_of_a_cantilever():
    """q L^4 / (8 E I) with many short pieces, computed: 2.1793 mm."""
    n = 400
    xyz = np.column_stack([np.linspace(0, 2, n + 1), np.zeros(n + 1), np.zeros(n + 1)])
    piece = 900 * pi * 0.06**2 * 2 / n * G
    force = np.zeros((n + 1, 3))
    force[1:, 2] -= piece / 2
    force[:-1, 2] -= piece / 2
    u, _ = displacements(xyz, np.arange(-1, n, dtype=np.int32), np.full(n + 1, 0.06), 9e9, 9e9 / 16, force, np.zeros((n + 1, 3)))
    assert -u[-1, 2] == pytest.approx(0.0021792556, rel=1e-4)


def test_tapered_cantilever():
    """P L^3 / (3 E I0) (d0 / d1) for a linear taper, computed: 58.219 mm."""
    n = 400
    middle = np.interp((np.arange(n) + 0.5) / n, [0, 1], [0.12, 0.06])
    u, _ = beam(2.0, middle, 1000.0)
    assert -u[-1, 2] == pytest.approx(0.058218543, rel=1e-4)
