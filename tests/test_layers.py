"""The shape of the program: who may import whom, and what loads when.

Read from the syntax trees, and seen in fresh interpreters. A new package is
put into `FROM_BELOW` after everything it imports; when there is no such place, the
import is the mistake.
"""

import ast
import subprocess
import sys
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from geom.kernel.cut import box
from geom.kernel.step import write_step

ROOT = Path(__file__).resolve().parent.parent

FROM_BELOW = """
    geom.errors geom.aside geom.units geom.tolerance geom.space geom.rigid geom.directions geom.ranking
    geom.flat geom.standards geom.kernel geom.rays geom.model geom.recognise
    geom.readings geom.toml geom.shop geom.settings geom.stock geom.datum
    geom.rows geom.received geom.scan geom.cutters geom.place
    geom.tasks geom.looks geom.setups geom.passes geom.proof geom.job
    geom.fixture geom.pattern

    export.number export.manifest export.swap export.write export.fonts
    export.files export.tables export.reports export.drawing export.pictures export.sheets export.prints
    export.bundle export.exit_codes export.progress export.commands export.child export.cli
"""
"""DESIGN section 4: a module imports only from modules and packages before it, or from its own package (never in a circle)."""

ORDER = FROM_BELOW.split()

SOLE_IMPORTERS = {
    "cadquery": {"geom.model.casting"},
    "daqp": {"geom.place.small_program"},
    "embreex": {"geom.rays.tree"},
    "ezdxf": {"export.files.dxf"},
    "fontTools": {"export.files.lettering"},
    "manifold3d": {"export.prints.mesh", "geom.rays.body", "geom.fixture.sweep", "geom.proof.mesh", "geom.stock.volume"},
    "shapely": {"geom.passes.lanes", "geom.tasks.reach"},
    "typst": {"export.files.pdf"},
}
"""Libraries that few modules may know; the CAD kernel (OCP) is known in `geom.kernel` only, numpy and scipy anywhere."""

HEAVY = {"OCP", "numpy", "scipy", "trimesh", *SOLE_IMPORTERS}


