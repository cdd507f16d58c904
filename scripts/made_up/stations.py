"""Where does the scanner stand, and which way do its beams go? Tripods, a walked path, a drone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


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
    """

    kind: str
    path: Floats
    window: tuple[float, float, float, float]
    step: float
    line_step: float = 0.0

    @property
    def shape(self) -> tuple[int, int]:
        """Rows (time) and columns (within one mirror turn) of the beam grid."""
        a0, a1, e0, e1 = self.window
        if self.kind == "tripod":
            return max(2, int((a1 - a0) / self.step)), max(2, int((e1 - e0) / self.step))
        return max(2, int(self._length()[-1] / self.line_step)), max(2, int((a1 - a0) / self.step))

    def with_step(self, step: float) -> Station:
        """The same scan, finer or coarser; the profiles of a moving scanner follow."""
        return Station(self.kind, self.path, self.window, step, self.line_step * step / self.step)

    def beams(self, first: int, last: int) -> tuple[Floats, Floats, Floats]:
        """Origins (m, 3), unit directions (m, 3) and time 0..1 (m,) of rows first..last-1."""
        rows, cols = self.shape
        i = np.repeat(np.arange(first, last), cols)
        j = np.tile(np.arange(cols), last - first)
        a0, _, e0, _ = self.window
        time = i / rows
        if self.kind == "tripod":
            az, el = a0 + i * self.step, e0 + j * self.step
            direction = np.stack([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)], -1)
            return np.broadcast_to(self.path[0], direction.shape), direction, time
        along = self._length()
        s = i * self.line_step
        origin = np.stack([np.interp(s, along, self.path[:, k]) for k in range(3)], -1)
        ahead = np.stack([np.interp(s + 0.2, along, self.path[:, k]) for k in range(3)], -1) - np.stack([np.interp(s - 0.2, along, self.path[:, k]) for k in range(3)], -1)
        ahead[:, 2] = 0
        ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)
        right = np.stack([ahead[:, 1], -ahead[:, 0], np.zeros(len(ahead))], -1)
        a = a0 + j * self.step
        up = np.array([0.0, 0.0, 1.0])
        if self.kind == "drone":
            pitch = np.radians(np.where((i // 1) % 2 == 0, 0.0, 0.0))
            down = -up + np.tan(pitch)[:, None] * ahead
        else:
            # the spinning head of a walked scanner is tilted 35 degrees forward, so that profiles cross
            down = -(np.cos(0.6) * up + np.sin(0.6) * ahead)
        direction = np.cos(a)[:, None] * down + np.sin(a)[:, None] * right
        return origin, direction / np.linalg.norm(direction, axis=1, keepdims=True), time

    def _length(self) -> Floats:
        return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(self.path, axis=0), axis=1))])


def tripod(place: Floats, low: Floats, high: Floats, step: float = 0.0008, margin: float = 0.06) -> Station:
    """A tripod at `place` (3,) whose window just covers the box from `low` to `high`."""
    p = np.asarray(place, float)
    x, y = np.meshgrid([low[0], high[0]], [low[1], high[1]])
    dx, dy = x.ravel() - p[0], y.ravel() - p[1]
    middle = np.arctan2((low[1] + high[1]) / 2 - p[1], (low[0] + high[0]) / 2 - p[0])
    inside = low[0] < p[0] < high[0] and low[1] < p[1] < high[1]
    off = np.angle(np.exp(1j * (np.arctan2(dy, dx) - middle)))
    a0, a1 = (middle - np.pi, middle + np.pi) if inside else (middle + off.min() - margin, middle + off.max() + margin)
    near = 3.0 if inside else max(np.min(np.hypot(dx, dy)) - 0.5 * np.hypot(*(high - low)[:2]) * 0, 2.0)
    far = np.hypot(low[0] / 2 + high[0] / 2 - p[0], low[1] / 2 + high[1] / 2 - p[1])
    e0 = max(np.arctan2(low[2] - p[2], min(near, far)) - margin, np.radians(-55))
    e1 = min(np.arctan2(high[2] - p[2], near if not inside else 0.5) + margin, np.radians(88))
    return Station("tripod", p[None], (a0, a1, e0, e1), step)


def walk(centre: Floats, radius: float, height: float, low: float = 0.0, turns: float = 1.0, step: float = 0.006, line_step: float = 0.02, start: float = 0.0) -> Station:
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
