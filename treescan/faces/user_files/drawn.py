"""What the user drew in a GIS: site plan and work, from GeoJSON into local metres."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import Frame
from treescan.errors import BadInput
from treescan.planning.candidates.candidates import BASE_HEIGHT
from treescan.reason import Reason
from treescan.trees.beside import Conductor, Site, Terrain

Floats = NDArray[np.float64]
AREAS = {"no-stand": "no_stand", "building": "buildings", "road": "roads", "water": "water"}


def read_site(path: Path, frame: Frame, terrain: Terrain) -> tuple[Site, Reason]:
    """The site plan of a GeoJSON file, and how its coordinates were read.

    Every feature needs a property "kind": "no-stand", "building", "road" or "water" (polygons), or
    "conductor" (a line with heights: z in its coordinates, or a property "height_m" above ground; voltage in
    "voltage_kv", unknown when missing), or "anchor" (a point with a height, in a neighbouring tree; "name"
    labels it), or "base" (a point a basal line is tied to; 1 m above ground where it has no height; "name"
    labels it).
    """
    features, how = _features(path, frame)
    rings: dict[str, list[Floats]] = {name: [] for name in AREAS.values()}
    conductors: list[Conductor] = []
    points: dict[str, list[tuple[str, Floats]]] = {"anchor": [], "base": []}
    for number, (properties, parts) in enumerate(features, start=1):
        kind = properties.get("kind")
        if kind in AREAS:
            for form, xyz in parts:
                if form != "Polygon":
                    raise BadInput(
                        f"feature {number} is a {kind} but a {form}",
                        file=str(path),
                        remedy="draw areas as polygons",
                    )
                rings[AREAS[kind]].append(xyz[:, :2])
        elif kind == "conductor":
            for form, xyz in parts:
                if form != "LineString":
                    raise BadInput(
                        f"feature {number} is a conductor but a {form}",
                        file=str(path),
                        remedy="draw conductors as lines",
                    )
                conductors.append(
                    Conductor(
                        _with_heights(xyz, properties, terrain, path, number),
                        _volts(properties, path, number),
                    )
                )
        elif kind in points:
            for form, xyz in parts:
                if form != "Point":
                    raise BadInput(
                        f"feature {number} is of kind {kind} but a {form}",
                        file=str(path),
                        remedy=f"draw each {kind} as a point",
                    )
                name = str(properties.get("name", f"{kind} {len(points[kind]) + 1}"))
                raised = {"height_m": BASE_HEIGHT, **properties} if kind == "base" else properties
                points[kind].append((name, _with_heights(xyz, raised, terrain, path, number)[0]))
        else:
            known = ", ".join([*AREAS, "conductor", *points])
            raise BadInput(
                f"feature {number} has kind {kind!r}",
                file=str(path),
                remedy=f"set its property 'kind' to one of: {known}",
            )
    areas = {name: tuple(drawn) for name, drawn in rings.items()}
    drawn = Site(
        areas["no_stand"],
        areas["buildings"],
        areas["roads"],
        areas["water"],
        tuple(conductors),
        tuple(points["anchor"]),
        tuple(points["base"]),
    )
    return drawn, how


def read_drawn_work(
    path: Path, frame: Frame, terrain: Terrain
) -> tuple[list[tuple[Floats, str, str]], list[tuple[Floats, str, str]], Reason]:
    """Work points (xyz, label, kind) and work areas (ring xy, label, kind) of a GeoJSON file, and how its
    coordinates were read.

    A point's height is its z, or a property "height_m" above ground; NaN when neither is given. "name" labels
    a feature, "kind" says what is done there.
    """
    features, how = _features(path, frame)
    points, areas = [], []
    for number, (properties, parts) in enumerate(features, start=1):
        label, kind = str(properties.get("name", f"W{number:02d}")), str(properties.get("kind", "work"))
        for form, xyz in parts:
            if form == "Point":
                stated = np.isfinite(xyz[:, 2]).all() or "height_m" in properties
                points.append(
                    (
                        (_with_heights(xyz, properties, terrain, path, number) if stated else xyz)[0],
                        label,
                        kind,
                    )
                )
            elif form == "Polygon":
                areas.append((xyz[:, :2], label, kind))
            else:
                raise BadInput(
                    f"feature {number} is a {form}", file=str(path), remedy="draw work as points or polygons"
                )
    if not points and not areas:
        raise BadInput("holds no work point and no work area", file=str(path))
    return points, areas, how


def _features(
    path: Path, frame: Frame
) -> tuple[list[tuple[dict[str, Any], list[tuple[str, Floats]]]], Reason]:
    """Properties and single-part geometries in local metres; z is NaN where the file gives none."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise BadInput(f"cannot be read ({err.strerror})", file=str(path)) from err
    except ValueError as err:
        raise BadInput(f"is not valid JSON ({err})", file=str(path)) from err
    listed = data.get("features") if isinstance(data, dict) else None
    if listed is None:
        raise BadInput("is not a GeoJSON FeatureCollection", file=str(path))
    raw = []
    try:
        for f in listed:
            raw.append((dict(f.get("properties") or {}), list(_parts(f["geometry"]))))
    except (KeyError, TypeError, ValueError, IndexError) as err:
        raise BadInput(
            f"a geometry cannot be read ({err!r})",
            file=str(path),
            remedy="write points, lines and polygons as RFC 7946 says",
        ) from err
    every = [xyz for _, parts in raw for _, xyz in parts]
    if not every:
        raise BadInput("has no feature with a geometry", file=str(path))
    to_local, how = _reader(data, np.concatenate(every), frame, path)
    return [(properties, [(form, to_local(xyz)) for form, xyz in parts]) for properties, parts in raw], how


