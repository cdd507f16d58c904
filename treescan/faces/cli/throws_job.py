"""From a record of one's own throws to a settings file."""

from __future__ import annotations

from math import degrees
from pathlib import Path

from treescan.faces.cli.jobs import read_settings
from treescan.throw.ballistics.own_record import write_settings
from treescan.throw.settings import METHOD_WORDS


def throws_job(record: Path, output: Path, settings: Path | None) -> tuple[list[Path], list[str]]:
    """Work out the spread of every method in the record and write it as settings; return the file and a summary."""
    lines = []
    for s in write_settings(record, output, read_settings(settings).throw):
        lines.append(
            f"{METHOD_WORDS[s.method]}: {s.throws} throws, spread {degrees(s.azimuth_sd):.1f} deg to the side, {degrees(s.elevation_sd):.1f} deg up and "
            f"down, {100 * s.speed_sd:.1f} % of the speed; on average {degrees(s.bias[0]):+.1f} deg to the right, {degrees(s.bias[1]):+.1f} deg up, "
            f"{100 * s.bias[2]:+.1f} % too fast."
        )
    return [output], [*lines, f"Use it with: treescan plan ... --settings {output}"]
