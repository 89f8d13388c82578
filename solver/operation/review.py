"""The gap review: each criterion with its value, its limit and where the limit comes from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

from conegap.geometries.design.design import Design
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution

__all__ = [
    "AcceleratorField",
    "ReviewRow",
    "ReviewState",
    "accelerator_field",
    "gap_review",
    "review_row",
]

ReviewState = Literal["pass", "fail", "not proved"]
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class ReviewRow:
    """One criterion.

    Parameters
    ----------
    name : str
    value, limit : float
        In ``unit``.
    unit : str
        SI unit, "" for a ratio.
    passed : bool or None
        None where the span of the value holds the limit: not proved.
    basis : str
        Source of the limit.
    advice : str
        What to do when it does not pass, "" when it passes.
    span : tuple of float or None
        Between what the true value lies, where it is known only so far; the upper end of a lower
        bound is infinite.
    """

    name: str
    value: float
    limit: float
    unit: str
    passed: bool | None
    basis: str
    advice: str = ""
    span: tuple[float, float] | None = None

    @property
    def state(self) -> ReviewState:
        """What the row says, in words."""
        if self.passed is None:
            return "not proved"
        return "pass" if self.passed else "fail"

    def as_dict(self) -> dict[str, Any]:
        """For the results contract; null stands for not proved and for an end without a bound."""
        low, high = self.span or (self.value, self.value)
        return {
            "name": self.name,
            "value": self.value,
            "value_low": low,
            "value_high": high if math.isfinite(high) else None,
            "limit": self.limit,
            "unit": self.unit,
            "passed": self.passed,
            "state": self.state,
            "basis": self.basis,
        }


@dataclass(frozen=True)
class AcceleratorField:
    """Greatest field on the accelerator's surface.

    Parameters
    ----------
    at_onset : float
        At the onset voltage, [V/m].
    at_design : float
        At the design's voltages, [V/m].
    position : tuple of float
        Where, (x, z), [m].
    """

    at_onset: float
    at_design: float
    position: tuple[float, float]

    def times(self, factor: float) -> AcceleratorField:
        """The field where the true surroundings change it by a factor.

        Parameters
        ----------
        factor : float
            [-].
        """
        return replace(self, at_onset=self.at_onset * factor, at_design=self.at_design * factor)


def accelerator_field(
    design: Design, solution: FieldSolution, onset_voltage: float
) -> AcceleratorField:
    """Greatest inward field on the accelerator.

    Parameters
    ----------
    onset_voltage : float
        [V].
    """
    working = electrode_voltages(design, solution.electrodes)
    ramped = electrode_voltages(design, solution.electrodes, onset_voltage / design.voltage)
    now = solution.surface("accelerator", working)
    then = solution.surface("accelerator", ramped)
    k = int(abs(now.field).argmax())
    return AcceleratorField(
        at_onset=float(abs(then.field).max()),
        at_design=float(abs(now.field[k])),
        position=(float(now.points[k, 0]), float(now.points[k, 1])),
    )


def gap_review(
    design: Design,
    onset_voltage: float,
    highest_onset: float,
    accelerator: AcceleratorField,
    *,
    every_onset: float = 0.0,
) -> tuple[ReviewRow, ...]:
    """Rows of the review that onset and field alone can answer.

    Parameters
    ----------
    onset_voltage : float
        [V].
    highest_onset : float
        Upper end of the onset band, [V].
    every_onset : float
        That of the place that emits last, where it is known, [V].
    """
    rows = []
    criteria = design.criteria
    drawn, limit = design.voltage, design.supply.voltage_limit
    # Both settings at their worst ends at once.
    off = sum(design.tolerance(f"voltages.{name}") for name in ("emitter", "accelerator"))
    span = (drawn - off, drawn + off) if off else None
    if limit is not None:
        share = criteria.onset_fraction_of_supply
        limit, less = limit - (short := design.tolerance("supply.voltage_limit")), ""
        if short:
            less = f", its tolerance of {short:g} V taken off"
        rows.append(
            review_row(
                "highest onset against the supply",
                max(highest_onset, every_onset),
                share * limit,
                "V",
                f"{share:.0%} of the supply's {limit:g} V{less}; {_PRACTICE}",
                "use a sharper edge, a smaller gap or a stronger supply",
            )
        )
        rows.append(
            review_row(
                "voltage of the design against the supply",
                drawn,
                limit,
                "V",
                f"the supply's own limit{less}",
                "lower the voltages or use a stronger supply",
                span=span,
            )
        )
    rows.append(
        review_row(
            "highest onset against the design's voltage",
            highest_onset,
            drawn - off,
            "V",
            "the gap must fire at the voltages of the design"
            + (f", their tolerances of {off:g} V taken off" if off else ""),
            "raise the voltages, or use a sharper edge or a smaller gap",
        )
    )
    if criteria.bulk_field is not None and design.clearance > 0.0:
        rows.append(
            review_row(
                "mean field across the narrowest clearance",
                max(drawn + off, onset_voltage) / design.clearance,
                criteria.bulk_field,
                "V/m",
                "as the design file states",
                "widen the gap between emitter and accelerator",
            )
        )
    rows.append(
        review_row(
            "field on the accelerator's edge",
            max((1.0 + off / drawn) * accelerator.at_design, accelerator.at_onset),
            criteria.accelerator_edge_field,
            "V/m",
            f"clean negative edges, {_PRACTICE}",
            "give the accelerator larger edge radii or a wider gap",
        )
    )
    return tuple(rows)


def review_row(
    name: str,
    value: float,
    limit: float,
    unit: str,
    basis: str,
    advice: str,
    *,
    span: tuple[float, float] | None = None,
) -> ReviewRow:
    """A row that passes when the value is at most the limit wherever in its span it lies.

    Parameters
    ----------
    name : str
    value, limit : float
        In ``unit``, [SI].
    unit : str
        "" for a ratio.
    basis : str
        Source of the limit.
    advice : str
        Kept when the row does not pass.
    span : tuple of float or None
        Between what the true value lies; the value itself when left out.  A row whose span holds
        the limit is not proved.
    """
    low, high = span or (value, value)
    passed = True if high <= limit else False if not low <= limit else None
    return ReviewRow(name, value, limit, unit, passed, basis, "" if passed else advice, span)
