"""`treescan inspect`: what the file holds, in words and as data."""

from __future__ import annotations

import json
import subprocess
import sys

import numpy as np
import pytest
from written_clouds import bush, write_las, write_ply

from treescan.cloud.inspect import inspect_cloud
from treescan.cloud.intake.spacing import plan_density, point_spacing
from treescan.cloud.thin import VoxelSums
from treescan.faces.told.inspection_lines import inspection_data, inspection_lines
from treescan.outputs.text.say import say_all
from treescan.reason import Reason, from_plain


def test_an_inspection_says_it_all(tmp_path):
    """Format, version, counts, extent in metres of the map, unit, map, density, classes: as lines and as JSON."""
    xyz = bush(3000) + np.array([200_000.0, 260_000.0, 120.0])
    code = np.where(np.arange(3000) < 100, 2, 5).astype(np.uint8)
    doubled = np.concatenate([xyz, xyz[:7]]) / 0.3048
    path = write_las(
        tmp_path / "a.laz", doubled, crs="EPSG:2992", scale=1e-5, offset=(650_000, 850_000, 390), classification=np.append(code, [2] * 7)
    )

    found = inspect_cloud(path)
    data = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    text = "\n".join(say_all(inspection_lines(found)))

    assert (found.format, found.version) == ("LAZ", Reason("las_version", version="1.4", point_format=6))
    assert (found.points_in_file, found.points_kept) == (3007, 3000)
    assert found.left_out == {"exact_duplicates": 7}
    assert found.low == pytest.approx(tuple(xyz.min(axis=0)), abs=1e-5)
    assert found.high == pytest.approx(tuple(xyz.max(axis=0)), abs=1e-5)
    assert (found.unit, found.file_crs) == (Reason("unit_feet"), "EPSG:2992")
    assert data["classes"] == {"2": 100, "5": 2900}
    assert [from_plain(n) for n in data["notes"]] == list(found.notes)
    told = inspection_data(found)
    assert told["notes"] == list(say_all(found.notes))
    assert [n["code"] for n in told["notes_data"]] == [n.code for n in found.notes]
    for words in ("LAZ (1.4", "3,000 of 3,007", "7 exact duplicates", "international feet", "EPSG:2992", "2 ground: 100", "density", "note "):
        assert words in text


def test_spacing_is_the_median_nearest_distance():
    """On a lattice the spacing is its step; in a random cloud it is that of all pairs compared."""
    grid = np.stack(np.meshgrid(*[np.arange(20) * 0.05] * 3), axis=-1).reshape(-1, 3)
    cloud = np.random.default_rng(1).uniform(0, 3, (4000, 3))
    gaps = np.sort(np.linalg.norm(cloud[:, None] - cloud[None, ::8], axis=2), axis=0)[1]

    def spacing(xyz):
        cells = VoxelSums(1.0)
        cells.add(xyz)
        return point_spacing(xyz, cells, np.random.default_rng(0))

    assert spacing(grid) == pytest.approx(0.05)
    assert spacing(cloud) == pytest.approx(np.median(gaps), rel=0.1)
    assert np.isnan(spacing(grid[:1]))


def test_density_counts_filled_plan_only():
    """A 10 m square with 25 points a square metre, and nothing for the empty land around."""
    x, y = np.meshgrid(np.arange(0.1, 10, 0.2), np.arange(0.1, 10, 0.2))
    cells = VoxelSums(1.0)
    cells.add(np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]))

    assert plan_density(cells) == pytest.approx(25.0)


def test_inspecting_twice_gives_the_same(tmp_path):
    """The drawn sample has a fixed seed."""
    path = write_ply(tmp_path / "a.ply", bush(2000))

    assert inspect_cloud(path) == inspect_cloud(path)


def test_progress_is_told(tmp_path):
    """Shares never fall and end at one."""
    heard = []
    inspect_cloud(write_las(tmp_path / "a.las", bush(2000)), lambda stage, share: heard.append(share))

    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_naming_the_room_loads_nothing_heavy():
    """`import treescan.cloud` brings in no reader, no compiler and no projection library."""
    code = "import sys, treescan.cloud; print([m for m in ('laspy', 'open3d', 'scipy', 'numba', 'pye57', 'pyproj') if m in sys.modules])"

    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


def test_reading_loads_no_open3d():
    """The readers get along without the heaviest libraries."""
    code = "import sys, treescan.cloud.inspect; print([m for m in ('open3d', 'pandas', 'pye57') if m in sys.modules])"

    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
