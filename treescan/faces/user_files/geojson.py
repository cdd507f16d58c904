"""What does a GeoJSON file hold, in local metres? Every feature is read whole or refused by number and name."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.faces.user_files.faults import raise_together
from treescan.ordinary_file import check_ordinary
from treescan.reason import Reason

Floats = NDArray[np.float64]

FAR = 5_000.0
"""Coordinates farther from the cloud's origin than this are of another system. [m]"""

HERE = 500.0
"""Coordinates that lie so near only with x and y swapped, or that look like degrees where none lies so near, are named so. [m]"""

DEPTH = {"Point": 0, "LineString": 1, "Polygon": 2}
FEWEST = {"Point": 1, "LineString": 2, "Polygon": 4}
"""Places a part of each form holds at least; a polygon's ring ends where it began (RFC 7946, 3.1.6)."""


@dataclass(frozen=True)
class Part:
    """A point, line or polygon: its places in local metres, z NaN where the file gives none.

    stated : (p,) float     z as it stands in the file, in metres. [m]
    """

    form: str
    xyz: Floats
    stated: Floats


@dataclass(frozen=True)
class Feature:
    """One feature: its number in the file (1 is the first), what is said of it, and its parts."""

    number: int
    properties: dict[str, Any]
    parts: tuple[Part, ...]

    @property
    def called(self) -> str:
        """The feature by number, kind and name, as faults name it."""
        return _called(self.number, self.properties)

    def text(self, key: str, default: str = "") -> str:
        """A property as text, letter for letter; the default where it is missing, null or empty."""
        value = self.properties.get(key)
        if value is None or value == "":
            return default
        if isinstance(value, str) or (isinstance(value, (int, float)) and not isinstance(value, bool)):
            return str(value)
        raise BadInput(f"{self.called}: its {key} is {_short(value)}, not text", remedy=f"write {key} as text")

    def real(self, key: str) -> float | None:
        """A property as a finite number, None where it is missing or null; a number written as text will do."""
        value = self.properties.get(key)
        if value is None or value == "":
            return None
        try:
            out = float("nan") if isinstance(value, bool) else float(value)
        except (TypeError, ValueError, OverflowError):
            out = float("nan")
        if not np.isfinite(out):
            raise BadInput(
                f"{self.called}: its {key} is {_short(value)}, not a number",
                remedy=f"write {key} as a bare number, for example 6.5",
            )
        return out


def read_features(path: Path, frame: Frame) -> tuple[tuple[Feature, ...], Reason]:
    """Every feature of a file in local metres, and how the coordinates were read; BadInput tells all faulty
    features in one go."""
    data = _data(path)
    raw = _all_raw(data, path)
    faults = []
    if not raw:
        raise BadInput("has no feature with a geometry", file=str(path))
    to_local, unit, how = _reader(data, np.concatenate([xyz for _, _, p in raw for _, xyz in p]), frame, path)
    out = []
    for number, properties, parts in raw:
        try:
            local = tuple(Part(form, to_local(xyz), xyz[:, 2] * unit) for form, xyz in parts)
            _near_enough(number, properties, [xyz for _, xyz in parts], local, to_local)
            out.append(Feature(number, properties, local))
        except BadInput as fault:
            faults.append(BadInput(fault.what, file=str(path), remedy=fault.remedy))
    raise_together(faults, str(path))
    return tuple(out), how


def check_features(path: Path) -> None:
    """BadInput for every feature that is faulty whatever the tree, all in one go."""
    _all_raw(_data(path), path)


def _all_raw(data: dict[str, Any], path: Path) -> list[Raw]:
    raw, faults = [], []
    for number, listed in enumerate(_listed(data, path), start=1):
        try:
            raw.append(_feature(number, listed))
        except BadInput as fault:
            faults.append(BadInput(fault.what, file=str(path), remedy=fault.remedy))
    raise_together(faults, str(path))
    return raw


def _data(path: Path) -> dict[str, Any]:
    check_ordinary(path)
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except RecursionError as err:
        raise BadInput(
            "is not GeoJSON: brackets are nested too deep", file=str(path), remedy="export it again"
        ) from err
    except ValueError as err:
        raise BadInput(f"is not valid JSON ({err})", file=str(path)) from err
    if not isinstance(data, dict):
        raise BadInput("is not a GeoJSON FeatureCollection", file=str(path))
    return data


