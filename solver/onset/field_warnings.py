"""What the reader of an onset must know of the field it rests on."""

from __future__ import annotations

from conegap.geometries.design.design import Design
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.solution import FieldSolution
from conegap.solver.onset.rigid import RigidOnset

__all__ = ["field_warnings"]


def field_warnings(
    design: Design, solution: FieldSolution, onset: RigidOnset, accuracy: float
) -> tuple[str, ...]:
    """Everything the reader must know before trusting the number.

    Parameters
    ----------
    solution : FieldSolution
        Of its plane section.
    accuracy : float
        Relative numerical error that was asked for, [-].
    """
    found = list(design.warnings)
    found.extend(design.metal.range_notes(design.liquid.temperature))
    if onset.error > accuracy:
        found.append(
            f"the numerical error of the edge field, {onset.error:.1e}, is larger than "
            f"the accuracy asked for, {accuracy:.1e}"
        )
    if onset.edge_at_design.at_border:
        found.append(
            f"the field still rises at the end of the edge '{onset.edge_name}': another place is "
            "stronger, see the field along the surface"
        )
    voltages = electrode_voltages(design, solution.electrodes)
    for name in solution.section.boundary_names:
        if name in ("emitter", "liquid"):
            along = solution.surface(name, voltages)
            k = int(along.field.argmax())
            if along.field[k] > 1.02 * onset.edge_at_design.value:
                x, z = along.points[k] * 1e3
                found.append(
                    f"the field on the {name} is greatest at ({x:.4g}, {z:.4g}) mm, "
                    f"{along.field[k] / onset.edge_at_design.value:.2f} times that at "
                    f"'{onset.edge_name}'"
                )
    if design.voltages.emitter <= 0.0:
        found.append(
            "the emitter is not positive against ground, so the beam has no energy left behind "
            "the accelerator: no exhaust speed is given"
        )
    return tuple(found)
