"""The operating point in a table and in two lines; an order of magnitude carries its ends."""

from __future__ import annotations

from collections.abc import Callable

from conegap.solver.assessment import Assessment
from conegap.solver.beam.beam_band import BeamBand
from conegap.solver.common.display_units import (
    current_text,
    energy_text,
    mass_flow_text,
    percent,
    pressure_text,
    span_text,
    thrust_text,
    time_text,
    voltage_text,
)
from conegap.solver.operation.operating_point import OperatingPoint
from conegap.solver.operation.other_wetting import OtherWetting
from conegap.solver.report.tables import Table

__all__ = ["operating_facts", "operating_table"]

_STATES = {
    "dark": "no emission expected: the voltage does not reach the onset",
    "first place alone": "the {place} alone emit, with a current that is not known",
    "no metal ions": "the liquid emits, but no ions of a metal: its current is not known",
    "regulated": "the supply holds its voltage",
    "current limit": "the supply's current limit is reached, its voltage sags",
}


def operating_table(assessment: Assessment) -> Table:
    """Everything at the operating point: expected value, and between what it lies.

    Parameters
    ----------
    assessment : Assessment
    """
    operation, design = assessment.operation, assessment.design
    at, use = operation.operating, operation.propellant
    three = (operation.operating_band[0], at, operation.operating_band[1])

    if not at.current_known or not any(one.point.current > 0.0 for one in three):
        current = (
            ("current", "0 A")
            if at.current_known
            else ("current, and all that rests on it", "not known")
        )
        return Table(
            ("at the operating point", "expected", "between"),
            (
                ("state", _state(assessment), ""),
                ("voltage set at the supply", voltage_text(at.set_voltage), ""),
                (*current, ""),
            ),
        )

    def row(name: str, text: Callable[[float], str], of: Callable[[OperatingPoint], float | None],
            size: float = 1.0) -> tuple[str, str, str]:  # fmt: skip
        return _row(name, text, tuple(of(one) for one in three), size)

    rows = [
        ("state", _state(assessment), ""),
        ("voltage set at the supply", voltage_text(at.set_voltage), ""),
        row("voltage at the supply's terminals", voltage_text, lambda one: one.supply_voltage),
        row("voltage across the gap", voltage_text, lambda one: one.point.voltage),
        row("emitter against ground", voltage_text, lambda one: one.emitter_voltage),
        row("current", current_text, lambda one: one.point.current),
        row("burning sites", _plain, lambda one: one.point.sites),
        row("current of a site", current_text, lambda one: one.point.per_site),
        _row(
            "smallest steady current of a site", current_text,
            (operation.smallest.low, operation.smallest.value, operation.smallest.high),
        ),
        row("pressure that the feed loses", pressure_text, lambda one: one.point.pressure_loss)
        if operation.feed_known
        else ("pressure that the feed loses", "not known, taken as none", ""),
        _row("thrust of the ion paths", thrust_text, _thrusts(assessment)),
        row("beam power, emitter to ground", _watts, lambda one: one.beam_power),
        row("power from the supply", _watts, lambda one: one.supply_power),
        row("mass flow of the ions", mass_flow_text, lambda one: one.mass_flow),
        row("specific impulse of the ions", _seconds,
            lambda one: one.exhaust.specific_impulse
            if one.exhaust and one.point.current > 0.0 else None),
        _row("mass efficiency, ions over all mass", percent, use.efficiency),
        _row("mass flow with droplets", mass_flow_text, use.mass_flow),
    ]  # fmt: skip
    if use.specific_impulse is not None:
        rows.append(_row("specific impulse with droplets", _seconds, use.specific_impulse))
    if use.life is not None:
        rows.append(_row("propellant lasts", time_text, use.life))
    beams = assessment.beams
    if beams is not None and at.point.current > 0.0 and any(b.intercepted for b in beams.beams):
        rows.append(_landing(beams))
    if all(one.supply_voltage == one.set_voltage for one in three):
        rows.pop(2)
    if all(one.point.sites == 1.0 for one in three):
        # One site carries all of the current.
        rows = [one for one in rows if one[0] not in ("burning sites", "current of a site")]
    energy = operation.card.gap_energy
    if energy is not None:
        # The field's energy goes as the square of the voltage.
        stored = energy / operation.card.ramp_limit**2
        rows.append(
            row("energy stored in the gap", energy_text, lambda one: stored * one.point.voltage**2)
        )
    cable = design.supply.cable_capacitance
    if cable is not None:
        rows.append(
            row("energy stored in the cable", energy_text,
                lambda one: 0.5 * cable * one.supply_voltage**2)
        )  # fmt: skip
    return Table(("at the operating point", "expected", "between"), tuple(rows))


