"""The metal that a contact line may run along, from the feed over the edge to the foot."""

from __future__ import annotations

import math
from dataclasses import dataclass

from conegap.geometries.curves.curve import Arc, Curve, Line

__all__ = ["ContactPlace", "ContactStart", "Wall", "WallPiece"]

# Two tangents closer than this are one: rounding of arcs that meet tangentially is below 1e-12.
_SMOOTH = 1e-6


@dataclass(frozen=True)
class WallPiece:
    """One smooth part of the wall.

    Parameters
    ----------
    place : str
        What the reader calls it: "end face", "lip".
    curve : Line or Arc
        In the direction in which the contact line advances, the liquid on its left, [m].
    """

    place: str
    curve: Line | Arc


@dataclass(frozen=True)
class ContactStart:
    """Where the contact line may stand before there is any voltage.

    Parameters
    ----------
    state : str
        What is wetted then: "dry end face"; "" where there is one state only.
    piece : int
        Of the wall.
    t : float
        Curve parameter on the piece.
    stays : bool
        Whether a film keeps the metal behind the line wetted, so that it never recedes.
    """

    state: str
    piece: int
    t: float
    stays: bool = False


@dataclass(frozen=True)
class ContactPlace:
    """A place of the contact line and the direction in which the metal goes on from there.

    Parameters
    ----------
    place : str
        Name of the piece, or of the edge between two.
    position : tuple of float
        r or x, and z, [m].
    tangent : float
        Angle of the metal below the horizontal ahead of the line, [rad]; -pi/2 up a bore, 0 on a
        flat face, pi/2 down a tube's wall.
    ahead : tuple of Curve
        The metal from here to the foot.
    """

    place: str
    position: tuple[float, float]
    tangent: float
    ahead: tuple[Curve, ...]


@dataclass(frozen=True)
class Wall:
    """A wall of pieces that follow each other without a gap.

    At a corner between two pieces the contact line is held while the surface's slope lies between
    what either piece admits (J. W. Gibbs, Trans Conn Acad 3 (1878); J. F. Oliver, C. Huh and S. G.
    Mason, J Colloid Interface Sci 59 (1977) 568, both from memory).

    Parameters
    ----------
    pieces : tuple of WallPiece
    edges : tuple of str
        Names of the corners between the pieces; "" where they meet tangentially.
    """

    pieces: tuple[WallPiece, ...]
    edges: tuple[str, ...]

    def at(self, piece: int, t: float) -> ContactPlace:
        """The place at curve parameter t of a piece.

        Parameters
        ----------
        piece : int
        t : float
            0 to 1; at 1 the place belongs to the next piece, whose direction lies ahead.
        """
        if t >= 1.0 and piece + 1 < len(self.pieces):
            return self.at(piece + 1, 0.0)
        part = self.pieces[piece]
        dx, dz = _tangent(part.curve, t)
        x, z = part.curve.point([t])[0]
        rest = [p.curve for p in self.pieces[piece + 1 :]]
        return ContactPlace(
            (t == 0.0 and piece > 0 and self.edges[piece - 1]) or part.place,
            (float(x), float(z)),
            math.atan2(-dz, dx),
            (_later(part.curve, t), *rest),
        )

    def corner(self, piece: int, t: float = 0.0) -> bool:
        """Whether the wall turns away from the liquid at a place: at the start of a piece only.

        Parameters
        ----------
        piece : int
        t : float
            Curve parameter on the piece, [-].
        """
        if piece == 0 or t != 0.0:
            return False
        before = _tangent(self.pieces[piece - 1].curve, 1.0)
        after = _tangent(self.pieces[piece].curve, 0.0)
        return before[0] * after[1] - before[1] * after[0] < -_SMOOTH


def _tangent(curve: Curve, t: float) -> tuple[float, float]:
    dx, dz = curve.tangent([t])[0]
    return float(dx), float(dz)


def _later(curve: Line | Arc, t: float) -> Curve:
    """What is left of a curve from parameter t on."""
    if t <= 0.0:
        return curve
    if isinstance(curve, Line):
        x, z = curve.point([t])[0]
        end = curve.end
        return Line((float(x), float(z)), (float(end[0]), float(end[1])))
    first = curve.first_angle + t * (curve.last_angle - curve.first_angle)
    return Arc(curve.centre, curve.radius, first, curve.last_angle)
