"""Sections in which a whole electrode emits, and the flows from them.

The emitter is a plate, or an arc about a centre below the origin whose sector is bounded by the
axis (spheres) or line of symmetry (cylinders) and by a straight side that no flux crosses.  Ions
start from rest all over it, on the arc itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from conegap.geometries.curves.curve import Arc, FloatArray, Line
from conegap.geometries.curves.section import Boundary, Section, Symmetry
from conegap.geometries.quantities.errors import GeometryError
from conegap.solver.beam.charged_flow import ChargedFlow, charged_flow
from conegap.solver.beam.launch import IonStarts
from conegap.solver.beam.lockstep import followed
from conegap.solver.field.charged import ChargedLevel
from conegap.solver.field.interpolation import FieldAtPoints
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.mesh.spacing import SpacingRule
from conegap.validation.exact.charge_flow import CHILD, Shape, current_unit, plane_share
from conegap.validation.sections.polygon import plates

__all__ = ["Diode", "radial_section"]

# A twelfth of the emitter's radius or an eighth of the gap between plates: the finest of three
# meshes then leaves less than 1e-3. The width of a sector asks for no finer mesh.
_SECTOR = SpacingRule(per_radius=0.08, per_axis_distance=100.0, per_clearance=0.6, growth=0.3)
_PLATES = SpacingRule(per_clearance=0.12)
# Above the arc, over the radius: rounding, so that the start is in the vacuum.
_ABOVE = 1e-9


def radial_section(shape: Shape, *, inner: float, outer: float, half_angle: float) -> Section:
    """Sector between an emitter and a concentric collector, or two plates of that gap.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    inner, outer : float
        Radii; plates have the gap between them and half of it as the width, [m].
    half_angle : float
        Of the sector about the z axis, without meaning for plates, [rad].
    """
    if shape == "plane":
        return plates(width=0.5 * (outer - inner), gap=outer - inner)
    centre, top = (0.0, -inner), math.pi / 2.0

    def at(radius: float) -> tuple[float, float]:
        return (radius * math.sin(half_angle), radius * math.cos(half_angle) - inner)

    loop = (
        Boundary(
            "axis" if shape == "sphere" else "symmetry", Line((0.0, outer - inner), (0.0, 0.0))
        ),
        Boundary("emitter", Arc(centre, inner, top, top - half_angle)),
        Boundary("outer", Line(at(inner), at(outer))),
        Boundary("accelerator", Arc(centre, outer, top - half_angle, top)),
    )
    symmetry: Symmetry = "axisymmetric" if shape == "sphere" else "planar"
    return Section(symmetry, (loop,), (), outer - inner, mirrored=shape == "cylinder")


@dataclass(frozen=True)
class Diode:
    """A radial flow on three meshes.

    Parameters
    ----------
    shape : "plane", "cylinder" or "sphere"
    inner, ratio : float
        Emitter's radius [m] and outer over inner radius [-]; plates have the gap
        ``inner (ratio - 1)``.
    voltage : float
        [V].
    mass : float
        Of an ion, [kg].
    half_angle : float
        Of the sector, [rad].
    tubes : int
        Paths, [-].
    """

    shape: Shape
    inner: float
    ratio: float
    voltage: float
    mass: float
    half_angle: float = math.radians(30.0)
    tubes: int = 120

    @cached_property
    def solution(self) -> FieldSolution:
        """Its field without charge."""
        section = radial_section(
            self.shape,
            inner=self.inner,
            outer=self.inner * self.ratio,
            half_angle=self.half_angle,
        )
        rule = _PLATES if self.shape == "plane" else _SECTOR
        return solve_field(section, accuracy=1.0, rule=rule)

    @property
    def emitting_area(self) -> float:
        """Of the sector, [m^2], or [m] when planar, both halves together."""
        if self.shape == "plane":
            return 0.5 * self.inner * (self.ratio - 1.0)
        if self.shape == "cylinder":
            return 2.0 * self.inner * self.half_angle
        return 2.0 * math.pi * self.inner**2 * (1.0 - math.cos(self.half_angle))

    def _emitter(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Starts, outward normals and shares of the current."""
        share = (np.arange(self.tubes) + 0.5) / self.tubes
        if self.shape == "plane":
            x = share * self.emitting_area
            flat = np.zeros(self.tubes)
            return np.stack([x, flat], 1), np.stack([flat, flat + 1.0], 1), flat + 1.0 / self.tubes
        turn = share * self.half_angle
        way = np.stack([np.sin(turn), np.cos(turn)], axis=1)
        weight = np.sin(turn) if self.shape == "sphere" else np.ones(self.tubes)
        starts = np.array([0.0, -self.inner]) + self.inner * (1.0 + _ABOVE) * way
        return starts, way, weight / weight.sum()

    def launch(self, field: FieldAtPoints) -> IonStarts:
        """Starts from rest; refused where the field holds ions back."""
        starts, way, share = self._emitter()
        if np.any(np.sum(field.field(starts) * way, axis=1) <= 0.0):
            raise GeometryError("the field at the emitter holds ions back")
        fall = np.maximum(self.voltage - field.potential(starts), 0.0)
        return IonStarts(starts, way, fall, share, np.zeros(self.tubes))

    def flow(self, current: float, level: int) -> ChargedFlow:
        """The flow of a current density at the emitter.

        Parameters
        ----------
        current : float
            In the unit of `conegap.validation.exact.charge_flow.current_unit`, [-].
        level : int
            Mesh of the sequence, [-].
        """
        unit = current_unit(self.inner, self.voltage, self.mass)
        return followed(
            charged_flow(
                ChargedLevel.of(self.solution, level),
                {"emitter": self.voltage},
                self.mass,
                self.launch,
                current * unit * self.emitting_area,
                tolerance=1e-5,
            )
        )

    def emitter_field(self, flow: ChargedFlow) -> float:
        """Mean field on the emitter, from its whole charge, in units of V / r0, [-]."""
        charges = flow.level.surface_charge({"emitter": self.voltage}, flow.potential, flow.charge)
        one = self.solution.levels[flow.level.level]
        here = one.measure["emitter"]
        # A point shared with another electrode would count in part; here there is none.
        total = float(charges[here > 0.0].sum()) / self.solution.charge_unit
        mean = total / float(here.sum()) / self.solution.scale
        return mean * self.inner / self.voltage

    def limit(self, level: int) -> float:
        """Current density at the emitter at which the field there is gone, [-].

        Found from the field under two currents of some half and three quarters of the limit: the
        current over what `conegap.validation.exact.charge_flow.plane_share` says hardly changes,
        and is carried on to no field by a straight line over the field's square.

        Parameters
        ----------
        level : int
            Mesh of the sequence, [-].
        """
        one = self.solution.levels[level]
        here = one.measure["emitter"] > 0.0
        bare = float(one.charges[0][here].sum()) / float(one.measure["emitter"].sum())
        bare *= self.inner / self.solution.scale
        # That of plates with the same field without charge.
        guess = CHILD * bare**2
        squares, limits = [], []
        for share in (0.2, 0.5, 0.75):
            e = self.emitter_field(self.flow(share * guess, level)) / bare
            squares.append(e * e)
            limits.append(share * guess / plane_share(e))
            guess = limits[-1]
        slope = (limits[2] - limits[1]) / (squares[2] - squares[1])
        return float(limits[2] - slope * squares[2])
