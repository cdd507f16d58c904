"""Transverse tension in a curved limb, bending with shear and torsion, and what unions keep: the published
forms.

Curved limb. A moment that straightens a bend of radius R pulls the fibres apart across the grain, most at the
neutral axis. With sigma = M y / I the force of the fibres beyond y, turned by the curve, is carried across
the width there:
    sigma_t(y) = (1 / (R b(y))) integral_y^c sigma b dA,   rectangle: 1.5 M / (R A), round: 4 M / (3 R A)
at y = 0, an ellipse the same 4 / 3. So 1.5 M / (R A) is 12.5 % on the safe side for round wood. The
rectangular form is that of glued beams (EN 1995-1-1 6.4.3 via k_p; its textbook derivation read in
Design of timber structures vol. 1, p. 97); branches: Ennos & van Casteren 2010, Proc. R. Soc. B,
10.1098/rspb.2009.2093 (abstract read: transverse stresses rise to a maximum at the neutral axis, with
moment and curvature; curved limbs being straightened split down the middle).
For thick bends (R below about two diameters) `transverse_tension_exact` uses Winkler's curved beam.

Strength across the grain, green, Record 1914, The Mechanical Properties of Wood, Table III (Forest Service
Cir. 213; read at s-twc.com), `GREEN_TENSION_ACROSS`.

Interaction of bending stress s and shear stress t (torsion and shear), strengths f and fv:
    ellipse          (s / f)^2 + (t / fv)^2 <= 1   (Norris' form with no stress across the grain; Hill)
    straight line    s / f + t / fv <= 1           (lower bound)
    von Mises        sqrt(s^2 + 3 t^2) <= f        (isotropic: right for fv = f / 1.73 only)
Green wood's fv is f / 6 to f / 8, so von Mises is far too bold for wood: it stands here to show that.
Branches of ash broke under bending and torsion together along such a curve from 75.5 MPa (pure bending) to
11.2 MPa (pure torsion), AUF 40(1):36 (2014; abstract read at auf.isa-arbor.com/content/40/1/36, fit
"excellent"). Shear with torsion: linear t_torsion / fv + (t_shear / fv)^2 <= 1 (German annex to EN 1995-1-1,
memory).
"""

from __future__ import annotations

import numpy as np

PSI = 6894.757

# (split on a radial face, split on a tangential face), Pa
GREEN_TENSION_ACROSS = {
    name: (a * PSI, b * PSI)
    for name, a, b in (
        ("ash, white", 645, 671),
        ("basswood", 226, 303),
        ("beech", 633, 969),
        ("birch, yellow", 446, 526),
        ("elm, slippery", 765, 832),
        ("hackberry", 661, 786),
        ("locust, honey", 1133, 1445),
        ("maple, sugar", 610, 864),
        ("oak, post", 714, 924),
        ("oak, red", 639, 874),
        ("oak, swamp white", 757, 909),
        ("oak, white", 622, 749),
        ("oak, yellow", 728, 929),
        ("sycamore", 540, 781),
        ("tupelo", 472, 796),
        ("arborvitae", 241, 235),
        ("cypress, bald", 242, 251),
        ("fir, white", 213, 304),
        ("hemlock", 271, 323),
        ("pine, longleaf", 240, 298),
        ("pine, red", 179, 205),
        ("pine, sugar", 239, 304),
        ("pine, western yellow", 230, 252),
        ("pine, white", 225, 285),
        ("tamarack", 236, 274),
    )
}