def _listed(data: dict[str, Any], path: Path) -> list[Any]:
    listed = data.get("features")
    if not isinstance(listed, list):
        raise BadInput(
            "is not a GeoJSON FeatureCollection",
            file=str(path),
            remedy="export the layer as GeoJSON: it needs a list called features",
        )
    return listed


def _called(number: int, properties: dict[str, Any]) -> str:
    said = [f"{properties[k]}" for k in ("kind",) if isinstance(properties.get(k), str)]
    if isinstance(properties.get("name"), str) and properties["name"]:
        said.append(f"\"{properties['name']}\"")
    return f"feature {number}" + (f" ({' '.join(said)})" if said else "")


def _short(value: Any) -> str:
    """A value as a fault shows it: whole where short."""
    shown = repr(value)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."


Raw = tuple[int, dict[str, Any], list[tuple[str, Floats]]]


def _feature(number: int, listed: Any) -> Raw:
    if not isinstance(listed, dict):
        raise BadInput(
            f"feature {number} is {_short(listed)}, not a feature", remedy="delete it, or export the layer again"
        )
    properties = listed.get("properties")
    if properties is not None and not isinstance(properties, dict):
        raise BadInput(
            f"feature {number}: its properties are {_short(properties)}, not names with values",
            remedy="export the layer again",
        )
    properties = dict(properties or {})
    called, geometry = _called(number, properties), listed.get("geometry")
    if not isinstance(geometry, dict):
        raise BadInput(f"{called} has no geometry", remedy="draw it, or delete the row")
    return number, properties, list(_parts(called, geometry.get("type"), geometry.get("coordinates")))


def _parts(called: str, form: Any, c: Any) -> Iterator[tuple[str, Floats]]:
    """Single-part geometries; a hole of a polygon is joined to its outer ring by a cut there and back, so that
    the even-odd rule leaves it out."""
    single = form[5:] if isinstance(form, str) and form.startswith("Multi") else form
    if not isinstance(single, str) or single not in DEPTH:
        raise BadInput(
            f"{called}: its geometry is {_short(form)}", remedy="draw points, lines or polygons as RFC 7946 says"
        )
    if not isinstance(c, list) or not c:
        raise BadInput(f"{called}: its geometry has no coordinates", remedy="draw it, or delete the row")
    for part in c if form != single else [c]:
        if single == "Polygon":
            if not isinstance(part, list) or not part:
                raise BadInput(f"{called}: its geometry has an empty part", remedy="draw it again")
            rings = [_rows(called, single, ring) for ring in part]
            yield single, _with_holes(rings)
        else:
            yield single, _rows(called, single, [part] if single == "Point" else part)


def _rows(called: str, form: str, rows: Any) -> Floats:
    if not isinstance(rows, list) or not all(isinstance(r, list) for r in rows):
        raise BadInput(
            f"{called}: the coordinates of its geometry are not a list of places",
            remedy=f"draw it again as a {form}",
        )
    if len(rows) < FEWEST[form]:
        raise BadInput(
            f"{called}: a {form} of its geometry has {len(rows)} places, needs {FEWEST[form]}",
            remedy="draw it again",
        )
    out = np.full((len(rows), 3), np.nan)
    for i, row in enumerate(rows):
        numbers = [v for v in row[:3] if isinstance(v, (int, float)) and not isinstance(v, bool)]
        if len(numbers) != len(row[:3]) or len(row) < 2 or not np.isfinite(np.array(numbers[:2], float)).all():
            raise BadInput(
                f"{called}: place {i + 1} of its geometry is {_short(row)}, not numbers x, y and perhaps z",
                remedy="write coordinates as bare finite numbers",
            )
        out[i, : len(numbers)] = numbers
    return out


def _with_holes(rings: list[Floats]) -> Floats:
    """An outer ring and its holes as one ring: from the last place of the outer ring to each hole, round it
    and back."""
    out = rings[0]
    for hole in rings[1:]:
        out = np.concatenate([out, hole, out[-1:]])
    return out


ToLocal = Callable[[Floats], Floats]


