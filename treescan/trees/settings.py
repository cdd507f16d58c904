"""What can be set about finding the ground, the stems, the asked tree and its wood?"""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting


@dataclass(frozen=True)
class TerrainSettings:
    """How the ground surface is found."""

    cell: float = setting(
        0.4,
        "m",
        "cell of the ground grid; grown where the scan is sparse",
        "project_choice",
        low=0.1,
        high=5.0,
    )
    widest_object: float = setting(
        14.0,
        "m",
        "widest thing standing on the ground that must not be taken for ground",
        "project_choice",
        low=1.0,
        high=60.0,
    )
    steepest: float = setting(
        0.9,
        "m/m",
        "steepest ground slope beyond the mean slope that is still believed",
        "project_choice",
        low=0.1,
        high=3.0,
    )
    reach: float = setting(
        25.0,
        "m",
        "how far beyond the scanned ground the surface is continued for standing places",
        "project_choice",
        low=0.0,
        high=100.0,
    )


@dataclass(frozen=True)
class StemSettings:
    """How stems are found."""

    slice_low: float = setting(
        0.5,
        "m",
        "lower end of the slice above the ground in which stems are looked for",
        "project_choice",
        low=0.0,
    )
    slice_high: float = setting(2.5, "m", "upper end of that slice", "project_choice", low=0.5)
    layer: float = setting(
        0.2, "m", "thickness of one layer of the slice", "project_choice", low=0.05, high=0.5
    )
    min_radius: float = setting(0.025, "m", "thinnest stem", "project_choice", low=0.005)
    largest_radius: float = setting(1.6, "m", "thickest stem", "project_choice", low=0.1)
    at_reach: float = setting(
        3.0, "m", "how far from the asked place a stem may stand", "project_choice", low=0.1
    )


@dataclass(frozen=True)
class TreeSettings:
    """All settings of the trees room."""

    terrain: TerrainSettings = TerrainSettings()
    stems: StemSettings = StemSettings()
    cell: float = setting(
        0.02,
        "m",
        "voxel of the neighbour graph; grown where the scan is sparse",
        "project_choice",
        low=0.005,
        high=1.0,
    )
    coarse_cell: float = setting(
        0.12, "m", "voxel of the first, rough segmentation", "project_choice", low=0.03, high=2.0
    )
    wood_cell: float = setting(
        0.005,
        "m",
        "one measured point per voxel of this size stays in the wood cloud; 0 keeps every point",
        "project_choice",
        low=0.0,
        high=0.02,
    )
    foliage_cell: float = setting(
        0.4, "m", "voxel of the twig and leaf density", "project_choice", low=0.1, high=2.0
    )
    obstacle_cell: float = setting(
        0.2, "m", "voxel of the surroundings", "project_choice", low=0.05, high=1.0
    )
    neighbour_reach: float = setting(
        15.0, "m", "how far beyond the crown the surroundings are kept", "project_choice", low=0.0
    )
    wood_limit: float = setting(
        0.4, "-", "wood confidence from which a point counts as wood", "wood_leaf_fit", low=0.05, high=0.95
    )
    max_points: int = setting(60_000_000, "points", "larger clouds are refused", "project_choice", low=1000)
