"""The command line: what was asked for, what came of it, and one clear sentence when it could not be done."""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from treescan.errors import BadInput, TreescanError
from treescan.faces.cli.options import (
    SYSTEM_NAMES,
    Again,
    Also,
    At,
    BatchFolder,
    BatchInputs,
    BatchInventory,
    Client,
    ClimberMass,
    Cloud,
    CloudOrTree,
    Cuts,
    Dossier,
    Each,
    FieldsFile,
    Host,
    Inventory,
    Jobs,
    JobSite,
    JoinedFolder,
    Json,
    Overrides,
    Places,
    PlanFolder,
    PlanFolders,
    Planner,
    Port,
    Quiet,
    Record,
    Replace,
    ScanDate,
    Scheduler,
    Scope,
    Seed,
    SessionFile,
    SessionFolder,
    SettingsFile,
    SettingsOut,
    ShowSettings,
    SitePlan,
    Species,
    Systems,
    ThrowRecord,
    TimeLimit,
    Tolerance,
    TreeFile,
    TreeNumber,
    TriageOnly,
    Unit,
    Wires,
    WorkAsked,
    WorkerMemory,
    Workers,
)
from treescan.faces.guard.input_files import check_words
from treescan.faces.guard.output_place import named_file

if TYPE_CHECKING:
    from treescan.reason import Reason

INTERRUPTED = 130
USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[2]
"""Any fault in the call itself; the base of typer's own errors, wherever this version of typer keeps it."""

app = typer.Typer(
    name="treescan",
    help="From a laser scan of a tree: candidate tie-in points for a climbing arborist to inspect, how to get "
    "a rope there, what load they would see, what catches next, and what the scan could not see. "
    "A planning aid, never permission to climb.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.command()
def inspect(cloud: Cloud, unit: Unit = None, quiet: Quiet = False, as_json: Json = False) -> None:
    """Say what a file holds: units, coordinate system, extent, density, and what is wrong with it."""
    from treescan.cloud.inspect import inspect_cloud
    from treescan.faces.told.inspection_lines import inspection_data, inspection_lines
    from treescan.faces.told.progress_bar import reporter
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
    output: TreeFile,
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
        TreeRequest(cloud, at, unit, settings, tuple(also or ())), named_file(output), quiet, as_json
    )
    _say(files, found, quiet, as_json)


@app.command()
def plan(
    context: typer.Context,
    cloud: CloudOrTree = None,
    output: PlanFolder = None,
    at: At = None,
    unit: Unit = None,
    also: Also = None,
    species: Species = None,
    climber_mass: ClimberMass = None,
    system: Systems = None,
    work: WorkAsked = None,
    cuts: Cuts = None,
    overrides: Overrides = None,
    site: SitePlan = None,
    wires: Wires = None,
    client: Client = None,
    job_site: JobSite = None,
    tree_number: TreeNumber = None,
    scan_date: ScanDate = None,
    planner: Planner = None,
    scope: Scope = None,
    record: Record = None,
    dossier: Dossier = False,
    session: SessionFile = None,
    again: Again = None,
    settings: SettingsFile = None,
    seed: Seed = 1,
    jobs: Jobs = None,
    replace: Replace = False,
    quiet: Quiet = False,
    as_json: Json = False,
    show_settings: ShowSettings = False,
) -> None:
    """Do the main job: ranked candidate tie-in points with reasons, in a report to open and files to use."""
    from treescan.faces.cli.jobs import plan_job, settings_table
    from treescan.faces.cli.request import JobFields, PlanRequest, TreeRequest

    if show_settings:
        print(settings_table(settings, climber_mass))
        return
    if again is not None:
        from treescan.faces.cli.again_job import again_job

        _check_alone(context)
        if output is None:
            raise BadInput("--again needs -o DIR", remedy="for example: treescan plan --again out/run.json -o out2")
        _say(*again_job(again, output, jobs, replace, quiet, as_json), quiet, as_json)
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
        replace,
        JobFields(client, job_site, tree_number, scan_date, planner, scope, dossier),
        record,
        wires,
        session,
    )
    files, found = plan_job(request, quiet, as_json)
    _say(files, found, quiet, as_json)


