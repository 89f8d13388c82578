"""Sentences and rows of a report about an accelerator beside the emitter's axis or askew."""

from __future__ import annotations

import math

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import length_words, percent

__all__ = ["misalignment_callouts", "misalignment_lines", "misalignment_words"]

# Change of the onset for which a callout is given, as much as a good supply drifts; a choice, [-].
_SHARE = 0.01


def misalignment_words(assessment: Assessment) -> tuple[str, ...]:
    """What the solve in three dimensions says of offset and tilt, empty where none is stated.

    Parameters
    ----------
    assessment : Assessment
    """
    found = assessment.onset.misaligned
    if found is None:
        return ()
    offset, tilt = found.place
    words = "The opening is drawn on the emitter's axis and square to it."
    if any(found.place):
        words = (
            f"The middle of the opening lies {length_words(abs(offset))} beside the emitter's axis "
            f"and its own axis leans by {math.degrees(tilt):.3g}°. Solved in three dimensions the "
            f"tip has {found.factor:.4f} times the field of the aligned gap (numerical error "
            f"{percent(found.error)}), and every onset in this report is divided by that; the "
            f"accelerator has {found.accelerator_factor:.3g} times its greatest field."
        )
    return (
        words,
        "By symmetry the field at the tip changes in second order only: "
        + "; ".join(_effects(assessment))
        + ".",
    )


def misalignment_lines(assessment: Assessment) -> list[tuple[str, str]]:
    """A line for the terminal's table where the accelerator is drawn out of line.

    Parameters
    ----------
    assessment : Assessment
    """
    found = assessment.onset.misaligned
    if found is None or not any(found.place):
        return []
    return [("field at the tip over that of the aligned gap", f"{found.factor:.4f}")]


def misalignment_callouts(assessment: Assessment) -> list[tuple[str, str, str]]:
    """Callouts for position and squareness of the opening, as far as the onset asks for them.

    Parameters
    ----------
    assessment : Assessment
    """
    found = assessment.onset.misaligned
    if found is None:
        return []
    share, rows = percent(_SHARE), []
    basis = f"moves the onset by {share}, by the second order solved"
    half = (assessment.design.accelerator.opening or 0.0) / 2.0
    if found.law.offset:
        most = math.sqrt(_SHARE / abs(found.law.offset))
        name, value = "opening on the emitter's axis, for the onset alone", "no limit"
        if most < half:
            rows.append((name, f"within {length_words(float(f'{most:.2g}'))}", basis))
        else:
            rows.append((name, value, f"at half the opening still less than {share} of the onset"))
    if found.law.tilt:
        most = math.sqrt(_SHARE / abs(found.law.tilt))
        rows.append(
            ("opening square to that axis, for the onset alone", f"within {_degrees(most)}", basis)
        )
    return rows


def _effects(assessment: Assessment) -> list[str]:
    """What the law says of offset and tilt each, at what was stated."""
    found = assessment.onset.misaligned
    assert found is not None
    words = []
    for name, most, law, show in (
        ("offset", found.limits[0], found.law.offset, length_words),
        ("tilt", found.limits[1], found.law.tilt, _degrees),
    ):
        if most:
            words.append(
                f"the {name}, up to {show(most)} with its tolerance, by "
                f"{100.0 * law * most**2:+.2g} %"
            )
    return words


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.3g}°"
