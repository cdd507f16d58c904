"""The house keeps its shape: floors, public names, source keys, documents and words."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import treescan
from treescan.cautions import CAUTIONS
from treescan.sources import SOURCES, cite

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "treescan"
MODULES = sorted(PACKAGE.rglob("*.py"))

FLOOR_0 = {"errors", "units", "estimate", "progress", "settings", "sources", "cautions", "geometry", "atomic", "reader_settings", "reason", "arrays", "spreadsheet", "short_repr", "toml_file", "ordinary_file"}
MAY_IMPORT = {
    "cloud": set(),
    "trees": {"cloud"},
    "wood": {"trees", "cloud"},
    "throw": {"wood", "trees", "cloud"},
    "loads": {"wood", "trees", "cloud"},
    "planning": {"throw", "loads", "wood", "trees", "cloud"},
    "assess": {"planning", "throw", "loads", "wood", "trees", "cloud"},
    "outputs": {"assess", "planning", "throw", "loads", "wood", "trees", "cloud"},
    "faces": {"outputs", "assess", "planning", "throw", "loads", "trees", "wood", "cloud"},
    "__init__": {"assess", "outputs", "wood", "cloud"},
    "__main__": {"faces"},
}
HEAVY = {
    "open3d": {"cloud", "trees", "wood"},
    "laspy": {"cloud"},
    "pye57": {"cloud"},
    "pyproj": {"cloud", "faces", "outputs"},
    "networkx": {"wood", "planning", "loads"},
    "trimesh": {"outputs"},
    "matplotlib": {"outputs"},
    "reportlab": {"outputs"},
    "geopandas": {"outputs", "faces"},
    "jinja2": {"outputs", "faces"},
    "starlette": {"faces"},
    "uvicorn": {"faces"},
    "typer": {"faces"},
    "dask": {"faces"},
    "distributed": {"faces"},
    "rich": {"faces"},
}


def room(path: Path) -> str:
    """Room of a module: its sub-package, or its own name on the top floor."""
    parts = path.relative_to(PACKAGE).parts
    return parts[0] if len(parts) > 1 else path.stem


def imports(path: Path) -> list[str]:
    """Dotted names a module imports anywhere, those for type checking only included."""
    out = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            out += [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            out.append(node.module or "")
    return out


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_only_go_down(path):
    """A room imports floor 0, itself and the rooms below it; throw and loads do not know each other."""
    here = room(path)
    allowed = MAY_IMPORT.get(here, set()) | FLOOR_0 | {here}
    if here in FLOOR_0:
        allowed = FLOOR_0
    for name in imports(path):
        if name == "treescan":
            assert here in {"faces", "outputs"}, f"{path}: imports the package itself"
        elif name.startswith("treescan."):
            assert name.split(".")[1] in allowed, f"{path}: {here} may not import {name}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_stay_in_their_rooms(path):
    """Point readers, drawing and web libraries are imported only in the rooms that need them."""
    for name in imports(path):
        top = name.split(".")[0]
        assert room(path) in HEAVY.get(top, {room(path)}), f"{path}: {top}"


def test_modules_have_no_import_loop():
    """No module reaches itself through imports."""
    import networkx as nx

    graph = nx.DiGraph()
    for path in MODULES:
        name = ".".join(("treescan", *path.relative_to(PACKAGE).with_suffix("").parts))
        graph.add_edges_from((name, other) for other in imports(path) if other.startswith("treescan."))

    assert list(nx.simple_cycles(graph)) == []


def sub_room(parts: tuple[str, ...]) -> str:
    """Sub-room of a module by its path within the package; a module beside the sub-rooms stands for itself."""
    return "/".join(parts[:2]) if len(parts) > 2 else "/".join(parts).removesuffix(".py")


def test_imports_between_sub_rooms_go_one_way():
    """No sub-room reaches itself through another one."""
    import networkx as nx

    graph = nx.DiGraph()
    for path in MODULES:
        here = sub_room(path.relative_to(PACKAGE).parts)
        for name in imports(path):
            parts = tuple(name.split(".")[1:])
            if name.startswith("treescan.") and parts:
                inner = PACKAGE.joinpath(*parts[:2]).is_dir()
                graph.add_edge(here, "/".join(parts[:2]) if inner else "/".join(parts))
    graph.remove_edges_from(nx.selfloop_edges(graph))

    assert [sorted(loop) for loop in nx.strongly_connected_components(graph) if len(loop) > 1] == []


def test_sub_rooms_have_three_to_nine_files_and_one_question():
    """Each sub-room says in its first line what it answers, and is small enough to look through."""
    rooms = sorted(p for p in PACKAGE.glob("*/*/") if (p / "__init__.py").exists())
    assert len(rooms) > 30
    for room in rooms:
        said = ast.get_docstring(ast.parse((room / "__init__.py").read_text(encoding="utf-8"))) or ""
        assert said.splitlines()[0].rstrip().endswith("?"), room
        assert 3 <= len([p for p in room.glob("*.py") if p.name != "__init__.py"]) <= 9, room


def test_forbidden_module_names():
    """No module is called after a public function, a standard module or nothing in particular."""
    names = {p.stem for p in MODULES} | {p.name for p in PACKAGE.iterdir() if p.is_dir()}

    assert not names & {"trace", "plan", "site", "utils", "util", "common", "helpers", "misc", "types"}


def test_public_names_are_importable_and_documented():
    """Every name of __all__ exists and says what it is; nothing else is public by accident."""
    for name in treescan.__all__:
        assert (getattr(treescan, name).__doc__ or "").strip(), name
    assert set(treescan._ROOMS) | {"BadInput", "RunFailed", "TreescanError"} == set(treescan.__all__)


@pytest.mark.parametrize("path", [p for p in MODULES if p.name != "__init__.py"], ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_public_function_has_a_docstring(path):
    """Modules, public classes and public functions say in one line what they answer."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), path
    for node in tree.body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{path}: {node.name}"


