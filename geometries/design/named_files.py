"""Files that a design names: tables of points, and files with a whole section."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design_file import Complaints
from conegap.geometries.design.kinds import ACCELERATORS, EMITTERS, WHOLE_EMITTERS
from conegap.geometries.emitters.whole_file import ImportedFile
from conegap.geometries.imported.points_file import ends_cleanly, read_points
from conegap.geometries.parts.part import Part, Problem
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import Files

__all__ = ["imported_files", "named_tables"]


def imported_files(
    document: Mapping[str, Any], files: Files, complaints: Complaints, digest: Any
) -> dict[str, ImportedFile]:
    """The drawing or mesh that a design names, by its name.

    Parameters
    ----------
    document : mapping
        The parsed design file.
    complaints : Complaints
        Collects what is wrong.
    digest : hashlib hash
        Takes the file's content in.
    """
    part = document.get("emitter")
    kind = WHOLE_EMITTERS.get(str(part.get("kind"))) if isinstance(part, Mapping) else None
    place = part.get("file") if isinstance(part, Mapping) else None
    if kind is None or not isinstance(place, str):
        return {}
    try:
        content = files.content(place)
        more: list[bytes] = []

        def beside(name: str) -> bytes:
            more.append(files.content(name))
            return more[-1]

        found = kind.read(content, place, beside)
    except DesignError as problem:
        complaints.add("emitter.file", str(problem))
        return {}
    for each in (content, *more):
        digest.update(each)
    return {place: found}


def named_tables(
    document: Mapping[str, Any], files: Files, complaints: Complaints, digest: Any
) -> tuple[dict[str, FloatArray], list[Problem]]:
    """Points of the tables that a design names, [m], and remarks on them.

    Parameters
    ----------
    document : mapping
        The parsed design file.
    complaints : Complaints
        Collects what is wrong.
    digest : hashlib hash
        Takes the files' content in.
    """
    tables: dict[str, FloatArray] = {}
    remarks: list[Problem] = []
    kinds: tuple[tuple[str, Mapping[str, type[Part]]], ...] = (
        ("emitter", EMITTERS),
        ("accelerator", ACCELERATORS),
    )
    for section, known in kinds:
        part = document.get(section, {})
        kind = known.get(str(part.get("kind"))) if isinstance(part, Mapping) else None
        points = part.get("points") if kind is not None and "points" in kind.model_fields else None
        if not isinstance(points, str):
            continue
        try:
            content = files.text(points)
            tables[points] = read_points(content, points)
        except DesignError as problem:
            complaints.add(f"{section}.points", str(problem))
            continue
        digest.update(content.encode())
        if not ends_cleanly(content):
            remarks.append(
                Problem(
                    f"{section}.points",
                    f"the last line of {points} has no line end; is the file half written?",
                )
            )
    return tables, remarks
