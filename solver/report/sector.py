"""Tables and sentences of a report about the third dimension: tips, screening, firing, ends."""

from __future__ import annotations

from conegap.solver.arrays.first_emission import ENDS
from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import length_words, percent, voltage_text
from conegap.solver.field3d.slit_end import ALLOWED_FACTOR
from conegap.solver.report.misalignment import misalignment_lines, misalignment_words
from conegap.solver.report.tables import Table

__all__ = [
    "DRAWINGS",
    "SECTOR_CHARTS",
    "end_table",
    "firing_table",
    "screening_table",
    "sector_lines",
    "sector_words",
    "tips_table",
]

DRAWINGS = ("plan", "true_section", "view")
"""Names of the drawings of what needs the third dimension."""

SECTOR_CHARTS = (
    "screening",
    "tip_classes",
    "firing",
    "firing_order",
    "misalignment",
    "lip_field",
    "end_over_radius",
    "end_over_overhang",
)
"""Names of the charts of what was found there, in the order of reading."""


def tips_table(assessment: Assessment) -> Table | None:
    """Classes of tips, the strongest first, or None for a plane section."""
    sector = assessment.sector
    if sector is None:
        return None
    rows = []
    for tip, (name, members, share, voltage) in zip(
        sector.onset.tips, sector.tip_voltages(), strict=True
    ):
        rows.append(
            (
                name,
                str(members),
                f"{tip.per_volt.value:.5g} 1/m ± {percent(tip.error)}",
                f"{share:.4f}",
                voltage_text(voltage),
            )
        )
    heads = ("class", "tips", "field per volt, numerical error", "over the strongest", "onset")
    return Table(heads, tuple(rows))


def screening_table(assessment: Assessment) -> Table | None:
    """Field over that of a tip alone at every pitch solved, or None where there is no curve."""
    sector = assessment.sector
    if sector is None or not sector.screening.points:
        return None
    found = sector.screening
    rows = [
        (
            length_words(float(f"{point.pitch:.4g}")),
            f"{point.pitch / found.height:.3g}",
            str(point.tips),
            f"{point.share:.4f}",
        )
        for point in found.points
    ]
    return Table(("pitch", "over the height", "tips", "field over a tip alone"), tuple(rows))


def firing_table(assessment: Assessment) -> Table | None:
    """Voltages at which the first tip, half and all of a crown fire, or None for others."""
    if assessment.sector is None or assessment.sector.firing is None:
        return None
    firing = assessment.sector.firing
    rows = tuple(
        (words, *(voltage_text(value) for value in values))
        for words, values in (
            ("the first tip fires", firing.first),
            ("half of the tips fire", firing.median),
            ("all tips fire", firing.last),
        )
    )
    return Table(("event", "5 % of the crowns", "50 %", "95 %"), rows)


def end_table(assessment: Assessment) -> Table | None:
    """The ends of a slit, or None where none was solved."""
    end = assessment.slit_end
    if end is None:
        return None
    rows = [
        (
            "end factor, greatest field over that in the middle",
            f"{end.factor:.3f} ± {end.error:.3f}",
        ),
        ("where, along the crest behind the beginning of the rounding", _round(end.place)),
        (f"end radius, {'assumed' if end.assumed else 'as drawn'}", _round(end.end_radius)),
    ]
    if end.over_radius[1:] and not end.assumed:
        rows.append((f"end radius that keeps {ALLOWED_FACTOR}", _kept(end.keeping_radius)))
    if end.over_overhang:
        rows.append(
            (f"overhang of the slot that keeps {ALLOWED_FACTOR}", _kept(end.keeping_overhang))
        )
    rows += [
        (f"end factor at an end radius of {_round(p.value)}", f"{p.factor:.3f}")
        for p in end.over_radius
    ]
    rows += [
        (f"end factor at an overhang of {_round(p.value)}", f"{p.factor:.3f}")
        for p in end.over_overhang
    ]
    return Table(("figure", "value"), tuple(rows))


def _round(value: float) -> str:
    return length_words(float(f"{value:.3g}"))


