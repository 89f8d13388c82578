"""The boundary elements by themselves: a check must be better than what it checks."""

from __future__ import annotations

import math

from conegap.validation.cases.row import Case, Row

__all__ = ["boundary_element_cases"]

_SMALL = (
    "Luo and others, J. Eng. Thermophys. (in Chinese), 2017, no. 8, 1707, equation 2, of Taylor; "
    "full text read"
)
_MAP = "derived, conformal map of a circular arc"


def _ridge_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import Resolution
    from conegap.validation.boundary_elements.drop import Drop

    slopes = Resolution().slopes()
    rows = []
    for degrees in (30.0, 60.0, 120.0):
        angle = math.radians(degrees)
        power = math.pi / (math.pi - angle)
        drop = Drop.cap("long", slopes, angle, 1.0)
        rows.append(
            Row(f"boundary elements alone: ridge of contact angle {degrees:g} deg", _MAP,
                "dipole moment [a^2]", math.pi * (power**2 - 1.0) / 3.0, drop.moment, 1e-7)
        )  # fmt: skip
    drop = Drop.cap("round", slopes, 0.5 * math.pi, 1.0)
    rows.append(
        Row("boundary elements alone: hemisphere", "textbook, field 3 E0 cos(theta)",
            "dipole moment [a^3]", 2.0 * math.pi, drop.moment, 1e-8)
    )  # fmt: skip
    return rows


def _small_field_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import Branch, Resolution

    branch = Branch("round", "moving", 0.5 * math.pi, "volume", 2.0 * math.pi / 3.0,
                    slopes=Resolution(10).slopes())  # fmt: skip
    ratios = []
    for height in (1.01, 1.005):
        found = branch.at(height)
        a, b = found.drop.height, found.drop.radius
        ratios.append((a - b) / (a + b) / found.electric_bond_number)
    return [
        Row("boundary elements alone: free drop in a weak field", _SMALL,
            "(a - b)/(a + b) over W [-]", 9.0 / 16.0, 2.0 * ratios[1] - ratios[0], 1e-4,
            note="extrapolated from W near 0.01"),
    ]  # fmt: skip


def _work_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import Branch, ContactLine, Resolution

    name = "boundary elements alone: virtual work along a branch"
    angle = math.radians(70.0)
    slopes = Resolution(10).slopes()
    lines: tuple[tuple[ContactLine, float], ...] = (("pinned", 1.0), ("moving", angle))
    rows = []
    for line, contact in lines:
        branch = Branch("round", line, contact, "volume", 1.0, slopes=slopes)
        low, middle, high = (branch.at(0.7 + shift) for shift in (-0.002, 0.0, 0.002))
        change = high.electric_bond_number - low.electric_bond_number
        rows.append(
            Row(name, "derived, energy of surface and field",
                f"slope of the energy with W, {line} line [a^3]", -0.5 * middle.drop.moment,
                (high.energy(angle) - low.energy(angle)) / change, 5e-5)
        )  # fmt: skip
    return rows


def _resolution_rows() -> list[Row]:
    from conegap.validation.boundary_elements.balance import Resolution, turning_point

    name = "boundary elements alone: turning point, 60 deg, moving line"
    few, many = (
        turning_point(math.pi / 3.0, line="moving", resolution=Resolution(modes))
        for modes in (10, 16)
    )
    return [
        Row(name, "10 coefficients of the shape for 16", "W [-]", many.electric_bond_number,
            few.electric_bond_number, 3e-5),
    ]  # fmt: skip


def boundary_element_cases() -> list[Case]:
    """Cases of the independent program for drops and menisci."""
    return [
        Case("boundary elements alone: dipole moments", _ridge_rows),
        Case("boundary elements alone: weak field", _small_field_rows),
        Case("boundary elements alone: virtual work", _work_rows),
        Case("boundary elements alone: resolution", _resolution_rows),
    ]
