"""How do several scans of one tree become one? Each is fitted onto the first, checked, and refused rather
than joined wrongly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from treescan.cloud.point_cloud import PointCloud
from treescan.cloud.registration.coarse_match import candidates
from treescan.cloud.registration.fine_match import Agreement, agreement, fit
from treescan.cloud.registration.rigid_motion import STILL, RigidMotion
from treescan.cloud.registration.surface import Surface, raised, surface_of
from treescan.cloud.settings import JoinSettings
from treescan.cloud.thin import VoxelSums
from treescan.errors import BadInput
from treescan.progress import Progress, quiet
from treescan.reason import Reason

Floats = NDArray[np.float64]

_CELLS = (0.10, 0.05)
_ROUGH = (1.0, 0.5, 0.3)
_NEARBY = (0.3, 0.15)
_ROUGH_POINTS = 6_000
_ROUGH_REACH = 0.15
_FEWEST = 500
MIX_CELL, MIXED, MOST_UNEVEN = 0.2, 10, 2.0
"""Parts of one scan are told by the shares in cells of this edge [m] with at least so many points: the mean
square of what they are off, by its expectation where chance parted them (1), is below the last."""
WHOLE_STEP = 1.01
"""A move by one step of the coordinates, with what floats add."""


@dataclass(frozen=True)
class _Layers:
    """One scan at three grades of fineness: 10 cm, 5 cm, and the cell of the settings."""

    xyz: Floats
    rough: Surface
    middle: Surface
    fine: Surface


@dataclass(frozen=True)
class _Fitted:
    """A motion, and how well it fits."""

    motion: RigidMotion
    how: Agreement


def join_scans(
    clouds: Sequence[PointCloud], settings: JoinSettings = JoinSettings(), progress: Progress = quiet
) -> PointCloud:
    """Several scans of one tree as one cloud in the frame of the first.

    Parameters
    ----------
    clouds : sequence of PointCloud     In one frame (then only checked, and shifted where they are a little
                                        off) or each in its own.
    settings : JoinSettings
    progress : Progress

    Returns
    -------
    PointCloud      Local metres of the first scan. Columns all have, and "scan": scan
                    position, the number of the file from 0 where each holds one.
                    A note for each further scan tells how it was moved and how well it fits.

    Raises
    ------
    BadInput        Scans that overlap too little, fit too badly, or fit in more than one place.
    RunFailed       open3d does not load.
    """
    if not clouds:
        raise BadInput("no scans to join", remedy="name at least one file")
    if len(clouds) == 1:
        return clouds[0]
    for cloud in clouds:
        if np.count_nonzero(raised(cloud.xyz)) < _FEWEST:
            raise BadInput(
                "has too few points off the ground to be joined with other scans", file=cloud.source
            )
    first = clouds[0]
    placed: dict[int, Floats] = {0: first.xyz}
    notes: dict[int, Reason] = {}
    waiting = list(range(1, len(clouds)))
    while waiting:
        base = _layers(np.concatenate([placed[k] for k in sorted(placed)]), settings)
        refusals: list[BadInput] = []
        for k in waiting:
            progress("joining scans", len(placed) / len(clouds))
            try:
                motion, notes[k] = _place(clouds[k], first, base, settings)
            except BadInput as refusal:
                refusals.append(refusal)
                continue
            placed[k] = motion(_in_frame(clouds[k], first))
            waiting.remove(k)
            break
        else:
            raise refusals[0]
    progress("joining scans", 1.0)
    return _merged(clouds, [placed[k] for k in range(len(clouds))], [notes[k] for k in range(1, len(clouds))])


def _place(
    cloud: PointCloud, first: PointCloud, base: _Layers, settings: JoinSettings
) -> tuple[RigidMotion, Reason]:
    """Where a scan belongs, and the note on it."""
    own = _layers(_in_frame(cloud, first), settings)
    on_one_map = cloud.frame.crs is not None and cloud.frame.crs == first.frame.crs
    found = _closely(own, base, STILL, settings)
    if on_one_map or _fits(found, settings):
        _refuse_bad_fit(found, cloud, first, settings)
        return _checked_in_place(found, own, base, cloud, first, settings)
    found = _anywhere(own, base, cloud, first, settings)
    _refuse_bad_fit(found, cloud, first, settings)
    motion = found.motion
    return motion, Reason(
        "scan_fitted_from_its_own_frame",
        scan=cloud.source,
        onto=first.source,
        turn=motion.turn,
        tilt=motion.tilt,
        shift=np.linalg.norm(motion.shift),
        fit=_how_well(found.how),
    )


def _checked_in_place(
    found: _Fitted, own: _Layers, base: _Layers, cloud: PointCloud, first: PointCloud, settings: JoinSettings
) -> tuple[RigidMotion, Reason]:
    """Scans of one frame: left alone where they lie right, moved by the little they are off where not."""
    off = found.motion.largest_move(own.rough.xyz[own.rough.raised])
    as_read = agreement(own.fine, base.fine, STILL, settings.reach)
    least = max(settings.min_move, WHOLE_STEP * _grid_step(cloud), WHOLE_STEP * _grid_step(first))
    if off <= least or (as_read.median <= found.how.median and as_read.share >= found.how.share):
        return STILL, Reason(
            "scan_left_in_place", scan=cloud.source, onto=first.source, fit=_how_well(as_read)
        )
    return found.motion, Reason(
        "scan_moved_a_little",
        scan=cloud.source,
        onto=first.source,
        off=off,
        turn=found.motion.turn,
        fit=_how_well(found.how),
    )


def _grid_step(cloud: PointCloud) -> float:
    """Widest step its coordinates were rounded or thinned to [m]; 0 where the intake saw none. One voxel
    further two halves of a thinned scan lie on each other and in place never, so no fit tells less than a
    step."""
    found = [note["along"] for note in cloud.notes if note.code == "coordinates_on_a_grid"]
    return max((float(axis["step"]) for along in found for axis in along), default=0.0)


def _anywhere(
    own: _Layers, base: _Layers, cloud: PointCloud, first: PointCloud, settings: JoinSettings
) -> _Fitted:
    """The best fit over all turns about the vertical and all shifts; refused where two places fit about as
    well."""
    starts = candidates(own.xyz[raised(own.xyz)], base.xyz[raised(base.xyz)], settings.candidates)
    tried = []
    for start in starts:
        motion = fit(own.rough, base.rough, start, _ROUGH, settings.seed, _ROUGH_POINTS)
        if motion.tilt <= settings.max_tilt:
            tried.append(_Fitted(motion, agreement(own.rough, base.rough, motion, _ROUGH_REACH)))
    if not tried:
        raise BadInput(
            f"does not fit onto {first.source} without leaning over",
            file=cloud.source,
            remedy="check that both scans are upright",
        )
    tried.sort(key=lambda f: -f.how.share)
    best, here = tried[0], own.rough.xyz[own.rough.raised]
    for other in tried[1:]:
        apart = np.linalg.norm(other.motion(here) - best.motion(here), axis=1).max()
        if (
            apart > 0.5
            and other.how.share >= settings.rival * best.how.share
            and best.how.share >= settings.min_overlap
        ):
            raise BadInput(
                f"fits onto {first.source} in more than one place ({best.how.share:.0%} and "
                f"{other.how.share:.0%} overlap)",
                file=cloud.source,
                remedy="register the scans in the scanner's software and export them in one frame",
            )
    return _closely(own, base, best.motion, settings)


def _closely(own: _Layers, base: _Layers, start: RigidMotion, settings: JoinSettings) -> _Fitted:
    """Fit from 10 cm down to the finest cell, and measure."""
    motion = fit(own.rough, base.rough, start, _NEARBY, settings.seed, _ROUGH_POINTS)
    rough = agreement(own.rough, base.rough, motion, _ROUGH_REACH)
    if motion.tilt > settings.max_tilt or rough.share < settings.min_overlap:
        return _Fitted(motion, agreement(own.fine, base.fine, motion, settings.reach))
    motion = fit(own.middle, base.middle, motion, (0.15, 0.08), settings.seed)
    motion = fit(
        own.fine, base.fine, motion, (2 * settings.cell, settings.cell, 0.5 * settings.cell), settings.seed
    )
    return _Fitted(motion, agreement(own.fine, base.fine, motion, settings.reach))


def _fits(found: _Fitted, settings: JoinSettings) -> bool:
    """Whether a fit is good enough to join by."""
    how = found.how
    return (
        found.motion.tilt <= settings.max_tilt
        and how.share >= settings.min_overlap
        and how.median <= settings.largest_residual
    )


def _refuse_bad_fit(found: _Fitted, cloud: PointCloud, first: PointCloud, settings: JoinSettings) -> None:
    """One sentence on why scans are not joined."""
    if _fits(found, settings):
        return
    how, remedy = (
        found.how,
        "check that both files show the same tree, or register and export them in one frame",
    )
    if how.share < settings.min_overlap:
        what = (
            f"only {how.share:.0%} of it overlaps with {first.source}, {settings.min_overlap:.0%} are needed"
        )
    elif how.median > settings.largest_residual:
        what = (
            f"lies {1000 * how.median:.0f} mm off {first.source} in the middle, "
            f"{1000 * settings.largest_residual:.0f} mm are allowed"
        )
    else:
        what = f"would have to lean {np.degrees(found.motion.tilt):.0f} degrees to fit onto {first.source}"
    raise BadInput(f"cannot be joined: {what}", file=cloud.source, remedy=remedy)


def _how_well(how: Agreement) -> Reason:
    """Overlap and residual."""
    return Reason("scans_agree", share=how.share, median=how.median, high=how.high)


def _layers(xyz: Floats, settings: JoinSettings) -> _Layers:
    """The three grades of one scan."""
    return _Layers(xyz, *(surface_of(xyz, cell) for cell in (*_CELLS, settings.cell)))


def _in_frame(cloud: PointCloud, first: PointCloud) -> Floats:
    """Points of a scan in the first one's local metres, where one map ties them, else its own."""
    if (cloud.frame.crs is None and first.frame.crs is None) or cloud.frame.crs == first.frame.crs:
        return cloud.xyz + (cloud.frame.origin - first.frame.origin)
    return cloud.xyz


