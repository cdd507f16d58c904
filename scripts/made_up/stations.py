"""Where does the scanner stand, and which way do its beams go? Tripods, a walked path, a drone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HEAD_TILT = 0.6
"""A walked scanner's spinning head leans forward, so that its profiles cross [rad]."""


@dataclass(frozen=True)
class Station:
    """One scan: beams on a grid of rows and columns, neighbours on the grid are neighbours in space.

    Attributes
    ----------
    kind : str              "tripod", "walk" or "drone".
    path : (p, 3) float     Scanner positions: one for a tripod, a polyline otherwise. [m]
    window : (float,) * 4   Tripod: azimuth from, to (counter-clockwise from +x), elevation from, to. Otherwise: angle across the path, from, to, 0, 0. [rad]
    step : float            Angle between beams. [rad]
    line_step : float       Distance along the path between profiles. [m]
    number : int            Scans with the same number share their registration error; 0 = its place in the list, from 1.
    coarse : bool           A scan of the surroundings, whose step stays as it is.
    """

    kind: str
    path: Floats
    window: tuple[float, float, float, float]
    step: float
    line_step: float = 0.0
    number: int = 0
    coarse: bool = False

    @property
    def shape(self) -> tuple[int, int]:
        """Rows (time) and columns (within one mirror turn) of the beam grid."""
        a0, a1, e0, e1 = self.window
        if self.kind == "tripod":
            return max(2, int((a1 - a0) / self.step)), max(2, int((e1 - e0) / self.step))
        return max(2, int(self._length()[-1] / self.line_step)), max(2, int((a1 - a0) / self.step))

    def with_step(self, step: float) -> Station:
        """The same scan, finer or coarser; the profiles of a moving scanner follow."""
        return replace(self, step=step, line_step=self.line_step * step / self.step)

    def beams(self, first: int, last: int, pick: NDArray[np.int64] | None = None) -> tuple[Floats, Floats, Floats]:
        """Origins (m, 3), unit directions (m, 3) and time 0..1 (m,) of rows first..last-1, or of the beams `pick` of them."""
        rows, cols = self.shape
        pick = np.arange((last - first) * cols) if pick is None else pick
        i, j = first + pick // cols, pick % cols
        time = i / rows
        if self.kind == "tripod":
            return np.broadcast_to(self.path[0], (len(pick), 3)), self._dome(i - first, j, first, last, cols), time
        at, ahead = self._along(np.arange(first, last) * self.line_step)
        right = np.stack([ahead[:, 1], -ahead[:, 0], np.zeros(len(ahead))], -1)
        down = np.tile([0.0, 0.0, -1.0], (len(ahead), 1))
        if self.kind == "walk":
            down = np.cos(HEAD_TILT) * down - np.sin(HEAD_TILT) * ahead
        a = self.window[0] + j * self.step
        direction = np.cos(a)[:, None] * down[i - first] + np.sin(a)[:, None] * right[i - first]
        return at[i - first], direction, time

    def _dome(self, i: NDArray[np.int64], j: NDArray[np.int64], first: int, last: int, cols: int) -> Floats:
        """Directions of a tripod's beams: column by column of a turning mirror."""
        az = self.window[0] + np.arange(first, last) * self.step
        el = self.window[2] + np.arange(cols) * self.step
        level = np.cos(el)[j]
        return np.stack([np.cos(az)[i] * level, np.sin(az)[i] * level, np.sin(el)[j]], -1)

    def _along(self, s: Floats) -> tuple[Floats, Floats]:
        """Places on the path and level headings at distances along it."""
        length = self._length()

        def at(d: Floats) -> Floats:
            return np.stack([np.interp(d, length, self.path[:, k]) for k in range(3)], -1)

        ahead = (at(s + 0.2) - at(s - 0.2)) * [1.0, 1.0, 0.0]
        return at(s), ahead / np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)

    def _length(self) -> Floats:
        return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(self.path, axis=0), axis=1))])


def tripod(place: Floats, low: Floats, high: Floats, step: float = 0.0008, margin: float = 0.06, number: int = 0) -> Station:
    """A tripod at `place` (3,) whose window covers the box from `low` to `high`, and downwards the ground from 4 m before its middle."""
    p = np.asarray(place, float)
    x, y = np.meshgrid([low[0], high[0]], [low[1], high[1]])
    dx, dy = x.ravel() - p[0], y.ravel() - p[1]
    middle = np.arctan2((low[1] + high[1]) / 2 - p[1], (low[0] + high[0]) / 2 - p[0])
    inside = low[0] < p[0] < high[0] and low[1] < p[1] < high[1]
    off = np.angle(np.exp(1j * (np.arctan2(dy, dx) - middle)))
    a0, a1 = (middle - np.pi, middle + np.pi) if inside else (middle + off.min() - margin, middle + off.max() + margin)
    far = np.hypot((low[0] + high[0]) / 2 - p[0], (low[1] + high[1]) / 2 - p[1])
    near = max(np.hypot(dx, dy).min(), 2.0)
    e0 = max(np.arctan2(low[2] - p[2], max(far - 4.0, 2.0)) - margin, np.radians(-50))
    e1 = min(np.arctan2(high[2] - p[2], 0.5 if inside else min(near, 0.6 * far)) + margin, np.radians(88))
    return Station("tripod", p[None], (a0, a1, e0, e1), step, number=number)


def surround(place: Floats, step: float = 0.0025, number: int = 0) -> Station:
    """A coarse scan of the whole surroundings from a tripod, from 50 degrees below to 80 above the horizon."""
    return Station("tripod", np.asarray(place, float)[None], (-np.pi, np.pi, np.radians(-50), np.radians(80)), step, number=number, coarse=True)


def walk(
    centre: Floats,
    radius: float,
    height: float,
    low: float = 0.0,
    turns: float = 1.0,
    step: float = 0.006,
    line_step: float = 0.02,
    start: float = 0.0,
) -> Station:
    """A walk round the tree at eye height with a spinning head."""
    a = start + np.linspace(0, 2 * np.pi * turns, 200)
    r = radius * (1 + 0.12 * np.sin(3 * a))
    path = np.stack([centre[0] + r * np.cos(a), centre[1] + r * np.sin(a), np.full_like(a, low + height)], -1)
    return Station("walk", path, (-np.pi, np.pi, 0.0, 0.0), step, line_step)


def drone(centre: Floats, half: float, height: float, lines: int = 3, step: float = 0.0009, line_step: float = 0.06) -> list[Station]:
    """Parallel and crossing flight lines `height` above the datum."""
    out = []
    for k in range(lines):
        off = (k - (lines - 1) / 2) * 2 * half / max(lines, 1)
        for turn in (False, True):
            a, b = np.array([-half, off]), np.array([half, off])
            if turn:
                a, b = a[::-1], b[::-1]
            path = np.stack([np.append(a + centre[:2], height), np.append(b + centre[:2], height)])
            wide = np.arctan2(half, height - centre[2])
            out.append(Station("drone", path, (-wide * 1.2, wide * 1.2, 0.0, 0.0), step, line_step))
    return out
