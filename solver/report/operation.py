"""Tables and sentences of a report about current, feed, supply and other metals."""

from __future__ import annotations

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import (
    current_text,
    energy_text,
    length_words,
    mass_flow_text,
    percent,
    pressure_text,
    span_text,
    voltage_text,
)
from conegap.solver.cone.current_law import ConeSlopes
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.operation.droplets import DROPLET_CURRENT, DROPLET_FACTOR
from conegap.solver.operation.feed_rows import feed_remarks
from conegap.solver.operation.other_metals import MetalInGap
from conegap.solver.report.tables import Table

__all__ = [
    "card_cautions",
    "card_table",
    "feed_table",
    "feed_words",
    "metals_table",
    "operation_words",
]

# Voltage from which X-rays of a gap are looked after, [V]; common practice, no source.
_X_RAYS = 5e3


def operation_words(assessment: Assessment) -> tuple[str, ...]:
    """What the current and the thrust rest on.

    Parameters
    ----------
    assessment : Assessment
    """
    emission = assessment.operation.emission
    if not assessment.design.metal.gives_ions:
        return (
            "The law of the current is that of ions of a metal. Of this liquid no ionisation "
            "energy is known: what it emits, other charges and droplets, is not modelled.",
        )
    words = [
        "Current: within a factor of 3, from the charge of the beam over a liquid cone "
        f"{length_words(emission.base_radius)} in base radius (derived; within 17 % of boundary "
        f"elements in fifteen gaps); other laws differ by up to {_apart(emission)} times. "
        + _begins(emission),
        _supply_words(assessment),
        _thrust_words(assessment),
        f"Droplets: mass without thrust from {DROPLET_CURRENT * 1e6:g} µA per site on, within an "
        f"assumed factor of {DROPLET_FACTOR:g}.",
    ]
    if emission.spreads:
        words.insert(
            1,
            "The spacing of the sites is taken to fall as the square of the voltage, and each site "
            "to be a cone of its own.",
        )
    return tuple(words)


def _apart(emission: CurrentLaw) -> str:
    laws = ConeSlopes(
        emission.onset_voltage * emission.extinction_over_onset,
        emission.base_radius,
        emission.surface_tension,
        emission.ion_mass,
    )
    return f"{laws.factor:.2g}"


def _supply_words(assessment: Assessment) -> str:
    at = assessment.operation.operating
    words = ["The ballast lowers the voltages of gap and exhaust below those set at the supply."]
    if at.state == "current limit":
        words.append(
            f"The gap would draw {span_text(current_text, at.wanted, at.wanted)}: the supply's "
            "limit is reached, and its voltage sags from "
            f"{voltage_text(at.set_voltage)} to {voltage_text(at.supply_voltage)}."
        )
    return " ".join(words)


def _begins(emission: CurrentLaw) -> str:
    if emission.extinction_over_onset < 1.0:
        volts = voltage_text(emission.onset_voltage * emission.extinction_over_onset)
        words = f"It begins at the extinction voltage, {volts} by the static estimate"
    else:
        words = "It begins at the onset, which gives the least current"
    if emission.extinction_ends is None:
        return f"{words}."
    low, high = (voltage_text(end * emission.onset_voltage) for end in emission.extinction_ends)
    return f"{words}; for the band it begins between {low} and {high}."


def _thrust_words(assessment: Assessment) -> str:
    beam = assessment.beam
    if beam is None:
        if assessment.operation.operating.point.current <= 0.0:
            return f"There is no thrust: {assessment.why_no_beam}."
        return "Thrust is for a parallel beam: no ion paths could be computed."
    if beam.left <= 0.0:
        return (
            "No ion leaves past the accelerator, so there is no thrust; figures per ampere are "
            "those of ions that leave straight."
        )
    along = (
        ", in the plane of the section; ions are taken not to spread along the "
        f"{assessment.design.emitter.noun}"
        if assessment.design.section().symmetry == "planar"
        else ""
    )
    return (
        f"Thrust: {percent(beam.left)} of the current leaves, at a mean cosine of "
        f"{beam.thrust_factor:.3f}{along}."
    )


