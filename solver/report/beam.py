"""Table and sentences of a report about the beam: its fan, what it hits, its own charge."""

from __future__ import annotations

import math

from conegap.geometries.metals.laws import ELEMENTARY_CHARGE
from conegap.solver.assessment import Assessment
from conegap.solver.beam.ion_beam import Beam, LandingSpot
from conegap.solver.common.display_units import current_text, percent
from conegap.solver.report.tables import Table

__all__ = ["beam_table", "beam_words", "degrees", "landing_table"]

# What the meshes resolve of a steering angle, [rad].
_STRAIGHT = math.radians(0.1)


def degrees(angle: float) -> str:
    """An angle for a sentence, "none" where it does not exist: "17.7°".

    Parameters
    ----------
    angle : float
        [rad].
    """
    return f"{math.degrees(angle):.3g}°".replace("-", "−") if math.isfinite(angle) else "none"


def beam_table(assessment: Assessment) -> Table | None:
    """Figures of the beam, or None where no paths were computed."""
    beam = assessment.beam
    if beam is None:
        return None
    plane = " in the plane of the section" if _is_planar(assessment) else ""
    rows = [
        (f"half angle that holds 95 % of what leaves{plane}", _half_angle(assessment)),
        (f"root mean square angle{plane}", degrees(beam.rms_half_angle)),
        ("steering, mean angle to the axis", _steering(assessment, beam)),
        ("leaves past the accelerator", _share(beam.left)),
        ("lands on it", _share(beam.intercepted)),
    ]
    if beam.returned > 0.0:
        rows.append(("lands elsewhere before it", _share(beam.returned)))
    if beam.unfinished > 0.0:
        rows.append(("still under way when the computation ended", _share(beam.unfinished)))
    if beam.filling is not None:
        filled = "meets the metal" if not beam.filling < 1.0 else f"{beam.filling:.3g}"
        rows.append(("half-width / available half-width", filled))
    rows.append(("thrust over that of a parallel beam of all ions", f"{beam.thrust_share:.4g}"))
    return Table(("figure", "value"), tuple(rows))


def landing_table(assessment: Assessment) -> Table | None:
    """Where ions meet the accelerator, or None where none does."""
    beam = assessment.beam
    if beam is None or not beam.spots:
        return None
    heads = ("share of the beam", "from (x, z)", "to (x, z)", "energy", "angle to the normal")
    return Table(heads, tuple(_spot(spot) for spot in beam.spots))


def beam_words(assessment: Assessment) -> tuple[str, ...]:
    """What the beam rests on and what follows from it, sentences in order."""
    beam = assessment.beam
    if beam is None:
        return (f"{assessment.why_no_beam[0].upper()}{assessment.why_no_beam[1:]}.",)
    words = [
        f"{len(beam.trajectories.paths)} paths, energy conserved to {beam.energy_error:.0e}.",
    ]
    if beam.filling is None:
        words.append(
            "The accelerator is closed, so the beam ends on it: no thrust, and it sputters where "
            "it lands."
        )
    elif beam.spots:
        words.append(
            "Where ions land they sputter, most at 60° or more to the normal (oblique), and the "
            "metal coats what faces it."
        )
    words += _charge_words(assessment)
    return tuple(words)


def _charge_words(assessment: Assessment) -> list[str]:
    """What the beam's own charge does, over the band of the current."""
    band, beam = assessment.beams, assessment.beam
    if band is None or beam is None or beam.charge is None:
        return ["No current is known, so these are paths of single ions: a beam is wider."]
    charge = beam.charge
    words = [
        f"Its own charge, at {_current(assessment, charge.current)}, adds up to "
        f"{charge.potential:.3g} V and {degrees(charge.added_angle)} to the half angle; "
        f"{charge.rounds} rounds, last change {charge.change:.0e}."
    ]
    ends = [
        f"{degrees(end.half_angle_95)} at {_current(assessment, end.charge.current)}"
        for end in band.ends
        if end is not None and end.charge is not None
    ]
    if ends:
        words.append(f"Half angle over the band of the current: {', '.join(ends)}.")
    words += [f"{note[0].upper()}{note[1:]}." for note in band.notes]
    if _is_planar(assessment):
        noun = assessment.design.emitter.noun
        words.append(f"Along the {noun} the sites are taken as an even sheet.")
    return words


def _half_angle(assessment: Assessment) -> str:
    """With what another mesh and more paths change of it, where that was computed."""
    beam, band = assessment.beam, assessment.beams
    assert beam is not None
    errors = None if band is None else band.errors
    if errors is None or not math.isfinite(beam.half_angle_95):
        return degrees(beam.half_angle_95)
    return f"{degrees(beam.half_angle_95)} ± {math.degrees(errors.half_angle):.1g}°"


def _is_planar(assessment: Assessment) -> bool:
    return assessment.design.section().symmetry == "planar"


def _current(assessment: Assessment, current: float) -> str:
    """Of a sheet the current per length is printed as that of the whole slit where it is known."""
    length = assessment.design.emitter.line_length
    if length is not None:
        return current_text(current * length)
    return current_text(current) + (" per metre" if _is_planar(assessment) else "")


def _steering(assessment: Assessment, beam: Beam) -> str:
    section = assessment.design.section()
    if section.symmetry == "axisymmetric" or section.mirrored:
        return "none, by symmetry"
    if not math.isfinite(beam.steering_angle):
        return "none"
    if abs(beam.steering_angle) < _STRAIGHT:
        return "below 0.1°, which the meshes do not resolve"
    side = "+x" if beam.steering_angle > 0.0 else "−x"
    return f"{degrees(abs(beam.steering_angle))} towards {side}"


def _share(value: float) -> str:
    return "none" if value <= 0.0 else "all" if value >= 1.0 - 1e-9 else percent(value)


def _spot(spot: LandingSpot) -> tuple[str, ...]:
    def place(at: tuple[float, float]) -> str:
        x, z = (f"{v * 1e3:.4g}".replace("-", "−") for v in at)
        return f"({x}, {z}) mm"

    return (
        percent(spot.share),
        place(spot.first),
        place(spot.last),
        f"{spot.energy / ELEMENTARY_CHARGE / 1e3:.3g} keV",
        f"{degrees(spot.angle)}{', oblique' if spot.oblique else ''}",
    )
