"""Rows of the gap review about the beam: what it hits and how much of the opening it fills."""

from __future__ import annotations

import math
from collections.abc import Callable

from conegap.geometries.design.design import Design
from conegap.solver.beam.beam_band import BeamBand
from conegap.solver.beam.clearance import has_depth
from conegap.solver.beam.ion_beam import Beam
from conegap.solver.common.display_units import current_text
from conegap.solver.operation.gap_operation import GapOperation
from conegap.solver.operation.operating_point import OperatingPoint
from conegap.solver.operation.other_wetting import OtherWetting, less_favourable
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = ["MOST_FILLED", "beam_rows", "review_of_beam", "unknown_beam_rows", "why_no_beam"]

# Share of the current that may land on the accelerator; common practice, no source.
_MOST_INTERCEPTED = 0.01
# Beam half-width over available aperture half-width; common practice, no source.
MOST_FILLED = 0.5
"""Greatest beam half-width over the available half-width of the opening, [-]."""
_PRACTICE = "common practice, no source"
_LANDS = "share of the beam that lands on the accelerator"
_FILLS = "beam half-width / available aperture half-width"


def beam_rows(design: Design, band: BeamBand) -> tuple[ReviewRow, ...]:
    """Rows about the beam; none for a closed accelerator, which ends it.

    A row passes when it passes at every current of the band, its numerical error added; it fails
    when it fails at the expected current; between the two, and where a current of the band has
    no steady beam, it is not proved.  Ions that neither left nor landed fail a row of their own
    and count as landed in that of the interception.

    An offset of the opening takes its part of the room that the beam may fill, its tolerance
    with it.

    Parameters
    ----------
    design : Design
    band : BeamBand
    """
    if band.nominal.filling is None:
        return ()
    name = design.accelerator.noun
    open_it = f"open the {name}, bring it nearer or centre it on the emitter, or draw less current"
    behind = design.voltages.chamber
    if band.points[0].emitter_voltage <= behind:
        open_it = (
            f"the emitter runs at {band.points[0].emitter_voltage:.4g} V and the chamber at "
            f"{behind:.4g} V, so that no ion leaves: raise the emitter, lower its ballast, or "
            "lower the chamber's voltage"
        )
    errors = band.errors
    askew = any(design.accelerator.askew)
    half = (design.accelerator.opening or math.inf) / 2.0
    beside, more = (
        abs(value) / half
        for value in (
            design.accelerator.askew[0],
            sum(design.tolerance(key) for key in design.askew_keys[:1]),
        )
    )
    lost = max(beam.unfinished for beam in band.beams)
    rows = [
        _row(
            band,
            _LANDS,
            lambda beam: beam.intercepted,
            0.0 if errors is None else errors.intercepted,
            lost,
            _MOST_INTERCEPTED,
            _PRACTICE,
            open_it,
            askew,
        ),
        _row(
            band,
            _FILLS,
            lambda beam: math.inf if beam.filling is None else beam.filling + beside,
            more + (0.0 if errors is None else errors.filling),
            math.inf if lost > 0.0 else 0.0,
            MOST_FILLED,
            f"twice the half width; {_PRACTICE}",
            f"open the {name}, centre it on the emitter, or draw less current",
            askew,
        ),
    ]
    if lost > 0.0:
        rows.append(
            ReviewRow(
                "share of the ions that neither left nor landed",
                lost,
                0.0,
                "",
                False,
                "a path that does not end proves nothing",
                "give the chamber's size, or check the outline of the emitting edge for places "
                "that trap ions",
            )
        )
    return tuple(rows)


def unknown_beam_rows(design: Design, why: str) -> tuple[ReviewRow, ...]:
    """The same rows, not proved, where there are no ion paths.

    Parameters
    ----------
    design : Design
    why : str
        There are none.
    """
    if not has_depth(design.section()):
        return ()
    return tuple(
        review_row(
            name,
            0.0,
            limit,
            "",
            why,
            "choose voltages at which ions leave and their paths can be computed, or measure the "
            "beam",
            span=(0.0, math.inf),
        )
        for name, limit in ((_LANDS, _MOST_INTERCEPTED), (_FILLS, MOST_FILLED))
    )


def review_of_beam(
    design: Design, band: BeamBand | None, operation: GapOperation
) -> tuple[ReviewRow, ...]:
    """Rows about the beam; not proved where another state of wetting draws more than was computed.

    Parameters
    ----------
    design : Design
    band : BeamBand or None
        Of the stated state of wetting.
    operation : GapOperation
    """
    most = operation.operating_band[1].point.current

    def rows_in(other: OtherWetting) -> tuple[ReviewRow, ...]:
        if other.band is None or other.band.points[2].point.current <= most:
            return ()
        return unknown_beam_rows(design, "no ion paths are computed at the current of an emitter")

    return less_favourable(
        unknown_beam_rows(design, why_no_beam(operation.operating))
        if band is None
        else beam_rows(design, band),
        operation.others,
        rows_in,
    )


def why_no_beam(at: OperatingPoint) -> str:
    """Why there are no ion paths at an operating point.

    Parameters
    ----------
    at : OperatingPoint
    """
    if at.state == "no metal ions":
        return "no ions of a metal leave this liquid, and of what does no beam is known"
    if not at.current_known:
        return "the current of what emits is not known, nor is its beam"
    if at.point.current <= 0.0:
        return "no emission is expected at the voltages of the design, so there is no beam"
    return "no ion paths could be computed; see the warnings"


def _row(
    band: BeamBand,
    name: str,
    read: Callable[[Beam], float],
    error: float,
    lost: float,
    limit: float,
    basis: str,
    advice: str,
    askew: bool,
) -> ReviewRow:
    """One row: passed at every current, failed at the expected one, or not proved; never passed
    where the opening is out of line, whose steering is not computed."""
    nominal = read(band.nominal)
    values = [read(beam) for beam in band.beams]
    margin = error if math.isfinite(error) else math.inf if math.isfinite(nominal) else 0.0
    high = max(values) + margin + lost if band.complete else math.inf
    low = max(min(values) - margin, 0.0) if math.isfinite(margin) else 0.0
    passed = False if nominal > limit else True if high <= limit and not askew else None
    return ReviewRow(
        name,
        nominal,
        limit,
        "",
        passed,
        f"{_currents(band, passed, askew)}; {basis}",
        "" if passed else advice,
        (low, high) if band.nominal.charge is not None else (nominal, math.inf),
    )


def _currents(band: BeamBand, passed: bool | None, askew: bool) -> str:
    """At which currents the row was judged."""
    if band.nominal.charge is None:
        return "paths of single ions: the current is not known, and its charge widens the beam"
    expected, low, high = (current_text(point.current) for point in band.points)
    if passed is False:
        return f"with the beam's own charge; fails at the expected {expected}"
    if askew:
        return (
            "paths of the aligned gap, the offset taken off the opening; what an opening out of "
            "line steers is not computed"
        )
    if passed:
        return f"with the beam's own charge; from {low} to {high}"
    if band.errors is not None and not math.isfinite(band.errors.intercepted):
        return f"no second mesh has a steady beam of {expected} to compare with"
    if not band.complete:
        return f"no steady beam was found at an end of the currents from {low} to {high}"
    return f"passes at the expected {expected}, not at every current from {low} to {high}"
