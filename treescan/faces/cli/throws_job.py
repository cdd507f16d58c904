"""From a record of one's own throws to a settings file."""

from __future__ import annotations

from pathlib import Path

from treescan.atomic import write_text
from treescan.faces.guard.input_files import check_inputs
from treescan.faces.guard.output_place import check_file, is_marked
from treescan.faces.user_files.settings_file import read_settings
from treescan.outputs.text.say import text
from treescan.reason import Reason
from treescan.throw.ballistics.own_record import OwnSpread, own_spread, read_record
from treescan.throw.detail.steps import how_they_go


def throws_job(record: Path, output: Path, settings: Path | None) -> tuple[list[Path], list[Reason]]:
    """Work out the spread of every method in the record and write it as settings; return the file and a
    summary."""
    inputs = [p for p in (record, settings) if p is not None]
    check_inputs(inputs)
    check_file(output, inputs, lambda p: is_marked(p, "# " + text("own_settings_head")))
    spreads = own_spread(read_record(record), read_settings(settings).throw)
    write_text(output, settings_text(spreads))
    return [output], [*(_summary(s) for s in spreads), Reason("use_settings_with", path=str(output))]


def _summary(s: OwnSpread) -> Reason:
    """What was found about one way of throwing."""
    sd, bias = s.sd, s.bias
    return Reason(
        "throws_spread",
        method=s.method,
        n=s.throws,
        side=sd.side,
        up=sd.elevation,
        speed=sd.speed,
        off_side=abs(bias.side),
        left=bias.side < 0,
        off_up=abs(bias.elevation),
        low=bias.elevation < 0,
        off_speed=abs(bias.speed),
        slow=bias.speed < 0,
    )


def settings_text(spreads: tuple[OwnSpread, ...]) -> str:
    """Spreads and mean errors as settings for `plan --settings`, TOML; values outside what a setting takes
    are brought to its limit."""
    lines = ["# " + text("own_settings_head")]
    for s in spreads:
        values = _values(s)
        upper = {"side": s.high.side, "elevation": s.high.elevation, "speed": s.high.speed}
        lines += [
            "",
            "# " + text("own_settings_spread", **(values | upper)),
            "# " + text("own_settings_bias", **values),
            f"[throw.{s.method}]",
        ]
        lines += [f"{name} = {value:.5f}" for name, value in s.settings.items()]
    return "\n".join(lines) + "\n"


def _values(s: OwnSpread) -> dict[str, str | int | float | tuple[Reason, ...]]:
    return {
        "method": s.method,
        "throws": s.throws,
        "side": s.sd.side,
        "elevation": s.sd.elevation,
        "speed": s.sd.speed,
        "went": how_they_go(s.bias)[0],
    }
