"""Which figures make each form of tree?"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Form:
    """How one form of tree grows; pairs are the low and high end of an even draw.

    Attributes
    ----------
    height, dbh, clear : pair      Length of the stem, breast height diameter, height of the first limb. [m]
    stems : int                    Stems out of the ground.
    stem_gap : pair                Distance of each stem from the middle of a clump. [m]
    lean : pair                    Of the stem from upright. [deg]
    upright : float                How fast a stem turns up. [1/m]
    angle : pair                   Between limb and parent. [deg]
    aspect : pair                  Mean and spread of limb over parent diameter.
    fork : float                   Share of nodes that divide into near equals.
    gap : float                    Distance of nodes on a limb of 5 cm radius. [m]
    stem_gap_nodes : pair          Distance of nodes on the stem. [m]
    whorl : pair                   Limbs at one node of the stem.
    pull : pair                    Turn upward at the base and the tip of limbs (negative: they hang). [1/m]
    wander : float                 Crookedness. [1/m]
    reach : float                  Length of a limb of 5 cm radius. [m]
    taper : float                  Power of the radius along a limb.
    stem_taper : float             And of the stem.
    low_fork : pair or None        Height where a stem divides into near equals. [m]
    knuckles : bool                Pollarded: cut heads with a brush of shoots.
    grafts : int                   Limbs that grow into another limb.
    sinkers : int                  Low limbs that sink to the ground and rise again.
    needles : bool
    """

    height: tuple[float, float] = (11.0, 17.0)
    dbh: tuple[float, float] = (0.4, 0.8)
    clear: tuple[float, float] = (2.0, 3.5)
    stems: int = 1
    stem_gap: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 4.0)
    upright: float = 0.05
    angle: tuple[float, float] = (42.0, 75.0)
    aspect: tuple[float, float] = (0.48, 0.16)
    fork: float = 0.15
    gap: float = 0.48
    stem_gap_nodes: tuple[float, float] = (0.35, 0.9)
    whorl: tuple[int, int] = (1, 1)
    pull: tuple[float, float] = (0.10, 0.12)
    wander: float = 0.16
    reach: float = 4.6
    taper: float = 0.75
    stem_taper: float = 0.7
    low_fork: tuple[float, float] | None = None
    knuckles: bool = False
    grafts: int = 0
    sinkers: int = 0
    needles: bool = False


OPEN = Form()

FORMS: dict[str, Form] = {
    "open-grown": OPEN,
    "weeping": replace(
        OPEN, height=(9.0, 14.0), pull=(0.05, -0.75), reach=4.4, gap=0.42, angle=(40.0, 65.0), wander=0.12
    ),
    "fastigiate": replace(
        OPEN,
        height=(12.0, 18.0),
        dbh=(0.35, 0.6),
        clear=(1.4, 2.2),
        angle=(14.0, 30.0),
        pull=(0.32, 0.14),
        aspect=(0.42, 0.14),
        fork=0.1,
        reach=4.8,
        stem_gap_nodes=(0.3, 0.6),
        wander=0.1,
    ),
    "codominant": replace(
        OPEN,
        low_fork=(0.25, 1.0),
        dbh=(0.5, 0.8),
        clear=(2.5, 4.0),
        aspect=(0.42, 0.15),
        gap=0.6,
        stem_gap_nodes=(0.6, 1.2),
    ),
    "clump": replace(
        OPEN,
        stems=3,
        stem_gap=(0.28, 0.65),
        dbh=(0.2, 0.36),
        lean=(5.0, 13.0),
        height=(10.0, 14.0),
        aspect=(0.42, 0.14),
    ),
    "leaning": replace(OPEN, lean=(16.0, 28.0), upright=0.08, dbh=(0.35, 0.6)),
    "pollarded": replace(
        OPEN,
        height=(3.4, 5.0),
        dbh=(0.45, 0.75),
        clear=(1.9, 2.5),
        knuckles=True,
        stem_taper=0.25,
        fork=0.3,
        stem_gap_nodes=(0.3, 0.5),
        reach=2.2,
        aspect=(0.55, 0.12),
    ),
    "hedge-bound": replace(OPEN, dbh=(0.3, 0.5), height=(9.0, 13.0)),
    "whorled": replace(
        OPEN,
        height=(13.0, 20.0),
        dbh=(0.3, 0.5),
        clear=(1.2, 2.5),
        angle=(68.0, 92.0),
        aspect=(0.24, 0.06),
        fork=0.0,
        whorl=(3, 6),
        stem_gap_nodes=(0.45, 0.75),
        pull=(0.02, 0.05),
        wander=0.05,
        reach=3.6,
        stem_taper=0.95,
        gap=0.35,
        needles=True,
    ),
    "grafted": replace(OPEN, grafts=2, sinkers=1, clear=(1.6, 2.4), dbh=(0.5, 0.8)),
}
