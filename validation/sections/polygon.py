"""Sections with straight sides."""

from __future__ import annotations

from conegap.geometries.curves.curve import Line
from conegap.geometries.curves.section import Boundary, Section, Symmetry

__all__ = ["plates", "polygon"]


def polygon(
    corners: list[tuple[float, float]],
    names: list[str],
    symmetry: Symmetry,
    *,
    gap: float,
    mirrored: bool = False,
) -> Section:
    """A closed outline of straight sides, each named, in the order of the corners.

    Parameters
    ----------
    corners : list of tuple
        (x, z), [m].
    names : list of str
        Of the side that begins at each corner.
    symmetry : "planar" or "axisymmetric"
    gap : float
        Length by which a section is scaled, [m].
    mirrored : bool
        One half of a planar section.
    """
    loop = tuple(
        Boundary(name, Line(a, b))
        for name, a, b in zip(names, corners, corners[1:] + corners[:1], strict=True)
    )
    return Section(symmetry, (loop,), (), gap, mirrored=mirrored)


def plates(
    *, width: float, gap: float, symmetry: Symmetry = "planar", side: str = "outer"
) -> Section:
    """A box between two plates, the lower one the emitter, from x = 0 or the axis to its width.

    Parameters
    ----------
    width, gap : float
        [m].
    symmetry : "planar" or "axisymmetric"
    side : str
        Name of every boundary but the axis when "all outer"; otherwise that of the side.
    """
    bottom, top = ("outer", "outer") if side == "all outer" else ("emitter", "accelerator")
    left = "axis" if symmetry == "axisymmetric" else "outer"
    corners = [(0.0, 0.0), (width, 0.0), (width, gap), (0.0, gap)]
    return polygon(corners, [bottom, "outer", top, left], symmetry, gap=gap)