@app.command()
def join(
    inventory: Inventory,
    folders: PlanFolders,
    output: JoinedFolder,
    fields: FieldsFile = None,
    tolerance: Tolerance = 3.0,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Join results back to a tree inventory, by identifier, else by place; doubts and left-overs are
    named."""
    from treescan.faces.cli.inventory_job import inventory_job

    files, found = inventory_job(inventory, folders, output, fields, tolerance)
    _say(files, found, quiet, as_json)


@app.command()
def batch(
    inputs: BatchInputs,
    output: BatchFolder,
    inventory: BatchInventory = None,
    fields: FieldsFile = None,
    tolerance: Tolerance = 3.0,
    species: Species = None,
    unit: Unit = None,
    each: Each = False,
    triage_only: TriageOnly = False,
    settings: SettingsFile = None,
    seed: Seed = 1,
    workers: Workers = None,
    memory: WorkerMemory = "4GB",
    scheduler: Scheduler = None,
    time_limit: TimeLimit = 60.0,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Plan every tree of a folder of tiles, or those of an inventory, on many cores or machines; stopped at any
    moment, the same call goes on."""
    from treescan.faces.city.asked import BatchRequest
    from treescan.faces.city.batch_job import batch_job

    request = BatchRequest(
        tuple(inputs),
        output,
        inventory,
        fields,
        tolerance,
        species,
        unit,
        each,
        triage_only,
        settings,
        seed,
        workers,
        memory,
        scheduler,
        time_limit,
    )
    files, found = batch_job(request, quiet, as_json)
    _say(files, found, quiet, as_json)


@app.command()
def throws(
    record: ThrowRecord,
    output: SettingsOut,
    settings: SettingsFile = None,
    quiet: Quiet = False,
    as_json: Json = False,
) -> None:
    """Work out how widely your own throws spread, as settings for plan."""
    from treescan.faces.cli.throws_job import throws_job

    files, found = throws_job(record, named_file(output), settings)
    _say(files, found, quiet, as_json)


@app.command()
def serve(places: Places = None, output: SessionFolder = Path("treescan_sessions"), host: Host = None, port: Port = 0) -> None:
    """Open the planner's page in a browser on this machine: change, look, compare; every change is kept."""
    import os
    from getpass import getpass

    from treescan.faces.served.serving import serve as serve_page
    from treescan.outputs.text.say import text

    password = "" if host is None else os.environ.get("TREESCAN_PASSWORD") or getpass("Password: ")

    def told(link: str) -> None:
        print(text("served_open", link=link) if host is None else text("served_open_to_all", link=link), flush=True)

    serve_page(places or (), output, host, port, password, told)


def _check_alone(context: typer.Context) -> None:
    """BadInput where an option was given that the record states itself."""
    free = {"again", "output", "jobs", "replace", "quiet", "as_json", "show_settings"}
    given = [
        "--" + name.replace("_", "-")
        for name in context.params
        if name not in free and str(context.get_parameter_source(name)).endswith("COMMANDLINE")
    ]
    if given:
        raise BadInput(f"--again states {', '.join(given)} itself", remedy="leave one of them out")


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
    """Run one command and return its exit code; every failure is one sentence on standard error."""
    if any(a == "" or (a.startswith("--") and a.endswith("=")) for a in arguments):
        _complain("empty_argument")
        return 2
    try:
        check_words(arguments)
        with warnings.catch_warnings():
            if not sys.warnoptions:
                warnings.simplefilter("ignore")  # what libraries say to programmers
            returned = app(list(arguments), standalone_mode=False)
        if returned == INTERRUPTED:
            raise KeyboardInterrupt  # some versions of typer turn it into a return value
    except TreescanError as err:
        return _refused(err)
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
    except Exception as err:  # the last net: whatever it is, one sentence
        from treescan.faces.guard.last_net import told

        return _refused(told(err, arguments))
    return 0


def _refused(err: TreescanError) -> int:
    """The sentence of an error on standard error, names of any bytes included; its exit code."""
    sentence = f"treescan: {err.sentence()}\n".encode("utf-8", "backslashreplace").decode("utf-8")
    print("".join(c if c.isprintable() or c == "\n" else "?" for c in sentence), end="", file=sys.stderr)
    return err.exit_code
