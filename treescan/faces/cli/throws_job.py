"""From a record of one's own throws to a settings file."""

from __future__ import annotations

from pathlib import Path

from treescan.faces.cli.jobs import read_settings
from treescan.reason import Reason
from treescan.throw.ballistics.own_record import write_settings


def throws_job(record: Path, output: Path, settings: Path | None) -> tuple[list[Path], list[Reason]]:
    """Work out the spread of every method in the record and write it as settings; return the file and a summary."""
    found = []
    for s in write_settings(record, output, read_settings(settings).throw):
        side, up, speed = s.bias
        found.append(
            Reason(
                "throws_spread",
                method=s.method, n=s.throws, side=s.azimuth_sd, up=s.elevation_sd, speed=s.speed_sd,
                off_side=abs(side), left=side < 0, off_up=abs(up), low=up < 0, off_speed=abs(speed), slow=speed < 0,
            )
        )
    return [output], [*found, Reason("use_settings_with", path=str(output))]