def operating_facts(assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """Two lines for the answer in numbers: where the gap runs, and its thrust.

    Parameters
    ----------
    assessment : Assessment
    """
    operation = assessment.operation
    at = operation.operating
    others = tuple((f"with a {one.state} instead", _in_other(one)) for one in operation.others)
    if at.point.current <= 0.0:
        return (("operating point", _state(assessment)), *others)
    weak, strong = operation.operating_band
    sag = ""
    if at.state == "current limit":
        sag = f", at the supply's current limit, which sags to {voltage_text(at.supply_voltage)}"
    between = span_text(current_text, weak.point.current, strong.point.current)
    rows = [
        (
            "operating point, expected",
            f"{voltage_text(at.point.voltage)}, {_rough(current_text, at.point.current)}{sag}",
        ),
        ("its current, an order of magnitude", between),
    ]
    thrusts = [thrust for thrust in _thrusts(assessment) if thrust is not None]
    if thrusts:
        # At a current limit the greater current law leaves less voltage, and so less thrust.
        rows.append(("its thrust", span_text(thrust_text, min(thrusts), max(thrusts))))
    return (*rows, *others)


def _in_other(other: OtherWetting) -> str:
    """Where the gap runs in a state of wetting that the design does not state."""
    if other.band is None:
        return "floods without voltage"
    weak, at, strong = (one.point for one in other.band.points)
    if strong.current <= 0.0:
        return f"no emission; that begins at {voltage_text(other.first[1])}"
    between = span_text(current_text, weak.current, strong.current)
    return f"{voltage_text(at.voltage)}, {between}"


def _state(assessment: Assessment) -> str:
    """State of the supply; of a gap that is not expected to emit, what may emit all the same."""
    operation = assessment.operation
    at, most = operation.operating, operation.operating_band[1].point.current
    if at.state != "dark":
        return _STATES[at.state].format(place=assessment.emission.first.place)
    within = f"; at the ends of its band up to {_rough(current_text, most)}" if most > 0.0 else ""
    return _STATES["dark"] + within


def _thrusts(assessment: Assessment) -> tuple[float | None, ...]:
    """Thrust at the least, the expected and the greatest current, each of its own ion paths; of
    those at the expected current where there are none, [N]."""
    operation, beams = assessment.operation, assessment.beams
    weak, strong = operation.operating_band
    shares = [assessment.thrust_share] * 3
    if beams is not None and beams.ends:
        low, high = (beam or beams.nominal for beam in beams.ends)
        shares = [low.thrust_share, beams.nominal.thrust_share, high.thrust_share]
    three = (weak, operation.operating, strong)
    return tuple(
        None if at.thrust is None else at.thrust * share
        for at, share in zip(three, shares, strict=True)
    )


def _landing(beams: BeamBand) -> tuple[str, str, str]:
    """Current onto the accelerator, each of its own ion paths."""
    name = "current onto the accelerator"
    known = [
        point.current * beam.intercepted
        for point, beam in zip(beams.points, (beams.nominal, *beams.ends), strict=False)
        if beam is not None
    ]
    if beams.complete:
        expected, low, high = known
        return _row(name, current_text, (low, expected, high))
    return (name, _rough(current_text, known[0]), f"from {_rough(current_text, min(known))}")


def _row(
    name: str,
    text: Callable[[float], str],
    values: tuple[float | None, ...],
    size: float = 1.0,
) -> tuple[str, str, str]:
    """A figure with two digits (a voltage with three), between its ends; "none" without one."""
    known = [value * size for value in values if value is not None]
    if len(known) < len(values):
        return (name, "none", "")
    low, high = min(known), max(known)
    if text is voltage_text:
        ends, expected = f"{text(low)} to {text(high)}", text(known[1])
        return (name, expected, "" if text(low) == text(high) else ends)
    ends, expected = span_text(text, low, high), _rough(text, known[1])
    return (name, expected, "" if ends == expected else ends)


def _rough(text: Callable[[float], str], value: float) -> str:
    return span_text(text, value, value)


def _plain(value: float) -> str:
    return f"{value:.3g}"


def _watts(value: float) -> str:
    return f"{value * 1e3:.3g} mW" if abs(value) < 1.0 else f"{value:.3g} W"


def _seconds(value: float) -> str:
    return f"{value:.0f} s"
