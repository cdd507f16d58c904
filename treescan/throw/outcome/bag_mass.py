"""How light may the bag be that still runs down by itself?"""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def min_bag_mass(line: float, tail: float, friction: float, wrap: float) -> float:
    """Lightest bag that starts to run down by itself: m = l H exp(mu beta). [kg]

    Parameters
    ----------
    line : float        l, mass of the line a metre. [kg/m]
    tail : float        H, height of the tail it must lift; nothing where negative. [m]
    friction : float    mu, of the line on bark.
    wrap : float        beta, turning over all supports. [rad]

    References
    ----------
    Euler-Eytelwein rope friction.
    """
    return line * max(tail, 0.0) * np.exp(friction * wrap)


@njit(cache=True, nogil=True)
def wrap_angle(extent: float, height: float) -> float:
    """By how much a slack line turns over everything it lies on while the bag runs down, err on the high side. [rad]

    Parameters
    ----------
    extent : float      Distance along the plane from the nearest to the farthest thing the line lies on, 0 for one limb. [m]
    height : float      Of the highest of them above the hand. [m]

    Notes
    -----
    Both legs hang plumb: half a round. Between its supports the line sags under its own weight onto what lies a little lower. At z above
    the hand its tension is at least that of a tail of length z, l g z, so over a length L it bends by at most L / z, and what it bends
    back it turns more at the supports. z is taken as half the height, and the sum as half a round at most.
    """
    return np.pi + min(2.0 * extent / height if height > 0.0 else 0.0, np.pi)
