"""Onsets of changed designs beside that of the design as drawn: the one way they are solved.

Shifts compare like with like.  A changed design is solved on two meshes (three where asked for):
those of the drawn design, moved to it.  The drawn design's own value on as many meshes stands under
the ratio.  Where the turning point of a free surface is the onset, that is solved; in three
dimensions, and where it is lost, the shift is that of the rigid surface.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import MeshError
from conegap.solver.common.progress import Progress
from conegap.solver.field.solution import FieldSolution
from conegap.solver.field3d.sector_factor import SectorOnset
from conegap.solver.liquid.continuation import ContinuationError
from conegap.solver.liquid.free_surface import RIGID, TURNING_POINT
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.onset.rigid import RigidOnset, rigid_onset_of_solution
from conegap.solver.studies.misalignment import Misalignment
from conegap.solver.studies.pinned_turning import drawn_liquid_mesh, settled_start
from conegap.solver.studies.solve_cache import SolveCache, key_of
from conegap.solver.studies.turning_start import TurningStart
from conegap.solver.studies.turning_variants import (
    TENSION,
    turning_voltages,
)
from conegap.solver.studies.variants import Changes, onset_of_variants

__all__ = ["Shift", "VariantSolver"]


@dataclass(frozen=True)
class Shift:
    """Where the onset of a changed design lies.

    Parameters
    ----------
    ratio : float
        Onset over that of the drawn design, [-].
    lost : str
        Why the turning point was not found, so that the ratio is the rigid surface's; "" where
        nothing was lost.
    """

    ratio: float
    lost: str = ""


@dataclass(frozen=True)
class VariantSolver:
    """Solves variants of a design in one way, so that their ratios are like with like.

    Parameters
    ----------
    solution : FieldSolution
        Of the plane section as drawn.
    sector : SectorOnset or None
        Of the design as drawn, on three meshes, where it has a third dimension.
    meniscus : MeniscusOnset or None
        Turning point of the drawn design where that is the onset.
    accuracy : float
        With which the drawn design was solved, [-].
    kept : SolveCache
        Where finished solves are looked up and kept.
    progress : callable or None
    skewed : bool
        Whether the turning point is that of the aligned slit.
    misalignment : Misalignment or None
        Offset and tilt of the accelerator before a round emitter, which no section shows.
    """

    design: Design
    solution: FieldSolution
    sector: SectorOnset | None = None
    meniscus: MeniscusOnset | None = None
    accuracy: float = 1e-3
    kept: SolveCache = field(default_factory=SolveCache)
    progress: Progress | None = None
    skewed: bool = False
    misalignment: Misalignment | None = None

    @property
    def solved(self) -> str:
        """What is solved for a variant: "rigid surface" or "meniscus turning point"."""
        if self.meniscus is None or self.sector is not None or self.skewed:
            return RIGID
        return TURNING_POINT

    @property
    def remark(self) -> str:
        """What a reader of the shifts must know, "" where they are those of the criterion."""
        if self.meniscus is None or self.solved == TURNING_POINT:
            return ""
        where = "of a slit out of line" if self.skewed else "in three dimensions"
        return f"{where} the shifts are those of the rigid surface, not of the turning point"

    def rigid(
        self, variants: Sequence[Changes], what: str, *, meshes: int = 2
    ) -> list[RigidOnset | str]:
        """Rigid onset of every variant, on the scale of the drawn design's best value.

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)
        what : str
            What the progress is called.
        meshes : int
            Of the plane section; a sector is solved on two, [-].

        Returns
        -------
        list of RigidOnset or str
            A text says why a variant has none.

        Raises
        ------
        ComputationError
            A process that was solving ended early.
        """
        scale = self._drawn(0).voltage / self._drawn(meshes).voltage
        return [
            found
            if isinstance(found, str)
            else replace(
                found, voltage=scale * found.voltage, edge_per_volt=found.edge_per_volt / scale
            )
            for found in self._solve_rigid(variants, what, meshes)
        ]

    def turning(
        self,
        variants: Sequence[Changes],
        what: str,
        *,
        guesses: Mapping[Changes, float] = MappingProxyType({}),
    ) -> list[float | str]:
        """Turning point of every variant over that of the drawn design, each solved once, [-].

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)
        what : str
            What the progress is called.
        guesses : mapping of changes to float
            As for `conegap.solver.studies.turning_variants.turning_voltage`.

        Returns
        -------
        list
            A text says why a variant has none.

        Raises
        ------
        ContinuationError
            The drawn design's own turning point is not found again on two meshes.
        ComputationError
            A process that was solving ended early.
        """

        def solve(missing: list[Changes], finished: Callable[[int, Any], None]) -> list[Any]:
            return turning_voltages(
                self.design,
                missing,
                self._start,
                near=self._liquid_mesh,
                guesses=guesses,
                progress=self.progress,
                what=what,
                finished=finished,
            )

        try:
            drawn, *found = self._once(
                [(), *variants], "turning point, 2 meshes, moved", solve, lambda voltage: voltage
            )
        except MeshError as error:
            drawn = str(error)
        if isinstance(drawn, str):
            raise ContinuationError(
                f"the turning point was not found again on two meshes ({drawn})"
            )
        still = 1.0 if self.misalignment is None else self.misalignment.factor
        return [
            v if isinstance(v, str) else v / drawn * still / factor
            for v, factor in zip(found, self._factors(variants), strict=True)
        ]

    def shifts(
        self, variants: Sequence[Changes], what: str, *, meshes: int = 2
    ) -> list[Shift | str]:
        """How every variant's onset lies beside the drawn one, each solved once.

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)
        what : str
            What the progress is called.
        meshes : int
            Of a rigid solve, [-].

        Returns
        -------
        list of Shift or str
            A text says why a variant has no onset.

        Raises
        ------
        ComputationError
            A process that was solving ended early.
        """
        if self.solved == RIGID:
            ratios = self._rigid_ratios(variants, what, meshes)
            return [r if isinstance(r, str) else Shift(r) for r in ratios]
        try:
            turning = self.turning(variants, what)
        except ContinuationError as error:
            turning, lost = [], dict.fromkeys(variants, str(error))
        else:
            lost = {
                changes: f"with {_words(changes)} the turning point was not found ({found})"
                for changes, found in zip(variants, turning, strict=True)
                if isinstance(found, str)
            }
        by_variant: dict[Changes, float | str] = dict(zip(variants, turning, strict=False))
        by_variant.update(zip(lost, self._rigid_ratios(list(lost), what, meshes), strict=True))
        return [
            found if isinstance(found := by_variant[v], str) else Shift(found, lost.get(v, ""))
            for v in variants
        ]

    def _rigid_ratios(
        self, variants: Sequence[Changes], what: str, meshes: int
    ) -> list[float | str]:
        """Rigid onset of every variant over that of the drawn design on as many meshes, [-]."""

        def solve(missing: list[Changes], finished: Callable[[int, Any], None]) -> list[Any]:
            return self._solve_rigid(missing, what, meshes, finished)

        found = self._once(
            variants, f"{meshes} meshes, moved", solve, lambda result: result.voltage
        )
        drawn = self._drawn(meshes).voltage
        return [v if isinstance(v, str) else v / drawn for v in found]

    def _once(
        self,
        variants: Sequence[Changes],
        how: str,
        solve: Callable[[list[Changes], Callable[[int, Any], None]], list[Any]],
        voltage_of: Callable[[Any], float],
    ) -> list[float | str]:
        """Voltage of every variant, from the kept ones or solved and kept, [V]."""
        variants = [self._changing(variant) for variant in variants]
        keys = [key_of(self.design, variant, how) for variant in variants]
        missing = {
            key: variant
            for key, variant in zip(keys, variants, strict=True)
            if key not in self.kept.rows and key not in self._refused
        }
        names = list(missing)

        def finished(number: int, result: Any) -> None:
            if isinstance(result, str):
                self._refused[names[number]] = result
            else:
                self.kept.keep(names[number], voltage_V=voltage_of(result))

        if missing:
            solve(list(missing.values()), finished)
        return [
            self._refused[key] if key in self._refused else float(self.kept.rows[key]["voltage_V"])
            for key in keys
        ]

    def _changing(self, variant: Changes) -> Changes:
        """What a variant truly changes: the middle of a scan is the design as drawn."""
        return tuple(
            (key, value)
            for key, value in variant
            if key == TENSION or value != self.design.dimension(key).value
        )

    def _solve_rigid(
        self,
        variants: Sequence[Changes],
        what: str,
        meshes: int,
        finished: Callable[[int, Any], None] | None = None,
    ) -> list[RigidOnset | str]:
        factors = self._factors(variants)

        def with_factor(number: int, result: RigidOnset | str) -> RigidOnset | str:
            return result if isinstance(result, str) else result.times(factors[number])

        def keep(number: int, result: RigidOnset | str) -> None:
            if finished is not None:
                finished(number, with_factor(number, result))

        found = onset_of_variants(
            self.design,
            variants,
            meshes=meshes,
            accuracy=self.accuracy,
            factor=None if self.sector is None else self._drawn(meshes).factor,
            near=self.solution.coarse,
            near_sector=None if self.sector is None else self.sector.meshes,
            progress=self.progress,
            what=what,
            finished=keep,
        )
        return [with_factor(number, result) for number, result in enumerate(found)]

    def _factors(self, variants: Sequence[Changes]) -> list[float]:
        """Field of every variant over that of its section where the accelerator is out of line."""
        if self.misalignment is None:
            return [1.0] * len(variants)
        return self.misalignment.factors(variants)

    def _drawn(self, meshes: int) -> RigidOnset:
        """The drawn design's rigid onset as its variants are solved; 0: its best value."""
        few = meshes == 2
        section = rigid_onset_of_solution(
            self.design, self.solution.first_meshes(2) if few else self.solution
        )
        if self.misalignment is not None:
            section = section.times(self.misalignment.factor)
        if self.sector is None or not meshes:
            return section.in_sector(self.sector)
        # A variant's factor is that of its own section on as many meshes.
        sector = self.sector.first_meshes(2)
        return section.in_sector(replace(sector, section_per_volt=section.edge_per_volt))

    @cached_property
    def _refused(self) -> dict[str, str]:
        """Why a variant has no onset, by its key: for this run only."""
        return {}

    @cached_property
    def _start(self) -> TurningStart:
        return settled_start(self.design, self._drawn_start, self._liquid_mesh)

    @cached_property
    def _liquid_mesh(self) -> CoarseMesh:
        """Of the drawn design's turning point, to be moved to the variants'."""
        return drawn_liquid_mesh(self.design, self._drawn_start)

    @property
    def _drawn_start(self) -> TurningStart:
        assert self.meniscus is not None
        return TurningStart.of(self.meniscus)


def _words(changes: Changes) -> str:
    return ", ".join(f"{key} = {value:.6g} (SI)" for key, value in changes)