# what a union keeps, by what was measured; share of the comparison named (None: no number read)
UNIONS = (
    # (condition, aspect from, to, direction of the moment, share kept, of what, source, standing)
    (
        "ordinary branch",
        0.0,
        0.5,
        "any",
        (0.8, 1.0),
        "branch section",
        "range of branch_union_strength.md section 1; advice a <= 0.5, Tree Rescue Manual 2022",
        "choice",
    ),
    (
        "codominant",
        0.83,
        1.0,
        "opening",
        (0.50, 0.55),
        "stem failures of the same trees",
        "Kane & Clouston 2008, AUF 34(2):101: forks 45 % below stems (abstract)",
        "memory",
    ),
    (
        "codominant, equal stems",
        0.95,
        1.0,
        "opening",
        (0.26, 0.26),
        "branch of low aspect ratio",
        "Gilman 2003 J. Arboric. 29(5):291, quoted second hand, not opened",
        "memory",
    ),
    (
        "included bark",
        0.7,
        1.0,
        "opening",
        (0.76, 0.76),
        "normal forks",
        "Slater & Ennos 2015, AUF 41(4):194 (hazel, n 241)",
        "read",
    ),
    (
        "included bark, small stems",
        0.7,
        1.0,
        "opening",
        (0.40, 0.85),
        "without included bark",
        "Smiley 2003, J. Arboric. 29(2):104, D 2.5 to 6 in",
        "derived",
    ),
    (
        "fork, small specimens",
        0.7,
        1.0,
        "sideways over up-down",
        (309 / 368, 309 / 368),
        "up-down force",
        "University of Florida tree lab web note 2026, n 43, difference not significant",
        "read",
    ),
    ("any", 0.0, 1.0, "closing", None, None, "no published number found", "none"),
)


def transverse_tension(moment, curve_radius, area, coefficient=1.5):
    """coefficient M / (R A), Pa: 1.5 rectangle (and the safe form), 4 / 3 round or oval."""
    return coefficient * np.abs(moment) / (curve_radius * area)


def transverse_by_equilibrium(moment, curve_radius, diameter, at=0.0, n=20001):
    """The same for a round section by adding up the fibres beyond y = `at` (share of the radius); straight-
    beam stresses.
    """
    r = diameter / 2
    y = np.linspace(at * r, r, n)
    width = 2 * np.sqrt(np.maximum(r**2 - y**2, 0))
    inertia = np.pi * diameter**4 / 64
    force = np.trapezoid(moment * y / inertia * width, y)
    return force / (curve_radius * width[0])


def transverse_tension_exact(moment, curve_radius, diameter, n=4001):
    """Highest stress across the grain in a curved round bar (Winkler): sigma(r) from N = 0, M; R b s =
    integral inside.

    sigma = M (r_n - r) / (A e r), r from the centre of curvature, r_n = A / integral(dA / r), e = R - r_n.
    """
    c = diameter / 2
    rr = np.linspace(curve_radius - c, curve_radius + c, n)
    width = 2 * np.sqrt(np.maximum(c**2 - (rr - curve_radius) ** 2, 0))
    area = np.trapezoid(width, rr)
    rn = area / np.trapezoid(width / rr, rr)
    sigma = moment * (rn - rr) / (area * (curve_radius - rn) * rr)
    inner = np.concatenate([[0], np.cumsum((sigma * width)[1:] + (sigma * width)[:-1]) / 2 * np.diff(rr)[0]])
    inside = width > 0.05 * diameter
    return float(np.abs(inner[inside] / (width[inside] * rr[inside])).max())


def straightens(axis_before, axis_after, moment):
    """True where a moment (3,) (that which the outer part puts on the inner) turns the outer part so as to
    unbend the limb.

    axis_before, axis_after : unit vectors along the limb towards its tip. The bend turns about axis_before x
    axis_after; a moment the other way round straightens it.
    """
    bend = np.cross(axis_before, axis_after)
    return bool(bend @ np.asarray(moment, float) < 0)


def round_section(diameter, moment, shear, torsion):
    """Highest bending, shear (4 V / 3 A) and torsion (16 T / pi d^3) stress, Pa."""
    area = np.pi * diameter**2 / 4
    return 32 * moment / np.pi / diameter**3, 4 * shear / 3 / area, 16 * torsion / np.pi / diameter**3


def utilisation(bending, shear, torsion, f, fv, form="ellipse"):
    """How much of the strength is used (1 = breaks): the factor by which all stresses together may grow is
    its inverse.

    Bending and torsion meet at the outer fibre, torsion and shear at the neutral axis: the worse of the two
    points governs.
    """
    outer, middle = torsion, torsion + shear
    if form == "ellipse":
        return float(max(np.hypot(bending / f, outer / fv), middle / fv))
    if form == "line":
        return float(max(bending / f + outer / fv, middle / fv))
    if form == "von Mises":
        return float(max(np.sqrt(bending**2 + 3 * outer**2) / f, np.sqrt(3) * middle / f))
    raise ValueError(form)