def feed_table(assessment: Assessment) -> Table | None:
    """The feed's figures, or None where the design draws no feed.

    Parameters
    ----------
    assessment : Assessment
    """
    feed = assessment.operation.feed
    if feed is None:
        return None
    _, flow, high = assessment.operation.propellant.mass_flow
    rows = [
        (f"narrowest part: {feed.kind}", length_words(feed.narrowest)),
        ("length", length_words(feed.length)),
        (
            "suction of the emitting cap at onset"
            if feed.kind == "film"
            else "capillary pressure at the drawn contact angle",
            pressure_text(feed.capillary_pressure),
        ),
        ("pressure at the edge without flow", pressure_text(feed.feed_pressure)),
    ]
    at_flow, most = feed.pressure_at(flow), feed.greatest_mass_flow
    if feed.resistance is not None:
        rows.append(("flow resistance of everything", f"{feed.resistance:.3g} Pa s/m³"))
    if at_flow is not None and most is not None:
        if assessment.operation.operating.current_known and high > 0.0:
            rows.append(("pressure at the edge at the operating point", pressure_text(at_flow)))
        rows.append(("mass flow at which the liquid draws back", mass_flow_text(most)))
    shared = feed.shared
    if shared is not None:
        rows += [
            (f"before it: {shared.kind}, narrowest part", length_words(shared.narrowest)),
            ("its length", length_words(shared.length)),
            ("its largest capillary pressure", pressure_text(shared.capillary_pressure)),
        ]
        if shared.resistance is not None:
            rows.append(("its flow resistance", f"{shared.resistance:.3g} Pa s/m³"))
    if feed.kind != "film":
        rows.append(("pressure under acceleration that it holds", pressure_text(feed.holding)))
    return Table(("figure", "value"), tuple(rows))


def feed_words(assessment: Assessment) -> tuple[str, ...]:
    """Model and remarks of the feed.

    Parameters
    ----------
    assessment : Assessment
    """
    feed, liquid = assessment.operation.feed, assessment.design.liquid
    remarks = feed_remarks(assessment.design)
    if feed is None:
        return ("The design draws no feed, so its flow is not computed.", *remarks[1:])
    model = feed.model if feed.shared is None else f"{feed.model}; before it {feed.shared.model}"
    # A feed that is known states its model as the basis of its criterion.
    words = [] if feed.greatest_mass_flow is not None and not feed.shared else [f"Model: {model}."]
    if feed.kind == "film" and not assessment.design.feed.beside:
        words.append("A smooth film is the worst case: grooves carry more.")
    if liquid.column_height is None:
        words.append(
            "Without liquid.column_height weight and acceleration of the liquid are not judged."
        )
    return (*words, *remarks)


def metals_table(assessment: Assessment) -> Table:
    """Every metal in the same gap.

    Parameters
    ----------
    assessment : Assessment
    """
    metals = assessment.operation.metals
    heads = (
        "metal",
        "melting point",
        "surface tension, at",
        "rigid onset",
        "scaled turning point",
        "exhaust speed",
        "specific impulse",
        "thrust per current",
        "vapour pressure",
    )
    state = tuple("total" if row.of_design else "" for row in metals)
    return Table(heads, tuple(_metal_row(row) for row in metals), state)


def _metal_row(row: MetalInGap) -> tuple[str, ...]:
    exhaust = row.exhaust
    return (
        row.name,
        f"{row.melting_point:.4g} K",
        f"{row.surface_tension * 1e3:.0f} mN/m, {row.temperature:.0f} K",
        "floods" if row.rigid_onset is None else voltage_text(row.rigid_onset),
        "none" if row.scaled_onset is None else voltage_text(row.scaled_onset),
        "none" if exhaust is None else f"{exhaust.speed / 1e3:.3g} km/s",
        "none" if exhaust is None else f"{exhaust.specific_impulse:.0f} s",
        "none" if exhaust is None else f"{exhaust.thrust_per_current * 1e3:.3g} µN/mA",
        _vapour_text(row.vapour_pressure),
    )


def _vapour_text(value: float | None) -> str:
    if value is None:
        return "unknown"
    if value < 1e-9:
        return "below 10⁻⁹ Pa"
    return pressure_text(float(f"{value:.2g}"))


