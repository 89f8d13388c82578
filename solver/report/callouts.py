"""What the machinist must know beside the dimensions: edge radii, finish of the edge, centring."""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.curves.curve import polyline
from conegap.solver.assessment import Assessment
from conegap.solver.beam.beam_review import MOST_FILLED
from conegap.solver.common.display_units import length_words
from conegap.solver.figures.finish import EDGES, edge_finish
from conegap.solver.report.misalignment import misalignment_callouts
from conegap.solver.report.tables import Table

__all__ = ["callouts_table", "spare_offset"]


def callouts_table(assessment: Assessment) -> Table:
    """Callouts for the drawing of emitter and accelerator.

    Parameters
    ----------
    assessment : Assessment
    """
    design = assessment.design
    rows: list[tuple[str, str, str]] = []
    for one in design.dimensions():
        if one.key.endswith(EDGES) and one.value > 0.0:
            held = f"± {one.tolerance_text}" if one.tolerance else "no tolerance stated"
            rows.append((one.key.replace(".", "’s ").replace("_", " "), f"R {one.text} {held}",
                         "assumed: state it" if one.basis == "assumed" else one.basis))  # fmt: skip
    finish = edge_finish(design)
    if finish is not None:
        rows.append(
            ("finish of the emitting edge", f"Rz ≤ {length_words(finish)}",
             "a tenth of its smallest radius; common practice, no source")
        )  # fmt: skip
    spare = spare_offset(assessment)
    if spare is not None:
        around = assessment.sector is None and design.section().symmetry == "axisymmetric"
        what = "concentric with the emitter" if around else "centred on the emitter"
        rows.append(
            (f"opening {what}",
             f"within {length_words(float(f'{spare:.2g}'))}" if spare > 0.0 else "nothing to spare",
             f"what the beam leaves of {MOST_FILLED:g} of the opening; steering comes on top")
        )  # fmt: skip
    rows += misalignment_callouts(assessment)
    return Table(("callout", "value", "basis"), tuple(rows))


def spare_offset(assessment: Assessment) -> float | None:
    """Offset of the opening from the emitter at which the widest beam fills what is allowed, 0 for
    one that fills it already, None where there is no opening or no beam, [m].

    Parameters
    ----------
    assessment : Assessment
    """
    section, band = assessment.design.section(), assessment.beams
    if band is None or not (section.symmetry == "axisymmetric" or section.mirrored):
        return None
    fillings = [beam.filling for beam in band.beams if beam.filling is not None]
    if not fillings or not all(math.isfinite(filling) for filling in fillings):
        return None
    metal = [
        polyline([boundary.curve])
        for loop in section.loops
        for boundary in loop
        if boundary.name == "accelerator"
    ]
    if not metal:
        return None
    half = float(np.abs(np.vstack(metal)[:, 0]).min())
    widest = max(fillings) + (0.0 if band.errors is None else band.errors.filling)
    # The beam is widest * half wide, the room that an offset leaves is half less the offset.
    return half * max(1.0 - widest / MOST_FILLED, 0.0)
