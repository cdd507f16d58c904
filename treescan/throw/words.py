"""The plain words of a throw: compass, places, steps to follow."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def compass(azimuth: float) -> str:
    """Eight-point compass name of an azimuth [rad], clockwise from north."""
    return COMPASS[round(float(azimuth) / (np.pi / 4)) % 8]


def where_to_stand(stand: ArrayLike, stem: ArrayLike) -> str:
    """Such as "6 m NE of the stem"."""
    d = np.asarray(stand, float)[:2] - np.asarray(stem, float)[:2]
    return f"{np.hypot(*d):.0f} m {compass(float(np.arctan2(d[0], d[1])))} of the stem"


def listed(names: tuple[str, ...] | list[str]) -> str:
    """a, b and c."""
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


IN_THE_UNION = 0.1
"""A line this near the union's axis lies in the union. [m]"""

NAMED = 6
"""Limbs named in one sentence; a longer list only says how many more there are."""


def listed_short(names: tuple[str, ...] | list[str]) -> str:
    """Each name once, in order; after the first few: "and 12 more"."""
    each = list(dict.fromkeys(names))
    if len(each) <= NAMED:
        return listed(each)
    return f"{', '.join(each[:NAMED])} and {len(each) - NAMED} more"


LEAST_OFF = (np.radians(0.3), np.radians(0.3), 0.01)
"""Smaller mean errors to the side [rad], up [rad] and of the speed [share] are not worth aiming off for."""


def aiming_off(bias: tuple[float, float, float]) -> str:
    """How a person of this mean error (right [rad], up [rad], too fast [share]) aims off; empty where it is small."""
    went, aim = [], []
    for error, least, plus, minus, right, wrong in zip(
        bias, LEAST_OFF, ("to the right", "too high", "too fast"), ("to the left", "too low", "too slow"), ("left", "lower", "softer"),
        ("right", "higher", "harder"), strict=True,
    ):  # fmt: skip
        if abs(error) < least:
            continue
        much = f"{abs(np.degrees(error)):.1f} deg" if least != LEAST_OFF[2] else f"{100 * abs(error):.0f} %"
        went.append(f"{much} {plus if error > 0 else minus}")
        aim.append(f"{much} {right if error > 0 else wrong}")
    if not went:
        return ""
    return f"By your own record your throws go {listed(went)}: aim {listed(aim)} than said, so that the bag goes where it should."


def throw_steps(
    *,
    place: str,
    method: str,
    azimuth: float,
    elevation: float,
    speed: float,
    bias: tuple[float, float, float],
    apex: float,
    out: float | None,
    union: str,
    height: float,
    isolation_class: int,
    near: list[str],
    far: list[str],
    lodged: bool,
    walk_round: bool,
    over_crown: bool,
    strikes: str | None,
    back_at_thrower: float | None,
    slides: bool,
    rest_distance: float,
) -> tuple[str, ...]:
    """What a person does, in order.

    Parameters
    ----------
    bias : tuple of float       How far this person's throws go right [rad], up [rad] and too fast [share] on average, 0 where unknown.
    apex, out : float           Top of the arc above the feet, and how far from the thrower the bag lands, None where it does not. [m]
    near, far : list of str     Limbs to get the line off on the thrower's side and beyond, in the order they are met.
    lodged : bool               The bag does not reach the ground by itself.
    back_at_thrower : float     How far from the thrower the bag comes down, where that is near; else None. [m]
    strikes : str               Limb the bag strikes beyond the wanted one before it drops, None where it flies free.
    over_crown : bool           The flight passes over everything in its plane: over the whole crown, to be dropped back.
    """
    deg = np.degrees
    steps = [
        "Clear the arc of people; look for wires, windows and roads under it.",
        f"Stand {place}. Throw with {method} towards {compass(azimuth)} ({deg(azimuth) % 360:.0f} deg from north), "
        f"{deg(elevation):.0f} deg up, about {speed:.0f} m/s: the bag should pass over {union} at {height:.1f} m; top of the arc about {apex:.0f} m up"
        + (f", down again about {out:.0f} m from you." if out is not None and back_at_thrower is None else "."),
    ]
    aim_off = aiming_off(bias)
    if aim_off:
        steps.append(aim_off)
    if back_at_thrower is not None:
        steps.append(f"The bag comes down about {back_at_thrower:.0f} m from you: helmet on, eyes on the bag, and step back as soon as it is away.")
    if walk_round:
        steps.append("Carry your end round the foot of the stem so that both legs hang on the same side of it.")
    if strikes is not None:
        steps.append(f"On the way the bag strikes {strikes} and drops there; how it rebounds is not worked out, so watch where it falls.")
    if over_crown and far:
        steps.append("The shot goes over the whole crown and comes down beyond it; let the bag run to the ground there before anything is pulled.")
    if isolation_class == 2:
        if near and (far or lodged):
            steps.append("This is two-line working, from both sides: have a second bag ready for your own end.")
        if far or lodged:
            over = f"over {listed_short(far[::-1])} " if far else ""
            steps.append(f"Pull the bag back up {over}until it hangs just beyond the limb of {union}, then let it drop to the ground.")
        if near:
            steps.append(
                f"Tie the bag to your end. From the far side pull it up over {listed_short(near)} until it hangs on the near side of the limb of {union}, then let it drop."
            )
    elif isolation_class == 3:
        others = listed_short([*near, *far])
        steps.append(f"The line stays over {others or 'other limbs'} as well: use it with a basal anchor only.")
        steps.append("Let the bag run down; shake the line if it stops.")
    else:
        steps.append("Let the bag run down; shake the line if it stops.")
    if slides:
        steps.append(f"Pull gently both ways: the limb is steep enough for the line to slide into {union}.")
    elif rest_distance < IN_THE_UNION:
        steps.append(f"The line lies in {union} as it falls.")
    else:
        steps.append(f"The limb is too flat for the line to slide: it stays about {rest_distance:.1f} m out from {union}.")
    steps.append("Look from both sides that the line bears on the wanted limb alone before a rope is pulled up." if isolation_class < 3
                 else "Look from both sides which limbs the line bears on before a rope is pulled up.")
    return tuple(steps)
