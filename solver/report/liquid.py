"""Facts and sentences of a report about the free liquid surface and the waves along it."""

from __future__ import annotations

import math

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import (
    field_text,
    length_words,
    percent,
    scientific,
    time_text,
    voltage_text,
)

__all__ = ["liquid_facts", "liquid_words", "slit_words"]

_LOSS = {
    "turning point": "turning point, its line at rest",
    "contact line gives way": "its contact line giving way",
    "turning point, moving line": "turning point, its line moving",
}
"""How a free surface loses its balance, in a table."""


def liquid_facts(assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """Names and values of the free surface at its turning point, or nothing.

    Parameters
    ----------
    assessment : Assessment
    """
    meniscus = assessment.onset.meniscus
    if meniscus is None:
        return ()
    shape = meniscus.branch.turning.shape
    half = "contact radius" if shape.symmetry == "axisymmetric" else "half width at the contact"
    held = {"pressure": "pressure, fed from a reservoir", "volume": "volume, as if cut off"}
    facts = [
        ("held during the ramp", held.get(meniscus.held, meniscus.held)),
        (half, length_words(meniscus.radius)),
        ("apex above the contact line", length_words(shape.height * meniscus.radius)),
        ("field at the apex there", field_text(meniscus.apex_field)),
        (
            "half angle of its middle third (Taylor's cone: 49.3°)",
            f"{math.degrees(meniscus.half_angle):.3g}°",
        ),
        ("numerical error of the voltage", scientific(meniscus.error)),
    ]
    first = assessment.emission.first
    if (first.place, first.mode) != (meniscus.place, meniscus.mode):
        # The verdict says it otherwise.
        loss = f"{_LOSS.get(meniscus.mode, meniscus.mode)}, at the {meniscus.place}"
        facts.insert(1, ("loses its balance by", loss))
    for step in meniscus.transitions:
        way = "runs on from" if step.jumps else "passes from"
        facts.append(
            (f"contact line {way} {step.leaves} to {step.reaches}", voltage_text(step.voltage))
        )
    for other in meniscus.others:
        value = "floods without voltage" if other.voltage is None else voltage_text(other.voltage)
        facts.append((f"with a {other.state} instead", value))
    if meniscus.wave_voltage is not None:
        along = f"waves along the {assessment.design.emitter.noun} grow from"
        facts.append((along, voltage_text(meniscus.wave_voltage)))
    if meniscus.tilt_voltage is not None:
        facts.append(("the surface tilts to one side from", voltage_text(meniscus.tilt_voltage)))
    ends = meniscus.standing_extinction
    if ends is not None:
        low, high = voltage_text(ends.low), voltage_text(ends.high)
        if ends.high > meniscus.voltage:
            high = "the onset (the static estimate's band reaches above it)"
        facts.append(("an attached cone collapses between", f"{low} and {high}, rough"))
    elif meniscus.extinction is not None:
        facts.append(
            (
                "an attached cone collapses",
                "not known: the static estimate puts it above the onset, where it does not apply",
            )
        )
    return tuple(facts)


def liquid_words(assessment: Assessment) -> tuple[str, ...]:
    """What a turning point is and why it differs from the rigid value, or nothing.

    Parameters
    ----------
    assessment : Assessment
    """
    meniscus = assessment.onset.meniscus
    if meniscus is None:
        return ()
    share = meniscus.voltage / assessment.onset.rigid.voltage - 1.0
    side = "above" if share > 0.0 else "below"
    if meniscus.wall_place is not None:
        return _line_words(assessment)
    return (
        *_exchange(assessment),
        f"The turning point lies {percent(abs(share))} {side} the rigid value.",
    )


def _line_words(assessment: Assessment) -> tuple[str, ...]:
    """How the contact line decides the onset of a fed surface."""
    meniscus, liquid = assessment.onset.meniscus, assessment.design.liquid
    assert meniscus is not None
    advancing = f"{math.degrees(liquid.advancing):.3g}°"
    ends = {
        "turning point": (
            f"Here the line stands still at the {meniscus.place}: before the surface is steep "
            "enough to move it, more voltage finds no shape in balance."
        ),
        "contact line gives way": (
            f"Here the surface reaches that angle at the {meniscus.place} while it could still be "
            "held by tension: the line gives way, no place further out holds it at this voltage, "
            "and the liquid runs out and emits."
        ),
        "turning point, moving line": (
            f"Here the line moves out over the {meniscus.place} as the voltage rises, until a "
            "little more voltage finds no place where it could stand."
        ),
    }
    words = [
        "The contact line stands still while the liquid's angle to the metal ahead stays below the "
        f"advancing angle, {advancing}; above it the line moves on (Gibbs's condition).",
        ends.get(meniscus.mode, ""),
    ]
    return tuple(words)


def _exchange(assessment: Assessment) -> tuple[str, ...]:
    """How quickly the film could bring the liquid that it is taken not to bring."""
    feed, meniscus = assessment.operation.feed, assessment.onset.meniscus
    if feed is None or meniscus is None or meniscus.held != "volume":
        return ()
    volume = meniscus.branch.turning.shape.volume * meniscus.radius**3
    time = feed.exchange_time(volume)
    if time is None:
        return ()
    short = time_text(float(f"{time:.1g}"))
    return (
        f"The film can bring as much liquid as the cap holds in about {short}: in a slower ramp a "
        "film with a supply follows the supply's pressure.",
    )


def slit_words(assessment: Assessment) -> tuple[str, ...]:
    """What the waves along a slit say, or nothing for other emitters.

    Parameters
    ----------
    assessment : Assessment
    """
    wave = assessment.surface_wave
    if wave is None:
        return ()
    meniscus = assessment.onset.meniscus
    sites = f"about {wave.sites:.0f} sites along the {assessment.design.emitter.noun}"
    if meniscus is not None and meniscus.wave_voltage is not None:
        first = (
            f"Waves along the free surface begin to grow at {voltage_text(meniscus.wave_voltage)}; "
            f"the first is {length_words(wave.spacing)} long, which is the expected spacing of the "
            f"emission sites: {sites}. Spacings fall as the voltage rises."
        )
    else:
        first = (
            "Expected spacing of the emission sites at the rigid onset: "
            f"{length_words(wave.spacing)}, {sites}. It is the length of the fastest-growing wave "
            "on a flat surface, 3 π γ / (ε0 E²), and falls with the square of the voltage."
        )
    return (
        first,
        "On a flat surface the wave is as short as the crest is wide, "
        f"{length_words(wave.crest_width)}, at about {voltage_text(wave.onset_voltage)}. This "
        "is an order of magnitude only: the liquid on the lips is neither flat nor deep.",
    )
