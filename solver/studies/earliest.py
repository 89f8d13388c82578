"""The first emission of changed designs: ends of a slit and first tips beside their sections."""

from __future__ import annotations

import math
from collections.abc import Sequence

from conegap.geometries.parts.setting import length_text
from conegap.solver.field3d.slit_end import SlitEnd
from conegap.solver.studies.budget import Budget, Contribution
from conegap.solver.studies.onset import Onset
from conegap.solver.studies.variants import Changes

__all__ = ["beside_sections", "budget_of_ends", "budget_of_first_tip", "earliest", "earliest_near"]

# Half width of a rectangular distribution over its standard deviation, JCGM 100:2008, 4.3.7.
_ROOT_THREE = math.sqrt(3.0)
# The tip radius scatters from tip to tip: that is in the sampled crowns already.
_SAMPLED = "emitter.tip_radius"


def beside_sections(
    onset: Onset,
    variants: Sequence[Changes],
    sections: Sequence[float | str],
    *,
    near: bool = False,
) -> tuple[float | str, ...] | None:
    """Onset of a slit's ends, or of the first of a crown's tips, for changed designs, [V].

    Parameters
    ----------
    onset : Onset
        Of the design as drawn.
    variants : sequence of ((key, SI value), ...)
    sections : sequence of float or str
        Onset of the section of each, or why there is none, [V].
    near : bool
        Changes of some per cent: the ends of a slit shift by the powers of the dimensions.

    Returns
    -------
    tuple of float or str, or None
        None where none comes before the section itself.

    Raises
    ------
    DesignError, MeshError, ConvergenceError, ComputationError
        Ends or changed crowns could not be solved.
    """
    ends, _ = onset.ends
    if onset.firing is not None:
        # The scatter from tip to tip stays that of the drawn crown.
        share = onset.firing.first[1] / onset.voltage
        return tuple(m if isinstance(m, str) else m * share for m in sections)
    if ends is None:
        return None
    # Where the middle has waves before it turns, the ends keep to its turning point.
    solved = onset.modes[0][1] / onset.voltage / ends.factor
    shifts = ends.near_shifts(variants) if near else ends.shifts(variants)
    return tuple(
        m if isinstance(m, str) else e if isinstance(e, str) else m * solved * e
        for m, e in zip(sections, shifts, strict=True)
    )


def earliest(
    sections: Sequence[float | str], beside: Sequence[float | str] | None
) -> tuple[float | str, ...]:
    """The lower of both at every point, or why one of them is not known, [V].

    Parameters
    ----------
    sections : sequence of float or str
        [V].
    beside : sequence of float or str, or None
        As `beside_sections` has it, [V].
    """
    if beside is None:
        return tuple(sections)
    return tuple(
        m if isinstance(m, str) else e if isinstance(e, str) else min(m, e)
        for m, e in zip(sections, beside, strict=True)
    )


def earliest_near(
    onset: Onset, variants: Sequence[Changes], sections: Sequence[float | str]
) -> tuple[float | str, ...]:
    """First emission of designs changed by some per cent, or why there is none, [V].

    Parameters
    ----------
    onset, variants, sections
        As for `beside_sections`, which raises the same.
    """
    return earliest(sections, beside_sections(onset, variants, sections, near=True))


def budget_of_first_tip(budget: Budget, first: tuple[float, float, float]) -> Budget:
    """Budget of the first of a crown's tips to fire.

    Parameters
    ----------
    budget : Budget
        Of a tip as drawn.
    first : tuple of float
        5, 50 and 95 % of the sampled crowns, [V]; they stand for two standard uncertainties.
    """
    low, middle, high = first
    scatter = Contribution(
        "tips",
        "scatter from tip to tip",
        (1.0 - low / middle) / 2.0,
        (high / middle - 1.0) / 2.0,
        "sampled crowns",
    )
    return budget.without(_SAMPLED).with_((scatter,))


def budget_of_ends(budget: Budget, end: SlitEnd) -> Budget:
    """Budget of a slit's ends: that of its middle, their numerical error, and a radius that is not
    drawn, rectangular between half and twice the assumed one.

    Parameters
    ----------
    budget : Budget
        Of the middle.
    end : SlitEnd
        As solved.
    """
    error = end.error / end.factor / _ROOT_THREE
    lines = [
        Contribution("slit_end", "field at the ends of the slit", error, error, "mesh sequence")
    ]
    if end.assumed:
        least, most = end.factors
        lines.append(
            Contribution(
                "emitter.end_radius",
                f"end radius {length_text(end.end_radius)}, not drawn: half to twice of it",
                (1.0 - end.factor / most) / _ROOT_THREE,
                (end.factor / least - 1.0) / _ROOT_THREE,
                "assumed; solved with half and twice the radius",
            )
        )
    return budget.with_(tuple(lines))
