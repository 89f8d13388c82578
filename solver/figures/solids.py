"""Which plan, true section and view belong to what an emitter shows in three dimensions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.figures.drawing import Drawing
from conegap.solver.figures.plan_array import array_plan
from conegap.solver.figures.plan_crown import crown_plan
from conegap.solver.figures.plan_slit import slit_end_plan
from conegap.solver.figures.solid_view import SolidView, array_view, crown_view, slit_end_view
from conegap.solver.figures.true_section import blade_section, crown_section, row_section

__all__ = ["plan_drawing", "solid_view", "true_section_cut", "true_section_drawing"]


@dataclass(frozen=True)
class _Solid:
    """How one of them is drawn: the functions take the design and its emitter."""

    plan: Callable[[Design, Any], Drawing]
    section: Callable[[Design, Any], Drawing]
    view: Callable[[Design, Any], SolidView]
    title: str
    cut: str


_SOLIDS: Mapping[str, _Solid] = {
    "ring": _Solid(
        crown_plan,
        crown_section,
        crown_view,
        "Section through the crown",
        "the radial plane through a tip",
    ),
    "rows": _Solid(
        array_plan,
        row_section,
        array_view,
        "Section along a row",
        "the plane through the middle row of tips",
    ),
    "blade": _Solid(
        slit_end_plan,
        blade_section,
        slit_end_view,
        "Section in the plane of the slit",
        "the middle plane of the channel",
    ),
}


def _solid(design: Design) -> _Solid:
    if design.emitter.solid is None:
        raise DesignError(f"drawing: the section of a {design.emitter.kind} shows all of it")
    return _SOLIDS[design.emitter.solid]


def plan_drawing(design: Design) -> Drawing:
    """The electrodes seen along z from the accelerator, which is drawn as if transparent.

    Parameters
    ----------
    design : Design
        Its emitter has a `solid`: a crown, an array or a slit with a drawn end.

    Raises
    ------
    DesignError
        The section shows all of the design.
    """
    return _solid(design).plan(design, design.emitter)


def true_section_drawing(design: Design) -> Drawing:
    """The electrodes cut through a tip, along a row of tips or in the plane of a slit's channel.

    Parameters
    ----------
    design : Design
        As for `plan_drawing`.

    Raises
    ------
    DesignError
        The plane section of the design is its true one.
    """
    return _solid(design).section(design, design.emitter)


def true_section_cut(design: Design) -> tuple[str, str]:
    """Title of that section and the plane in which it lies, in words.

    Parameters
    ----------
    design : Design
        As for `plan_drawing`.

    Raises
    ------
    DesignError
        The plane section of the design is its true one.
    """
    found = _solid(design)
    return found.title, found.cut


def solid_view(design: Design) -> SolidView:
    """The electrodes of a design with the accelerator cut open, so that the emitter is seen.

    Parameters
    ----------
    design : Design
        As for `plan_drawing`.

    Raises
    ------
    DesignError
        The design needs no third dimension.
    GeometryError
        A rounding does not fit.
    """
    return _solid(design).view(design, design.emitter)