def card_table(assessment: Assessment) -> Table:
    """The supply card.

    Parameters
    ----------
    assessment : Assessment
    """
    card, design = assessment.operation.card, assessment.design
    if card.refusal:
        return Table(
            ("setting", "value", "remark"), (("none", "no card", card.refusal),), ("fail",)
        )
    limit = design.supply.current_limit
    weak, strong = assessment.operation.operating_band
    signs = tuple("positive" if v > 0.0 else "negative" if v < 0.0 else "at ground"
                  for v in (card.emitter, card.accelerator))  # fmt: skip
    rows = [
        ("polarity", f"emitter {signs[0]}, accelerator {signs[1]}, against ground",
         ""),
        ("settings of the design",
         f"emitter {voltage_text(card.emitter)}, accelerator {voltage_text(card.accelerator)}",
         f"{voltage_text(design.voltage)} across the gap"),
        ("expected onset", voltage_text(card.onset),
         f"{voltage_text(card.lowest)} to {voltage_text(card.highest)}, k = 2"),
        ("abort voltage", voltage_text(card.abort_voltage),
         "no emission up to here: go down, look for the reason; "
         + ("the ramp limit"
            if card.abort_voltage == card.ramp_limit
            else "5 % above the band, common practice, no source")),
        ("ramp limit", voltage_text(card.ramp_limit), f"never above: {card.ramp_reason}"),
        ("trip current", _trip_text(card.trip_current),
         ("twice the expected current, within a factor of 3"
          + ("" if limit is None else f", at most the supply's {current_text(limit)}"))
         if assessment.operation.operating.point.current > 0.0
         else "the current expected is not known"
         + ("" if limit is None else ": the supply's own limit")),
        ("ballast", "none" if card.ballast == 0.0 else f"{card.ballast / 1e6:.4g} MΩ",
         f"drop {span_text(voltage_text, weak.ballast_drop, strong.ballast_drop)} at the current "
         "expected"),
        ("current into a short circuit",
         "not limited by a ballast" if card.short_circuit_current is None
         else current_text(card.short_circuit_current),
         "over the ballast, until the supply limits it"),
        ("energy stored in the gap",
         "not known" if card.gap_energy is None else energy_text(card.gap_energy),
         "at the ramp limit, from the computed field"),
        ("energy stored in the cable",
         "not known" if card.cable_energy is None else energy_text(card.cable_energy),
         "at the ramp limit; give supply.cable_capacitance" if card.cable_energy is None
         else "at the ramp limit, C V² / 2; a discharge takes it all"),
    ]  # fmt: skip
    return Table(("setting", "value", "remark"), tuple(rows))


def _trip_text(value: float | None) -> str:
    return "not known" if value is None else span_text(current_text, value, value)


def card_cautions(assessment: Assessment) -> tuple[str, ...]:
    """What those who build and run it must beware of; printed on the supply card, nowhere else.

    Parameters
    ----------
    assessment : Assessment
    """
    card, design = assessment.operation.card, assessment.design
    weak, strong = assessment.operation.operating_band
    most = max(design.voltages.widest, design.supply.voltage_limit or 0.0)
    words = [
        f"High voltage: {voltage_text(most)} kills, and so can what cables and filters store: "
        "enclose, interlock, discharge, ground before touching.",
    ]
    if most > _X_RAYS:
        words.append(
            "X-rays arise where electrons land, also behind viewports. Above 5 kV have a licensed "
            "person check shielding and surveys."
        )
    else:
        words.append(
            "X-rays: a discharge can add to the voltage; above 5 kV in total they must be "
            "considered."
        )
    words.append(
        "Vacuum: the review holds for high vacuum; in a glow discharge a gap breaks down at a few "
        "hundred volts. Viewports can implode."
    )
    hazards = design.metal.hazards.strip()
    words.append(
        f"{design.metal.name.capitalize()}: "
        + (hazards or "no hazards are recorded for this metal; look up its safety data sheet.")
    )
    if card.ballast_drop > 0.0 and not card.refusal:
        low, high = (at.ballast_drop / design.voltage for at in (weak, strong))
        words.append(
            f"The ballast takes {span_text(percent, low, high)} of the voltage at the expected "
            "current; without current the gap has it all."
        )
    words.append("This is no safety approval. Local codes and licensed practice take precedence.")
    return tuple(words)
