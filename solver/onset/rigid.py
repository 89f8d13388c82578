"""Onset voltage of a design on its rigid surface."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import EdgeField, FieldSolution, solve_field
from conegap.solver.field3d.moved_tetrahedra import SectorMeshes
from conegap.solver.field3d.sector_factor import SectorOnset, sector_onset
from conegap.solver.mesh.coarse_mesh import CoarseMesh
from conegap.solver.onset.surface_balance import balance_field

__all__ = ["RigidOnset", "rigid_onset", "rigid_onset_of_solution"]


@dataclass(frozen=True)
class RigidOnset:
    """Where a rigid liquid surface loses its balance.

    Parameters
    ----------
    voltage : float
        Emitter minus accelerator, [V].
    edge_name : str
        The edge that fires first.
    balance_field : float
        Field there at which the balance is lost, at onset, [V/m].
    edge_per_volt : float
        Field there per volt of (emitter - accelerator), the chamber at its own voltage,
        [1/m].
    curvature : float
        Sum of the principal curvatures there, [1/m].
    position : tuple of float
        Place of the greatest field, (x, z), [m].
    surface_tension : float
        [N/m].
    edge_at_design : EdgeField
        Field of the plane section at the design's own voltages, as solved.
    error : float
        Relative numerical error of the voltage, the third dimension included, [-].
    factor : float
        Field in three dimensions over that of the plane section, 1 where there is no third, [-].
    """

    voltage: float
    edge_name: str
    balance_field: float
    edge_per_volt: float
    curvature: float
    position: tuple[float, float]
    surface_tension: float
    edge_at_design: EdgeField
    error: float
    factor: float = 1.0

    def in_sector(self, sector: SectorOnset | None) -> RigidOnset:
        """The onset that the third dimension makes of this one.

        Parameters
        ----------
        sector : SectorOnset or None
            None leaves the onset as it is.
        """
        if sector is None:
            return self
        error = math.hypot(self.error, sector.error)
        return replace(self.times(sector.factor), error=error)

    def times(self, factor: float) -> RigidOnset:
        """The onset where the true surroundings change the field by a factor.

        Parameters
        ----------
        factor : float
            [-].
        """
        return replace(
            self,
            voltage=self.voltage / factor,
            edge_per_volt=self.edge_per_volt * factor,
            factor=self.factor * factor,
        )


def rigid_onset(
    design: Design,
    *,
    accuracy: float = 1e-3,
    meshes: int = 3,
    factor: float | None = None,
    near: CoarseMesh | None = None,
    near_sector: SectorMeshes | None = None,
) -> RigidOnset:
    """Solve the field of a design and find its rigid onset.

    A sector in three dimensions is solved on two meshes, whatever ``meshes`` says.

    Parameters
    ----------
    accuracy : float
        Relative numerical error wanted in the edge field, [-].
    meshes : int
        Meshes of the sequence, see `solve_field`, [-].
    factor : float or None
        Factor of the third dimension where it is known; solved where it is needed otherwise, [-].
    near : CoarseMesh or None
        Of a neighbouring design's section, see `solve_field`.
    near_sector : SectorMeshes or None
        Of a neighbouring design's sector, see `solve_sector`.

    Raises
    ------
    DesignError
        No onset exists (flooding, hollow edge, sharp edge, the chamber holds the field down).
    MeshError, ConvergenceError
        The field could not be computed.
    """
    solution = solve_field(design.section(), accuracy=accuracy, meshes=meshes, near=near)
    onset = rigid_onset_of_solution(design, solution)
    if factor is not None:
        return onset.times(factor)
    return onset.in_sector(sector_onset(design, onset.edge_per_volt, near=near_sector))


def rigid_onset_of_solution(design: Design, solution: FieldSolution) -> RigidOnset:
    """Rigid onset of the plane section from unit solutions that are already there.

    Emitter and accelerator rise together in the proportion of the design's voltages while the
    chamber stays at its own, so that the field at the edge is a straight line in their share.

    Parameters
    ----------
    solution : FieldSolution
        Of ``design.section()``.

    Raises
    ------
    DesignError
        No onset exists.
    """
    gamma = design.surface_tension
    found = [_edge_onset(design, solution, edge.name, gamma) for edge in solution.section.edges]
    return min(found, key=lambda onset: onset.voltage)


def _edge_onset(design: Design, solution: FieldSolution, name: str, gamma: float) -> RigidOnset:
    """Rigid onset of one edge."""
    working = electrode_voltages(design, solution.electrodes)
    edge = solution.edge(name, working)
    idle = electrode_voltages(design, solution.electrodes, share=0.0)
    # The chamber's own contribution; zero for a grounded chamber or none.
    at_rest = solution.edge_field_at(name, idle, edge) if any(idle.values()) else 0.0
    wanted = balance_field(
        surface_tension=gamma, curvature=edge.curvature, pressure=design.edge_pressure
    )
    slope = edge.value - at_rest
    if slope <= 0.0:
        raise DesignError(
            f"voltages: with emitter at {design.voltages.emitter:g} V and accelerator at "
            f"{design.voltages.accelerator:g} V the field at '{name}' does not point outward; "
            "check the chamber's voltage",
            keys=("voltages",),
        )
    share = (wanted - at_rest) / slope
    voltage = share * design.voltage
    if voltage <= 0.0:
        raise DesignError(
            f"voltages.chamber = {design.voltages.chamber:g} V alone already exceeds the onset "
            f"field at '{name}'; check the chamber's voltage",
            keys=("voltages.chamber",),
        )
    return RigidOnset(
        voltage=voltage,
        edge_name=name,
        balance_field=wanted,
        edge_per_volt=slope / design.voltage,
        curvature=edge.curvature,
        position=edge.position,
        surface_tension=gamma,
        edge_at_design=edge,
        error=edge.error,
    )
