"""Walks along the boundary of a section, away from an emitting edge."""

from __future__ import annotations

from typing import Literal

import numpy as np

from conegap.geometries.curves.curve import Curve, FloatArray
from conegap.geometries.curves.section import EmittingEdge, Section, electrode_of
from conegap.solver.mesh.span import BoundaryIndex

__all__ = ["Piece", "WalkEnd", "arc_lengths", "joined", "trimmed", "walk"]

Piece = tuple[BoundaryIndex, float, float]
"""A boundary and the curve parameters between which it is followed."""

WalkEnd = Literal["reach", "corner", "line"]
"""Length used up, a corner met, or a boundary without flux met (a line of symmetry)."""

# Between unit tangents: a drawing rounded to six digits turns by less at a smooth joint. A tenth
# or ten times of it changes none of nine exact and four shipped sections.
_TANGENT_TOLERANCE = 1e-3


def arc_lengths(curve: Curve, scale: float, t: FloatArray) -> FloatArray:
    """Arc length from the first of some parameters to each of them, by Simpson's rule.

    Parameters
    ----------
    scale : float
        Length unit of the result, > 0, [m].
    t : (n,) array
        Curve parameters in order, [-].

    Returns
    -------
    (n,) array
        Scaled lengths.
    """
    mid = (t[1:] + t[:-1]) / 2.0
    d = curve.derivative(np.concatenate([t, mid]), 1)
    speed = np.hypot(d[:, 0], d[:, 1]) / scale
    ends, middle = speed[: len(t)], speed[len(t) :]
    step = np.diff(t) * (ends[:-1] + 4.0 * middle + ends[1:]) / 6.0
    return np.concatenate([[0.0], np.cumsum(step)])


def _arc_table(curve: Curve, scale: float) -> tuple[FloatArray, FloatArray]:
    """Parameter and arc length tables of a whole curve, scaled."""
    t = np.linspace(0.0, 1.0, 1025)
    return t, arc_lengths(curve, scale, t)


def walk(
    section: Section, edge: EmittingEdge, scale: float, distance: float, forward: bool
) -> tuple[list[Piece], WalkEnd]:
    """Boundary pieces met when walking from an edge, and how the walk ended.

    Parameters
    ----------
    edge : EmittingEdge
        Where the walk starts.
    scale : float
        Length unit, > 0, [m].
    distance : float
        How far to walk, scaled length, [-].
    forward : bool
        In the direction of the boundary, or against it.

    Returns
    -------
    list of Piece
        In the order of the walk, each with the parameters (from, to).
    "reach", "corner" or "line"
    """
    loop = section.loops[edge.loop]
    index, t_from = edge.index, edge.t
    pieces: list[Piece] = []
    left = distance
    for _ in range(len(loop)):
        curve = loop[index].curve
        t, s = _arc_table(curve, scale)
        here = float(np.interp(t_from, t, s))
        available = float(s[-1]) - here if forward else here
        # A rest of less than 15 % is taken along rather than left over as a sliver of curve.
        if available > left * 1.15:
            target = here + left if forward else here - left
            pieces.append(((edge.loop, index), t_from, float(np.interp(target, s, t))))
            return pieces, "reach"
        end = 1.0 if forward else 0.0
        if available > 1e-9 * s[-1]:
            pieces.append(((edge.loop, index), t_from, end))
        left = max(left - available, 0.0)
        following = (index + 1) % len(loop) if forward else (index - 1) % len(loop)
        if electrode_of(loop[following].name) is None:
            return pieces, "line"
        one = curve.tangent(np.array([end]))[0]
        other = loop[following].curve.tangent(np.array([1.0 - end]))[0]
        smooth = np.hypot(*(one - other)) <= _TANGENT_TOLERANCE
        if not smooth or left <= 0.15 * distance:
            return pieces, "reach" if smooth else "corner"
        index, t_from = following, 1.0 - end
    return pieces, "corner"


def trimmed(
    pieces: list[Piece], section: Section, scale: float, amount: float
) -> list[Piece] | None:
    """A walk without the last part of its length; None when nothing is left.

    Parameters
    ----------
    pieces : list of Piece
        From `walk`.
    scale : float
        Length unit, > 0, [m].
    amount : float
        Length to take away, scaled length, [-].
    """
    kept = list(pieces)
    while kept:
        boundary, t_from, t_to = kept[-1]
        t, s = _arc_table(section.loops[boundary[0]][boundary[1]].curve, scale)
        length = float(abs(np.interp(t_to, t, s) - np.interp(t_from, t, s)))
        if length > amount * 1.2:
            target = np.interp(t_to, t, s) - np.sign(t_to - t_from) * amount
            kept[-1] = (boundary, t_from, float(np.interp(target, s, t)))
            return kept
        amount = max(amount - length, 0.0)
        kept.pop()
    return None


def joined(back: list[Piece], forth: list[Piece]) -> list[Piece]:
    """One chain in the boundary's direction from the walks against it and along it.

    Parameters
    ----------
    back, forth : list of Piece
        From `walk`, both from the same edge.
    """
    chain: list[Piece] = [(boundary, t_to, t_from) for boundary, t_from, t_to in reversed(back)]
    for boundary, t_from, t_to in forth:
        if chain and chain[-1][0] == boundary and chain[-1][2] == t_from:
            chain[-1] = (boundary, chain[-1][1], t_to)
        else:
            chain.append((boundary, t_from, t_to))
    return chain
