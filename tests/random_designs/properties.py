"""What must hold for every design, whatever its numbers: laws of scaling, symmetry, reciprocity.

All onsets are those of the rigid surface.  eps0 E^2 / 2 + p = gamma (1/R1 + 1/R2) with a field that
is linear in the voltages gives the scaling laws (textbook); the charges of unit solutions form a
symmetric matrix (Green's reciprocity, textbook).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, ConegapError, DesignError
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.level import solve_level
from conegap.solver.field.solution import FieldSolution, solve_field
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from random_designs.designs import RandomDesign

__all__ = ["Findings", "Property", "check_design"]

# What the linear algebra leaves where a law is exact on every mesh.
_ROUNDING = 1e-9
# Of a mesh that is solved within a second or so.
_MOST_POINTS = 200_000
# Doubling every length repeats the same mesh but for the last digits of the drawing.
_SAME_MESH = 1e-6


@dataclass(frozen=True)
class Property:
    """One thing that must hold for a design.

    Parameters
    ----------
    name : str
    deviation : float
        Relative deviation from the law, [-].
    allowed : float
        Largest deviation, [-].
    """

    name: str
    deviation: float
    allowed: float

    @property
    def holds(self) -> bool:
        """Whether the law holds; nan never does."""
        return self.deviation <= self.allowed


@dataclass(frozen=True)
class Findings:
    """What was found for a design.

    Parameters
    ----------
    outcome : str
        "solved", "refused" (as drawn) or "not computed" (mesh, convergence).
    reason : str
        Of a refusal.
    properties : tuple of Property
        Laws that must hold.
    bounds : tuple of Property
        Change of the onset to the next finer mesh against the error stated on the coarser ones,
        which must hold for most designs.
    """

    outcome: str
    reason: str = ""
    properties: tuple[Property, ...] = ()
    bounds: tuple[Property, ...] = ()


def check_design(random: RandomDesign, folder: Path, *, meshes: int = 2) -> Findings:
    """Solve a design on few meshes and check every law.

    Laws are checked on two meshes.

    Parameters
    ----------
    random : RandomDesign
    folder : Path
        For the table of a profile.
    meshes : int
        Meshes of the nominal solve: 3 and more add error bounds where they stay small, [-].
    """
    try:
        design = random.design(folder)
        few = solve_field(design.section(), meshes=2)
        solution = _refined(few, meshes)
        onset = rigid_onset_of_solution(design, few)
    except ComputationError as error:
        return Findings("not computed", str(error))
    except DesignError as error:
        return Findings("refused", str(error))
    laws = [
        _finite(onset),
        _units(random, folder, design),
        *_voltages(random, folder, few, onset),
        *_tension(random, folder, few, onset),
        *_charges(few),
        *_enlarged(random, folder, onset),
        *_mirrored(random, folder, onset),
    ]
    return Findings("solved", "", tuple(laws), tuple(_bounds(design, solution)))


def _refined(solution: FieldSolution, meshes: int) -> FieldSolution:
    """The solution with further meshes, as far as they stay small enough to be solved quickly."""
    levels = solution.levels
    while len(levels) < meshes and 4 * len(levels[-1].mesh.points) <= _MOST_POINTS:
        parts = 2 * levels[-1].mesh.subdivisions
        levels = (*levels, solve_level(solution.coarse, parts, solution.electrodes, {}))
    return replace(solution, levels=levels)


def _finite(onset: RigidOnset) -> Property:
    good = all(math.isfinite(v) and v > 0.0 for v in (onset.voltage, onset.balance_field))
    return Property("onset is a positive number", 0.0 if good else math.inf, 0.0)


def _units(random: RandomDesign, folder: Path, design: Design) -> Property:
    """The same section whether written in micrometres, millimetres or metres."""
    here = design.section().outline()
    size = float(np.ptp(here, axis=0).max())
    worst = 0.0
    for unit in ("mm", "m"):
        there = random.design(folder, unit).section().outline()
        same = here.shape == there.shape
        worst = max(worst, float(np.abs(here - there).max()) / size if same else math.inf)
    return Property("same section in um, mm and m", worst, _ROUNDING)


def _ratio(name: str, value: float, expected: float, allowed: float) -> Property:
    return Property(name, abs(value / expected - 1.0), allowed)


def _voltages(
    random: RandomDesign, folder: Path, solution: FieldSolution, onset: RigidOnset
) -> list[Property]:
    other = replace(random, voltage=3.0 * random.voltage).design(folder)
    found = rigid_onset_of_solution(other, solution)
    voltages = electrode_voltages(other, solution.electrodes)
    field = solution.edge(onset.edge_name, voltages).value
    return [
        _ratio("same onset at three times the voltages", found.voltage, onset.voltage, _ROUNDING),
        _ratio("three times the field", field, 3.0 * onset.edge_at_design.value, _ROUNDING),
    ]


def _tension(
    random: RandomDesign, folder: Path, solution: FieldSolution, onset: RigidOnset
) -> list[Property]:
    """Four times the surface tension, and the pressure with it, doubles the onset."""
    other = replace(random, tension=4.0 * random.tension, pressure=4.0 * random.pressure)
    found = rigid_onset_of_solution(other.design(folder), solution)
    name = "twice the onset at four times the surface tension"
    return [_ratio(name, found.voltage, 2.0 * onset.voltage, _ROUNDING)]


def _charges(solution: FieldSolution) -> list[Property]:
    level = solution.levels[-1]
    matrix = np.asarray(level.potentials @ level.charges.T)
    dirichlet = np.abs(level.charges) > 0.0
    own = np.array([[float(level.charges[j][level.potentials[i] == 1.0].sum())
                     for j in range(len(matrix))] for i in range(len(matrix))])  # fmt: skip
    size = float(np.abs(own).max())
    lopsided = float(np.abs(own - own.T).max()) / size
    total = float(np.abs(own.sum(axis=0)).max()) / size
    energy = float(np.abs(matrix - own).max()) / size if dirichlet.any() else math.inf
    return [
        Property("charge matrix is symmetric", lopsided, _ROUNDING),
        Property("charges of a unit solution add up to nothing", total, _ROUNDING),
        Property("charges agree with the energy", energy, _ROUNDING),
    ]


def _solved_again(random: RandomDesign, folder: Path) -> RigidOnset | None:
    """Onset of a changed design, None where a rule of the drawing refuses the change."""
    try:
        design = random.design(folder)
    except DesignError:
        return None
    solution = solve_field(design.section(), meshes=2)
    return rigid_onset_of_solution(design, solution)


def _enlarged(random: RandomDesign, folder: Path, onset: RigidOnset) -> list[Property]:
    name = "onset times the square root of two at twice the lengths"
    larger = replace(random.enlarged(2.0), pressure=random.pressure / 2.0)
    return _compared(name, larger, folder, math.sqrt(2.0) * onset.voltage, _SAME_MESH)


def _mirrored(random: RandomDesign, folder: Path, onset: RigidOnset) -> list[Property]:
    if not random.one_sided:
        return []
    allowed = 2.0 * onset.error + _SAME_MESH
    return _compared("same onset in the mirror", random.mirrored(), folder, onset.voltage, allowed)


def _compared(
    name: str, random: RandomDesign, folder: Path, expected: float, allowed: float
) -> list[Property]:
    try:
        found = _solved_again(random, folder)
    except ConegapError as error:
        return [Property(f"{name} ({error})", math.inf, allowed)]
    return [] if found is None else [_ratio(name, found.voltage, expected, allowed)]


def _bounds(design: Design, solution: FieldSolution) -> list[Property]:
    found = []
    for count in range(2, len(solution.levels)):
        coarse = rigid_onset_of_solution(design, solution.first_meshes(count))
        fine = rigid_onset_of_solution(design, solution.first_meshes(count + 1))
        change = abs(coarse.voltage / fine.voltage - 1.0)
        name = f"error on {count} meshes bounds the change to {count + 1}"
        found.append(Property(name, change, coarse.error))
    return found
