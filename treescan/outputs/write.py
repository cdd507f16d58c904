"""Everything people open, print and load elsewhere, written into one folder; every file appears whole or not
at all."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from treescan.assess import Assessment
from treescan.atomic import write_bytes
from treescan.outputs.data.anchors_csv import anchors_table
from treescan.outputs.data.anchors_file import anchors_out
from treescan.outputs.data.standing_file import standing_out
from treescan.outputs.data.tables import TABLES, methods_bytes, table_bytes
from treescan.outputs.drawing.paper_figures import figures_bytes
from treescan.outputs.gis.map_files import geojson_bytes, geopackage_bytes
from treescan.outputs.gis.shapefiles import shapefile_bytes
from treescan.outputs.job_sheet.job_sheet import dossier_bytes, sheet_bytes
from treescan.outputs.report.report import report_html
from treescan.outputs.shapes.tree_glb import scene_bytes
from treescan.outputs.strict_json import dumps
from treescan.progress import Progress, quiet

Maker = Callable[[Assessment], bytes | None]

FILES: dict[str, Maker] = {
    "anchors.json": lambda a: dumps(anchors_out(a)).encode(),
    "anchors.csv": lambda a: anchors_table(a).encode(),
    "standing.json": lambda a: dumps(standing_out(a)).encode(),
    "tree.glb": scene_bytes,
    "site.gpkg": geopackage_bytes,
    "site.geojson": geojson_bytes,
    "site_shapefile.zip": shapefile_bytes,
    **{f"tables/{name}": (lambda a, name=name: table_bytes(a, name)) for name in TABLES},  # type: ignore[misc]
    "tables/methods.md": methods_bytes,
    "figures.pdf": figures_bytes,
    "job_sheet.pdf": sheet_bytes,
    "dossier.pdf": dossier_bytes,
    "report.html": lambda a: report_html(a).encode(),
}
"""File name to what makes its bytes, in writing order (None: does not apply here); the page comes last, so
that its presence means the rest is there."""


def write_outputs(assessment: Assessment, folder: Path, progress: Progress = quiet) -> tuple[Path, ...]:
    """Write all result files.

    Parameters
    ----------
    assessment : Assessment
    folder : Path               Made when missing. A file of an earlier run that does not apply now is
        removed.
    progress : Progress         Called before each file; raising KeyboardInterrupt there or anywhere else
        leaves no partial file.

    Returns
    -------
    tuple of Path               In writing order.
    """
    folder = Path(folder)
    out = []
    with _uncollected():
        for i, (name, make) in enumerate(FILES.items()):
            progress("writing " + name, i / len(FILES))
            data = make(assessment)
            if data is None:
                (folder / name).unlink(missing_ok=True)
            else:
                out.append(write_bytes(folder / name, data))
    progress("writing", 1.0)
    return tuple(out)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the collector of reference cycles: it would go through hundred thousands of rows again and
    again and find nothing to free."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
