"""From the sections of a design to the cross-section of its vacuum."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from conegap.geometries.curves.askew import askew_clearance
from conegap.geometries.curves.clearance import check_clearance
from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.design.checks import chosen_room, room_problems
from conegap.geometries.design.design_file import Complaints, Parts
from conegap.geometries.emitters.whole_file import ImportedFile
from conegap.geometries.parts.conditions import Chamber
from conegap.geometries.parts.part import Problem
from conegap.geometries.parts.setting import Setting, length_text
from conegap.geometries.parts.surroundings import assemble
from conegap.geometries.quantities.errors import DesignError, GeometryError

__all__ = ["Assembly", "assembly_of"]


@dataclass(frozen=True)
class Assembly:
    """A section and what was found out while it was built.

    Parameters
    ----------
    section : Section
        The vacuum with its boundaries.
    chamber : Chamber
        Sizes of the chamber in use.
    clearance : float
        Smallest distance between emitter and accelerator, [m].
    remarks : tuple of Problem
        Outlines that look like a slip.
    """

    section: Section
    chamber: Chamber
    clearance: float
    remarks: tuple[Problem, ...] = ()


def assembly_of(
    parts: Parts,
    tables: Mapping[str, FloatArray],
    imports: Mapping[str, ImportedFile],
    complaints: Complaints,
) -> Assembly:
    """Build the section of a design and check that its electrodes keep clear of each other.

    Parameters
    ----------
    parts : Parts
        Sections of the design.
    tables : mapping of str to (n, 2) array
        Points of the profiles by file name, [m].
    imports : mapping of str to ImportedFile
        Drawings and meshes by file name.
    complaints : Complaints
        Collects what is wrong.

    Raises
    ------
    DesignError
        A drawing or a mesh cannot be used as it is.
    GeometryError
        The electrodes cannot be built as drawn.
    """
    try:
        section, chamber, remarks = _section(parts, tables, imports, complaints)
    except DesignError as problem:
        complaints.raise_if_any()
        complaints.add("", str(problem), geometry=isinstance(problem, GeometryError))
        complaints.keys += problem.keys
        complaints.raise_if_any()
        raise
    try:
        clearance = check_clearance(section)
        if any(parts.accelerator.askew):
            clearance = askew_clearance(section, *parts.accelerator.askew)
    except GeometryError as problem:
        complaints.add("", str(problem), geometry=True)
        complaints.keys += problem.keys
        complaints.raise_if_any()
        raise
    if section.gap <= 0.0:
        section = _with_note(section, clearance)
    return Assembly(section, chamber, clearance, remarks)


def _section(
    parts: Parts,
    tables: Mapping[str, FloatArray],
    imports: Mapping[str, ImportedFile],
    complaints: Complaints,
) -> tuple[Section, Chamber, tuple[Problem, ...]]:
    """The section, the chamber in use and remarks about the outlines."""
    emitter, accelerator = parts.emitter, parts.accelerator
    whole = emitter.whole_section(accelerator, tables, imports)
    if whole is not None:
        return whole[0], parts.chamber, whole[1]
    rough = tuple(emitter.remarks(tables))
    planar = emitter.symmetry == "planar"
    half = not planar or (emitter.symmetric(tables) and accelerator.symmetric(tables))
    setting = Setting(half, emitter.symmetry, parts.liquid.film_thickness, tables)
    drawn = emitter.outline(setting)
    gap = accelerator.distance(emitter.apex_height(tables), tables)
    facing = accelerator.outline(gap, setting)
    surface = max(float(b.curve.point([0.0, 0.5, 1.0])[:, 1].max()) for b in drawn.boundaries)
    if surface >= gap and not accelerator.tip_may_enter:
        remedy = "" if facing.plane else ", or write tip_inside = true if it may reach in"
        complaints.add(
            "accelerator.gap",
            f"the emitter's surface stands {length_text(surface)} above the level from which the "
            "gap is measured and reaches the accelerator, overlapping it by "
            f"{length_text(surface - gap)} at z = {length_text(surface)}; "
            f"give a larger gap{remedy}",
            geometry=True,
        )
        complaints.raise_if_any()
    wide = max(drawn.holder.half_width, drawn.extent)
    room = chosen_room(emitter, accelerator, parts.chamber, gap, wide)
    complaints.extend(room_problems(emitter, accelerator, room, wide))
    complaints.raise_if_any()
    in_use = {
        "half_width" if planar else "radius": room.half_width,
        "length": None if facing.plane else room.length,
    }
    chamber = parts.chamber.model_copy(update=in_use)
    return assemble(drawn, facing, room, emitter.symmetry), chamber, rough


def _with_note(section: Section, clearance: float) -> Section:
    note = (
        f"The emitter reaches {length_text(-section.gap)} into the accelerator's opening; their "
        f"smallest clearance is {length_text(clearance)}."
    )
    return replace(section, notes=(*section.notes, note))
