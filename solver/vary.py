"""Rigid onset over one or two quantities: the range a person asks for, and its results."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from conegap.geometries.curves import FloatArray
from conegap.geometries.design import Design, Dimension, quantity_for
from conegap.geometries.errors import ComputationError, DesignError
from conegap.solver.onset import RigidOnset
from conegap.solver.scan import Progress, onset_of_variants

__all__ = ["Range", "Variation", "csv_text", "range_of", "vary"]

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
    design : Design
    ranges : tuple of Range
        One or two.
    results : tuple of RigidOnset or str
        In the order of the points, the last range running fastest; a text says why a point has no
        onset.
    """

    design: Design
    ranges: tuple[Range, ...]
    results: tuple[RigidOnset | str, ...]

    @property
    def points(self) -> list[tuple[float, ...]]:
        """Values of each point, SI."""
        return list(itertools.product(*(r.values.tolist() for r in self.ranges)))

    @property
    def voltages(self) -> FloatArray:
        """Onset voltages in the shape of the ranges, nan where there is none, [V]."""
        flat = [r.voltage if isinstance(r, RigidOnset) else np.nan for r in self.results]
        return np.array(flat).reshape([len(r.values) for r in self.ranges])

    def as_dict(self) -> dict[str, Any]:
        """The results, SI, ready for JSON."""
        from importlib.metadata import version

        points = []
        for values, result in zip(self.points, self.results, strict=True):
            point: dict[str, Any] = {
                r.key: value for r, value in zip(self.ranges, values, strict=True)
            }
            if isinstance(result, RigidOnset):
                point["rigid_voltage_V"] = result.voltage
                point["edge_field_V_per_m"] = result.edge_field
                point["edge_numerical_error"] = result.numerical.error
            else:
                point["rigid_voltage_V"] = None
                point["refusal"] = result
            points.append(point)
        return {
            "conegap_version": version("conegap"),
            "design_sha256": self.design.sha256,
            "title": self.design.title,
            "criterion": "rigid surface",
            "varied": [{"key": r.key, "si_unit": r.dimension.kind.si} for r in self.ranges],
            "points": points,
        }


def range_of(design: Design, text: str) -> Range:
    """Read a range such as ``accelerator.gap=0.5 mm..2 mm:7``.

    Parameters
    ----------
    design : Design
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
    key = match["key"].strip()
    dimension = design.dimension(key)
    low, high = (
        quantity_for(key, match[name].strip().strip("\"'").strip()) for name in ("low", "high")
    )
    count = match["count"].strip()
    if not count.isdigit() or not 2 <= int(count) <= _MOST_POINTS:
        raise DesignError(
            f"--over {text}: the number of points after the colon is '{count}'; it must be a whole "
            f"number from 2 to {_MOST_POINTS}"
        )
    if low == high:
        raise DesignError(f"--over {text}: both ends are the same; give a range")
    return Range(dimension, np.linspace(min(low, high), max(low, high), int(count)))


def vary(
    design: Design,
    ranges: tuple[Range, ...],
    *,
    progress: Progress | None = None,
) -> Variation:
    """Onset at every point of one or two ranges, each by its own solve, several at a time.

    Parameters
    ----------
    design : Design
    ranges : tuple of Range
        One or two different quantities.
    progress : callable or None

    Raises
    ------
    DesignError
        Too many quantities or points.
    ComputationError
        No point has an onset.

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
    results = onset_of_variants(design, variants, meshes=3, progress=progress, what="points")
    if not any(isinstance(result, RigidOnset) for result in results):
        raise ComputationError(f"no point of the range has an onset; the first one: {results[0]}")
    return Variation(design, ranges, tuple(results))


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
    """The points as CSV with a row of units, in the units of the design file.

    Parameters
    ----------
    variation : Variation
    """
    from conegap.solver.figure_units import axis_unit

    units = [axis_unit(r.dimension.kind, 0.0, r.dimension.unit) for r in variation.ranges]
    head = [r.key for r in variation.ranges]
    lines = [
        ",".join([*head, "rigid_onset_voltage", "edge_field", "numerical_error", "refusal"]),
        ",".join([*(r.dimension.unit for r in variation.ranges), "V", "V/m", "1", ""]),
    ]
    for values, result in zip(variation.points, variation.results, strict=True):
        cells = [
            f"{(value - unit.offset) / unit.size:.9g}"
            for value, unit in zip(values, units, strict=True)
        ]
        if isinstance(result, RigidOnset):
            cells += [
                f"{result.voltage:.7g}",
                f"{result.edge_field:.7g}",
                f"{result.numerical.error:.2g}",
                "",
            ]
        else:
            words = result.replace('"', "'").replace("\n", " ")
            cells += ["", "", "", f'"{words}"']
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"
