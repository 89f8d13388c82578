"""Onset over one or two quantities: the range a person asks for, and its results.

Every point is solved for the rigid surface; where the design's onset is the turning point of a free
surface, that is followed to every point as well and is the onset there.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.geometries.quantities.notebook import data_frame, html_table, optional_library
from conegap.solver.common.progress import Progress
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.free_surface import RIGID, TURNING_POINT, OnsetCriterion
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.studies.earliest import beside_sections, earliest
from conegap.solver.studies.given_range import range_ends
from conegap.solver.studies.onset import Onset, solve_onset
from conegap.solver.studies.variants import Changes

__all__ = ["Range", "Variation", "csv_text", "range_of", "turning_beside", "vary"]

# Four times as many as a fine chart needs; 100 turning points of the needle take 39 s.
_MOST_POINTS = 400
_RANGE = re.compile(r"(?P<key>[^=]+)=(?P<low>.+?)\.\.(?P<high>.+):(?P<count>[^:]*)\Z", re.DOTALL)


@dataclass(frozen=True)
class Range:
    """Values of one quantity.

    Parameters
    ----------
    dimension : Dimension
        The quantity as drawn.
    values : (n,) array
        Rising, SI.
    """

    dimension: Dimension
    values: FloatArray

    @property
    def key(self) -> str:
        """Design file key."""
        return self.dimension.key


@dataclass(frozen=True)
class Variation:
    """Onset at every point of one or two ranges.

    Parameters
    ----------
    ranges : tuple of Range
        One or two.
    results : tuple of RigidOnset or str
        Of the rigid surface, in the order of the points, the last range running fastest; a text
        says why a point has no onset.
    turning : tuple of float or str, or None
        Turning points in the same order, [V]; None where the rigid surface is the criterion.
    remarks : tuple of str
        Why the free surface was not followed.
    error : float
        Relative numerical error of the drawn design's onset, of which every other is a multiple
        found like for like, [-].
    mode : str
        How the drawn surface gives way.
    ends : tuple of float or str, or None
        Onset of a slit's ends, or of the first of a crown's tips, at every point, [V]; None where
        none comes before the section itself.
    """

    design: Design
    ranges: tuple[Range, ...]
    results: tuple[RigidOnset | str, ...]
    turning: tuple[float | str, ...] | None = None
    remarks: tuple[str, ...] = ()
    error: float = 0.0
    mode: str = RIGID
    ends: tuple[float | str, ...] | None = None

    def __repr__(self) -> str:
        over = " and ".join(f"{len(r.values)} of {r.key}" for r in self.ranges)
        low, high = np.nanmin(self.voltages), np.nanmax(self.voltages)
        return f"Variation({over}; onset {low:.6g} V to {high:.6g} V, {self.mode})"

    def _repr_html_(self) -> str:
        rows = [
            [f"{value:.6g}" for value in values]
            + [onset if isinstance(onset, str) else f"{onset:.6g}"]
            for values, onset in zip(self.points, self.onsets, strict=True)
        ]
        heads = [f"{r.key} [{r.dimension.kind.si}]" for r in self.ranges]
        return html_table(f"Onset, {self.mode}", rows, [*heads, "onset [V]"])

    def to_dataframe(self) -> Any:
        """The points as a pandas data frame in SI, one row a point.

        Columns as ``points`` of `as_dict`: the quantities by their keys, ``onset_voltage_V`` (nan
        where there is none), ``rigid_voltage_V``, ``edge_field_V_per_m``,
        ``edge_numerical_error`` and ``refusal``.

        Raises
        ------
        ImportError
            pandas is not installed.
        """
        found = self.as_dict()
        names = [r.key for r in self.ranges]
        numbers = ("onset_voltage_V", "rigid_voltage_V", "edge_field_V_per_m")
        columns: dict[str, list[Any]] = {
            name: [_number(point.get(name)) for point in found["points"]]
            for name in (*names, *numbers, "edge_numerical_error")
        }
        columns["refusal"] = [point.get("refusal", "") for point in found["points"]]
        units = {one["key"]: one["si_unit"] for one in found["varied"]}
        return data_frame(columns, mode=self.mode, si_units=units)

    def to_xarray(self) -> Any:
        """The onset over one or two quantities as an xarray data array in SI, [V].

        Its coordinates are the quantities by their keys, with ``units`` in their attributes.

        Raises
        ------
        ImportError
            xarray is not installed.
        """
        xarray = optional_library("xarray", "to_xarray()")
        coordinates = {
            r.key: (r.key, r.values, {"units": r.dimension.kind.si, "long_name": r.dimension.label})
            for r in self.ranges
        }
        about = {"units": "V", "long_name": "onset", "mode": self.mode}
        names = [r.key for r in self.ranges]
        return xarray.DataArray(self.voltages, coordinates, names, name="onset", attrs=about)

    @property
    def criterion(self) -> str:
        """ "rigid surface" or "meniscus turning point"."""
        return RIGID if self.turning is None else TURNING_POINT

    @property
    def onsets(self) -> tuple[float | str, ...]:
        """First emission at every point, or why there is none, [V]."""
        return earliest(self.middles, self.ends)

    @property
    def middles(self) -> tuple[float | str, ...]:
        """Onset of the section by the criterion at every point, or why there is none, [V]."""
        if self.turning is not None:
            return self.turning
        return tuple(r if isinstance(r, str) else r.voltage for r in self.results)

    @property
    def points(self) -> list[tuple[float, ...]]:
        """Values of each point, SI."""
        return list(itertools.product(*(r.values.tolist() for r in self.ranges)))

    @property
    def voltages(self) -> FloatArray:
        """Onset voltages in the shape of the ranges, nan where there is none, [V]."""
        flat = [np.nan if isinstance(v, str) else v for v in self.onsets]
        return np.array(flat).reshape([len(r.values) for r in self.ranges])

    def as_dict(self) -> dict[str, Any]:
        """The results, SI, ready for JSON."""
        from importlib.metadata import version

        points = []
        for values, result, middle, onset in zip(
            self.points, self.results, self.middles, self.onsets, strict=True
        ):
            point: dict[str, Any] = {
                r.key: value for r, value in zip(self.ranges, values, strict=True)
            }
            point["onset_voltage_V"] = None if isinstance(onset, str) else onset
            if self.ends is not None:
                point["middle_voltage_V"] = None if isinstance(middle, str) else middle
            if isinstance(result, RigidOnset):
                point["rigid_voltage_V"] = result.voltage
                point["edge_field_V_per_m"] = result.balance_field
                point["edge_numerical_error"] = result.error
            else:
                point["rigid_voltage_V"] = None
            if isinstance(onset, str):
                point["refusal"] = onset
            points.append(point)
        return {
            "conegap_version": version("conegap"),
            "design_sha256": self.design.sha256,
            "title": self.design.title,
            "criterion": self.criterion,
            "mode": self.mode,
            "numerical_error": self.error,
            "varied": [{"key": r.key, "si_unit": r.dimension.kind.si} for r in self.ranges],
            "points": points,
        }


def _number(value: float | None) -> float:
    return np.nan if value is None else value


def range_of(design: Design, text: str) -> Range:
    """Read a range such as ``accelerator.gap=0.5 mm..2 mm:7``.

    Parameters
    ----------
    text : str
        KEY=FROM..TO:N; quotation marks around the values are allowed.

    Raises
    ------
    DesignError
        The text is no range, the key is unknown in this design, or the values are wrong.
    """
    match = _RANGE.match(text.strip())
    if match is None:
        raise DesignError(
            f"--over {text}: a range is written as KEY=FROM..TO:N, such as "
            'accelerator.gap="0.5 mm".."2 mm":7'
        )
    dimension, low, high = range_ends(design, f"--over {text}", match)
    count = match["count"].strip()
    if not count.isdigit() or not 2 <= int(count) <= _MOST_POINTS:
        raise DesignError(
            f"--over {text}: the number of points after the colon is '{count}'; it must be a whole "
            f"number from 2 to {_MOST_POINTS}"
        )
    return Range(dimension, np.linspace(low, high, int(count)))


def vary(
    design: Design,
    ranges: tuple[Range, ...],
    *,
    criterion: OnsetCriterion = "automatic",
    progress: Progress | None = None,
) -> Variation:
    """Onset at every point of one or two ranges, each by its own solves, two at a time.

    Parameters
    ----------
    ranges : tuple of Range
        One or two different quantities.
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`; in three dimensions the turning point shifts as the rigid surface does.
    progress : callable or None

    Raises
    ------
    DesignError
        Too many quantities or points.
    ComputationError
        No point has an onset, or the drawn design's turning point was asked for and not found.

    Examples
    --------
    ``python -m conegap.validation.gallery.onset_over_gap`` varies a gap and charts it.
    """
    check_ranges(ranges)
    points = itertools.product(*(r.values.tolist() for r in ranges))
    variants = [
        tuple((r.key, float(value)) for r, value in zip(ranges, values, strict=True))
        for values in points
    ]
    onset = solve_onset(design, criterion=criterion, progress=progress)
    # Where the turning point is the onset, the rigid one only stands beside it.
    meshes = 3 if onset.meniscus is None else 2
    results = onset.variants.rigid(variants, "points", meshes=meshes)
    turning, remarks = None, onset.remarks
    if onset.meniscus is not None:
        turning, remark = turning_beside(onset, variants, results, "turning points")
        remarks = (*remarks, *remark)
    variation = Variation(
        design,
        ranges,
        tuple(results),
        turning,
        (*remarks, *onset.earliest_notes),
        onset.earliest.error,
        onset.earliest.mode,
    )
    ends = beside_sections(onset, variants, variation.middles)
    variation = replace(variation, ends=ends)
    if np.isnan(variation.voltages).all():
        raise ComputationError(
            f"no point of the range has an onset; the first one: {variation.onsets[0]}"
        )
    return variation


def turning_beside(
    onset: Onset, variants: Sequence[Changes], rigid: Sequence[RigidOnset | str], what: str
) -> tuple[tuple[float | str, ...], tuple[str, ...]]:
    """Turning points of variants whose rigid onsets are known, [V], and remarks.

    Parameters
    ----------
    onset : Onset
        Of the design as drawn, with a free surface.
    variants : sequence of ((key, SI value), ...)
    rigid : sequence of RigidOnset or str
        From ``onset.variants.rigid``.
    what : str
        What the progress is called.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    ratios = [r if isinstance(r, str) else r.voltage / onset.rigid.voltage for r in rigid]
    remark = onset.remark
    if onset.variants.solved == TURNING_POINT:
        guesses = {v: r for v, r in zip(variants, ratios, strict=True) if not isinstance(r, str)}
        try:
            ratios = onset.variants.turning(variants, what, guesses=guesses)
        except ContinuationError as error:
            remark = f"{error}; the shifts are those of the rigid surface"
    found = tuple(r if isinstance(r, str) else onset.voltage * r for r in ratios)
    return found, (remark,) if remark else ()


def check_ranges(ranges: tuple[Range, ...]) -> None:
    """Refuse what cannot be varied together.

    Parameters
    ----------
    ranges : tuple of Range

    Raises
    ------
    DesignError
        None or more than two quantities, the same one twice, or too many points.
    """
    keys = [r.key for r in ranges]
    if not 1 <= len(keys) <= 2:
        raise DesignError(f"--over is given {len(keys)} times; vary one or two quantities")
    if len(set(keys)) < len(keys):
        raise DesignError(f"--over: {keys[0]} is given twice; vary two different quantities")
    count = int(np.prod([len(r.values) for r in ranges]))
    if count > _MOST_POINTS:
        raise DesignError(
            f"--over: {count} points are too many, at most {_MOST_POINTS} are computed; give fewer"
        )


def csv_text(variation: Variation) -> str:
    """The points as CSV with a row of units, in the units of the design file."""
    from conegap.solver.common.display_units import axis_unit

    units = [axis_unit(r.dimension.kind, 0.0, r.dimension.unit) for r in variation.ranges]
    head = [r.key for r in variation.ranges]
    names = ("onset_voltage", "rigid_onset_voltage", "edge_field", "numerical_error", "refusal")
    lines = [
        ",".join([*head, *names]),
        ",".join([*(r.dimension.unit for r in variation.ranges), "V", "V", "V/m", "1", ""]),
    ]
    for values, result, onset in zip(
        variation.points, variation.results, variation.onsets, strict=True
    ):
        cells = [
            f"{(value - unit.offset) / unit.size:.9g}"
            for value, unit in zip(values, units, strict=True)
        ]
        cells.append("" if isinstance(onset, str) else f"{onset:.7g}")
        if isinstance(result, RigidOnset):
            cells += [
                f"{result.voltage:.7g}",
                f"{result.balance_field:.7g}",
                f"{result.error:.2g}",
            ]
        else:
            cells += ["", "", ""]
        words = onset.replace('"', "'").replace("\n", " ") if isinstance(onset, str) else ""
        cells.append(f'"{words}"' if words else "")
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"
