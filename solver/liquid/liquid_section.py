"""The free liquid surface of a design: which part moves, what is held, and its onset.

Pressure is prescribed for capillary and slit, which are fed from a reservoir, and volume for the
cap of a wetted needle: a film of a micrometre cannot flow during a ramp.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.constants import epsilon_0

from conegap.geometries.curves.section import EmittingEdge, Section
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError, MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.liquid.attached_cone import Extinction, extinction
from conegap.solver.liquid.branch import (
    LiquidSection,
    MeniscusBranch,
    half_angle,
    turning_point,
)
from conegap.solver.liquid.meniscus import Equilibrium, Held
from conegap.solver.liquid.shape import MeniscusShape, cap
from conegap.solver.liquid.slit_waves import FirstWave, first_tilt, first_wave

__all__ = [
    "MeniscusOnset",
    "apex_grid_radius",
    "held_in",
    "liquid_section",
    "meniscus_onset",
    "moves",
    "voltage_of_bond_number",
]

# Chebyshev coefficients of the slope: 12 leave 1e-4 in voltage for a pinned hemisphere, 14 agree
# with the reference to five digits.
_MODES = 14
# Radii of curvature at the apex, and below that contact radii, over which the grid about the
# apex is laid: the cap that becomes the cusp.
_PATCH_OF_APEX = 0.35
_LARGEST_PATCH = 0.25
# Relative, for what the mesh sequence does not see: modes left out and the parabola at the
# turning point.
_OTHER_ERROR = 1e-4


@dataclass(frozen=True)
class MeniscusOnset:
    """Where the free liquid surface loses its equilibrium.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator at the turning point, [V].
    error : float
        Relative numerical error of the voltage: from the mesh sequence, plus 1e-4 for the modes
        left out (measured on the pinned hemisphere), [-].
    held : "pressure" or "volume"
    radius : float
        Contact radius or half width a, [m].
    contact : tuple of float
        Contact line (r or x, z), [m].
    surface_tension : float
        [N/m].
    apex_field : float
        Field at the apex at the turning point, [V/m].
    half_angle : float
        Half angle of the cone that fits the middle third of the surface there, [rad].
    extinction : Extinction or None
        Where an attached cone collapses; None for a slit, or where the feed pressure alone
        holds a cone up.
    wave : FirstWave or None
        The first wave along a slit; None around an axis or when none grows.
    tilt_voltage : float or None
        Where a surface around an axis tilts to one side before it turns, [V]; None when it
        stands upright until then.
    branch : MeniscusBranch
    factor : float
        Field of the true surroundings over that of the plane section, by which every voltage of
        the section is divided, [-].
    """

    voltage: float
    error: float
    held: Held
    radius: float
    contact: tuple[float, float]
    surface_tension: float
    apex_field: float
    half_angle: float
    extinction: Extinction | None
    wave: FirstWave | None
    tilt_voltage: float | None
    branch: MeniscusBranch
    factor: float = 1.0

    def in_field(self, factor: float) -> MeniscusOnset:
        """The same surface where the true surroundings scale its field.

        Parameters
        ----------
        factor : float
            Over the field of the plane section, [-].
        """
        ends = self.extinction
        if ends is not None:
            ends = replace(
                ends,
                voltage=ends.voltage / factor,
                low=ends.low / factor,
                high=ends.high / factor,
            )
        return replace(
            self,
            voltage=self.voltage / factor,
            tilt_voltage=None if self.tilt_voltage is None else self.tilt_voltage / factor,
            extinction=ends,
            factor=self.factor * factor,
        )

    @property
    def standing_extinction(self) -> Extinction | None:
        """The extinction where its estimate means something: below the onset."""
        ends = self.extinction
        return ends if ends is not None and ends.voltage < self.voltage else None

    @property
    def wave_voltage(self) -> float | None:
        """Voltage at which the first wave along a slit begins to grow, [V]."""
        return None if self.wave is None else self._volts(self.wave.electric_bond_number)

    def voltage_of(self, equilibrium: Equilibrium) -> float:
        """Voltage of one shape of the branch, [V]."""
        return self._volts(equilibrium.electric_bond_number)

    def as_dict(self) -> dict[str, Any]:
        """The turning point for the results contract."""
        shape = self.branch.turning.shape
        result: dict[str, Any] = {
            "held": self.held,
            "contact_radius_m": self.radius,
            "apex_height_m": shape.height * self.radius,
            "contact_slope_rad": shape.contact_angle,
            "apex_field_V_per_m": self.apex_field,
            "half_angle_rad": self.half_angle,
            "numerical_error": self.error,
        }
        if self.wave is not None:
            result["wave_voltage_V"] = self.wave_voltage
            result["wave_spacing_m"] = self.wave.wavelength * self.radius
        if self.tilt_voltage is not None:
            result["tilt_voltage_V"] = self.tilt_voltage
        if self.standing_extinction is not None:
            result["extinction_V"] = self.standing_extinction.voltage
            result["extinction_low_V"] = self.standing_extinction.low
            result["extinction_high_V"] = self.standing_extinction.high
        return result

    def _volts(self, electric_bond_number: float) -> float:
        return (
            voltage_of_bond_number(electric_bond_number, self.surface_tension, self.radius)
            / self.factor
        )


def voltage_of_bond_number(
    electric_bond_number: float, surface_tension: float, radius: float
) -> float:
    """Voltage of a strength lambda = eps0 V^2 / (gamma a), [V].

    Parameters
    ----------
    electric_bond_number : float
        lambda, [-].
    surface_tension : float
        gamma, [N/m].
    radius : float
        Contact radius or half width a, [m].
    """
    return math.sqrt(max(electric_bond_number, 0.0) * (surface_tension * radius / epsilon_0))


def moves(design: Design) -> bool:
    """Whether a design has a liquid surface that can be followed: its section has a liquid
    boundary which begins on the axis or line of symmetry, and is not drawn or meshed elsewhere."""
    if design.emitter.whole_file is not None:
        return False
    section = design.section()
    return _surface(section) is not None


def _surface(section: Section) -> tuple[int, int] | None:
    for number, loop in enumerate(section.loops):
        for index, boundary in enumerate(loop):
            before = loop[index - 1].name
            if boundary.name == "liquid" and before in ("axis", "symmetry"):
                return number, index
    return None


def apex_grid_radius(shape: MeniscusShape) -> float:
    """Radius on which to lay the grid of points around the apex, in contact radii, [-].

    Parameters
    ----------
    shape : MeniscusShape
    """
    bend = float(shape.slope_derivative(np.zeros(1))[0]) / shape.length
    return min(_LARGEST_PATCH, _PATCH_OF_APEX / max(bend, 1e-9))


def liquid_section(design: Design) -> LiquidSection:
    """A design's section with its liquid surface left free.

    Parameters
    ----------
    design : Design

    Raises
    ------
    DesignError
        The design has no free surface, or its chamber is not grounded.
    """
    section = design.section()
    place = _surface(section)
    if place is None:
        raise DesignError(
            "this design has no liquid surface that begins on the axis or line of symmetry; "
            "use the rigid criterion"
        )
    if design.voltages.chamber != 0.0:
        raise DesignError(
            f"voltages.chamber = {design.voltages.chamber:g} V: the turning point is computed for "
            "voltages that rise together, so the chamber must be grounded; use the rigid criterion"
        )
    loop, index = place
    end = section.loops[loop][index].curve.end
    contact = (float(end[0]), float(end[1]))
    radius = contact[0]

    def draw(shape: MeniscusShape) -> tuple[Section, tuple[int, int]]:
        edge = EmittingEdge("meniscus", *place, 0.0, apex_grid_radius(shape) * radius)
        curves = (shape.curve(radius, contact),)
        return section.with_surface(place, curves, edge), place

    def clearance(shape: MeniscusShape) -> float:
        points = shape.points(np.linspace(0.0, 1.0, 201)) * radius
        height = points[:, 1] + contact[1] - design.emitter.metal_top(points[:, 0])
        return float(height.min()) / radius

    potentials = electrode_voltages(design, section.electrodes, 1.0 / design.voltage)
    return LiquidSection(draw, radius, contact, potentials, clearance)


def meniscus_onset(design: Design, *, progress: Progress | None = None) -> MeniscusOnset:
    """Onset of a design as the turning point of its liquid surface.

    A capillary or slit is fed from a reservoir, so its pressure is held; the film on a wetted
    needle is too thin to flow during a ramp, so the volume of its cap is held, pinned where the
    cap meets the cone.

    Parameters
    ----------
    design : Design
    progress : callable or None
        Called with (what, steps done, steps in all or 0).

    Raises
    ------
    DesignError
        The design has no free surface, floods, or its chamber is not grounded.
    ContinuationError, MeshError
        The branch could not be followed; no number is reported.
    SurfaceInSolid
        The surface rests on the metal (a thin film, a sucked-in meniscus).
    """
    file = design.emitter.whole_file
    if file is not None:
        raise DesignError(
            f"the liquid surface of {file} is held as drawn; a free surface is followed only where "
            "the emitter is given by its dimensions"
        )
    liquid = liquid_section(design)
    symmetry = design.section().symmetry
    gamma = float(design.metal.surface_tension(design.liquid.temperature))
    held, amount, start, pressure = held_in(design, liquid.radius, gamma)
    branch = turning_point(
        liquid, start, pressure=pressure, held=held, amount=amount, progress=progress
    )
    voltage = voltage_of_bond_number(branch.electric_bond_number.value, gamma, liquid.radius)
    tilt = first_tilt(liquid, branch) if symmetry == "axisymmetric" else None
    return MeniscusOnset(
        voltage=voltage,
        # The mesh sequence does not see the truncated modes or the parabola at the turning point.
        error=branch.electric_bond_number.error / 2.0 + _OTHER_ERROR,
        held=held,
        radius=liquid.radius,
        contact=liquid.contact,
        surface_tension=gamma,
        apex_field=float(branch.turning.field[0]) * voltage / liquid.radius,
        half_angle=half_angle(branch.turning.shape),
        extinction=_extinction(design, liquid, gamma),
        wave=first_wave(liquid, branch) if symmetry == "planar" else None,
        tilt_voltage=None if tilt is None else voltage_of_bond_number(tilt, gamma, liquid.radius),
        branch=branch,
    )


def held_in(
    design: Design, radius: float, surface_tension: float
) -> tuple[Held, float, MeniscusShape, float]:
    """What is held during the ramp, and the surface without field.

    Parameters
    ----------
    design : Design
    radius : float
        Contact radius or half width, [m].
    surface_tension : float
        [N/m].

    Returns
    -------
    held : "pressure" or "volume"
    amount : float
        See `conegap.solver.liquid.meniscus.MeniscusProblem`, [-].
    start : MeniscusShape
    pressure : float
        Of the start, in gamma / a, [-].

    Raises
    ------
    DesignError
        The surface cannot hold the feed's pressure.
    """
    symmetry = design.section().symmetry
    angle = design.emitter.tip_half_angle
    if angle is not None:
        start = cap(math.pi / 2.0 - angle, _MODES, symmetry)
        return "volume", start.volume, start, 2.0 * math.sin(start.contact_angle)
    pressure = design.liquid.feed_pressure * radius / surface_tension
    most = 2.0 if symmetry == "axisymmetric" else 1.0
    if abs(pressure) >= most:
        limit = most * surface_tension / radius
        raise DesignError(
            f"liquid.feed_pressure = {design.liquid.feed_pressure:g} Pa is beyond the "
            f"{limit:.4g} Pa that the surface can hold at a contact radius of "
            f"{radius * 1e6:.4g} um: the liquid "
            + ("floods the edge" if pressure > 0.0 else "is drawn back into the feed")
            + " without any voltage"
        )
    return "pressure", pressure, cap(math.asin(pressure / most), _MODES, symmetry), pressure


def _extinction(design: Design, liquid: LiquidSection, gamma: float) -> Extinction | None:
    section = design.section()
    place = _surface(section)
    if section.symmetry != "axisymmetric" or place is None:
        return None
    try:
        return extinction(design, surface=place, contact=liquid.contact, surface_tension=gamma)
    except (DesignError, MeshError):
        # A rough figure beside the onset, which stands without it.
        return None
