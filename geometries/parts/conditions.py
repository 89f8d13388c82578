"""What a design says besides its electrodes: liquid, voltages, supply, chamber and limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field
from scipy.constants import g

from conegap.geometries.metals.laws import ELEMENTARY_CHARGE
from conegap.geometries.metals.metal import Metal, MissingPropertyError, metal
from conegap.geometries.parts.part import (
    Acceleration,
    Angle,
    Current,
    ElectricField,
    Energy,
    Length,
    Mass,
    Part,
    Physical,
    Potential,
    Pressure,
    Problem,
    Radius,
    Temperature,
    VoltageLimit,
)
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import (
    CAPACITANCE,
    CURRENT,
    DENSITY,
    ENERGY,
    MOLAR_MASS,
    RESISTANCE,
    SURFACE_TENSION,
    SURFACE_TENSION_SLOPE,
    TEMPERATURE,
    VISCOSITY,
    VOLTAGE,
    as_text,
)

__all__ = ["Chamber", "Criteria", "CustomMetal", "Insulator", "Liquid", "Supply", "Voltages"]


_TENSION = "give surface_tension_relative_uncertainty, one standard uncertainty, in its place"
_NONE = "leave it out"
_WORST = "state the value that is the worse for the review, and leave it out"


class CustomMetal(Part):
    """A metal of the user's own, [liquid.custom].

    A liquid without `first_ionisation_energy` has an onset but no ions, current or thrust.
    """

    name: str
    molar_mass: Annotated[float, Physical(MOLAR_MASS, spread=_NONE)]
    melting_point: Annotated[float, Physical(TEMPERATURE, spread=_NONE)]
    surface_tension: Annotated[float, Physical(SURFACE_TENSION, spread=_TENSION)]
    surface_tension_temperature: Annotated[float, Physical(TEMPERATURE, spread=_NONE)] | None = None
    surface_tension_slope: Annotated[
        float, Physical(SURFACE_TENSION_SLOPE, "any", spread=_NONE)
    ] = 0.0
    surface_tension_relative_uncertainty: float = Field(default=0.05, ge=0.0, le=1.0, strict=True)
    density: Annotated[float, Physical(DENSITY, spread=_NONE)] | None = None
    viscosity: Annotated[float, Physical(VISCOSITY, spread=_NONE)] | None = None
    first_ionisation_energy: Annotated[float, Physical(ENERGY, spread=_NONE)] | None = None
    work_function: Annotated[float, Physical(ENERGY, spread=_NONE)] | None = None
    valid_from: Annotated[float, Physical(TEMPERATURE, spread=_NONE)] | None = None
    valid_to: Annotated[float, Physical(TEMPERATURE, spread=_NONE)] | None = None
    source: str = "given by the user"

    def metal(self) -> Metal:
        """The metal with these values.

        Raises
        ------
        DesignError
            The values contradict each other.
        """
        valid = None
        if self.valid_from is not None and self.valid_to is not None:
            valid = (self.valid_from, self.valid_to)
        given = self.model_dump(exclude={"name", "valid_from", "valid_to"})
        return Metal.custom(self.name, valid_range=valid, **given)


class Liquid(Part):
    """The liquid metal and how it is held.

    `feed_pressure` is the gauge pressure of the liquid at the emitting edge: positive pushes the
    liquid outward, negative is the suction of a wick.  `acceleration` (launch, handling) acts along
    a liquid column of `column_height` that stands on the emitting edge.  With `orientation`, the
    direction in which the emitter points, the column's own weight counts as well: `feed_pressure`
    is then the gauge pressure at the far end of the column.  `advancing_angle` and
    `receding_angle` are the largest and smallest angle at which the contact line stands still;
    where they are left out both are `contact_angle`.  A `contaminated` surface (oxide, adsorbed
    films) has the lower tension that the property table states for it, and its line does not recede
    where no `receding_angle` is given: an oxide skin clings.  `propellant_mass` is the
    stock that a thruster carries, from which its life follows.
    """

    metal: str | None = None
    surface: Literal["clean", "contaminated"] = "clean"
    temperature: Temperature = Field(
        description="temperature of the liquid", examples=["430 K", "157 degC"]
    )
    feed_pressure: Pressure = 0.0
    film_thickness: Radius = 0.0
    contact_angle: Angle = math.radians(30.0)
    advancing_angle: Angle | None = None
    receding_angle: Angle | None = None
    acceleration: Acceleration | None = None
    column_height: Length | None = None
    orientation: Literal["up", "level", "down"] | None = None
    propellant_mass: Mass | None = None
    custom: CustomMetal | None = None

    @property
    def advancing(self) -> float:
        """Angle inside the liquid above which the contact line advances, [rad]."""
        return self.contact_angle if self.advancing_angle is None else self.advancing_angle

    @property
    def receding(self) -> float:
        """Angle inside the liquid below which the contact line recedes, [rad].

        Of gallium's alloys under an oxide skin only the advancing angle can be specified (S. Jung
        and others, Phys Fluids 34 (2022), doi 10.1063/5.0130491; I. D. Joshipura and others,
        Langmuir 37 (2021) 10914; abstracts read): then it is zero where none is stated.
        """
        if self.receding_angle is not None:
            return self.receding_angle
        return 0.0 if self.surface == "contaminated" else self.contact_angle

    @property
    def rise(self) -> float:
        """Height of the emitting edge above the far end of the liquid column, [m]; 0 where the
        design does not say how the emitter points."""
        up = {"up": 1.0, "level": 0.0, "down": -1.0, None: 0.0}[self.orientation]
        return up * (self.column_height or 0.0)

    def edge_pressure(self, metal: Metal) -> float:
        """Gauge pressure at the emitting edge, p - rho g h, [Pa].

        The feed pressure less the weight of the column below the edge, where the design says how
        the emitter points (B. Pascal's law of a liquid at rest, textbook).

        Raises
        ------
        DesignError
            The metal has no density, so that the weight is not known.
        """
        if self.rise == 0.0:
            return self.feed_pressure
        if metal.density_law is None:
            raise DesignError(
                f"liquid.orientation: {metal.name} has no density, so its column's weight is not "
                "known; give [liquid.custom] density, or leave orientation out",
                keys=("liquid.orientation",),
            )
        return float(self.feed_pressure - float(metal.density(self.temperature)) * g * self.rise)

    def properties(self) -> Metal:
        """The metal's property table.

        Raises
        ------
        UnknownMetalError
            No such metal; the message lists the names.
        DesignError
            The user's own metal contradicts itself, or no tension of a contaminated surface is
            known for the metal.
        """
        found = metal(self.metal or "") if self.custom is None else self.custom.metal()
        if self.surface == "clean":
            return found
        try:
            return found.with_contaminated_surface()
        except MissingPropertyError:
            raise DesignError(
                f"no tension of a contaminated surface is known for {found.name}; "
                "give the measured one in [liquid.custom], or leave surface out",
                keys=("liquid.surface",),
            ) from None

    def problems(self) -> Iterator[Problem]:
        if self.contact_angle > math.pi / 2.0 * (1.0 + 1e-12):
            yield Problem(
                "liquid.contact_angle",
                "the liquid does not wet at a contact angle above 90 deg: it draws back from the "
                "emitter and no onset can be given; choose a wetting surface, or give the angle "
                "measured inside the liquid",
            )
        for key, given, sign in (
            ("advancing_angle", self.advancing, 1.0),
            ("receding_angle", self.receding, -1.0),
        ):
            if sign * (given - self.contact_angle) < 0.0:
                yield Problem(
                    f"liquid.{key}",
                    f"{math.degrees(given):.4g} deg lies on the wrong side of liquid.contact_angle,"
                    f" {math.degrees(self.contact_angle):.4g} deg: a contact line advances at the "
                    "largest angle and recedes at the smallest",
                )
        if self.metal is None and self.custom is None:
            yield Problem(
                "liquid.metal",
                'name the metal, such as metal = "indium", or describe your own in [liquid.custom]',
            )
        if self.metal is not None and self.custom is not None:
            yield Problem(
                "liquid.metal", "both a named metal and [liquid.custom] are given; remove one"
            )

        if self.acceleration is not None and self.column_height is None:
            yield Problem(
                "liquid.acceleration",
                "nothing can be said about holding the liquid without liquid.column_height, the "
                "length of the liquid column along the acceleration; give it as well",
            )

        if self.orientation in ("up", "down") and self.column_height is None:
            yield Problem(
                "liquid.orientation",
                "the weight of the liquid is not known without liquid.column_height, the length of "
                "the column between reservoir and emitting edge; give it as well, or leave "
                "orientation out",
            )

    def unlikely(self) -> Iterator[Problem]:
        if self.temperature > 1500.0:
            yield Problem(
                "liquid.temperature",
                f"{as_text(self.temperature, TEMPERATURE)} is very hot for a liquid-metal emitter",
            )
        if abs(self.feed_pressure) > 1e6:
            yield Problem("liquid.feed_pressure", "more than ten atmospheres is unusual")


class Voltages(Part):
    """Voltages of the electrodes, each against ground."""

    emitter: Potential = Field(description="emitter against ground", examples=["6 kV"])
    accelerator: Potential = 0.0
    chamber: Potential = 0.0

    @property
    def widest(self) -> float:
        """Greatest difference between electrodes, chamber and earth, [V]."""
        potentials = (self.emitter, self.accelerator, self.chamber, 0.0)
        return max(potentials) - min(potentials)

    def problems(self) -> Iterator[Problem]:
        difference = self.emitter - self.accelerator
        if difference == 0.0:
            yield Problem(
                "voltages.emitter",
                "emitter and accelerator are at the same voltage, so nothing is emitted; raise "
                "the emitter's voltage",
            )
        elif difference < 0.0:
            yield Problem(
                "voltages.emitter",
                f"the emitter is {-difference:.6g} V negative against the accelerator: this is "
                "electron mode, for which no ion numbers are given; make the emitter positive "
                "against the accelerator",
            )

    def unlikely(self) -> Iterator[Problem]:
        for name in ("emitter", "accelerator"):
            volts = getattr(self, name)
            if abs(volts) > 50e3:
                yield Problem(
                    f"voltages.{name}",
                    f'more than 50 kV is unusual; did you mean "{as_text(volts / 1e3, VOLTAGE)}"?',
                )
            elif 0.0 < abs(volts) < 20.0:
                yield Problem(
                    f"voltages.{name}",
                    "so few volts neither lift the liquid nor hold electrons back; did you mean "
                    f'"{as_text(volts * 1e3, VOLTAGE)}"?',
                )
        if self.emitter - self.accelerator > 50e3 >= max(abs(self.emitter), abs(self.accelerator)):
            yield Problem("voltages.emitter", "more than 50 kV across the gap is unusual")


class Supply(Part):
    """The high-voltage supply between emitter and accelerator."""

    voltage_limit: VoltageLimit | None = None
    current_limit: Current | None = None
    ballast_resistance: Annotated[float, Physical(RESISTANCE, "not negative", spread=_WORST)] = 0.0
    cable_capacitance: Annotated[float, Physical(CAPACITANCE, spread=_WORST)] | None = None

    def unlikely(self) -> Iterator[Problem]:
        usual = (
            ("voltage_limit", self.voltage_limit, VOLTAGE, 100.0, 200e3),
            ("current_limit", self.current_limit, CURRENT, 1e-7, 0.1),
            ("ballast_resistance", self.ballast_resistance or None, RESISTANCE, 1e3, 5e9),
        )
        for name, value, kind, low, high in usual:
            if value is not None and not low <= value <= high:
                guess = as_text(value * (1e3 if value < low else 1e-3), kind)
                yield Problem(
                    f"supply.{name}",
                    f'{as_text(value, kind)} is unusual here; did you mean "{guess}"?',
                )


class Chamber(Part):
    """The vacuum chamber: how far away its walls are.

    `side` says what closes the region at its radius or half width: the chamber's metal wall, or a
    line that no flux crosses, as half way to a neighbour of the same kind.  The end wall beyond the
    accelerator is metal.
    """

    radius: Length | None = None
    half_width: Length | None = None
    length: Length | None = None
    side: Literal["wall", "flux_free"] = "wall"


class Insulator(Part):
    """The insulator that carries the accelerator against the emitter, where there is one.

    `surface_length` is the shortest way along its surface and `voltage` what stands across it, that
    of the gap when left out.  `triple_junction_shielded` says whether the line where insulator,
    vacuum and the negative metal meet is hidden from the field.
    """

    surface_length: Length | None = None
    voltage: VoltageLimit | None = None
    triple_junction_shielded: bool | None = None

    def problems(self) -> Iterator[Problem]:
        if self.voltage is not None and self.surface_length is None:
            yield Problem(
                "insulator.surface_length",
                "a voltage across the insulator is given, but not the length of its surface; "
                'write surface_length = "10 mm" or leave the voltage out',
            )


class Criteria(Part):
    """Limits of the gap review, with defaults of common practice.

    `micro_protrusion_factor` multiplies the field of the smooth accelerator before electron
    emission is computed (20 to 100 is common practice for a technical surface), and
    `accelerator_work_function` is that of its clean metal.  `bulk_field` limits the mean field
    across the narrowest clearance where a house has such a rule.  It has no default: a vacuum gap
    breaks down by electrons from the local field of the negative electrode or by clumps, which are
    both judged by the computed field, and their mean over a gap that is anything but even says
    nothing more.
    """

    onset_fraction_of_supply: float = Field(default=0.8, gt=0.0, le=1.0, strict=True)
    accelerator_edge_field: ElectricField = 20e6
    bulk_field: ElectricField | None = None
    micro_protrusion_factor: float = Field(default=50.0, ge=1.0, le=1000.0, strict=True)
    accelerator_work_function: Energy = 4.5 * ELEMENTARY_CHARGE
    electron_share_of_supply_current: float = Field(default=0.01, gt=0.0, le=1.0, strict=True)
    insulator_surface_field: ElectricField = 0.5e6
    unshielded_voltage: VoltageLimit = 20e3
