"""The shipped packages: complete, typed, and dependent on each other in one direction only."""

from __future__ import annotations

import ast
import tomllib
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("geometries", "solver", "validation")
SETUP = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]

# The way of the data; a module imports only from those before it.
FLOW = (
    "span",
    "boundary_walk",
    "patch",
    "patch_border",
    "spacing",
    "dissection",
    "elimination",
    "coarse_types",
    "bent_triangles",
    "fill_quality",
    "given_coarse",
    "coarse_mesh",
    "morph",
    "subdivision",
    "control_volumes",
    "finite_volume",
    "level",
    "extrapolation",
    "surface_chain",
    "edge_field",
    "field",
    "sector_solids",
    "sector_mesh",
    "tetra_volumes",
    "sector_operator",
    "sector_field",
    "tip_field",
    "sector_onset",
    "surface_balance",
    "onset",
    "lip_field",
    "side_by_side",
    "scan",
    "budget",
    "classic",
    "operation",
    "beam_current",
    "review",
    "electron_emission",
    "breakdown",
    "supply_card",
    "feed",
    "compare_metals",
    "gap_operation",
    "emission",
    "space_charge",
    "beam",
    "sector_influence",
    "firing",
    "screening",
    "sector_assessment",
    "slit_end",
    "assessment",
)


def modules() -> dict[str, Path]:
    """Dotted name and file of every module in the three folders."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(("conegap", *parts)).removesuffix(".__init__")] = path
    return found


def imports(path: Path, *, deferred: bool = True) -> set[str]:
    """Modules of conegap that a file imports, inside functions too when ``deferred``."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = ast.walk(tree) if deferred else iter(tree.body)
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} has a relative import"
            found.update({node.module or "", *(f"{node.module}.{a.name}" for a in node.names)})
    return {name for name in found if name.startswith("conegap.")}


def test_every_folder_of_modules_is_listed() -> None:
    """EXACT: a subpackage that is not listed would be missing from the wheel."""
    folders = {
        ".".join(("conegap", *path.relative_to(ROOT).parts))
        for package in PACKAGES
        for path in ((ROOT / package), *(ROOT / package).rglob("*"))
        if path.is_dir() and any(path.glob("*.py"))
    }
    assert folders == set(SETUP["packages"])


@pytest.mark.parametrize("package", SETUP["packages"])
def test_package_starts_with_an_init(package: str) -> None:
    """EXACT: every listed package has its __init__.py, and the root has none."""
    assert (ROOT.joinpath(*package.split(".")[1:]) / "__init__.py").is_file()
    assert not (ROOT / "__init__.py").exists()


@pytest.mark.parametrize("package", PACKAGES)
def test_types_are_shipped(package: str) -> None:
    """EXACT: each package carries its py.typed marker, as a file and as package data."""
    assert (ROOT / package / "py.typed").is_file()
    assert "py.typed" in SETUP["package-data"][f"conegap.{package}"]


def test_data_files_are_shipped() -> None:
    """EXACT: every file that is no module lies in a listed package and matches its patterns."""
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*"):
            if path.is_dir() or path.suffix in (".py", ".pyc") or path.name.startswith("."):
                continue
            patterns = {
                ROOT.joinpath(*name.split(".")[1:]) / pattern
                for name, some in SETUP["package-data"].items()
                for pattern in some
            }
            assert any(path.match(str(pattern)) for pattern in patterns), path


def test_geometries_import_neither_solver_nor_validation() -> None:
    """INVARIANT: a drawing knows nothing of how it is solved."""
    for name, path in modules().items():
        if name.startswith("conegap.geometries"):
            wrong = {
                other
                for other in imports(path)
                if other.startswith(("conegap.solver", "conegap.validation"))
            }
            assert not wrong, f"{name} imports {wrong}"


def test_solver_does_not_import_validation() -> None:
    """INVARIANT: only the command line reaches the published cases, inside its own command."""
    for name, path in modules().items():
        if name.startswith("conegap.solver"):
            late = "command" in name
            found = imports(path, deferred=not late)
            wrong = {other for other in found if other.startswith("conegap.validation")}
            assert not wrong, f"{name} imports {wrong}"


def test_modules_follow_the_way_of_the_data() -> None:
    """INVARIANT: section, mesh, field, balance, onset, budget, review: no import runs backward."""
    place = {f"conegap.solver.{name}": k for k, name in enumerate(FLOW)}
    known = modules()
    for name, k in place.items():
        assert name in known, f"{name} is gone: update the list"
        for other in imports(known[name]) & set(place):
            assert place[other] < k, f"{name} imports {other}"


def test_no_module_is_imported_in_a_circle() -> None:
    """INVARIANT: the modules of all three packages have an order, deferred imports included."""
    known = modules()
    graph = {name: imports(path) & set(known) - {name} for name, path in known.items()}
    order = list(TopologicalSorter(graph).static_order())
    assert set(order) == set(known)


def test_no_module_is_too_long_to_review() -> None:
    """INVARIANT: one subject per module, about four hundred lines at most."""
    lengths = {
        name: len(path.read_text(encoding="utf-8").splitlines()) for name, path in modules().items()
    }
    long = {name: length for name, length in lengths.items() if length > 420}
    assert not long
