"""Round an asked place only what lies near is read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from written_clouds import bush, write_las

from treescan.cloud.intake import intake
from treescan.cloud.read import read_cloud
from treescan.cloud.settings import CloudSettings
from treescan.errors import BadInput
from treescan.outputs.text.say import say

FOOT = 0.3048
SETTINGS = CloudSettings()


def row_of_trees(count: int) -> np.ndarray:
    """Bushes 50 m apart along x, at map coordinates."""
    trees = [bush(2000, seed=k) + np.array([50.0 * k, 0.0, 0.0]) for k in range(count)]
    return np.concatenate(trees) + np.array([512_000.0, 5_400_000.0, 0.0])


@pytest.mark.parametrize("unit", [1.0, FOOT])
def test_only_the_asked_tree_is_kept(tmp_path, unit):
    """Of four trees the one at the asked place, in the file's own unit, and the rest is counted in a note."""
    path = write_las(tmp_path / "tile.las", row_of_trees(4) / unit, scale=0.001)
    place = (512_100.0 / unit, 5_400_000.0 / unit)
    kept = read_cloud(path, unit="m" if unit == 1.0 else "ft", round_place=place, settings=SETTINGS)

    there = kept.frame.to_map(kept.xyz)
    assert len(kept) == 2000
    assert np.abs(there[:, 0] - 512_100.0).max() <= SETTINGS.window
    note = next(n for n in kept.notes if n.code == "beyond_the_window")
    assert note["n"] == 6000
    assert "too far from the asked place" in say(note)
    assert not any(n.code == "bounds_differ" for n in kept.notes)


def test_thinned_reading_keeps_the_window_as_well(tmp_path):
    """The centroids of the same points."""
    path = write_las(tmp_path / "tile.las", row_of_trees(3))
    kept = read_cloud(path, thin=0.1, round_place=(512_000.0, 5_400_000.0))

    assert kept.columns["points"].sum() == 2000


def test_a_window_without_points_names_the_option(tmp_path):
    """No bare 'holds no points'."""
    path = write_las(tmp_path / "tile.las", row_of_trees(1))
    with pytest.raises(BadInput, match=r"no point within 20 m of the asked place.*--at"):
        read_cloud(path, round_place=(513_000.0, 0.0), settings=replace(SETTINGS, window=20.0))


def test_too_many_points_are_refused_before_any_is_read(tmp_path, monkeypatch):
    """A file that says how many it holds is not read; one that does not is refused as soon as there are too many; a window may hold fewer."""
    xyz = bush(3000)
    las, text = write_las(tmp_path / "c.las", xyz), tmp_path / "c.xyz"
    np.savetxt(text, xyz, "%.3f")
    read = []
    monkeypatch.setattr(intake, "_until_usable", lambda chunks: read.append(1))
    with pytest.raises(BadInput, match=r"3000 points are more than the 1000 that are taken.*--at X,Y"):
        read_cloud(las, most=1000)
    assert not read
    monkeypatch.undo()

    with pytest.raises(BadInput, match="3000 points are more than the 2999"):
        read_cloud(text, most=2999)
    with pytest.raises(BadInput, match="are more than the 1000"):
        read_cloud(las, most=1000, round_place=(0.0, 0.0), settings=replace(SETTINGS, window=20.0))
    assert len(read_cloud(las, most=3000)) == 3000
