"""What is a scan, once read? Points in local metres, and the frame that leads back to the map."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from treescan.cloud.projection import degrees_to_map
from treescan.reason import Reason


@dataclass(frozen=True)
class Frame:
    """How local metres relate to the file's own coordinates.

    Attributes
    ----------
    origin : (3,) float64   Added to local xyz to give the file's frame in metres.
    crs : str or None       "EPSG:25832", or WKT text, of the frame in metres; None = unknown, local frame.
    unit_m : float          Metres per horizontal unit of the file (0.3048 for a file in feet).
    vertical_unit_m : float Metres per vertical unit of the file.
    up : str                Which way is up: "file_z" or "ellipsoidal_height".
    file_crs : str or None  The reference the file itself names, where it differs from `crs` (feet, degrees);
                            None = the same.
    in_degrees : bool       True where the file's plan coordinates are longitude and latitude, projected to
                            `crs` on reading.
    """

    origin: NDArray[np.float64]
    crs: str | None = None
    unit_m: float = 1.0
    vertical_unit_m: float = 1.0
    up: str = "file_z"
    file_crs: str | None = None
    in_degrees: bool = False

    def to_map(self, xyz: ArrayLike) -> NDArray[np.float64]:
        """Local points as coordinates of the file's frame in metres, (..., 3)."""
        return np.asarray(xyz, np.float64) + self.origin

    def to_local(self, xyz: ArrayLike) -> NDArray[np.float64]:
        """Coordinates of the file's frame in metres as local points, (..., 3)."""
        return np.asarray(xyz, np.float64) - self.origin

    def own_to_local_xy(self, xy: ArrayLike) -> NDArray[np.float64]:
        """Plan coordinates in the file's own unit (as a GIS shows them) as local metres, (..., 2)."""
        own = np.asarray(xy, np.float64)
        if self.in_degrees:
            return degrees_to_map(own, self.file_crs, self.crs) - self.origin[:2]
        return own * self.unit_m - self.origin[:2]


LOCAL = Frame(origin=np.zeros(3))
"""The frame of a cloud without a map: local metres are the file's metres."""


@dataclass(frozen=True)
class PointCloud:
    """Points in local metres, z up.

    Attributes
    ----------
    xyz : (n, 3) float64    Local metres, read-only.
    frame : Frame
    columns : mapping       Name to (n,) array: "class", "intensity", "return_number", "number_of_returns",
                            "red", "scan" ... where the file has them.
    source : str            File name, or what made it.
    notes : tuple of Reason What the intake found odd. scanners : (s, 3) float Where the scanner stood, local
    metres, where the file says so; row = value of the column "scan".
    """

    xyz: NDArray[np.float64]
    frame: Frame = LOCAL
    columns: Mapping[str, NDArray] = field(default_factory=dict)
    source: str = "points in memory"
    notes: tuple[Reason, ...] = ()
    scanners: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))

    def __post_init__(self) -> None:
        xyz = np.ascontiguousarray(self.xyz, dtype=np.float64)
        if xyz.ndim != 2 or xyz.shape[1] != 3:
            raise ValueError(f"xyz must be (n, 3), got {xyz.shape}")
        xyz = xyz.view()
        xyz.flags.writeable = False
        object.__setattr__(self, "xyz", xyz)

    def __len__(self) -> int:
        return len(self.xyz)

    def where(self, mask: NDArray) -> PointCloud:
        """The points a boolean mask or index array picks, columns along with them."""
        columns = {k: v[mask] for k, v in self.columns.items()}
        return PointCloud(self.xyz[mask], self.frame, columns, self.source, self.notes, self.scanners)
