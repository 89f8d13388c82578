"""The notebooks of the gallery: their names, their texts, and copies to work in."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from conegap.solver.common.writing import new_files

__all__ = ["notebook_names", "notebook_text", "write_notebooks"]

_FOLDER = "conegap.validation.gallery"
_END = ".ipynb"


def notebook_names() -> tuple[str, ...]:
    """Names of the shipped notebooks."""
    found = [item.name for item in resources.files(_FOLDER).iterdir()]
    return tuple(sorted(name.removesuffix(_END) for name in found if name.endswith(_END)))


def notebook_text(name: str) -> str:
    """A notebook as the text of its file.

    Parameters
    ----------
    name : str
        From `notebook_names`.
    """
    return resources.files(_FOLDER).joinpath(name + _END).read_text(encoding="utf-8")


def write_notebooks(folder: str | Path) -> None:
    """Copy every notebook into a folder, to change and run there.

    Parameters
    ----------
    folder : str or Path
        Where they shall be; it must be there.

    Raises
    ------
    OutputError
        A file of that name is there already, or the folder cannot be written.
    """
    names = notebook_names()
    places = [Path(folder) / (name + _END) for name in names]
    with new_files(places, may_replace=lambda place: False) as content:
        content += [notebook_text(name) for name in names]
