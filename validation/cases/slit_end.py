"""The end of a slit in three dimensions against plane solves of the same blade."""

from __future__ import annotations

import math
from dataclasses import replace

from conegap.geometries.curves.curve import Arc, Line
from conegap.geometries.curves.section import Boundary, EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.geometries.parts.setting import Setting
from conegap.geometries.solids.sector import Room3D, Sector
from conegap.validation.cases.row import Case, Row

__all__ = ["blunt_blade_section", "blunt_end", "slit_end_cases"]

_PLANE = "independent solution, this solver's plane section of the same blade"
# Of the blunt edge, [m]; both solutions have the same.
_EDGE_RADIUS = 30e-6


def blunt_end(end_radius: float, edge_radius: float) -> tuple[Design, Sector]:
    """The shipped slit with rounded ends, its lips drawn as one blunt edge.

    Parameters
    ----------
    end_radius : float
        [m].
    edge_radius : float
        [m].
    """
    design = Design.read("slit")
    slit = design.emitter.with_end(end_radius)
    assert slit is not None
    design = replace(design, emitter=slit)
    return design, slit.end_sector(design.accelerator, design.gap, design.room(), edge_radius)


def blunt_blade_section(design: Design, sector: Sector) -> Section:
    """The plane section of a sector's blade far from its end.

    Parameters
    ----------
    design : Design
        A slit.
    sector : Sector
        Of its end.
    """
    assert isinstance(sector.region, Room3D)
    assert sector.lip is not None
    _, _, foot = sector.region.block.low
    _, wide, top = sector.region.block.high
    r, a = sector.lip.radius, sector.lip.lean
    start = (r * math.cos(a), -r * (1.0 - math.sin(a)))
    base = (start[0] + (start[1] - foot) * math.tan(a), foot)
    loop = (
        Boundary("emitter", Arc((0.0, -r), r, math.pi / 2.0, a)),
        Boundary("emitter", Line(start, base)),
        Boundary("emitter", Line(base, (wide, foot))),
        Boundary("outer", Line((wide, foot), (wide, top))),
        Boundary("chamber", Line((wide, top), (0.0, top))),
        Boundary("symmetry", Line((0.0, top), (0.0, 0.0))),
    )
    plate = design.accelerator.outline(sector.gap, Setting(half=True, symmetry="planar"))
    blades = tuple(Boundary("accelerator", curve) for curve in plate.islands[0])
    edge = EmittingEdge("lip", 0, 0, 0.0, r)
    return Section("planar", (loop, blades), (edge,), sector.gap, mirrored=True)


def _middle_rows() -> list[Row]:
    from conegap.solver.field.electrodes import electrode_voltages
    from conegap.solver.field.solution import solve_field
    from conegap.solver.field3d.lip_field import lip_field
    from conegap.solver.field3d.sector_solution import solve_sector

    design, sector = blunt_end(0.5e-3, _EDGE_RADIUS)
    found = lip_field(design, sector, solve_sector(sector, meshes=2))
    flat = solve_field(blunt_blade_section(design, sector), accuracy=1e-4)
    plane = flat.edge("lip", electrode_voltages(design, flat.electrodes))
    name = "slit with ends turned down in three dimensions"
    return [
        Row(name, _PLANE, "field in the middle [V/m]", plane.value, found.middle, 5e-3),
        Row(name, "edges turned away from a plate keep less metal beside them, no source",
            "field at the end over the middle [-]", 1.2, float(found.share.max()), 0.0,
            "at least", note="the end of a thin blade is open to more of the accelerator"),
    ]  # fmt: skip


def slit_end_cases() -> list[Case]:
    """Cases on the ends of slits."""
    return [Case("slit end", _middle_rows, slow=True)]
