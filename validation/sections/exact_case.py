"""A section together with its exact answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section

__all__ = ["ExactCase", "Potential"]

Potential = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class ExactCase:
    """A section whose field is known in closed form.

    Parameters
    ----------
    name : str
        What the table calls it.
    source : str
        Where the closed form is from.
    potential : callable (n, 2) array [m] -> (n,) array [V]
        Exact potential at ``voltages``.
    voltages : mapping of electrode name to [V]
        Contains "outer": 1.0 when data are prescribed on the boundary "outer".
    edge_fields : mapping of emitting edge name to outward normal field, [V/m]
    charges : mapping of electrode name to charge, [C], or [C/m] when planar
    prescribed : bool
        The exact potential is put on the boundary "outer"; otherwise no flux crosses it, which
        is exact where that boundary follows a field line.
    """

    name: str
    source: str
    section: Section
    potential: Potential
    voltages: Mapping[str, float]
    edge_fields: Mapping[str, float]
    charges: Mapping[str, float] = field(default_factory=dict)
    prescribed: bool = False

    @property
    def title(self) -> str:
        """Name, with the condition on the cut where it is not zero flux."""
        return self.name + (", potential prescribed on the cut" if self.prescribed else "")

    @property
    def prescribed_data(self) -> dict[str, Potential] | None:
        """Argument ``prescribed`` of the field solvers."""
        return {"outer": self.potential} if self.prescribed else None
