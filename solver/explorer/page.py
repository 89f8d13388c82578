"""The page: sliders, answer, section and review in one HTML file that needs nothing else."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib import resources
from importlib.metadata import version
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.quantities.quantity import as_text
from conegap.solver.common.display_units import axis_unit, percent, voltage_text
from conegap.solver.common.style import COLOURS
from conegap.solver.explorer.explored import SAFETY, Explored
from conegap.solver.explorer.outlines import WIDTH, Outline, View, drawn_bodies, views
from conegap.solver.report.page import templates
from conegap.solver.sizing.request import WANTED, Free
from conegap.solver.sizing.surfaces import interpolation_matrix
from conegap.solver.studies.design_copy import edited

__all__ = ["MARK", "explorer_page", "page_data"]

MARK = '<meta name="conegap-page" content="explorer">'
"""By which the command knows a page of its own."""

# Digits of excesses: their rounding is a thousandth of the numerical error of a solve.
_DIGITS = 7


def explorer_page(
    explored: Explored, text: str, *, file_name: str, words: str, criterion: str
) -> str:
    """The page as HTML.

    Parameters
    ----------
    explored : Explored
    text : str
        Of the design file, for the copy that the page writes.
    file_name : str
        What that copy is called.
    words : str
        How the ranges were chosen.
    criterion : str
        As for `assess`.
    """
    from markupsafe import Markup

    design = explored.design
    drawn = design.section()
    sections = [
        design.with_values(
            [(f.key, f.at(u)) for f, u in zip(explored.free, point, strict=True)]
        ).section()
        for point in explored.points.tolist()
    ]
    data = page_data(explored, text, file_name=file_name)
    two = views([drawn, *sections])
    bodies = drawn_bodies(drawn, sections)
    data["views"] = [_view(one, bodies) for one in two]
    script = resources.files("conegap.solver.explorer").joinpath("templates", "explore.js")
    return (
        templates("conegap.solver.explorer")
        .get_template("explore.html")
        .render(
            title=design.title or design.source,
            mark=Markup(MARK),
            version=version("conegap"),
            colours=COLOURS,
            data=Markup(_script_safe(json.dumps(data, ensure_ascii=False, allow_nan=False))),
            script=Markup(script.read_text(encoding="utf-8")),
            free=data["free"],
            rows=data["rows"],
            views=data["views"],
            moving=bool(bodies),
            first=voltage_text(explored.first),
            error=percent(explored.error),
            band_error=percent(explored.band_error),
            safety=f"{SAFETY:g}",
            solved=len(explored.points),
            held_out=explored.held_out,
            places=explored.places,
            unknown=explored.unknown,
            words=words,
            criterion=criterion,
            inputs=design.sha256[:16],
        )
    )


def page_data(explored: Explored, text: str, *, file_name: str) -> dict[str, Any]:
    """What the page computes with, ready for JSON; quantities in SI, excesses as logarithms.

    Parameters
    ----------
    explored : Explored
    text : str
        Of the design file.
    file_name : str
        What the copy is called.
    """
    count = len(WANTED)
    values, errors = explored.values, explored.errors.tolist()
    rows = [
        {
            "name": explored.demands[k].name,
            "high": _rounded(values[:, k]),
            "low": _rounded(values[:, k + 1]),
            "error": max(errors[k], errors[k + 1]),
            "error_words": _error_words(max(errors[k], errors[k + 1])),
        }
        for k in range(count, len(explored.demands), 2)
    ]
    design = explored.design
    return {
        "free": [_slider(one) for one in explored.free],
        "points": explored.points.tolist(),
        "matrix": interpolation_matrix(explored.points).tolist(),
        "first": explored.first,
        "voltages": {
            key: {"logs": values[:, k].tolist(), "error": errors[k]} for k, key in enumerate(WANTED)
        },
        "drawn": {key: explored.drawn.voltages[key] for key in WANTED},
        "design_voltage": design.voltage,
        "rows": rows,
        "file": {"name": file_name, "pieces": _pieces(explored.free, text)},
    }


def _error_words(error: float) -> str:
    """Rounding alone is what a criterion has that none of the quantities moves."""
    return percent(error) if error > 1e-9 else "does not move"


def _slider(free: Free) -> dict[str, Any]:
    """A quantity with its range, SI, and the unit in which it is shown."""
    one = free.dimension
    unit = one.unit or as_text(free.high, one.kind).split(" ", 1)[1]
    shown = axis_unit(one.kind, 0.0, unit)

    def words(value: float) -> str:
        return f"{(value - shown.offset) / shown.size:.6g} {shown.name}"

    return {
        "key": free.key,
        "label": one.label,
        "unit": unit,
        "printed": shown.name,
        "size": shown.size,
        "offset": shown.offset,
        "low": free.low,
        "high": free.high,
        "scaled": free.scaled,
        "drawn": one.value,
        "low_text": words(free.low),
        "high_text": words(free.high),
        "drawn_text": words(one.value),
        "tolerance": words(one.tolerance + shown.offset) if one.tolerance else "",
    }


def _pieces(free: Sequence[Free], text: str) -> list[str | int]:
    """The design file cut where values go in: texts, and the numbers of the quantities between."""
    mark = "conegap-explored"
    while mark in text:
        mark += "-"
    marks = [f"{mark}{k}:" for k in range(len(free))]
    written = edited(
        text, [(f.key, m) for f, m in zip(free, marks, strict=True)], name="the explored design"
    )
    pieces: list[str | int] = [written]
    for k, one in enumerate(marks):
        place = next(j for j, p in enumerate(pieces) if isinstance(p, str) and one in p)
        before, after = str(pieces[place]).split(one)
        pieces[place : place + 1] = [before, k, after]
    return pieces


def _view(view: View, bodies: Sequence[Outline]) -> dict[str, Any]:
    """Outlines in the units of a view, y downward."""

    def placed(points: FloatArray) -> FloatArray:
        x = (points[..., 0] - view.window.left) * view.scale
        y = (view.window.high - points[..., 1]) * view.scale
        return np.stack([x, y], axis=-1)

    return {
        "name": view.name,
        "width": WIDTH,
        "height": round(view.height, 1),
        "bar": view.bar * view.scale,
        "bar_words": view.bar_words,
        "bodies": [
            {
                "label": one.label,
                "material": one.material,
                "points": [each.ravel().round(1).tolist() for each in placed(one.points)],
                "drawn": placed(one.drawn).ravel().round(1).tolist(),
            }
            for one in bodies
        ],
    }


def _rounded(values: FloatArray) -> list[float]:
    return [float(f"{value:.{_DIGITS}g}") for value in values.tolist()]


def _script_safe(text: str) -> str:
    """JSON that may stand inside a script element: nothing in it can end that element."""
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