def _reader(data: dict[str, Any], xyz: Floats, frame: Frame, path: Path) -> tuple[ToLocal, float, Reason]:
    """How coordinates become local metres, metres per unit of z, and how it is told: the file's own "crs"
    member, degrees on WGS 84, or the cloud's own coordinates."""
    named = _named_system(data, path)
    degrees = (np.abs(xyz[:, 0]) <= 180) & (np.abs(xyz[:, 1]) <= 180)
    near = np.all(np.abs(xyz[:, :2] * frame.unit_m - frame.origin[:2]) < FAR, axis=1)
    source = named or ("EPSG:4326" if frame.crs and not near.any() and degrees.any() else "")
    if not source:
        if not near.any() and not frame.in_degrees:
            raise BadInput(
                "lies more than 5 km from the cloud",
                file=str(path),
                remedy="use the cloud's coordinates, or longitude and latitude where the cloud has a "
                "coordinate system",
            )
        if len(xyz) > 1 and degrees.all() and float(np.ptp(xyz[:, :2], axis=0).max()) < 0.05 / frame.unit_m:
            raise BadInput(
                "all its places lie within 5 cm of each other: longitude and latitude, while the cloud has no "
                "coordinate system",
                file=str(path),
                remedy="draw it in the cloud's own coordinates",
            )

        def own(p: Floats) -> Floats:
            z = p[:, 2] * frame.vertical_unit_m - frame.origin[2]
            return np.column_stack([frame.own_to_local_xy(p[:, :2]), z])

        return own, frame.vertical_unit_m, Reason("read_as_own_coordinates", file=path.name)
    if not frame.crs:
        raise BadInput(
            f"is in {source}, but the cloud has no coordinate system",
            file=str(path),
            remedy="draw it in the cloud's own coordinates",
        )
    return _projected(source, frame, path), 1.0, Reason("read_as_system", file=path.name, system=source)


def _named_system(data: dict[str, Any], path: Path) -> str:
    crs = data.get("crs")
    if crs is None:
        return ""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str):
        raise BadInput(
            "its crs member names no coordinate system",
            file=str(path),
            remedy="leave crs out, or export the layer again with its coordinate system",
        )
    return name


def _projected(source: str, frame: Frame, path: Path) -> ToLocal:
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    try:
        transformer = Transformer.from_crs(source, frame.crs, always_xy=True)
    except ProjError as err:
        raise BadInput(f"coordinate system {source!r} cannot be used ({err})", file=str(path)) from err

    def to_local(p: Floats) -> Floats:
        x, y = transformer.transform(p[:, 0], p[:, 1])
        return np.column_stack([x - frame.origin[0], y - frame.origin[1], p[:, 2] - frame.origin[2]])

    return to_local


def _near_enough(
    number: int, properties: dict[str, Any], raw: list[Floats], local: tuple[Part, ...], to_local: ToLocal
) -> None:
    """BadInput where a feature lies more than 5 km away, or away at all but near with its axes swapped or read as degrees, with
    the remedy for it."""

    def near(xy: Floats, within: float = FAR) -> bool:
        return bool(np.isfinite(xy).all() and (np.abs(xy) < within).all())

    if any(near(p.xyz[:1, :2], HERE) for p in local):
        return
    called, away = _called(number, properties), not all(near(p.xyz[:, :2]) for p in local)
    swapped = [to_local(xyz[:, [1, 0, 2]])[:, :2] for xyz in raw]
    far = "more than 5 km" if away else f"more than {HERE:.0f} m"
    if all(near(xy, FAR if away else HERE) for xy in swapped):
        raise BadInput(
            f"{called} lies {far} from the cloud, but near it with x and y swapped",
            remedy="write x (east, longitude) before y (north, latitude)",
        )
    if all((np.abs(xyz[:, 0]) <= 180).all() and (np.abs(xyz[:, 1]) <= 90).all() for xyz in raw):
        raise BadInput(
            f"{called} lies {far} from the cloud: its coordinates look like longitude and latitude",
            remedy="draw it in the cloud's own coordinates, or give the cloud its coordinate system",
        )
    if not away:
        return
    raise BadInput(
        f"{called} lies more than 5 km from the cloud",
        remedy="correct its coordinates, or delete it if it is of another place",
    )
