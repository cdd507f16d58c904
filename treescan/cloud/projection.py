"""How do map coordinates in degrees or feet become coordinates in metres? Everything that asks the
map-projection library."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Proj, Transformer
from pyproj.exceptions import CRSError, ProjError

LAT_LOW, LAT_HIGH = -80.0, 84.0
"""Latitudes between which UTM zones are defined. [degrees]"""


@dataclass(frozen=True)
class Units:
    """Metres per unit of a reference system; NaN where it is in degrees or the system does not say."""

    horizontal: float
    vertical: float
    horizontal_name: str
    vertical_name: str


def parsed_crs(text: str) -> CRS | None:
    """A coordinate reference system from WKT or "EPSG:25832"; None where the text is not understood."""
    try:
        return CRS.from_user_input(text.strip().strip("\0"))
    except (CRSError, ValueError, UnicodeError):
        return None


def crs_text(crs: CRS) -> str:
    """ "EPSG:25832" (or "EPSG:25832+7837") where the system has such a number and means the same by it, else
    its WKT."""
    if crs.is_compound:
        parts = [crs_text(part) for part in crs.sub_crs_list]
        if all(re.fullmatch(r"EPSG:\d+", p) for p in parts):
            return "EPSG:" + "+".join(p.removeprefix("EPSG:") for p in parts)
        return crs.to_wkt()
    if crs.is_bound and crs.source_crs is not None:
        return crs_text(crs.source_crs)
    named = parsed_crs(crs.name) if crs.name not in ("", "unknown", "unnamed") else None
    for epsg in (
        crs.to_epsg(100),
        crs.to_epsg(70),
        crs.to_epsg(25),
        named.to_epsg() if named is not None else None,
    ):
        if epsg and _same_map(crs, CRS.from_epsg(epsg)):
            return f"EPSG:{epsg}"
    return crs.to_wkt()


def _same_map(one: CRS, two: CRS) -> bool:
    """True where two systems share name, unit and ellipsoid and put the same longitude and latitude at the
    same place within 0.1 mm."""
    if one == two:
        return True
    if (
        one.name != two.name
        or units_of(one).horizontal != units_of(two).horizontal
        or not one.is_projected
        or not two.is_projected
    ):
        return False
    if one.ellipsoid is None or two.ellipsoid is None or two.area_of_use is None:
        return False
    if abs(one.ellipsoid.semi_major_metre - two.ellipsoid.semi_major_metre) > 1e-6:
        return False
    area = two.area_of_use
    lon, lat = np.meshgrid(
        np.linspace(area.west, area.east, 4)[1:3], np.linspace(area.south, area.north, 4)[1:3]
    )
    try:
        here, there = (np.array(Proj(c)(lon, lat)) for c in (one, two))
    except (CRSError, ProjError):
        return False
    return bool(np.isfinite(here).all() and np.abs(here - there).max() < 1e-4)


def plan_crs(crs: CRS) -> CRS:
    """The horizontal part of a compound system, the system itself otherwise, without a datum shift bound to
    it."""
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs.source_crs if crs.is_bound and crs.source_crs is not None else crs


def units_of(crs: CRS) -> Units:
    """Horizontal and vertical unit of a system."""
    flat = plan_crs(crs)
    axes = flat.axis_info
    name = axes[0].unit_name if axes else "unknown"
    horizontal = axes[0].unit_conversion_factor if axes and not flat.is_geographic else math.nan
    up = [
        a
        for part in (crs.sub_crs_list[1:] if crs.is_compound else [crs])
        for a in part.axis_info
        if a.direction in ("up", "down")
    ]
    if not up:
        return Units(horizontal, math.nan, name, "")
    return Units(horizontal, up[0].unit_conversion_factor, name, up[0].unit_name)


def in_metres(crs: CRS) -> CRS:
    """The same projection with its plan axes in metres: coordinates in feet times the foot are coordinates of
    this system.

    The parameters of the projection carry their own units, so only the axes change.
    """
    flat = plan_crs(crs)
    if units_of(flat).horizontal == 1.0:
        return flat
    text: dict[str, Any] = flat.to_json_dict()
    for axis in text["coordinate_system"]["axis"]:
        axis["unit"] = "metre"
    text["name"] = f"{text.get('name', 'unnamed')} (in metres)"
    text.pop("id", None)
    text.pop("ids", None)
    return CRS.from_json_dict(text)


def utm_zone_of(lon: float, lat: float) -> CRS | None:
    """The UTM zone (WGS 84) a place lies in; None where no zone is defined.

    Zones are 6 degrees wide counted east from 180 W; the exceptions of south-west Norway and Svalbard are not
    followed, since they do not change any length by more than 0.1 %.
    """
    if not (-180.0 <= lon <= 360.0 and LAT_LOW <= lat <= LAT_HIGH):
        return None
    zone = int(((lon + 180.0) % 360.0) // 6.0) + 1
    return CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)


@lru_cache(maxsize=16)
def transformer(source: str, target: str) -> Transformer:
    """Longitude first, latitude second, always; kept because building one takes longer than using it."""
    return Transformer.from_crs(source, target, always_xy=True)


def degrees_to_map(xy: ArrayLike, source: str | None, target: str | None) -> NDArray[np.float64]:
    """Longitude and latitude as plan coordinates of a map in metres.

    Parameters
    ----------
    xy : (..., 2) float     Longitude, latitude. [degrees]
    source, target : str    References of both ends.
    """
    own = np.asarray(xy, np.float64)
    x, y = transformer(source or "EPSG:4326", target or "EPSG:4326").transform(own[..., 0], own[..., 1])
    return np.stack([x, y], axis=-1)


def longitude_latitude(xy: ArrayLike, crs: str | None) -> tuple[float, float] | None:
    """Longitude and latitude (WGS 84) of a place (2,) on a map [m]; None where the map is not known. [degrees]"""
    if crs is None:
        return None
    try:
        lon, lat = transformer(crs, "EPSG:4326").transform(*np.asarray(xy, float)[:2])
    except (CRSError, ProjError):
        return None
    return (float(lon), float(lat)) if math.isfinite(lon) and math.isfinite(lat) else None
