"""What the review and the reader must know of the ends of a slit."""

from __future__ import annotations

import math

from conegap.geometries.design.alignment import aligned
from conegap.geometries.design.design import Design
from conegap.geometries.parts.setting import length_text
from conegap.solver.field3d.slit_end import ALLOWED_FACTOR, SlitEnd
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = ["end_rows", "end_warnings"]


def end_rows(end: SlitEnd | None, why: tuple[str, ...] = ()) -> tuple[ReviewRow, ...]:
    """Row of the review on the ends of a slit.

    Parameters
    ----------
    end : SlitEnd or None
        As solved.
    why : tuple of str
        Why ends that there are were not solved, which proves nothing.
    """
    if end is None and not why:
        return ()
    name = "field at the slit's ends over that in its middle"
    if end is None:
        return (
            review_row(
                name,
                1.0,
                ALLOWED_FACTOR,
                "",
                "; ".join(why),
                "draw ends that can be solved (emitter.end_radius), or show by test that they do "
                "not emit first",
                span=(1.0, math.inf),
            ),
        )
    return (
        review_row(
            name,
            end.factor,
            ALLOWED_FACTOR,
            "",
            "the ends must not fire long before the middle; common practice, no source",
            "draw the ends (emitter.end_radius), and round enough"
            if end.assumed
            else "give the ends a larger radius or the slot more length beyond them",
            # Ends that nobody has drawn may yet be as round as it takes.
            span=(1.0, math.inf) if end.assumed else None,
        ),
    )


def end_warnings(design: Design, end: SlitEnd | None) -> tuple[str, ...]:
    """What the reader must know of the ends of a slit.

    Parameters
    ----------
    end : SlitEnd or None
        As solved.
    """
    if end is None:
        return ()
    found = []
    if end.assumed:
        least, most = end.factors
        found.append(
            f"the ends of this slit are not drawn: they are assumed to be rounded with "
            f"{length_text(end.end_radius)}, where the field is {end.factor:.3g} times that of "
            f"the middle ({least:.3g} to {most:.3g} with twice to half that radius); sharper ends "
            "emit earlier still; give emitter.end_radius"
        )
    if aligned(design) is not design:
        found.append(
            "the ends of the slit are solved without the misalignment and the slot's offset, "
            "which change the ratio of end to middle in second order only"
        )
    return tuple(found)
