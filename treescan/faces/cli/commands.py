"""The command line: what was asked for, what came of it, and one clear sentence when it could not be done."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from treescan.errors import BadInput, TreescanError

if TYPE_CHECKING:
    from treescan.reason import Reason

SYSTEM_NAMES = ("MRS", "SRS canopy", "SRS basal")
INTERRUPTED = 130
USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[2]
"""Any fault in the call itself; the base of typer's own errors, wherever this version of typer keeps it."""

app = typer.Typer(
    name="treescan",
    help="From a laser scan of a tree: candidate tie-in points for a climbing arborist to inspect, how to "
    "get a rope there, what load they "
    "would see, what catches next, and what the scan could not see. A planning aid, never permission to "
    "climb.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Cloud = Annotated[
    str,
    typer.Argument(metavar="CLOUD", help="Point cloud: LAS, LAZ, COPC, PLY, PCD, E57, XYZ, TXT, CSV or PTS."),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="X,Y",
        help="Which tree, in the cloud's own coordinates and units, as a GIS shows them. Default: the "
        "largest.",
    ),
]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", metavar="FILE.toml", help="Settings to put over the defaults.")
]
Also = Annotated[
    list[str] | None,
    typer.Option(
        "--also",
        metavar="CLOUD",
        help="A further scan of the same tree, repeatable: fitted onto the first, or refused.",
    ),
]
Unit = Annotated[
    str | None,
    typer.Option(
        "--unit", metavar="UNIT", help="m, ft, us-ft, cm or mm: overrules what the file says of its unit."
    ),
]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress bar and no summary.")]
Json = Annotated[bool, typer.Option("--json", help="Progress and result as JSON lines on standard output.")]


@app.command()
def inspect(cloud: Cloud, unit: Unit = None, quiet: Quiet = False, as_json: Json = False) -> None:
    """Say what a file holds: units, coordinate system, extent, density, and what is wrong with it."""
    from treescan.cloud.inspect import inspect_cloud
    from treescan.faces.cli.inspection_lines import inspection_data, inspection_lines
    from treescan.faces.cli.progress_bar import reporter
    from treescan.outputs.text.say import say_all

    with reporter(quiet, as_json) as report:
        found = inspect_cloud(cloud, progress=report, unit=unit)
    if as_json:
        print(json.dumps({"result": inspection_data(found)}))
    else:
        print("\n".join(say_all(inspection_lines(found))))


