"""What every section of a design file has in common: dimensions with units, tolerance and basis."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, ValidationInfo
from pydantic_core import CoreSchema, core_schema

from conegap.geometries.quantities.quantity import (
    ACCELERATION,
    ANGLE,
    CURRENT,
    ENERGY,
    FIELD,
    LENGTH,
    MASS,
    PERMEABILITY,
    PRESSURE,
    TEMPERATURE,
    VOLTAGE,
    PhysicalKind,
    Quantity,
    QuantityError,
    as_text,
    read_quantity,
)

__all__ = [
    "BASES",
    "Acceleration",
    "Angle",
    "Basis",
    "Current",
    "Distance",
    "ElectricField",
    "Energy",
    "Length",
    "Mass",
    "Offset",
    "Part",
    "Permeability",
    "Physical",
    "Potential",
    "Pressure",
    "Problem",
    "Radius",
    "Temperature",
    "Tilt",
    "VoltageLimit",
    "derived",
]

Basis = Literal["measured", "drawn", "assumed"]
BASES: tuple[Basis, ...] = get_args(Basis)

Sign = Literal["positive", "not negative", "any"]


@dataclass(frozen=True)
class Problem:
    """A rule that a value breaks.

    Parameters
    ----------
    key : str
        Full key of the design file: "emitter.tip_radius".
    message : str
        The rule and the remedy.
    """

    key: str
    message: str


@dataclass(frozen=True)
class Physical:
    """Marks a field as a physical quantity, read with its unit and kept in SI.

    Parameters
    ----------
    kind : PhysicalKind
        Kind of quantity.
    sign : str
        "positive", "not negative" or "any".
    position : bool
        Of either sign, but drawn as a distance: its tolerance is smaller than itself.
    spread : str
        Key that states how uncertain the value is, where that is no tolerance: one written here
        would move nothing, and is refused.
    """

    kind: PhysicalKind
    sign: Sign = "positive"
    position: bool = False
    spread: str = ""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_before_validator_function(self._read, handler(source))

    def _read(self, given: object, info: ValidationInfo) -> float:
        scanned = bool((info.context or {}).get("scanned"))
        return self.read(given, tolerance_rule=not scanned).value

    def read(self, given: object, *, tolerance_rule: bool = True) -> Quantity:
        """Value of a text or of a table with value, tolerance and basis.

        Parameters
        ----------
        given : object
            What the design file holds.
        tolerance_rule : bool
            Refuse a tolerance that is as large as the value or larger.

        Raises
        ------
        QuantityError
            The text, the sign, the tolerance or the basis is wrong.
        """
        if not isinstance(given, Mapping):
            quantity = read_quantity(given, self.kind)
            self._check_sign(quantity)
            return quantity
        unknown = sorted(set(given) - {"value", "tolerance", "basis"})
        if unknown:
            raise QuantityError(
                f"'{unknown[0]}' is not known in a dimension's table; "
                "it may hold value, tolerance and basis"
            )
        if "value" not in given:
            raise QuantityError('the table has no value; write { value = "...", tolerance = ... }')
        quantity = read_quantity(given["value"], self.kind)
        self._check_sign(quantity)
        if self.spread and "tolerance" in given:
            raise QuantityError(f"a tolerance here would move no result; {self.spread}")
        tolerance = self.tolerance(given)
        if tolerance is not None and tolerance < 0.0:
            raise QuantityError(
                f"the tolerance {given['tolerance']} is negative; write the half width of the band"
            )
        # What is nominally zero, such as an offset or a bevel, may carry a tolerance.
        limited = quantity.value != 0.0 and (self.sign != "any" or self.position)
        if tolerance_rule and limited and (tolerance or 0.0) >= abs(quantity.value):
            how = "as large as" if tolerance == abs(quantity.value) else "larger than"
            raise QuantityError(
                f"the tolerance {given['tolerance']} is {how} the value {given['value']}, "
                "so the dimension could vanish; the tolerance is a plus-minus half width, "
                "give a smaller one"
            )
        if given.get("basis", "drawn") not in BASES:
            raise QuantityError(
                f"the basis '{given['basis']}' is unknown; it is {', '.join(BASES)}"
            )
        return quantity

    def tolerance(self, given: object) -> float | None:
        """Half width of the tolerance band in SI, or None."""
        if not isinstance(given, Mapping) or "tolerance" not in given:
            return None
        try:
            return read_quantity(given["tolerance"], self.kind, difference=True).value
        except QuantityError as problem:
            raise QuantityError(f"tolerance: {problem}") from problem

    def _check_sign(self, quantity: Quantity) -> None:
        text = as_text(quantity.value, self.kind, quantity.unit)
        if self.sign == "positive" and not quantity.value > 0.0:
            raise QuantityError(f"{text} is not possible, it must be larger than zero")
        if self.sign == "not negative" and quantity.value < 0.0:
            raise QuantityError(f"{text} is not possible, it must not be negative")


Length = Annotated[float, Physical(LENGTH)]
"""A length larger than zero, [m]."""
Radius = Annotated[float, Physical(LENGTH, "not negative")]
"""A length that may be zero, [m]."""
Offset = Annotated[float, Physical(LENGTH, "any")]
"""A length of either sign, [m]."""
Distance = Annotated[float, Physical(LENGTH, "any", position=True)]
"""A drawn distance that may be negative where something reaches beyond, [m]."""
Angle = Annotated[float, Physical(ANGLE, "not negative")]
"""An angle that is not negative, [rad]."""
Tilt = Annotated[float, Physical(ANGLE, "any")]
"""An angle of either sign, [rad]."""
Temperature = Annotated[float, Physical(TEMPERATURE)]
"""An absolute temperature, [K]."""
Pressure = Annotated[float, Physical(PRESSURE, "any")]
"""A gauge pressure of either sign, [Pa]."""
Potential = Annotated[float, Physical(VOLTAGE, "any")]
"""A voltage against ground, of either sign, [V]."""
VoltageLimit = Annotated[float, Physical(VOLTAGE)]
"""A voltage larger than zero, [V]."""
Current = Annotated[float, Physical(CURRENT)]
"""A current larger than zero, [A]."""
ElectricField = Annotated[float, Physical(FIELD)]
"""A field strength larger than zero, [V/m]."""

Mass = Annotated[float, Physical(MASS)]
"""A mass larger than zero, [kg]."""
Permeability = Annotated[float, Physical(PERMEABILITY)]
"""A permeability larger than zero, [m^2]."""
Acceleration = Annotated[float, Physical(ACCELERATION)]
"""An acceleration larger than zero, [m/s^2]."""
Energy = Annotated[float, Physical(ENERGY)]
"""An energy larger than zero, [J]."""


def derived(rule: Callable[[Mapping[str, float]], float]) -> Any:
    """A default that follows from the dimensions declared before it, [SI].

    Parameters
    ----------
    rule : callable
        Takes the values read so far and returns the default.
    """
    return Field(default_factory=rule)


class Part(BaseModel):
    """A section of the design file: frozen, SI floats, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    @classmethod
    @cache
    def physical_fields(cls) -> Mapping[str, Physical]:
        """The physical quantities of this section by key, in the order of declaration."""
        found = {}
        for key, field in cls.model_fields.items():
            marks = [m for m in _marks(field.metadata, field.annotation) if m is not None]
            if marks:
                found[key] = marks[0]
        return found

    def problems(self) -> Iterator[Problem]:
        """Rules between the values of this section that are broken."""
        yield from ()

    def unlikely(self) -> Iterator[Problem]:
        """Values that are possible but look like a slip."""
        yield from ()


def _marks(metadata: list[Any], annotation: Any) -> Iterator[Physical | None]:
    """Physical marks on a field, also inside ``Length | None``."""
    yield from (m for m in metadata if isinstance(m, Physical))
    for argument in get_args(annotation):
        yield from (m for m in getattr(argument, "__metadata__", ()) if isinstance(m, Physical))