def _parts(geometry: dict[str, Any]) -> Iterator[tuple[str, Floats]]:
    """Single-part geometries; of a polygon the outer ring."""
    form, c = geometry["type"], geometry["coordinates"]
    if form.startswith("Multi"):
        for part in c:
            yield from _parts({"type": form[5:], "coordinates": part})
        return
    rows = {"Point": lambda: [c], "LineString": lambda: c, "Polygon": lambda: c[0]}[form]()
    yield form, np.array([[*map(float, r[:3]), *([np.nan] * (3 - len(r[:3])))] for r in rows], float)


def _reader(data: dict[str, Any], xyz: Floats, frame: Frame, path: Path):  # type: ignore[no-untyped-def]
    """How coordinates become local metres: the file's own "crs" member, degrees on WGS 84, or the cloud's own
    coordinates."""
    named = (
        str(((data.get("crs") or {}).get("properties") or {}).get("name", ""))
        if isinstance(data.get("crs"), dict)
        else ""
    )
    degrees = bool(np.all(np.abs(xyz[:, 0]) <= 180) and np.all(np.abs(xyz[:, 1]) <= 90))
    near = xyz[:, :2] * frame.unit_m - frame.origin[:2]
    fits = bool(np.all(np.abs(near) < 5_000))
    source = named or ("EPSG:4326" if degrees and frame.crs and not fits else "")
    if not source:
        if not fits:
            raise BadInput(
                "lies more than 5 km from the cloud",
                file=str(path),
                remedy="use the cloud's coordinates, or longitude and latitude where the cloud has a "
                "coordinate system",
            )

        def own(p: Floats) -> Floats:
            return np.column_stack(
                [frame.own_to_local_xy(p[:, :2]), p[:, 2] * frame.vertical_unit_m - frame.origin[2]]
            )

        return own, Reason("read_as_own_coordinates", file=path.name)
    if not frame.crs:
        raise BadInput(
            f"is in {source}, but the cloud has no coordinate system",
            file=str(path),
            remedy="draw it in the cloud's own coordinates",
        )
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    try:
        transformer = Transformer.from_crs(source, frame.crs, always_xy=True)
    except ProjError as err:
        raise BadInput(f"coordinate system {source!r} cannot be used ({err})", file=str(path)) from err

    def projected(p: Floats) -> Floats:
        x, y = transformer.transform(p[:, 0], p[:, 1])
        return np.column_stack([x - frame.origin[0], y - frame.origin[1], p[:, 2] - frame.origin[2]])

    if not np.all(np.abs(projected(xyz)[:, :2]) < 5_000):
        raise BadInput(f"lies more than 5 km from the cloud when read as {source}", file=str(path))
    return projected, Reason("read_as_system", file=path.name, system=source)


def _with_heights(
    xyz: Floats, properties: dict[str, Any], terrain: Terrain, path: Path, number: int
) -> Floats:
    """The same points with heights: their own z, or ground plus the property "height_m"."""
    if np.isfinite(xyz[:, 2]).all():
        return xyz
    if "height_m" not in properties:
        raise BadInput(
            f"feature {number} has no height",
            file=str(path),
            remedy="give z coordinates or a property 'height_m' above ground",
        )
    ground = terrain.height_at(xyz[:, :2])
    middle = float(np.nanmedian(terrain.height))
    return np.column_stack(
        [xyz[:, :2], np.where(np.isfinite(ground), ground, middle) + float(properties["height_m"])]
    )


def _volts(properties: dict[str, Any], path: Path, number: int) -> float:
    value = properties.get("voltage_kv")
    if value is None:
        return float("nan")
    try:
        return float(value) * 1000.0
    except (TypeError, ValueError) as err:
        raise BadInput(f"feature {number} has voltage_kv {value!r}, not a number", file=str(path)) from err
