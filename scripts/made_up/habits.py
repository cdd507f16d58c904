"""How does each kind of tree grow? Rules for the stem and for its limbs, order by order.

Lengths follow elastic similarity, L = k d^p with p between 2/3 and 3/4 (McMahon and Kronauer 1976, J. Theor. Biol. 59:443, from memory);
at a union r^D before = sum of r^D after, D about 2 (Leonardo's rule). The other numbers are choices that give trees of the right look.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace


@dataclass(frozen=True)
class LimbRules:
    """How the limbs of one order grow.

    Attributes
    ----------
    reach, power : float        Length = reach * d^power, d the diameter at the limb's foot. [m^(1 - power)], [-]
    laterals : (int, int)       Least and greatest number of laterals.
    whorl : int                 Laterals at one node (1 = alternate).
    bare : float                Share of the length, from the foot, that carries no laterals.
    unequal : float             Sd of the logarithm of the laterals' shares: 0 = all alike.
    angle : (float, float)      Angle between lateral and this limb, mean and sd. [deg]
    flat : float                0 = laterals all round, 1 = in the horizontal plane through the limb.
    lift : (float, float)       Turn towards the vertical per metre at foot and tip; negative = drooping. [1/m]
    outward : float             Turn away from the tree's middle per metre. [1/m]
    wander : float              Random curvature, sd. [1/m]
    kink : float                Turn away from a lateral that takes all the wood; in proportion for less. [rad]
    fork : (float, ...)         Chances of ending in 0, 2 or 3 forks while the limb is thick enough.
    end : float                 Radius at the end over radius at the foot where it ends in a fork.
    end_at : float              Share of the length where the fork sits.
    fork_angle : (float, float) Opening of a fork from the limb's direction, mean and sd. [deg]
    taper : float               Share of r^D lost along the limb, not at unions.
    """

    reach: float = 24.0
    power: float = 0.75
    laterals: tuple[int, int] = (5, 9)
    whorl: int = 1
    bare: float = 0.22
    unequal: float = 0.7
    angle: tuple[float, float] = (52.0, 10.0)
    flat: float = 0.3
    lift: tuple[float, float] = (0.02, 0.10)
    outward: float = 0.02
    wander: float = 0.22
    kink: float = 0.9
    fork: tuple[float, ...] = (0.35, 0.55, 0.10)
    end: float = 0.55
    end_at: float = 0.62
    fork_angle: tuple[float, float] = (30.0, 7.0)
    taper: float = 0.15


@dataclass(frozen=True)
class Habit:
    """A way of growing: the stem, then rules per order (the last one serves all higher orders).

    Attributes
    ----------
    stem : LimbRules            Rules of the stem; its length is `stem_share` of the height.
    limbs : tuple of LimbRules  Orders 1, 2, 3 ...
    stem_share : float          Length of the stem's own axis over the tree's height.
    leaders : int               Stems that the stem ends in (0 = it runs through to the top).
    leader_angle : float        Their opening from the stem's direction. [deg]
    leader_rules : LimbRules    How they grow.
    leader_evenness : float     0 = one takes most, 1 = all alike.
    lean : float                Of the stem at its foot. [deg]
    leonardo : (float, float)   Exponent D, mean and sd between trees.
    scatter : float             Sd of a limb's radius about the rule.
    stubs : float               Dead self-pruned stubs per metre of bare stem and leader.
    dead : float                Share of limbs thinner than 8 cm that are dead (leafless, broken short).
    flare : float               Butt swelling at the ground over the stem's radius.
    collar : float              Swelling of a limb at its foot.
    head : float                For a pollard: share of the stem's r^D that its poles make up (1 = ordinary tree).
    """

    stem: LimbRules
    limbs: tuple[LimbRules, ...]
    stem_share: float = 0.28
    leaders: int = 0
    leader_angle: float = 30.0
    leader_rules: LimbRules = field(default_factory=LimbRules)
    leader_evenness: float = 0.7
    lean: float = 1.5
    leonardo: tuple[float, float] = (2.0, 0.08)
    scatter: float = 0.05
    stubs: float = 0.5
    dead: float = 0.04
    flare: float = 0.28
    collar: float = 0.12
    head: float = 1.0


_TWIG = LimbRules(reach=22.0, laterals=(3, 6), bare=0.25, angle=(48.0, 12.0), flat=0.2, lift=(0.05, 0.25), wander=0.9, fork=(1.0,), unequal=0.5)
_BRANCH = LimbRules(reach=23.0, laterals=(5, 8), bare=0.22, angle=(50.0, 11.0), lift=(0.05, 0.2), wander=0.45, fork=(0.6, 0.4), unequal=0.7)
_LIMB = LimbRules(laterals=(6, 9), angle=(52.0, 9.0), lift=(0.015, 0.06), wander=0.2, flat=0.45)
_LEADER = LimbRules(
    reach=25.0,
    laterals=(5, 8),
    bare=0.2,
    angle=(56.0, 9.0),
    lift=(0.05, 0.03),
    outward=0.015,
    wander=0.10,
    fork=(0.2, 0.8),
    end=0.45,
    end_at=0.7,
    flat=0.0,
)

BROADLEAF = Habit(
    stem=LimbRules(
        laterals=(1, 3), bare=0.62, unequal=0.4, angle=(62.0, 8.0), flat=0.0, lift=(0.03, 0.03), outward=0.0, wander=0.05, kink=0.35, taper=0.10
    ),
    limbs=(_LIMB, _BRANCH, _BRANCH, _TWIG),
    stem_share=0.27,
    leaders=3,
    leader_angle=28.0,
    leader_rules=_LEADER,
)

CONIFER = Habit(
    stem=LimbRules(
        laterals=(110, 140),
        whorl=5,
        bare=0.18,
        unequal=0.35,
        angle=(78.0, 6.0),
        flat=0.0,
        lift=(0.05, 0.05),
        outward=0.0,
        wander=0.015,
        kink=0.0,
        fork=(1.0,),
        taper=0.2,
    ),
    limbs=(
        LimbRules(
            reach=36.0,
            power=0.8,
            laterals=(9, 14),
            whorl=2,
            bare=0.25,
            unequal=0.3,
            angle=(52.0, 6.0),
            flat=0.95,
            lift=(-0.06, 0.14),
            outward=0.0,
            wander=0.10,
            kink=0.05,
            fork=(1.0,),
            taper=0.25,
        ),
        LimbRules(
            reach=20.0,
            laterals=(4, 8),
            whorl=2,
            bare=0.2,
            unequal=0.3,
            angle=(48.0, 6.0),
            flat=0.9,
            lift=(-0.1, 0.1),
            wander=0.3,
            kink=0.05,
            fork=(1.0,),
            taper=0.3,
        ),
        LimbRules(reach=18.0, laterals=(2, 4), bare=0.3, angle=(45.0, 8.0), flat=0.8, lift=(0.0, 0.1), wander=0.5, fork=(1.0,)),
    ),
    stem_share=1.0,
    lean=0.8,
    stubs=3.0,
    dead=0.06,
    flare=0.22,
)

CODOMINANT = Habit(
    stem=LimbRules(laterals=(0, 1), bare=0.7, angle=(60.0, 8.0), flat=0.0, lift=(0.03, 0.03), wander=0.05, kink=0.3, taper=0.08),
    limbs=(_LIMB, _BRANCH, _BRANCH, _TWIG),
    stem_share=0.14,
    leaders=2,
    leader_angle=14.0,
    leader_evenness=0.9,
    leader_rules=LimbRules(
        reach=30.0,
        laterals=(9, 13),
        bare=0.25,
        angle=(52.0, 9.0),
        lift=(0.05, 0.04),
        outward=0.004,
        wander=0.08,
        kink=0.6,
        fork=(0.5, 0.5),
        end=0.35,
        end_at=0.75,
        flat=0.0,
    ),
)

LEANING = Habit(
    stem=LimbRules(
        laterals=(9, 13),
        bare=0.35,
        unequal=0.6,
        angle=(55.0, 9.0),
        flat=0.0,
        lift=(0.03, 0.08),
        outward=0.0,
        wander=0.06,
        kink=0.5,
        fork=(0.0, 1.0),
        end=0.4,
        taper=0.12,
    ),
    limbs=(_LIMB, _BRANCH, _BRANCH, _TWIG),
    stem_share=0.72,
    lean=20.0,
)

WEEPING = Habit(
    stem=LimbRules(
        laterals=(2, 4), bare=0.55, unequal=0.4, angle=(55.0, 8.0), flat=0.0, lift=(0.03, 0.03), outward=0.0, wander=0.08, kink=0.4, taper=0.1
    ),
    limbs=(
        LimbRules(laterals=(6, 9), angle=(50.0, 9.0), lift=(0.10, -0.10), outward=0.05, wander=0.2),
        LimbRules(reach=26.0, laterals=(7, 11), angle=(55.0, 10.0), lift=(0.0, -0.55), outward=0.06, wander=0.3, fork=(0.8, 0.2)),
        LimbRules(reach=34.0, laterals=(4, 7), angle=(45.0, 12.0), lift=(-0.6, -1.2), wander=0.3, fork=(1.0,), kink=0.2),
        LimbRules(reach=36.0, laterals=(2, 4), angle=(35.0, 10.0), lift=(-1.2, -1.8), wander=0.3, fork=(1.0,), kink=0.1),
    ),
    stem_share=0.3,
    leaders=3,
    leader_angle=32.0,
    leader_rules=LimbRules(
        reach=20.0, laterals=(5, 8), angle=(52.0, 9.0), lift=(0.06, -0.02), outward=0.04, wander=0.12, end=0.5, end_at=0.7, flat=0.0, fork=(0.2, 0.8)
    ),
)

POLLARD = Habit(
    stem=LimbRules(laterals=(0, 0), bare=0.9, lift=(0.03, 0.03), outward=0.0, wander=0.06, taper=0.05),
    limbs=(
        LimbRules(
            reach=30.0,
            power=0.7,
            laterals=(5, 9),
            bare=0.35,
            angle=(42.0, 9.0),
            flat=0.0,
            lift=(0.25, 0.08),
            outward=0.02,
            wander=0.08,
            kink=0.2,
            fork=(0.8, 0.2),
        ),
        _BRANCH,
        _TWIG,
    ),
    stem_share=0.3,
    leaders=10,
    leader_angle=42.0,
    leader_evenness=0.6,
    leader_rules=LimbRules(
        reach=36.0,
        power=0.7,
        laterals=(7, 11),
        bare=0.3,
        angle=(40.0, 8.0),
        flat=0.0,
        lift=(0.45, 0.1),
        outward=0.0,
        wander=0.06,
        kink=0.2,
        fork=(0.8, 0.2),
    ),
    head=0.35,
    stubs=1.2,
    flare=0.2,
)

THREE_STEMMED = replace(CODOMINANT, leaders=3, leader_angle=16.0)

VETERAN = replace(BROADLEAF, stubs=2.5, dead=0.4, leaders=2, leader_evenness=0.5, flare=0.45)

HABITS: dict[str, Habit] = {
    "broadleaf": BROADLEAF,
    "conifer": CONIFER,
    "codominant": CODOMINANT,
    "three-stemmed": THREE_STEMMED,
    "leaning": LEANING,
    "weeping": WEEPING,
    "pollard": POLLARD,
    "veteran": VETERAN,
}
"""Ready habits by name."""
