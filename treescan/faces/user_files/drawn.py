"""What the user drew in a GIS: site plan and work, from GeoJSON into local metres."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.faces.user_files.faults import raise_together
from treescan.faces.user_files.geojson import Feature, Part, read_features
from treescan.faces.user_files.wires_said import MOST_KILOVOLT
from treescan.planning.candidates.candidates import BASE_HEIGHT
from treescan.reason import Reason
from treescan.trees.beside import Conductor, Site, Terrain

Floats = NDArray[np.float64]
WIRES_SEEN = "wires-seen"
AREAS = {"no-stand": "no_stand", "building": "buildings", "road": "roads", "water": "water"}

HIGHEST = 120.0
"""Nothing drawn stands higher above ground: a little more than the tallest tree (project choice). [m]"""

BEYOND = 500.0
"""A feature of the site plan farther than this from the middle of the scan is taken for misplaced (project
choice). [m]"""

BARE_HIGHEST = 40.0
"""A bare z is read as height above ground up to this only: what hangs higher is told by "height_m" (project choice). [m]"""

SUNK = 10.0
"""A z that lies below ground by no more than this is taken for a mistake, never for a height above ground (project choice). [m]"""

AGREES = 2.0
"""z and height_m of one feature may differ by so much (project choice). [m]"""

NO_DATA = -9_998.0
"""A z as low as this stands for none, as GIS programs write it. [m]"""


def read_site(path: Path | str, frame: Frame, terrain: Terrain) -> tuple[Site, tuple[Reason, ...]]:
    """The site plan of a GeoJSON file, and how its coordinates and heights were read.

    Every feature needs a property "kind": "no-stand", "building", "road" or "water" (polygons, with holes), or
    "conductor" (a line with heights: z in its coordinates, or a property "height_m" above ground; voltage in
    "voltage_kv", unknown when missing or 0), or "anchor" (a point with a height, in a neighbouring tree), or
    "base" (a point a basal line is tied to; 1 m above ground where it has no height), or "wires-seen" (a polygon:
    what the wires are that the scan saw in it, by "voltage_kv", 0 where there is none). "name" labels any. z = 0
    everywhere counts as no height. BadInput tells every feature that cannot be meant, by number and name.
    """
    path = Path(path)
    features, how = read_features(path, frame)
    drawn = _Drawn(terrain)
    faults = []
    for feature in features:
        try:
            drawn.take(feature)
        except BadInput as fault:
            faults.append(BadInput(fault.what, file=str(path), remedy=fault.remedy))
    raise_together(faults, str(path))
    return drawn.site(), (how, *drawn.notes)


def read_drawn_work(
    path: Path, frame: Frame, terrain: Terrain
) -> tuple[list[tuple[Floats, str, str]], list[tuple[Floats, str, str]], tuple[Reason, ...]]:
    """Work points (xyz, label, kind) and work areas (ring xy, label, kind) of a GeoJSON file, and how its
    coordinates and heights were read.

    A point's height is its z, or a property "height_m" above ground; NaN when neither is given. "name" labels
    a feature, "kind" says what is done there.
    """
    features, how = read_features(path, frame)
    points, areas, faults, notes = [], [], [], [how]
    for feature in features:
        try:
            label, kind = feature.text("name", f"W{feature.number:02d}"), feature.text("kind", "work")
            for part in feature.parts:
                if part.form == "Point":
                    bare = _no_height(part.stated) and feature.real("height_m") is None
                    found = _Raised(part.xyz * [1, 1, np.nan]) if bare else _raised(feature, part, terrain, -2.0)
                    points.append((found.xyz[0], label, kind))
                    notes += [n for n in (found.note,) if n is not None]
                elif part.form == "Polygon":
                    areas.append((part.xyz[:, :2], label, kind))
                else:
                    raise BadInput(
                        f"{feature.called} is a {part.form}", remedy="draw work as points or polygons"
                    )
        except BadInput as fault:
            faults.append(BadInput(fault.what, file=str(path), remedy=fault.remedy))
    raise_together(faults, str(path))
    if not points and not areas:
        raise BadInput("holds no work point and no work area", file=str(path))
    return points, areas, tuple(notes)


class _Drawn:
    """Collects what one file draws, feature by feature."""

    def __init__(self, terrain: Terrain) -> None:
        self.terrain = terrain
        self.rings: dict[str, list[Floats]] = {name: [] for name in AREAS.values()}
        self.names: dict[str, list[str]] = {name: [] for name in AREAS.values()}
        self.conductors: list[Conductor] = []
        self.points: dict[str, list[tuple[str, Floats]]] = {"anchor": [], "base": []}
        self.wire_areas: list[tuple[Floats, float]] = []
        self.notes: list[Reason] = []

    def take(self, feature: Feature) -> None:
        """One feature more; BadInput where it cannot be meant, and then nothing is taken."""
        kind = feature.properties.get("kind")
        takes: dict[str, tuple[str, str, Callable[[Feature, Part, str], None]]] = {
            **{k: ("Polygon", "draw areas as polygons", self._area) for k in AREAS},
            WIRES_SEEN: ("Polygon", f"draw {WIRES_SEEN} as a polygon round them", self._wires_seen),
            "conductor": ("LineString", "draw conductors as lines", self._conductor),
            **{k: ("Point", f"draw each {k} as a point", self._point) for k in self.points},
        }
        if not isinstance(kind, str) or kind not in takes:
            raise BadInput(
                f"{feature.called} has kind {kind!r}"[:120],
                remedy=f"set its property 'kind' to one of: {', '.join(takes)}",
            )
        form, remedy, take = takes[kind]
        for part in feature.parts:
            if part.form != form:
                raise BadInput(f"{feature.called} is drawn as a {part.form}", remedy=remedy)
            _check_near(feature, part, self.terrain)
        for part in feature.parts:
            take(feature, part, kind)

    def site(self) -> Site:
        """All that was taken."""
        areas: dict[str, Any] = {name: tuple(rings) for name, rings in self.rings.items()}
        return Site(
            **areas,
            conductors=tuple(self.conductors),
            anchors=tuple(self.points["anchor"]),
            bases=tuple(self.points["base"]),
            area_names={name: tuple(names) for name, names in self.names.items()},
            wire_areas=tuple(self.wire_areas),
        )

    def _area(self, feature: Feature, part: Part, kind: str) -> None:
        name = feature.text("name")
        self.rings[AREAS[kind]].append(part.xyz[:, :2])
        self.names[AREAS[kind]].append(name)

    def _wires_seen(self, feature: Feature, part: Part, _kind: str) -> None:
        stated = feature.real("voltage_kv")
        if stated is None:
            raise BadInput(
                f"{feature.called} says no voltage_kv",
                remedy="give kilovolts, for example 0.23, or 0 where there is no wire",
            )
        self.wire_areas.append((part.xyz[:, :2], _volts(feature) if stated else 0.0))

    def _conductor(self, feature: Feature, part: Part, _kind: str) -> None:
        name, volts = feature.text("name"), _volts(feature)
        found = _raised(feature, part, self.terrain, 0.0)
        self.conductors.append(Conductor(found.xyz, volts, name))
        self._note(found)

    def _point(self, feature: Feature, part: Part, kind: str) -> None:
        name = feature.text("name", f"{kind} {len(self.points[kind]) + 1}")
        found = _raised(feature, part, self.terrain, -2.0, BASE_HEIGHT if kind == "base" else None)
        self.points[kind].append((name, found.xyz[0]))
        self._note(found)

    def _note(self, found: _Raised) -> None:
        if found.note is not None:
            self.notes.append(found.note)


@dataclass(frozen=True)
class _Raised:
    """Places with heights, and how these were read."""

    xyz: Floats
    note: Reason | None = None


def _no_height(stated: Floats) -> bool:
    """True where z says nothing: missing, 0 everywhere, or a figure that stands for none."""
    known = stated[np.isfinite(stated) & (stated > NO_DATA)]
    return len(known) == 0 or not known.any()


def _raised(
    feature: Feature, part: Part, terrain: Terrain, lowest: float, otherwise: float | None = None
) -> _Raised:
    """The places of a part with heights, told with how they were read: z above sea as in the cloud, z above
    ground, or the property "height_m" above ground.

    Parameters
    ----------
    lowest : float          Nothing of this kind lies so low over ground. [m]
    otherwise : float       Height over ground where the file gives none. [m]
    """
    ground = terrain.height_at(part.xyz[:, :2])
    ground = np.where(np.isfinite(ground), ground, float(np.nanmedian(terrain.height)))
    over = feature.real("height_m")
    above_sea, above_ground = part.xyz[:, 2] - ground, part.stated
    if over is None and _no_height(part.stated):
        over = otherwise
    if over is not None:
        _check_height(feature, np.array([over]), lowest, "height_m")
        if not _no_height(part.stated):
            known = np.isfinite(part.stated) & (part.stated > NO_DATA)
            if np.abs(above_sea - over)[known].max() <= AGREES and known.all():
                return _told(feature, part, above_sea, ground, "height_stated")
            if np.abs(above_ground - over)[known].max() > AGREES:
                raise BadInput(
                    f"{feature.called}: its z puts it {_range(above_sea[known])} above ground, its height_m "
                    f"says {over:.1f} m",
                    remedy="leave the wrong one out",
                )
        return _told(feature, part, np.full(len(ground), over), ground, "height_stated")
    if _no_height(part.stated):
        raise BadInput(
            f"{feature.called} has no height" + (" but z = 0" if (part.stated == 0).any() else ""),
            remedy="give z coordinates or a property 'height_m' above ground",
        )
    if not (np.isfinite(part.stated) & (part.stated > NO_DATA)).all():
        raise BadInput(
            f"{feature.called}: some of its places have a height and some have none",
            remedy="give z to all of them, or a property 'height_m' above ground",
        )
    if _plausible(above_sea, lowest):
        return _told(feature, part, above_sea, ground, "height_above_sea")
    sunk = above_sea.max() > -SUNK  # so little under ground that it may be meant there, and is wrong
    if _plausible(above_ground, lowest) and above_ground.max() <= BARE_HIGHEST and not sunk:
        return _told(feature, part, above_ground, ground, "height_above_ground")
    _check_height(feature, above_sea, lowest, "z")
    raise AssertionError("unreachable")  # pragma: no cover


def _told(feature: Feature, part: Part, over: Floats, ground: Floats, code: str) -> _Raised:
    low, high = float(over.min()), float(over.max())
    said = {"number": feature.number, "kind": feature.text("kind", "work"), "name": feature.text("name") or None}
    notes = {
        "height_above_sea": Reason("height_above_sea", low=low, high=high, **said),
        "height_above_ground": Reason("height_above_ground", low=low, high=high, **said),
        "height_stated": None,
    }
    return _Raised(np.column_stack([part.xyz[:, :2], ground + over]), notes[code])


def _plausible(over: Floats, lowest: float) -> bool:
    return bool(np.all((over > lowest) & (over <= HIGHEST)))


def _range(over: Floats) -> str:
    low, high = float(over.min()), float(over.max())
    return f"{low:.1f} m" if high - low < 0.05 else f"{low:.1f} to {high:.1f} m"


def _check_height(feature: Feature, over: Floats, lowest: float, by: str) -> None:
    """BadInput where some height over ground cannot be meant."""
    if _plausible(over, lowest):
        return
    raise BadInput(
        f"{feature.called}: by its {by} it lies {_range(over)} above ground: "
        + ("at or below ground" if over.min() <= lowest else f"higher than {HIGHEST:.0f} m above ground"),
        remedy="give z in the cloud's own height system, or a property 'height_m' above ground",
    )


def _check_near(feature: Feature, part: Part, terrain: Terrain) -> None:
    """BadInput where a part lies far outside the scan."""
    middle = terrain.corner + terrain.cell * np.array(terrain.height.shape[::-1]) / 2
    xy = part.xyz[:, :2] - middle
    step = np.diff(xy, axis=0, append=xy[:1] if part.form == "Polygon" else xy[-1:])
    square = np.maximum(np.sum(step**2, axis=1), 1e-12)
    at = np.clip(-np.sum(xy * step, axis=1) / square, 0.0, 1.0)
    away = float(np.linalg.norm(xy + at[:, None] * step, axis=1).min())
    if away > BEYOND and not (part.form == "Polygon" and _round_origin(xy)):
        raise BadInput(
            f"{feature.called} lies {away:.0f} m from the middle of the scan",
            remedy=f"correct its place; delete what is farther than {BEYOND:.0f} m",
        )


def _round_origin(xy: Floats) -> bool:
    """True where a ring runs round the origin: even-odd rule."""
    a, b = xy, np.roll(xy, -1, axis=0)
    between = (a[:, 1] > 0) != (b[:, 1] > 0)
    rise = np.where(b[:, 1] != a[:, 1], b[:, 1] - a[:, 1], 1.0)
    return bool(np.sum(between & (a[:, 0] - a[:, 1] * (b[:, 0] - a[:, 0]) / rise > 0)) % 2)


def _volts(feature: Feature) -> float:
    """Voltage; NaN where it is not stated or 0, as a GIS writes an empty field. [V]"""
    value = feature.real("voltage_kv")
    if not value:
        return float("nan")
    if not 0 < value <= MOST_KILOVOLT:
        raise BadInput(
            f"{feature.called}: its voltage_kv is {value:g}", remedy="give kilovolts, for example 20, or leave it out"
        )
    return value * 1000.0
