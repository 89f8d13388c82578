"""The sentences of a report: verdict, what is not modelled, cautions."""

from __future__ import annotations

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import percent, voltage_text
from conegap.solver.operation.review import ReviewRow
from conegap.solver.report.operating import operating_sentence

__all__ = [
    "cautions",
    "not_modelled",
    "quality",
    "verdict",
]

# Rigid onset of a hemisphere on a plane, W = 4/9, over its turning point with a pinned contact
# line (W = 0.304, see `validation/cases/free_surface`) and with a sliding one (a free drop):
# square root of the ratio, less one.
_PINNED, _SLIDING = 0.21, 0.47
# Criteria that a headline names; the rest is counted.
_NAMED = 4


def verdict(assessment: Assessment) -> tuple[str, ...]:
    """The answer in sentences, the first one for a headline.

    Parameters
    ----------
    assessment : Assessment
    """
    design = assessment.design
    first = assessment.emission.first
    onset, low, high = (
        voltage_text(v)
        for v in (
            assessment.emission.first.voltage,
            assessment.emission.first.low,
            assessment.emission.first.high,
        )
    )
    review = _review_words(assessment.review)
    limit = design.supply.voltage_limit
    if limit is None:
        supply = "No supply limit is given, so nothing is said about the supply."
    elif assessment.emission.first.high > limit:
        supply = (
            f"The supply's limit of {voltage_text(limit)} does not reach the upper end of this "
            "band."
        )
    else:
        supply = (
            f"The supply's limit of {voltage_text(limit)} is "
            f"{limit / assessment.emission.first.high:.2g} times the upper end of this band."
        )
    return (
        f"The gap is predicted to start emitting at {onset} between emitter and accelerator: "
        f"{first.place}, {first.mode}.",
        f"With its tolerances and the surface tension's uncertainty the onset lies between {low} "
        f"and {high} (k = 2, about 95 %). {supply}",
        operating_sentence(assessment),
        review,
        _criterion(assessment),
    )


def _review_words(rows: tuple[ReviewRow, ...]) -> str:
    """How many criteria fail, how many are not proved, and which."""
    failed = [row.name for row in rows if row.passed is False]
    unproved = [row.name for row in rows if row.passed is None]
    if not failed and not unproved:
        return f"All {len(rows)} criteria of the gap review pass."
    words = []
    if failed:
        words.append(
            f"{len(failed)} of {len(rows)} criteria of the gap review fail: {_names(failed)}."
        )
    if unproved:
        words.append(
            f"{len(unproved)} of {len(rows)} criteria of the gap review "
            f"{'is' if len(unproved) == 1 else 'are'} not proved: {_names(unproved)}."
        )
    return " ".join(words)


def _names(names: list[str]) -> str:
    more = f"; and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return "; ".join(names[:_NAMED]) + more


def _criterion(assessment: Assessment) -> str:
    """What kind of onset the number is, and what it leaves open."""
    rigid = voltage_text(assessment.onset.rigid.voltage)
    if assessment.onset.meniscus is not None:
        turning, *others = assessment.onset.modes
        early = "".join(f" Before it, at {voltage_text(v)}: {m}." for m, v in others)
        return (
            f"The free liquid surface loses its equilibrium at {voltage_text(turning[1])} "
            f"({turning[0]}): above it no shape is in balance. The surface held rigid as "
            f"drawn would give {rigid}.{early}"
        )
    return (
        "This is the balance of the liquid surface held rigid as drawn. A free surface gives way "
        f"elsewhere: for a hemisphere the rigid value is {_PINNED:.0%} above the true onset with "
        f"a pinned contact line and {_SLIDING:.0%} above with a sliding one, and a surface that "
        "starts flat may need more than a drawn dome. The band does not hold this difference."
    )


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
        else (f"is {numerical.order:.2f} (2 is expected)")
    )
    used = (
        "so the leading error was removed by extrapolation"
        if numerical.extrapolated
        else "so the value of the finest mesh is used as it is, with a wider error"
    )
    words = [
        "The potential is solved by finite volumes on the Voronoi cells of points that follow the "
        f"edges, on {len(numerical.level_values)} nested meshes.",
        f"The observed order of convergence of the edge field {order}, {used}.",
        f"Estimated relative error of the edge field: {numerical.error:.1e}.",
    ]
    if assessment.onset.meniscus is not None:
        words.append(
            "The turning point of the liquid surface was computed on meshes made for its own "
            f"shape; estimated relative error of its voltage: {assessment.onset.error:.1e}."
        )
    for line in assessment.budget.contributions:
        if line.name == "surroundings":
            words.append(
                "With the chamber twice as large the onset shifts by "
                f"{percent(line.size * 3.0**0.5)}."
            )
            break
    else:
        words.append("The electrodes enclose the region, so no outer wall had to be chosen.")
    return tuple(words)