def _kept(value: float | None) -> str:
    return "none of those solved" if value is None else f"about {_round(value)}"


def sector_words(assessment: Assessment) -> tuple[str, ...]:
    """What the solve in three dimensions adds, sentences in order; empty for a plane section."""
    lines = list(misalignment_words(assessment))
    sector, design = assessment.sector, assessment.design
    if sector is not None:
        onset = sector.onset
        lines.append(
            "The plane section shows one tip alone on a round body before a round opening. The "
            "solve in three dimensions has the true electrodes and every tip: there the "
            f"{'strongest ' if len(onset.tips) > 1 else ''}tip has {onset.factor:.4f} times the "
            f"field of the plane section (numerical error {percent(onset.error)}), and every "
            "onset in this report is divided by that."
        )
        if design.emitter.endless:
            lines.append(
                "The array is solved as endless: tips at its rim have fewer neighbours and fire "
                "first, at a voltage between this one and that of a tip alone."
            )
        weakest = sector.screening.weakest
        lines.append(
            f"The neighbours leave the most screened tip {percent(weakest)} of the field that one "
            "tip alone in the same place would have."
        )
        lines += _firing_words(assessment)
    end = assessment.slit_end
    if end is not None:
        what = "The ends emit no sooner than the middle."
        for one in assessment.emission.instabilities:
            if one.place == ENDS:
                what = (
                    f"The ends give way at about {voltage_text(one.voltage)}, the middle at "
                    f"{voltage_text(assessment.onset.voltage)}."
                )
        lines.append(
            f"At its end the lip has {end.factor:.3f} ± {end.error:.3f} times the field of the "
            f"middle; {ALLOWED_FACTOR} is allowed. {what}"
        )
        if end.assumed:
            lines.append(
                f"The drawing gives the ends no radius: {_round(end.end_radius)} is assumed, half "
                "the slot's width or the gap, and the band of the ends holds half "
                "and twice of it. Lips and channel are drawn as one blunt edge on a coarse mesh."
            )
        else:
            lines.append(
                "Lips and channel are drawn as one blunt edge of two radii, and the ratio of the "
                "fields is carried on to the true edge."
            )
    return tuple(lines)


def _firing_words(assessment: Assessment) -> list[str]:
    sector = assessment.sector
    if sector is None or sector.firing is None:
        return []
    firing = sector.firing
    left = assessment.operation.operating.point.voltage
    lit = percent(firing.lit_share(left))
    lines = [
        f"Over {firing.samples} crowns sampled within the tolerances (tip radius "
        f"± {length_words(firing.radius_scatter)}, height ± {length_words(firing.height_scatter)} "
        f"from tip to tip) all tips fire by {voltage_text(firing.last[2])} in 95 % of them; at the "
        f"{voltage_text(left)} that the ballast leaves across the gap {lit} of the tips are lit on "
        "average. A tip that "
        "has fired is taken to leave the others' fields as they were."
    ]
    if firing.radius_scatter == 0.0 and firing.height_scatter == 0.0:
        lines.append(
            "Neither a tolerance of tip_radius nor a runout is given, so all tips are alike here; "
            "no real crown is."
        )
    return lines


def sector_lines(assessment: Assessment) -> list[tuple[str, str]]:
    """A line or two for the terminal's table; none for a plane section."""
    rows = misalignment_lines(assessment)
    sector, end = assessment.sector, assessment.slit_end
    if sector is not None:
        rows.append(("field over that of a tip alone", f"{sector.screening.strongest:.3f}"))
        if sector.firing is not None:
            last = voltage_text(sector.firing.last[2])
            rows.append(("all tips fire by, in 95 % of the crowns", last))
        elif len(sector.onset.tips) > 1:
            name, _, _, voltage = sector.tip_voltages()[-1]
            rows.append((f"weakest tips ({name}) fire at", voltage_text(voltage)))
    if end is not None:
        rows.append(
            ("field at the slit's ends over its middle", f"{end.factor:.3f} ± {end.error:.3f}")
        )
    return rows