@cache
def modules() -> dict[str, Path]:
    """Return every module of the program by its dotted name; a package is named like its `__init__`."""
    found = {}
    for path in sorted(path for top in ("geom", "export", "parts") for path in (ROOT / top).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def imports(path: Path, *, deep: bool = True) -> frozenset[str]:
    """Return what a file imports; `from a import b` counts as a.b when that is a module, else as a.

    Args:
        deep: inside functions and blocks too, not only on loading.
    """
    tree = ast.parse(path.read_bytes())
    found: set[str] = set()
    for node in ast.walk(tree) if deep else tree.body:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import; write the full name"
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= names & modules().keys() or {str(node.module)}
    return frozenset(found)


def holds_code(path: Path) -> bool:
    """Return whether a file has more than a docstring."""
    return len(ast.parse(path.read_bytes()).body) > 1


def own(name: str) -> bool:
    return name.split(".")[0] in ("geom", "export", "parts")


HOMELESS = len(FROM_BELOW.split())


@cache
def place(name: str) -> int:
    """Return where in the order a module stands: under its own name or its package's; `HOMELESS` when nowhere."""
    return next((i for i, entry in enumerate(ORDER) if name == entry or name.startswith(f"{entry}.")), HOMELESS)


def last_import(name: str) -> str:
    """Return which entry of the order the last of a module's imports belongs to."""
    return ORDER[max((at for other in imports(modules()[name]) if own(other) and (at := place(other)) != HOMELESS), default=0)]


# --- from the syntax trees --------------------------------------------------


@cache
def listed() -> list[str]:
    """Return the modules of geom and export that hold code."""
    return [name for name, path in modules().items() if not name.startswith("parts") and holds_code(path)]


def test_every_module_has_its_place_in_the_order():
    """The order is the whole program's: no module of geom or export is left out, and none is named that is gone."""
    homeless = [f"put {name} after {last_import(name)}" for name in listed() if place(name) == HOMELESS]
    gone = [f"take {entry} out" for entry in ORDER if not (ROOT / entry.replace(".", "/")).is_dir() and entry not in listed()]

    assert homeless + gone == []
    assert len(ORDER) == len(set(ORDER))


def test_a_module_imports_only_from_modules_before_it():
    """One direction; imports inside functions and for types count too."""
    upward = [
        f"{name} imports {other}"
        for name in listed()
        for other in sorted(imports(modules()[name]))
        if own(other) and place(other) > place(name)
    ]

    assert upward == []


def test_no_module_imports_itself_by_way_of_others():
    """No circles, inside a package neither."""
    graph = {name: {other for other in imports(modules()[name]) if other in modules()} for name in listed()}

    assert len(list(TopologicalSorter(graph).static_order())) >= len(graph)


def test_geometry_knows_neither_sheets_nor_jobs():
    """geom imports nothing of export or parts; export nothing of parts: a bundled job is opened like any other folder."""
    wrong = [
        f"{name} imports {other}"
        for name, path in modules().items()
        for other in sorted(imports(path))
        if other.split(".")[0] in {"geom": ("export", "parts"), "export": ("parts",), "parts": ("export",)}[name.split(".")[0]]
    ]

    assert wrong == []


def test_only_the_kernel_package_knows_the_cad_kernel():
    """OCP stays behind one door."""
    knows = {name for name, path in modules().items() if any(other.split(".")[0] == "OCP" for other in imports(path))}

    assert knows
    assert sorted(name for name in knows if not name.startswith("geom.kernel.")) == []


@pytest.mark.parametrize("library", SOLE_IMPORTERS)
def test_a_library_has_its_sole_importer(library):
    """Exchanging a library touches one file."""
    knows = {
        name
        for name, path in modules().items()
        if not name.startswith("parts") and any(other.split(".")[0] == library for other in imports(path))
    }

    assert knows
    assert sorted(knows - SOLE_IMPORTERS[library]) == []


def test_no_library_comes_in_unnoticed():
    """Whatever is not the standard library, numpy, scipy or OCP is in the list of sole importers."""
    outside = {other.split(".")[0] for path in modules().values() for other in imports(path) if not own(other)}

    assert sorted(outside - set(sys.stdlib_module_names) - set(SOLE_IMPORTERS) - {"OCP", "numpy", "scipy", "igl"}) == []


def test_cadquery_is_imported_inside_functions_only():
    """A STEP job must not pay for it, whatever it imports."""
    at_top = [
        name
        for name, path in modules().items()
        if not name.startswith("parts") and "cadquery" in {other.split(".")[0] for other in imports(path, deep=False)}
    ]

    assert at_top == []


# --- in a fresh interpreter -------------------------------------------------


def loaded_by(*arguments: str) -> tuple[int, set[str]]:
    """Run a command in a fresh interpreter; return its exit code and the top-level modules it loads.

    Python itself lists them (`-X importtime`), those of the command's child process too.
    """
    command = [sys.executable, "-X", "importtime", "-m", "export.cli", *arguments]
    end = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    lines = [line for line in end.stderr.splitlines() if line.startswith("import time:")]
    return end.returncode, {line.rpartition("|")[2].strip().split(".")[0] for line in lines}


@pytest.mark.parametrize("arguments", [("--help",), ("--version",), ("make", "--help"), ("stock", "--help")])
def test_help_loads_nothing_heavy(arguments):
    """No kernel, DXF, PDF or numeric library before a command runs: help answers at once."""
    code, names = loaded_by(*arguments)

    assert code == 0
    assert "argparse" in names
    assert sorted(names & HEAVY) == []


def test_a_mistake_in_a_job_is_found_before_anything_heavy_is_loaded(tmp_path):
    """A wrong key in job.toml is answered at once."""
    (tmp_path / "job.toml").write_text('[part]\nname = "plate"\nunits = "furlong"\n')
    code, names = loaded_by("stock", str(tmp_path))

    assert code == 2
    assert sorted(names & HEAVY) == []


def test_stock_of_a_step_job_does_without_cadquery(tmp_path):
    """OCP suffices: two blocks as STEP files, 3 mm of stock on top; cadquery costs 1 s and 480 MB (ENGINEERING notes)."""
    write_step(box((0.0, 0.0, 0.0), (60.0, 40.0, 30.0)), tmp_path / "finished.step")
    write_step(box((0.0, 0.0, 0.0), (60.0, 40.0, 33.0)), tmp_path / "casting.step")
    (tmp_path / "job.toml").write_text(
        '[part]\nname = "plate"\nfinished = "finished.step"\ncasting = "casting.step"\nunits = "mm"\nalloy = "grey iron"\n'
    )
    code, names = loaded_by("stock", str(tmp_path), "-q")

    assert code == 0
    assert "OCP" in names
    assert sorted(names & {"cadquery", "trimesh", "matplotlib", "ezdxf", "typst", "vtkmodules"}) == []
