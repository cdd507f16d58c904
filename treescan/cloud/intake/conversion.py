"""How do this file's coordinates become metres on a map? The unit and the reference, decided once, with a
note where there is doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray
from pyproj.exceptions import ProjError

from treescan.cloud.opened import Chunk, Reference
from treescan.cloud.point_cloud import Frame
from treescan.cloud.projection import crs_text, in_metres, plan_crs, transformer, units_of, utm_zone_of
from treescan.errors import BadInput
from treescan.reason import Reason
from treescan.units import FOOT_M, US_SURVEY_FOOT_M

UNIT_NAMES: dict[str, float] = {"m": 1.0, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M, "cm": 0.01, "mm": 0.001}
"""Units a user may state for a file that does not, or does wrongly. [m]"""

FARTHEST = 1e8
"""Coordinates beyond this are on no map of the earth: NaN, infinity, or a damaged file. [m]"""


@dataclass(frozen=True)
class Conversion:
    """From file coordinates to metres.

    Attributes
    ----------
    frame : Frame           With a zero origin still.
    projected_from : str    Reference in degrees (or earth-centred) that has to be projected; empty = units
                            only.
    notes : tuple of Reason
    """

    frame: Frame
    projected_from: str = ""
    earth_centred: bool = False
    notes: tuple[Reason, ...] = ()

    @property
    def unit(self) -> NDArray[np.float64]:
        """Metres per file unit along x, y, z, (3,)."""
        return np.array([self.frame.unit_m, self.frame.unit_m, self.frame.vertical_unit_m])

    def to_local(
        self, chunk: Chunk, origin: NDArray[np.float64], out: NDArray[np.float64]
    ) -> NDArray[np.bool_]:
        """Write a chunk as local metres into `out` (n, 3); False where a coordinate is impossible, (n,)."""
        finite = np.empty(len(chunk.xyz), np.bool_)
        if self.projected_from:
            own = chunk.xyz + chunk.shift
            to = transformer(self.projected_from, str(self.frame.crs))
            try:
                if self.earth_centred:
                    own = np.column_stack(to.transform(own[:, 0], own[:, 1], own[:, 2]))
                else:
                    own[:, 0], own[:, 1] = to.transform(own[:, 0], own[:, 1])
            except ProjError as e:
                raise BadInput(f"holds coordinates that cannot be projected to metres ({e})") from None
            _scale(own, self.unit, -origin, out, finite)
        else:
            _scale(chunk.xyz, self.unit, chunk.shift * self.unit - origin, out, finite)
        return finite


def decide(
    reference: Reference, sample: NDArray[np.float64], file: str, unit: str | None = None
) -> Conversion:
    """What a file's reference and a sample of its coordinates say about its unit and map.

    Parameters
    ----------
    reference : Reference
    sample : (n, 3) float       File coordinates, finite.
    file : str                  For the message.
    unit : str, optional        One of `UNIT_NAMES`: the user knows better than the file.

    Raises BadInput where degrees cannot be projected, or an unknown unit is named.
    """
    if unit is not None and unit not in UNIT_NAMES:
        raise BadInput(f"unit '{unit}' is not known", remedy=f"use one of {', '.join(UNIT_NAMES)}")
    if reference.crs is not None and reference.crs.is_geocentric:
        return _earth_centred(reference, sample, file)
    if reference.crs is not None and plan_crs(reference.crs).is_geographic:
        return _geographic(reference, sample, file)
    return _projected(reference, sample, unit)


def _projected(reference: Reference, sample: NDArray[np.float64], unit: str | None) -> Conversion:
    """Plan coordinates in a unit of length, with or without a known map."""
    crs, notes = reference.crs, [reference.trouble] if reference.trouble else []
    units = units_of(crs) if crs is not None else None
    plan = units.horizontal if units is not None and math.isfinite(units.horizontal) else reference.unit_m
    if (
        units is not None
        and math.isfinite(reference.unit_m)
        and abs(reference.unit_m / units.horizontal - 1) > 1e-9
    ):
        notes.append(
            Reason("two_plan_units", used=unit_name(units.horizontal), other=unit_name(reference.unit_m))
        )
    up = units.vertical if units is not None and math.isfinite(units.vertical) else reference.vertical_unit_m
    if unit is not None:
        plan = up = UNIT_NAMES[unit]
        notes.append(Reason("unit_from_user", unit=unit_name(plan)))
        if units is not None and abs(plan / units.horizontal - 1) > 1e-9:
            crs = None
            notes.append(Reason("reference_in_another_unit"))
    if not math.isfinite(plan):
        plan = 1.0
        notes.append(Reason("perhaps_degrees") if _like_degrees(sample) else Reason("no_unit_stated"))
    if not math.isfinite(up):
        up = plan
        if plan != 1.0:
            notes.append(Reason("no_height_unit_stated", taken=unit_name(plan)))
    frame = Frame(
        np.zeros(3), unit_m=plan, vertical_unit_m=up, file_crs=reference.text if crs is None else None
    )
    if crs is None:
        notes.append(Reason("no_map"))
    elif plan != 1.0:
        frame = replace(frame, crs=crs_text(in_metres(crs)), file_crs=crs_text(crs))
    else:
        frame = replace(frame, crs=crs_text(crs))
    if plan != 1.0 or up != 1.0:
        notes.append(
            Reason("converted_to_metres", plan=unit_name(plan), heights=unit_name(up) if up != plan else None)
        )
    return Conversion(frame, notes=tuple(notes))


def _geographic(reference: Reference, sample: NDArray[np.float64], file: str) -> Conversion:
    """Longitude and latitude, to be projected to the UTM zone they lie in."""
    assert reference.crs is not None
    lon, lat = (float(v) for v in np.median(sample[:, :2], axis=0))
    remedy = "export it in a map projection in metres, or with longitude as x and latitude as y"
    if (abs(lat) > 90.0 and abs(lon) <= 90.0) or (not -80 <= lat <= 84 and -80 <= lon <= 84):
        raise BadInput(
            f"has latitude and longitude the wrong way round, as it seems: x {lon:.4f}, y {lat:.4f} in "
            f"degrees",
            file=file,
            remedy=remedy,
        )
    zone = utm_zone_of(lon, lat)
    if zone is None:
        raise BadInput(
            f"is in degrees at longitude {lon:.4f}, latitude {lat:.4f}, where no UTM zone is defined",
            file=file,
            remedy=remedy,
        )
    up = units_of(reference.crs).vertical
    up = up if math.isfinite(up) else reference.vertical_unit_m
    notes = [Reason("projected_from_degrees", zone=zone.name, crs=crs_text(zone))]
    if not math.isfinite(up):
        up = 1.0
        notes.append(Reason("no_height_unit_stated", taken=unit_name(up)))
    own = crs_text(plan_crs(reference.crs))
    frame = Frame(np.zeros(3), crs=crs_text(zone), vertical_unit_m=up, file_crs=own, in_degrees=True)
    return Conversion(frame, own, notes=tuple(notes))


def _earth_centred(reference: Reference, sample: NDArray[np.float64], file: str) -> Conversion:
    """Coordinates from the centre of the earth, to be projected to a UTM zone with ellipsoidal heights."""
    assert reference.crs is not None
    own = crs_text(reference.crs)
    geographic = reference.crs.geodetic_crs.to_3d() if reference.crs.geodetic_crs is not None else None
    place = np.median(sample, axis=0)
    lon, lat, height = (float(v) for v in transformer(own, "EPSG:4979").transform(*place))
    zone = (
        utm_zone_of(lon, lat)
        if geographic is not None and math.isfinite(height) and abs(height) < 20_000.0
        else None
    )
    if zone is None:
        raise BadInput(
            "names an earth-centred reference, but its coordinates do not lie on the earth",
            file=file,
            remedy="export it in a map projection",
        )
    target = zone.to_3d()
    note = Reason("projected_from_earth_centred", zone=zone.name)
    return Conversion(
        Frame(np.zeros(3), crs=target.to_wkt(), file_crs=own, up="ellipsoidal_height"), own, True, (note,)
    )


def _like_degrees(sample: NDArray[np.float64]) -> bool:
    """Plan extents of thousandths, values within the globe's, and a height that would make the thing a
    needle."""
    extent = np.ptp(sample, axis=0)
    inside = np.abs(sample[:, 0]).max() <= 180.0 and np.abs(sample[:, 1]).max() <= 90.0
    return bool(
        len(sample) >= 10
        and inside
        and extent[:2].max() < 0.05
        and extent[2] > 50 * extent[:2].max()
        and extent[:2].max() > 0
    )


def unit_name(unit_m: float) -> Reason:
    """A unit of length, given in metres, by its name."""
    names = {
        1.0: "metres",
        FOOT_M: "feet",
        US_SURVEY_FOOT_M: "us_feet",
        0.01: "centimetres",
        0.001: "millimetres",
    }
    named = next((f"unit_{v}" for k, v in names.items() if abs(k / unit_m - 1) < 1e-9), None)
    return Reason(named) if named else Reason("unit_of_its_own", size=unit_m)


@njit(cache=True, parallel=True, nogil=True)
def _scale(xyz, unit, delta, out, finite):  # type: ignore[no-untyped-def]
    """out = xyz * unit + delta, and where that is a possible place: three numbers within `FARTHEST`."""
    for n in prange(len(xyz)):
        ok = True
        for k in range(3):
            value = xyz[n, k] * unit[k] + delta[k]
            out[n, k] = value
            ok = ok and abs(value) < FARTHEST
        finite[n] = ok