def positions_of(clouds: Sequence[PointCloud], xyz: Sequence[Floats]) -> NDArray:
    """Scan position of every point: what the files say where they are parts of one scan, else every position
    of every file for itself, from 0."""
    told = [cloud.columns.get("scan", np.zeros(len(cloud), np.uint16)) for cloud in clouds]
    names = [np.unique(own) for own in told]
    alike = all(np.array_equal(names[0], other) for other in names[1:])
    if alike and (len(names[0]) > 1 or all(_parted_by_chance(xyz[0], other) for other in xyz[1:])):
        return np.concatenate(told)
    start = np.concatenate([[0], np.cumsum([len(n) for n in names])[:-1]])
    own = [np.searchsorted(n, of) + s for n, of, s in zip(names, told, start, strict=True)]
    return np.concatenate(own).astype(np.uint16 if start[-1] + len(names[-1]) < 1 << 16 else np.int32)


def _parted_by_chance(one: Floats, two: Floats) -> bool:
    """Whether two sets of points have everywhere the same share of those that lie there, as far as chance
    allows: two parts of one scan have, two scan positions never."""
    mixed = VoxelSums(MIX_CELL)
    mixed.add(one)
    alone = mixed.counts.copy()
    mixed.add(two)
    both = mixed.counts
    mine = np.zeros(len(both), np.int64)
    mine[: len(alone)] = alone
    share = len(one) / (len(one) + len(two))
    many = both >= MIXED
    if not many.any():
        return False
    chance = both[many] * share * (1.0 - share)
    return bool(np.mean((mine[many] - both[many] * share) ** 2 / chance) < MOST_UNEVEN)


def _merged(clouds: Sequence[PointCloud], xyz: Sequence[Floats], notes: Sequence[Reason]) -> PointCloud:
    """All points one after another; columns all scans have, and the number of the file."""
    shared = [c for c in clouds[0].columns if c != "scan" and all(c in other.columns for other in clouds)]
    columns = {c: np.concatenate([cloud.columns[c] for cloud in clouds]) for c in shared}
    columns["scan"] = positions_of(clouds, xyz)
    held = [note for cloud in clouds for note in cloud.notes]
    source = " + ".join(cloud.source for cloud in clouds)
    none = np.zeros((0, 3))
    return replace(
        clouds[0],
        xyz=np.concatenate(xyz),
        columns=columns,
        source=source,
        notes=(*held, *notes),
        scanners=none,
    )
