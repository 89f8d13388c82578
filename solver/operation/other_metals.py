"""Other metals in the same gap, from the field that is already solved."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.geometries.metals.metal import Metal, metal, metal_names
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.onset.surface_balance import balance_field
from conegap.solver.operation.exhaust import IonExhaust, ion_exhaust

__all__ = ["MetalInGap", "compare_metals"]

# Of the metals compared, [K]: each is taken just liquid. Common practice, no source.
_ABOVE_MELTING = 10.0


@dataclass(frozen=True)
class MetalInGap:
    """One metal in the design's gap.

    Parameters
    ----------
    name, symbol : str
    melting_point : float
        [K].
    temperature : float
        The design's, or 10 K above melting where that is higher, [K].
    surface_tension : float
        [N/m].
    rigid_onset : float or None
        None where the feed pressure floods the edge, [V].
    scaled_onset : float or None
        The rigid one times the design's own ratio of turning point to rigid onset; exact only at
        the same feed pressure over surface tension; None where there is no turning point, [V].
    exhaust : IonExhaust or None
        At the design's emitter voltage.
    vapour_pressure : float or None
        [Pa].
    of_design : bool
        The design's own metal.
    """

    name: str
    symbol: str
    melting_point: float
    temperature: float
    surface_tension: float
    rigid_onset: float | None
    scaled_onset: float | None
    exhaust: IonExhaust | None
    vapour_pressure: float | None
    of_design: bool


def compare_metals(
    design: Design, onset: RigidOnset, turning_point: float | None = None
) -> tuple[MetalInGap, ...]:
    """Every metal of the library, and the design's own, in the gap of one field solve.

    Parameters
    ----------
    onset : RigidOnset
        Of the design.
    turning_point : float or None
        Onset of the free surface of the design's own metal, [V].

    Returns
    -------
    tuple of MetalInGap
        In rising order of melting point.
    """
    known = [metal(name) for name in metal_names()]
    if all(found.symbol != design.metal.symbol for found in known):
        known.append(design.metal)
    ratio = None if turning_point is None else turning_point / onset.voltage
    rows = [_row(design, onset, ratio, found) for found in known]
    return tuple(sorted(rows, key=lambda row: row.melting_point))


def _row(design: Design, onset: RigidOnset, ratio: float | None, found: Metal) -> MetalInGap:
    own = found.symbol == design.metal.symbol
    warm = design.liquid.temperature
    if not own:
        warm = max(warm, found.melting_point + _ABOVE_MELTING)
    gamma = float(found.surface_tension(warm))
    rigid: float | None = None
    try:
        wanted = balance_field(
            surface_tension=gamma,
            curvature=onset.curvature,
            pressure=design.edge_pressure,
        )
    except DesignError:
        pass  # the pressure floods the edge with this metal
    else:
        # The chamber's part of the field does not rise with the voltage.
        at_rest = onset.balance_field - onset.edge_per_volt * onset.voltage
        rigid = (wanted - at_rest) / onset.edge_per_volt
    ground = design.voltages.emitter
    law = found.vapour_pressure_law
    return MetalInGap(
        name=found.name,
        symbol=found.symbol,
        melting_point=found.melting_point,
        temperature=warm,
        surface_tension=gamma,
        rigid_onset=rigid,
        scaled_onset=None if ratio is None or rigid is None else ratio * rigid,
        exhaust=(
            ion_exhaust(ion_mass=found.ion_mass, voltage=ground)
            if ground > 0.0 and found.gives_ions
            else None
        ),
        vapour_pressure=None if law is None else float(found.vapour_pressure(warm)),
        of_design=own,
    )
