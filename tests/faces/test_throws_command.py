"""`treescan throws`: from a record to settings that plan takes."""

import numpy as np

from treescan.faces.cli.commands import run
from treescan.faces.cli.jobs import read_settings
from treescan.throw.ballistics.own_record import COLUMNS


def _record(path, rows):
    path.write_text("\n".join([",".join(COLUMNS), *(",".join(str(v) for v in r) for r in rows)]), encoding="utf-8")
    return path


def test_a_record_becomes_settings_that_plan_takes(tmp_path, capsys):
    """Twelve throws: the file written is read back as settings with another spread; the summary names the method."""
    rng = np.random.default_rng(1)
    rows = [("hand", 6, 9, 68, round(9 + h, 2), round(s, 2), round(14.5 + r, 2)) for h, s, r in rng.normal(0, (0.5, 0.2, 0.6), (12, 3))]
    code = run(["throws", str(_record(tmp_path / "mine.csv", rows)), "-o", str(tmp_path / "mine.toml")])

    assert code == 0
    assert "12 throws with one hand" in capsys.readouterr().out
    assert read_settings(tmp_path / "mine.toml").throw.hand.side_sd != read_settings(None).throw.hand.side_sd


def test_a_record_too_short_ends_in_one_sentence(tmp_path, capsys):
    """Three throws: exit code 2, nothing written."""
    code = run(["throws", str(_record(tmp_path / "mine.csv", [("hand", 6, 9, 68, 9, 0, 14)] * 3)), "-o", str(tmp_path / "mine.toml")])

    assert code == 2
    assert "too few" in capsys.readouterr().err
    assert not (tmp_path / "mine.toml").exists()
