"""What emitters and accelerators draw themselves by, and how they word their dimensions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from pydantic import Field

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Symmetry
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["Arrangement", "Setting", "described", "length_text"]

Arrangement: TypeAlias = Literal["single", "ring", "rows"]
"""How the tips of an emitter stand: one tip or edge, a ring of tips, or rows of them."""


@dataclass(frozen=True)
class Setting:
    """What an electrode must know about the rest of the design to draw itself.

    Parameters
    ----------
    half : bool
        Draw only x >= 0; False for the whole width of a planar section.
    symmetry : "planar" or "axisymmetric"
        Symmetry of the section.
    film_thickness : float
        Thickness of the liquid film on a wetted emitter, [m].
    tables : mapping of str to (n, 2) array
        Points of the profiles, by the name of their file, [m].
    """

    half: bool = True
    symmetry: Symmetry = "axisymmetric"
    film_thickness: float = 0.0
    tables: Mapping[str, FloatArray] = field(default_factory=dict)


def length_text(value: float) -> str:
    """A length for a message or a mark, such as "4 um", from its value in [m]."""
    return as_text(value, LENGTH)


def described(text: str, example: str, **more: Any) -> Any:
    """A required dimension with the words and the example that a message shows.

    Parameters
    ----------
    text : str
        What the dimension is.
    example : str
        How it may be written, with unit.
    more
        Passed on to the field.
    """
    return Field(description=text, examples=[example], **more)
