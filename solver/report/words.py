"""The sentences of a report: verdict, what must be known with it, what is not modelled."""

from __future__ import annotations

from collections.abc import Iterator

from scipy.constants import g as standard_gravity

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import percent, voltage_text
from conegap.solver.operation.review import ReviewRow

__all__ = [
    "must_know",
    "not_modelled",
    "quality",
    "verdict",
]

# Rigid onset of a hemisphere on a plane, W = 4/9, over its turning point with a pinned contact
# line (W = 0.304, see `validation/cases/free_surface`) and with a sliding one (a free drop):
# square root of the ratio, less one.
_PINNED, _SLIDING = 0.21, 0.47
# Criteria that the verdict names; the rest is counted.
_NAMED = 4
# Bond number from which gravity bends a free surface by about a thousandth.
_HEAVY = 1e-3


def verdict(assessment: Assessment) -> tuple[str, str]:
    """The answer in two sentences: where the gap emits first, and what the review says of it.

    Parameters
    ----------
    assessment : Assessment
    """
    first = assessment.emission.first
    return (
        f"The gap is predicted to start emitting at {voltage_text(first.voltage)}, between "
        f"{voltage_text(first.low)} and {voltage_text(first.high)} (k = 2, about 95 %): "
        f"{first.place}, {first.mode}.",
        _review_words(assessment.review),
    )


def _review_words(rows: tuple[ReviewRow, ...]) -> str:
    """How many criteria fail, how many are not proved, and which."""
    failed = [row.name for row in rows if row.passed is False]
    unproved = [row.name for row in rows if row.passed is None]
    if not failed and not unproved:
        return f"All {len(rows)} criteria of the gap review pass."
    words = []
    if failed:
        words.append(f"{len(failed)} {'fails' if len(failed) == 1 else 'fail'} ({_names(failed)})")
    if unproved:
        isnt = "is" if len(unproved) == 1 else "are"
        words.append(f"{len(unproved)} {isnt} not proved ({_names(unproved)})")
    return f"Of {len(rows)} criteria of the gap review {' and '.join(words)}."


def _names(names: list[str]) -> str:
    more = f"; and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return "; ".join(names[:_NAMED]) + more


def must_know(assessment: Assessment) -> tuple[str, ...]:
    """What would make the verdict a lie where it is not said beside it, sentences.

    Parameters
    ----------
    assessment : Assessment
    """
    meniscus = assessment.onset.meniscus
    if meniscus is None:
        return (
            "This is the balance of the liquid surface held rigid as drawn. A free surface gives "
            f"way elsewhere: for a hemisphere the rigid value is {percent(_PINNED)} above the true "
            f"onset with a pinned contact line and {percent(_SLIDING)} above with a sliding one, "
            "and a surface that starts flat may need more than a drawn dome. The band does not "
            "hold this difference.",
        )
    words = []
    for other in meniscus.others:
        ends_at = "floods without any voltage"
        if other.voltage is not None:
            if other.voltage >= meniscus.voltage:
                continue
            ends_at = f"gives way at {voltage_text(other.voltage)} already"
        words.append(
            f"If the emitter starts with a {other.state}, it {ends_at}: the review must assume "
            f"that unless the {meniscus.state} is assured."
        )
    return tuple(words)


def quality(assessment: Assessment) -> tuple[str, ...]:
    """What is known about the error of the computed field.

    Parameters
    ----------
    assessment : Assessment
    """
    numerical = assessment.onset.rigid.edge_at_design
    order = (
        "could not be observed"
        if numerical.order != numerical.order
        else (f"is {numerical.order:.2f} (expected 2)")
    )
    used = (
        "extrapolated"
        if numerical.extrapolated
        else "the finest mesh is used as it is, with a wider error"
    )
    return (f"The observed order of convergence of the edge field {order}: {used}.",)


def not_modelled(assessment: Assessment) -> tuple[str, ...]:
    """What the numbers of this design leave out; what does not bear on it is not said.

    Parameters
    ----------
    assessment : Assessment
    """
    return (
        *_surface_gaps(assessment),
        *_beam_gaps(assessment),
        *_alignment_gaps(assessment),
        "Roughness, scratches, impurities; breakdown other than by the review's limits.",
    )


def _surface_gaps(assessment: Assessment) -> Iterator[str]:
    """Of the liquid surface."""
    meniscus, design = assessment.onset.meniscus, assessment.design
    if meniscus is None:
        yield "A free surface: the liquid keeps its drawn shape (see the first sheet)."
        return
    if meniscus.wall_place is None:
        yield (
            "A contact line that leaves its edge, incomplete wetting, flow while the voltage "
            f"rises: the cap keeps its edge and its {meniscus.held}."
        )
    elif any(step.jumps for step in meniscus.transitions):
        yield "What the liquid does while its contact line jumps."
    density = float(design.metal.density(design.liquid.temperature))
    bond = density * standard_gravity * meniscus.radius**2 / meniscus.surface_tension
    if bond > _HEAVY:
        yield f"Gravity along the surface, whose Bond number is {bond:.1g}."


def _beam_gaps(assessment: Assessment) -> Iterator[str]:
    """Of what is emitted."""
    beam = assessment.beam
    if beam is None:
        return
    yield (
        "The emitting cusp (ions start on the drawn surface within an assumed half angle), "
        "droplets, strays, charge exchange, electrons that neutralise the beam."
    )
    if beam.charge is None:
        yield "The beam's own charge."
    elif assessment.sector is not None:
        yield "What the beams of neighbouring tips do to each other."


def _alignment_gaps(assessment: Assessment) -> Iterator[str]:
    """Of the third dimension."""
    design = assessment.design
    section = design.section()
    if assessment.sector is not None:
        yield (
            "Tips out of line otherwise than by radius, height and the slot's offset; beam and "
            "electron currents are those of one tip alone."
        )
    elif assessment.onset.misaligned is not None:
        yield (
            "What an offset or a tilt of the accelerator steers, and how it bends the liquid to "
            "one side; anything else off the axis."
        )
    elif section.symmetry == "axisymmetric":
        yield "Anything off the axis: emitter and accelerator are round and perfectly aligned."
    else:
        yield (
            "The ends along y, where the field is higher than in the middle."
            if assessment.slit_end is None
            else "How the liquid bends round the ends along y: their field is solved, their free "
            "surface is not."
        )
        if section.mirrored:
            yield f"Misalignment: {design.emitter.alignment}."
