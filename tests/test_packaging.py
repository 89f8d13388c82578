"""The shipped packages: complete, typed, and dependent on each other in one direction only."""

from __future__ import annotations

import ast
import importlib
import tomllib
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("geometries", "solver", "validation")
SETUP = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]

# The rooms in the way of the data; a module imports only from its own room and those before it.
ROOMS = (
    "geometries.quantities",
    "geometries.curves",
    "geometries.solids",
    "geometries.metals",
    "geometries.parts",
    "geometries.imported",
    "geometries.accelerators",
    "geometries.emitters",
    "geometries.design",
    "geometries.micrograph",
    "solver.common",
    "solver.mesh",
    "solver.field",
    "solver.field3d",
    "solver.cone",
    "solver.onset",
    "solver.liquid",
    "solver.operation",
    "solver.beam",
    "solver.studies",
    "solver.lots",
    "solver.arrays",
    "solver.assessment",
    "solver.sizing",
    "solver.comparison",
    "solver.figures",
    "solver.report",
    "solver.explorer",
    "solver.public",
    "validation.exact",
    "validation.boundary_elements",
    "validation.sections",
    "validation.reference_fem",
    "validation.cases",
    "validation.measured",
    "validation.lessons",
    "solver.commands",
    "validation.gallery",
)
# Hold data or nothing but their own docstring.
WITHOUT_ROOM = {"geometries", "geometries.data", "geometries.examples", "solver", "validation"}


def modules() -> dict[str, Path]:
    """Dotted name and file of every module in the three folders."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(("conegap", *parts)).removesuffix(".__init__")] = path
    return found


def folder_of(package: str) -> Path:
    """Folder of a listed package in the checkout."""
    known: dict[str, str] = SETUP["package-dir"]
    return ROOT / known[package] if package in known else ROOT.joinpath(*package.split(".")[1:])


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
    folders = folders - {"conegap.solver.public"} | {"conegap"}
    assert folders == set(SETUP["packages"])


@pytest.mark.parametrize("package", SETUP["packages"])
def test_package_starts_with_an_init(package: str) -> None:
    """EXACT: every listed package has its __init__.py, and the root has none."""
    assert (folder_of(package) / "__init__.py").is_file()
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
                folder_of(name) / pattern
                for name, some in SETUP["package-data"].items()
                for pattern in some
            }
            assert any(path.match(str(pattern)) for pattern in patterns), path


def room_of(name: str) -> str:
    """Room of a module, or the module itself where it lies in none."""
    return ".".join(name.removeprefix("conegap.").split(".")[:2])


@pytest.mark.parametrize("name", sorted(modules()))
def test_no_import_runs_against_the_order_of_the_rooms(name: str) -> None:
    """INVARIANT: every module lies in a listed room and imports none that comes later."""
    room = room_of(name)
    if room in WITHOUT_ROOM:
        assert not imports(modules()[name])
        return
    assert room in ROOMS, f"{name} lies in no listed room"
    for other in imports(modules()[name]) & set(modules()):
        place = room_of(other)
        assert place in WITHOUT_ROOM or ROOMS.index(place) <= ROOMS.index(room), (
            f"{name} imports {other}"
        )


@pytest.mark.parametrize("room", ROOMS)
def test_rooms_have_several_modules_and_say_what_they_hold(room: str) -> None:
    """INVARIANT: no room of one module; its __init__ says what comes in and what goes out."""
    folder = ROOT.joinpath(*room.split("."))
    if room in ("solver.assessment", "solver.public"):
        return
    assert len(list(folder.glob("*.py"))) > 2
    words = ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))
    assert words


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


def test_public_names_are_those_of_their_own_modules() -> None:
    """EXACT: `from conegap import Design, assess, vary`, and every other name that is offered."""
    conegap = importlib.import_module("conegap")
    for name in conegap.__all__:
        thing = getattr(conegap, name)
        assert thing is getattr(importlib.import_module(thing.__module__), name)
    assert {"Design", "assess", "vary"} <= set(conegap.__all__)
    assert set(conegap.__all__) <= set(dir(conegap))
    with pytest.raises(AttributeError):
        _ = conegap.unknown