@app.command()
def trace(
    cloud: Cloud,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="tree.json", help="Where the wood graph goes.")
    ],
    at: At = None,
    unit: Unit = None,
    also: Also = None,
    settings: SettingsFile = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Measure the tree: limbs, unions and diameters, written as tree.json."""
    from treescan.faces.cli.jobs import trace_job
    from treescan.faces.cli.request import TreeRequest

    files, found = trace_job(
        TreeRequest(cloud, at, unit, settings, tuple(also or ())), output, quiet, as_json
    )
    _say(files, found, quiet, as_json)


@app.command()
def plan(
    cloud: Annotated[
        str | None,
        typer.Argument(
            metavar="CLOUD|tree.json", help="Point cloud, or a tree.json made earlier or by hand."
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="DIR", help="Folder for the report and all files."),
    ] = None,
    at: At = None,
    unit: Unit = None,
    also: Also = None,
    species: Annotated[
        str | None, typer.Option(help="Common or botanical name. Default: unknown, judged with low strength.")
    ] = None,
    climber_mass: Annotated[
        float | None, typer.Option("--climber-mass", metavar="KG", help="Climber with gear.")
    ] = None,
    system: Annotated[
        list[str] | None,
        typer.Option(
            "--system",
            metavar="SYSTEM",
            help=f"Rope system, repeatable: {', '.join(SYSTEM_NAMES)}. Default: all.",
        ),
    ] = None,
    work: Annotated[
        list[str] | None,
        typer.Option(
            "--work",
            metavar="WORK",
            help="Where hands must get to, repeatable: a GeoJSON or CSV file, or crown, deadwood, limb:12, "
            "limb:U07, sample:300, "
            "sample:300:5. Default: the cuts, else the whole crown.",
        ),
    ] = None,
    cuts: Annotated[
        Path | None,
        typer.Option(
            "--cuts", metavar="FILE.csv", help="Cuts of a removal in their order: limb, union or stem height."
        ),
    ] = None,
    overrides: Annotated[
        Path | None,
        typer.Option(
            "--overrides",
            metavar="FILE",
            help="Findings of a competent person: refused, dead, defect, load test; with who and why.",
        ),
    ] = None,
    site: Annotated[
        Path | None,
        typer.Option(
            "--site",
            metavar="FILE.geojson",
            help="No-stand areas, buildings, roads, water, conductors with voltage, anchors in other "
            "trees, bases for basal lines.",
        ),
    ] = None,
    settings: SettingsFile = None,
    seed: Annotated[int, typer.Option(help="Seed of all random draws.")] = 1,
    jobs: Annotated[
        int | None, typer.Option("--jobs", min=1, metavar="N", help="Processor cores to use. Default: all.")
    ] = None,
    quiet: Quiet = False,
    as_json: Json = False,
    show_settings: Annotated[
        bool,
        typer.Option(
            "--show-settings", help="Print every setting with its value, unit, meaning and source, then stop."
        ),
    ] = False,
) -> None:
    """Do the main job: ranked candidate tie-in points with reasons, in a report to open and files to use."""
    from treescan.faces.cli.jobs import plan_job, settings_table
    from treescan.faces.cli.request import PlanRequest, TreeRequest

    if show_settings:
        print(settings_table(settings, climber_mass))
        return
    if cloud is None or output is None:
        raise BadInput(
            "plan needs a CLOUD (or a tree.json) and -o DIR",
            remedy="for example: treescan plan scan.laz -o out",
        )
    tree = TreeRequest(cloud, at, unit, settings, tuple(also or ()))
    request = PlanRequest(
        tree,
        output,
        species,
        climber_mass,
        tuple(system or SYSTEM_NAMES),
        tuple(work or ()),
        site,
        seed,
        jobs,
        cuts,
        overrides,
    )
    files, found = plan_job(request, quiet, as_json)
    _say(files, found, quiet, as_json)


@app.command()
def join(
    inventory: Annotated[
        Path,
        typer.Argument(metavar="INVENTORY", help="Tree inventory: GeoPackage, shapefile, GeoJSON or CSV."),
    ],
    folders: Annotated[
        list[Path], typer.Argument(metavar="DIR...", help="Folders written by treescan plan.")
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="DIR", help="Folder for the joined inventory.")
    ],
    fields: Annotated[
        Path | None,
        typer.Option(
            "--fields",
            metavar="FILE.toml",
            help="Names of the inventory's fields, table [fields]: id, x, y, species, dbh_cm, crs.",
        ),
    ] = None,
    tolerance: Annotated[
        float, typer.Option(min=0.0, metavar="M", help="Farthest distance of the two places of one tree.")
    ] = 3.0,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Join results back to a tree inventory, by identifier, else by place; doubts and left-overs are
    named."""
    from treescan.faces.cli.inventory_job import inventory_job

    files, found = inventory_job(inventory, folders, output, fields, tolerance)
    _say(files, found, quiet, as_json)


@app.command()
def throws(
    record: Annotated[
        Path,
        typer.Argument(
            metavar="RECORD.csv",
            help="One throw a line: method, distance_m, aimed_height_m, elevation_deg, got_height_m, "
            "got_side_m, got_range_m; from the release point.",
        ),
    ],
    output: Annotated[
        Path,
        typer.Option(
            "-o", "--output", metavar="FILE.toml", help="Settings file to write, for plan --settings."
        ),
    ],
    settings: SettingsFile = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Work out how widely your own throws spread, as settings for plan."""
    from treescan.faces.cli.throws_job import throws_job

    files, found = throws_job(record, output, settings)
    _say(files, found, quiet, as_json)


def _say(files: Sequence[Path], found: Sequence[Reason], quiet: bool, as_json: bool) -> None:
    """The result: as a JSON line, in words, or not at all."""
    from treescan.outputs.data.reason_data import all_with_data
    from treescan.outputs.text.say import say_all

    if as_json:
        print(json.dumps({"result": {"files": [str(f) for f in files], **all_with_data("summary", found)}}))
    elif not quiet:
        print("\n".join(say_all(found)))


def _message(error: Exception) -> str:
    """What typer has to say of a faulty call."""
    return str(error.format_message()) if hasattr(error, "format_message") else str(error)


def _complain(code: str, **values: str) -> None:
    """One sentence on standard error."""
    from treescan.outputs.text.say import text

    print(text(code, **values), file=sys.stderr)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit code; every expected failure is one sentence on standard error."""
    try:
        if app(list(arguments), standalone_mode=False) == INTERRUPTED:
            raise KeyboardInterrupt  # some versions of typer turn it into a return value
    except TreescanError as err:
        print(f"treescan: {err.sentence()}", file=sys.stderr)
        return err.exit_code
    except USAGE_ERROR as err:
        if type(err).__name__ == "NoArgsIsHelpError":
            print(_message(err))
            return 0
        _complain("call_not_understood", message=" ".join(_message(err).split()))
        return 2
    except (KeyboardInterrupt, typer.Abort):
        _complain("stopped")
        return INTERRUPTED
    except MemoryError:
        _complain("out_of_memory")
        return 1
    except BrokenPipeError:
        return 1
    return 0
