"""Which map does a LAS file stand on? From its WKT record or its GeoTIFF keys.

Keys: OGC GeoTIFF 1.1 (19-008r4): 2048 geographic system, 3072 projected system, 3076 its unit, 4096 vertical
system, 4099 its unit.
"""

from __future__ import annotations

import math
import struct

from pyproj import CRS
from pyproj.exceptions import CRSError

from treescan.cloud.formats.las_header import LasHeader
from treescan.cloud.opened import MOST_OF_A_NAME, Reference
from treescan.cloud.projection import parsed_crs
from treescan.reason import Reason
from treescan.units import FOOT_M, US_SURVEY_FOOT_M

UNIT_CODES = {9001: 1.0, 9002: FOOT_M, 9003: US_SURVEY_FOOT_M}
"""EPSG codes of units of length. [m]"""

USER_DEFINED = 32767


def las_reference(header: LasHeader) -> Reference:
    """WKT first where there is any, GeoTIFF keys where not or where the text is not understood."""
    keys, words = _geo_keys(header)
    unit, vertical = UNIT_CODES.get(keys.get(3076, 0), math.nan), UNIT_CODES.get(keys.get(4099, 0), math.nan)
    wkt = next(
        (
            r.data
            for r in header.records
            if r.number == 2112 and r.user in ("LASF_Projection", "liblas") and r.data.strip(b"\0 ")
        ),
        b"",
    )
    text = wkt.split(b"\0")[0].decode("utf-8", "replace").strip() or None
    if text and (crs := parsed_crs(text)) is not None:
        return Reference(crs, text, unit, vertical)
    if (found := _from_keys(keys)) is not None:
        return Reference(found, None, unit, vertical)
    if text or keys:
        label = text or words or "user-defined GeoTIFF keys"
        return Reference(
            None, label, unit, vertical, Reason("reference_not_understood", said=label[:MOST_OF_A_NAME])
        )
    return Reference()


def _geo_keys(header: LasHeader) -> tuple[dict[int, int], str]:
    """Keys with a plain number, and the first text that names the system."""
    data = {r.number: r.data for r in header.records if r.user == "LASF_Projection"}
    block = data.get(34735, b"")
    keys: dict[int, int] = {}
    words = ""
    text = data.get(34737, b"")
    stated = struct.unpack_from("<H", block, 6)[0] if len(block) >= 8 else 0
    for i in range(min(stated, len(block) // 8 - 1)):
        key, place, count, value = struct.unpack_from("<4H", block, 8 + 8 * i)
        if place == 0 and key:
            keys[key] = value
        elif place == 34737 and key in (1026, 3073) and not words:
            words = text[value : value + count].split(b"\0")[0].decode("latin-1").strip("| ")
    return keys, words


def _from_keys(keys: dict[int, int]) -> CRS | None:
    """The system the keys number, with its vertical part where numbered too; None for user-defined ones."""
    number = keys.get(3072, 0) if keys.get(1024, 1) != 2 else 0
    number = number or (keys.get(2048, 0) if keys.get(1024) in (2, 3) else 0)
    if not 1024 <= number < USER_DEFINED:
        return None
    up = keys.get(4096, 0)
    for text in ([f"EPSG:{number}+{up}"] if 1024 <= up < USER_DEFINED else []) + [f"EPSG:{number}"]:
        try:
            return CRS.from_user_input(text)
        except CRSError:
            continue
    return None
