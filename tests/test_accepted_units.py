"""Units are a closed list per quantity: usual spellings are read, all else is refused unread."""

from __future__ import annotations

import time

import pint
import pytest
from numpy.testing import assert_allclose

from conegap.geometries.quantities import accepted_units
from conegap.geometries.quantities.quantity import (
    ACCELERATION,
    ANGLE,
    DENSITY,
    ENERGY,
    FIELD,
    KINDS,
    LENGTH,
    PRESSURE,
    RESISTANCE,
    SURFACE_TENSION,
    SURFACE_TENSION_SLOPE,
    TEMPERATURE,
    VISCOSITY,
    PhysicalKind,
    QuantityError,
    read_quantity,
)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        # BIPM, The International System of Units (2019); NIST SP 811 for the inch and the torr.
        ("177 degreeC", TEMPERATURE, 450.15),
        ("177 °C", TEMPERATURE, 450.15),
        ("177 ℃", TEMPERATURE, 450.15),
        ("177 deg C", TEMPERATURE, 450.15),
        ("1.7 fahrenheit", TEMPERATURE, (1.7 + 459.67) / 1.8),
        ("350 °F", TEMPERATURE, (350.0 + 459.67) / 1.8),
        ("1 mil", LENGTH, 25.4e-6),
        ("2 thou", LENGTH, 50.8e-6),
        ("40 Å", LENGTH, 4e-9),
        ("40 \N{ANGSTROM SIGN}", LENGTH, 4e-9),
        ("4 µm", LENGTH, 4e-6),
        ("4 μm", LENGTH, 4e-6),
        ("4 microns", LENGTH, 4e-6),
        ("1 Torr", PRESSURE, 101325.0 / 760.0),
        ("1 kpa", PRESSURE, 1e3),
        ("3 MΩ", RESISTANCE, 3e6),
        ("3 M\N{OHM SIGN}", RESISTANCE, 3e6),
        ("15°", ANGLE, 0.2617993877991494),
        ("1 mPa·s", VISCOSITY, 1e-3),
        ("1 mPa s", VISCOSITY, 1e-3),
        ("2 MV / m", FIELD, 2e6),
        ("9.81 m/s²", ACCELERATION, 9.81),
        ("10 g", ACCELERATION, 98.0665),
        ("7022 kg/m³", DENSITY, 7022.0),
        ("7 g/cm3", DENSITY, 7e3),
        ("5 dyn/cm", SURFACE_TENSION, 5e-3),
        ("-0.09 mN/(m K)", SURFACE_TENSION_SLOPE, -9e-5),
        ("4 eV", ENERGY, 4 * 1.602176634e-19),
    ],
)
def test_usual_spellings(text: str, kind: PhysicalKind, value: float) -> None:
    """TABLE (BIPM, SI brochure (2019); NIST SP 811 (2008), from memory): what each is worth."""
    assert_allclose(read_quantity(text, kind).value, value, rtol=1e-13, atol=0)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("15 %", ANGLE),
        ("5 grad", ANGLE),
        ("4 px", LENGTH),
        ("4 light_year", LENGTH),
        ("4 planck_length", LENGTH),
        ("4 um**9**9**9", LENGTH),
        ("4 mm^1", LENGTH),
        ("4 um*um/um", LENGTH),
        ("4 sqrt(um*um)", LENGTH),
        ("4 " + "u" * 100_000, LENGTH),
        ("4 um;import", LENGTH),
        ("4 delta_degC", TEMPERATURE),
        ("4 V", LENGTH),
        ("4 C", TEMPERATURE),
        ("4 percent", ANGLE),
    ],
)
def test_what_is_no_usual_unit_is_refused_at_once(text: str, kind: PhysicalKind) -> None:
    """EXACT: refused with the units to use, in no time and without an answer of any length."""
    started = time.process_time()
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, kind)
    assert time.process_time() - started < 0.1
    assert kind.units[0] in str(caught.value)
    assert len(str(caught.value)) < 200


def test_intervals_of_temperature_have_no_zero() -> None:
    """EXACT: a tolerance of 9 degF or 5 degC is 5 K."""
    for text in ("9 degF", "5 degC", "5 ℃", "5 K"):
        assert_allclose(read_quantity(text, TEMPERATURE, difference=True).value, 5.0, rtol=1e-14)


def test_every_accepted_unit_has_the_dimension_of_its_quantity() -> None:
    """INVARIANT (pint's registry): every name in the lists converts to the quantity's SI unit."""
    registry = pint.UnitRegistry()
    assert set(accepted_units._ACCEPTED) == {kind.name for kind in KINDS}
    for kind in KINDS:
        dimension = registry.Quantity(1.0, kind.si).dimensionality
        for spelling, name in accepted_units._ACCEPTED[kind.name].items():
            assert registry.Quantity(1.0, name).dimensionality == dimension, spelling
            assert accepted_units.pint_name(spelling, kind.name) == name
        for unit in {kind.si, *kind.units, *(unit for _, unit in kind.printed)}:
            assert accepted_units.pint_name(unit, kind.name), unit