def not_modelled(assessment: Assessment) -> tuple[str, ...]:
    """What the number leaves out.

    Parameters
    ----------
    assessment : Assessment
    """
    design = assessment.design
    if assessment.onset.meniscus is None:
        first = (
            "The liquid keeps its drawn shape. A free surface bulges and becomes unstable at "
            "another voltage, for a pinned hemisphere at one that the rigid value exceeds by "
            f"{_PINNED:.0%}."
        )
    else:
        first = (
            "A liquid surface that loses its symmetry, or a contact line that leaves its edge: "
            "the free surface is followed pinned and symmetric. The curves over gap and edge "
            "size are those of the rigid surface."
        )
    items = [
        first,
        "Emission itself: no cone of nanometre size, no evaporation of ions, no droplets. The "
        "current is a slope law, an order of magnitude, and the ion paths start on the "
        "drawn surface within an assumed half angle.",
        "Space charge in the gap: before the onset there is none; the current's law and the "
        "spread of the beam include it only to first order, and the ion paths not at all.",
        "Roughness, scratches, oxide skins and impurities of the surface, and incomplete wetting.",
        "Vacuum breakdown other than through the limits of the gap review; electron emission by "
        "an assumed factor for micro-protrusions.",
    ]
    section = design.section()
    if assessment.sector is not None:
        items.append(
            "A crown's or an array's tips out of line otherwise than by radius, height and the "
            "slot's offset; the ion beam and the electron currents are those of one tip alone."
        )
    elif section.symmetry == "axisymmetric":
        items.append(
            "Anything off the axis: emitter and accelerator are round and perfectly aligned."
        )
    else:
        items.append(
            "The ends along y, where the field is higher than in the middle; the section is "
            "treated as endless."
            if assessment.slit_end is None
            else "Liquid at the ends along y: their field is solved, their free surface is not."
        )
        if section.mirrored:
            items.append(f"Misalignment: {design.emitter.alignment}.")
    items.append("Gravity on the surface, the reservoir behind the drawn feed, and heat.")
    return tuple(items)


def cautions(assessment: Assessment) -> tuple[str, ...]:
    """Safety warnings for those who build and run it.

    Parameters
    ----------
    assessment : Assessment
    """
    design = assessment.design
    most = max(design.voltage, design.supply.voltage_limit or 0.0)
    items = [
        f"High voltage: {voltage_text(most)} and the charge stored in cables and filters can "
        "kill. Enclose, interlock, discharge and ground before touching.",
    ]
    if most > 5e3:
        items.append(
            f"X-rays: with {voltage_text(most)} across the gap, electrons released at the "
            "negative electrode make X-rays where they land. Above 5 kV have a licensed "
            "person check shielding and surveys."
        )
    else:
        items.append(
            "X-rays: a discharge can add to the voltage across the gap; above 5 kV in total X-rays "
            "must be considered."
        )
    items.append(
        "Vacuum: the limits of the gap review hold for high vacuum only. In the pressure range of "
        "glow discharges a gap breaks down at a few hundred volts. Viewports and chambers can "
        "implode."
    )
    hazards = design.metal.hazards.strip()
    items.append(
        f"{design.metal.name.capitalize()}: "
        + (hazards or "no hazards are recorded for this metal; look up its safety data sheet.")
    )
    items.append(
        "This report is an aid to design and no safety approval. Local codes and licensed "
        "practice take precedence."
    )
    return tuple(items)
