"""Closed forms and a finely stepped flight that the product's tables are compared with."""

from __future__ import annotations

import numpy as np

from treescan.throw.ballistics.flight import MAX_STEPS, Bag, drag_constant, fly_into
from treescan.throw.settings import ThrowSettings
from treescan.units import G


def fly(elevation: float, speed: float, bag: Bag, floor: float, step: float) -> np.ndarray:
    """One flight until it falls to `floor`, as rows (x, z, vx, vz, line paid out), a time step [s] apart."""
    out = np.empty((MAX_STEPS, 5))
    return out[: fly_into(out, elevation, speed, bag, floor, step)].copy()


def apex_with_line(speed: float, settings: ThrowSettings) -> float:
    """Height of a throw straight up that picks its line up from rest, no drag: (m / l) ((1 + 3 l v^2 / (2 g m))^(1/3) - 1). [m]"""
    m, line = settings.bag_mass, settings.line_density
    return float(m / line * (np.cbrt(1 + 3 * line * speed**2 / (2 * G * m)) - 1))


def terminal_speed(settings: ThrowSettings) -> float:
    """Fall speed at which drag carries the bag: sqrt(2 m g / (rho Cd A)). [m/s]"""
    return float(np.sqrt(settings.bag_mass * G / drag_constant(settings)))
