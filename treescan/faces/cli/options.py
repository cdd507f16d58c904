"""What can be given to a command? Every option and argument with its help, which is the manual's source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

SYSTEM_NAMES = ("MRS", "SRS canopy", "SRS basal")
"""Rope systems, as the loads room names them; written here too so that help comes up without loading it."""

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

TreeFile = Annotated[
    str, typer.Option("-o", "--output", metavar="tree.json", help="Where the wood graph goes.")
]
CloudOrTree = Annotated[
    str | None,
    typer.Argument(metavar="CLOUD|tree.json", help="Point cloud, or a tree.json made earlier or by hand."),
]
PlanFolder = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="DIR", help="Folder for the report and all files."),
]
Species = Annotated[
    str | None, typer.Option(help="Common or botanical name. Default: unknown, judged with low strength.")
]
ClimberMass = Annotated[float | None, typer.Option("--climber-mass", metavar="KG", help="Climber with gear.")]
Systems = Annotated[
    list[str] | None,
    typer.Option(
        "--system",
        metavar="SYSTEM",
        help=f"Rope system, repeatable: {', '.join(SYSTEM_NAMES)}. Default: all.",
    ),
]
WorkAsked = Annotated[
    list[str] | None,
    typer.Option(
        "--work",
        metavar="WORK",
        help="Where hands must get to, repeatable: a GeoJSON or CSV file, or crown, deadwood, limb:12, "
        "limb:U07, sample:300, "
        "sample:300:5. Default: the cuts, else the whole crown.",
    ),
]
Cuts = Annotated[
    Path | None,
    typer.Option(
        "--cuts", metavar="FILE.csv", help="Cuts of a removal in their order: limb, union or stem height."
    ),
]
Overrides = Annotated[
    Path | None,
    typer.Option(
        "--overrides",
        metavar="FILE",
        help="Findings of a competent person: refused, dead, defect, load test; with who and why.",
    ),
]
SitePlan = Annotated[
    Path | None,
    typer.Option(
        "--site",
        metavar="FILE.geojson",
        help="No-stand areas, buildings, roads, water, conductors with voltage, anchors in other "
        "trees, bases for basal lines.",
    ),
]
Client = Annotated[
    str | None, typer.Option("--client", metavar="NAME", help="For whom: printed on the job sheet.")
]
JobSite = Annotated[
    str | None, typer.Option("--job-site", metavar="PLACE", help="Where the tree stands: printed on the job sheet.")
]
TreeNumber = Annotated[
    str | None,
    typer.Option("--tree-number", metavar="NUMBER", help="Of the tree in the inventory: printed on the job sheet."),
]
ScanDate = Annotated[
    str | None, typer.Option("--scan-date", metavar="DATE", help="Day of the scan: printed on the job sheet.")
]
Planner = Annotated[
    str | None, typer.Option("--planner", metavar="NAME", help="Who made the plan: printed on the job sheet.")
]
Scope = Annotated[
    str | None, typer.Option("--scope", metavar="WORDS", help="The work in words: printed on the job sheet.")
]
Record = Annotated[
    Path | None,
    typer.Option(
        "--record",
        metavar="INVENTORY",
        help="Inventory whose record of --tree-number fills in client, site and scan date.",
    ),
]
Dossier = Annotated[
    bool, typer.Option("--dossier", help="Also write dossier.pdf: every page beyond the two of the job sheet.")
]
Wires = Annotated[
    str | None,
    typer.Option(
        "--wires",
        metavar="none|VOLTS",
        help="What the wires that the scan saw are: none, or their voltage, as 230V or 20kV. Not said: live, "
        "voltage unknown.",
    ),
]
Places = Annotated[
    list[str] | None,
    typer.Argument(metavar="[DIR|CLOUD|tree.json]...", help="Folders of plans, clouds, or tree.json files. Default: this folder."),
]
SessionFolder = Annotated[
    Path,
    typer.Option("-o", "--output", metavar="DIR", help="Folder for sessions, traced trees and written files."),
]
Host = Annotated[
    str | None,
    typer.Option(
        "--host",
        metavar="ADDRESS",
        help="Open the page to other machines at this address of yours, for a tablet in the same room; asks for a "
        "password (or takes TREESCAN_PASSWORD). What is sent is not encrypted. Default: this machine alone.",
    ),
]
Port = Annotated[int, typer.Option("--port", min=0, max=65535, help="Port of the page. Default: any free one.")]
SessionFile = Annotated[
    Path | None,
    typer.Option(
        "--session",
        metavar="session.json",
        help="Changes made at the page: plans what stood there. Needs the tree.json it was made with.",
    ),
]
Again = Annotated[
    Path | None,
    typer.Option(
        "--again",
        metavar="run.json",
        help="Plan what this record of a plan says, and tell whether the same bytes come out. Needs -o.",
    ),
]
Replace = Annotated[
    bool, typer.Option("--replace", help="The folder may hold the plan of another tree, which then goes.")
]
Seed = Annotated[int, typer.Option(min=0, max=2**63 - 1, help="Seed of all random draws.")]
Jobs = Annotated[
    int | None, typer.Option("--jobs", min=1, metavar="N", help="Processor cores to use. Default: all.")
]
ShowSettings = Annotated[
    bool,
    typer.Option(
        "--show-settings", help="Print every setting with its value, unit, meaning and source, then stop."
    ),
]
Inventory = Annotated[
    Path,
    typer.Argument(metavar="INVENTORY", help="Tree inventory: GeoPackage, shapefile, GeoJSON or CSV."),
]
PlanFolders = Annotated[
    list[Path], typer.Argument(metavar="DIR...", help="Folders written by treescan plan.")
]
JoinedFolder = Annotated[
    Path, typer.Option("-o", "--output", metavar="DIR", help="Folder for the joined inventory.")
]
FieldsFile = Annotated[
    Path | None,
    typer.Option(
        "--fields",
        metavar="FILE.toml",
        help="Names of the inventory's fields, table [fields]: id, x, y, species, dbh_cm, crs.",
    ),
]
Tolerance = Annotated[
    float, typer.Option(min=0.0, metavar="M", help="Farthest distance of the two places of one tree.")
]
ThrowRecord = Annotated[
    Path,
    typer.Argument(
        metavar="RECORD.csv",
        help="One throw a line: method, distance_m, aimed_height_m, elevation_deg, got_height_m, "
        "got_side_m, got_range_m; from the release point.",
    ),
]
SettingsOut = Annotated[
    str,
    typer.Option("-o", "--output", metavar="FILE.toml", help="Settings file to write, for plan --settings."),
]
BatchInputs = Annotated[
    list[Path],
    typer.Argument(
        metavar="INPUT...", help="Clouds, tiles, tree.json files, and folders that hold them; tiles lie on one map."
    ),
]
BatchFolder = Annotated[
    Path,
    typer.Option(
        "-o", "--output", metavar="DIR", help="Folder of the batch; the same call again goes on where it stopped."
    ),
]
BatchInventory = Annotated[
    Path | None,
    typer.Option(
        "--inventory",
        metavar="INVENTORY",
        help="Tree inventory (GeoPackage, shapefile, GeoJSON or CSV): only trees that have a record are planned.",
    ),
]
Each = Annotated[
    bool, typer.Option("--each", help="Every cloud is the scan of one tree of its own, not a tile of a map.")
]
TriageOnly = Annotated[
    bool, typer.Option("--triage-only", help="Find the trees and say what their scans are fit for; plan none.")
]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, metavar="N", help="Processes on this machine. Default: one a core.")
]
WorkerMemory = Annotated[
    str, typer.Option("--memory", metavar="SIZE", help="Memory of each worker; one that needs more is started again.")
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        metavar="tcp://HOST:PORT",
        help="A dask scheduler that runs already; its workers see the same files under the same names.",
    ),
]
TimeLimit = Annotated[
    float, typer.Option("--time-limit", min=0.0, metavar="MIN", help="Minutes one tree may take; 0: no limit.")
]