def test_every_source_key_is_known_and_used():
    """Keys used in the code exist in sources.py, and no entry of sources.py is idle."""
    texts = {p: p.read_text(encoding="utf-8") for p in PACKAGE.rglob("*") if p.suffix in {".py", ".csv"} and p.name != "sources.py"}
    for key in SOURCES:
        assert any(re.search(rf"\b{re.escape(key)}\b", t) for t in texts.values()), f"unused source key {key}"
        assert cite(key)
    for s in SOURCES.values():
        assert s.standing in {"read", "quoted", "memory", "derived", "practice", "choice"}


def test_every_setting_says_unit_meaning_and_source():
    """`plan --show-settings` can explain every default."""
    from treescan.assess import Settings
    from treescan.settings import lines

    listed = list(lines(Settings()))
    assert listed
    for s in listed:
        assert s.meaning, s.name
        assert s.source in SOURCES, f"{s.name}: {s.source}"


def test_importing_treescan_loads_nothing_heavy():
    """`import treescan` and `treescan --help` start fast: no scipy, numba, open3d, laspy or matplotlib."""
    code = (
        "import sys; import treescan; from treescan.faces.cli import commands as cli; code = cli.run(['--help']); assert code == 0;"
        "bad = {'scipy', 'numba', 'open3d', 'laspy', 'matplotlib', 'trimesh', 'networkx', 'numpy'} & set(sys.modules); assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_top_level_holds_just_what_it_should():
    """Nothing but the agreed files and folders is tracked at the top."""
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout.split()
    if not tracked:
        pytest.skip("not a git checkout")
    top = {t.split("/")[0] for t in tracked}

    assert top <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "treescan", "tests", "sample_clouds", "scripts", ".ci", ".gitignore", "LICENSE", "CHANGELOG.md",
    }  # fmt: skip


def test_cautions_never_soften():
    """The standing text names what a scan cannot see and never calls anything approved."""
    text = " ".join(CAUTIONS.values()).lower()
    for word in ("decay", "included bark", "root damage", "load-tested", "competent", "rescue", "electricity", "not scanned"):
        assert word in text
    for word in ("approved", "certified"):
        assert word not in text


def test_the_developers_guide_names_only_what_exists():
    """Every `room/module.py` and `function` of the question table in DEVELOPERS.md exists."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\|[^|]*\|\s*`([a-z_/]+\.py)`\s*\|\s*`(\w+)`\s*\|\s*`(\w+)`\s*\|", guide, flags=re.M)
    assert len(rows) >= 12
    for module, function, kind in rows:
        source = (PACKAGE / module).read_text(encoding="utf-8")
        assert re.search(rf"^def {function}\b", source, flags=re.M), f"{module}: {function}"
        assert any(re.search(rf"^class {kind}\b", p.read_text(encoding="utf-8"), flags=re.M) for p in MODULES), kind


def test_the_developers_guide_gives_a_reason_for_each_dependency():
    """Each dependency of pyproject.toml is named in DEVELOPERS.md."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").lower()
    for line in project["dependencies"] + project["optional-dependencies"]["dev"]:
        name = re.split(r"[\[><=; ]", line)[0].lower()
        assert name in guide, name
