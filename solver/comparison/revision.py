"""One side of a comparison: a design solved now, or a report folder read."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.design.record import design_of_record
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.assessment import assess
from conegap.solver.common.progress import Progress
from conegap.solver.common.writing import MARKER
from conegap.solver.liquid.free_surface import RIGID, OnsetCriterion
from conegap.solver.studies.onset import Onset, solve_onset

__all__ = ["Revision", "read_revision", "solved_revision"]

# Numbers without which a folder's results are no report of an onset.
_NEEDED = (
    "onset.voltage_V",
    "onset.numerical_error",
    "onset.first_emission.voltage_V",
    "onset.first_emission.voltage_low_V",
    "onset.first_emission.voltage_high_V",
)
_WORDS = ("onset.first_emission.place", "onset.first_emission.mode", "onset.criterion")


@dataclass(frozen=True)
class Revision:
    """One side of a comparison.

    Parameters
    ----------
    name : str
        What it is called in tables.
    results : mapping
        As in results.json, SI.
    design : Design or None
        None where the report folder cannot give it back.
    without : str
        Why there is no design, "" where there is one.
    solved : Onset or None
        Where it was solved now.
    """

    name: str
    results: Mapping[str, Any]
    design: Design | None
    without: str = ""
    solved: Onset | None = field(default=None, repr=False, compare=False)

    @property
    def first_emission(self) -> Mapping[str, Any]:
        """voltage_V, voltage_low_V, voltage_high_V, place, mode."""
        found: Mapping[str, Any] = self.results["onset"]["first_emission"]
        return found

    @property
    def voltage(self) -> float:
        """First emission, emitter minus accelerator, [V]."""
        return float(self.first_emission["voltage_V"])

    @property
    def onset_voltage(self) -> float:
        """Onset of the section, which the shares are shifts of, [V]."""
        return float(self.results["onset"]["voltage_V"])

    @property
    def numerical_error(self) -> float:
        """Relative numerical error of the onset, [-]."""
        return float(self.results["onset"]["numerical_error"])

    @property
    def criterion(self) -> str:
        """ "rigid surface" or "meniscus turning point"."""
        return str(self.results["onset"]["criterion"])

    @property
    def record(self) -> Mapping[str, Any]:
        """The design's record, see `conegap.geometries.design.record`."""
        found: Mapping[str, Any] = self.results["inputs"]
        return found

    def onset(self, progress: Progress | None = None) -> Onset:
        """Its onset, solved again where it was read from a folder, by the folder's criterion.

        Parameters
        ----------
        progress : callable or None

        Raises
        ------
        DesignError
            The folder does not hold the design.
        ComputationError
            The onset could not be computed.
        """
        if self.solved is not None:
            return self.solved
        if self.design is None:
            raise DesignError(self.without)
        criterion: OnsetCriterion = "rigid" if self.criterion == RIGID else "meniscus"
        return solve_onset(self.design, criterion=criterion, progress=progress)


def read_revision(folder: Path, name: str) -> Revision:
    """A report folder.

    Parameters
    ----------
    folder : Path
        With the results.json of `conegap onset`.
    name : str

    Raises
    ------
    DesignError
        There is no such file, or it is damaged, or of another command.
    """
    place = folder / MARKER
    if not place.is_file():
        raise DesignError(
            f"{folder}: this folder has no {MARKER}, so it is no report of conegap; name a design "
            "file or a report folder"
        )
    try:
        results = json.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise DesignError(
            f"{place} cannot be read ({problem}); compute the report again"
        ) from problem
    _check(results, place)
    record = results.get("inputs")
    if not isinstance(record, Mapping) or not isinstance(record.get("document"), Mapping):
        raise DesignError(
            f"{place} does not hold the design it was computed from; compute the report again, or "
            "name the design file"
        )
    try:
        return Revision(name, results, design_of_record(record, str(place)))
    except DesignError as problem:
        return Revision(name, results, None, str(problem))


def solved_revision(
    design: Design,
    name: str,
    *,
    criterion: OnsetCriterion = "automatic",
    accuracy: float = 1e-3,
    progress: Progress | None = None,
) -> Revision:
    """A design, assessed now without scans.

    Parameters
    ----------
    name : str
    criterion : "automatic", "rigid" or "meniscus"
        As for `assess`.
    accuracy : float
        As for `assess`, [-].
    progress : callable or None

    Raises
    ------
    DesignError, ComputationError
        As for `assess`.
    """
    assessment = assess(
        design, accuracy=accuracy, scans=False, criterion=criterion, progress=progress
    )
    return Revision(name, assessment.as_dict(), design, solved=assessment.onset)


def _check(results: object, place: Path) -> None:
    """Refuse results that are not those of an onset."""
    if not isinstance(results, Mapping) or "onset" not in results or "review" not in results:
        raise DesignError(
            f"{place} holds no onset with a review; compare wants the folders that `conegap onset` "
            "writes"
        )
    for path in (*_NEEDED, *_WORDS):
        value: Any = results
        for step in path.split("."):
            value = value.get(step) if isinstance(value, Mapping) else None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        good = isinstance(value, str) if path in _WORDS else number and math.isfinite(value)
        if not good:
            raise DesignError(
                f"{place}: {path} = {value!r} is no result of conegap; compute the report again"
            )
    rows = results["review"]
    if not isinstance(rows, list) or not all(
        isinstance(row, Mapping) and {"name", "value", "limit", "unit", "state"} <= set(row)
        for row in rows
    ):
        raise DesignError(f"{place}: the review is damaged; compute the report again")
