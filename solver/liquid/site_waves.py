"""Waves along the crest of a slit: spacing and number of the emission sites."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.geometries.design.design import Design
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.onset.rigid import RigidOnset
from conegap.solver.onset.surface_balance import surface_wave_field, surface_wave_spacing

__all__ = ["SurfaceWave", "surface_wave"]


@dataclass(frozen=True)
class SurfaceWave:
    """Waves along a slit.

    Parameters
    ----------
    spacing : float
        Expected spacing of emission sites at onset: length of the first growing wave of the
        free surface, or 3 pi gamma / (eps0 E^2) on a rigid one, [m].
    sites : float
        Slit length over spacing, [-].
    crest_width : float
        Width of liquid and lips, [m].
    onset_voltage : float
        Where the fastest wave is as long as the crest is wide, an order of magnitude, [V].
    """

    spacing: float
    sites: float
    crest_width: float
    onset_voltage: float


def surface_wave(
    design: Design, onset: RigidOnset, meniscus: MeniscusOnset | None
) -> SurfaceWave | None:
    """Waves along the crest of a slit, None for other emitters.

    Parameters
    ----------
    meniscus : MeniscusOnset or None
        Free surface, where it was followed.
    """
    width, length = design.emitter.crest_width, design.emitter.line_length
    if width is None or length is None:
        return None
    gamma = onset.surface_tension
    spacing = surface_wave_spacing(surface_tension=gamma, field=onset.balance_field)
    if meniscus is not None and meniscus.wave is not None:
        spacing = meniscus.wave.wavelength * meniscus.radius
    field = surface_wave_field(surface_tension=gamma, wavelength=width)
    return SurfaceWave(
        spacing=spacing,
        sites=length / spacing,
        crest_width=width,
        onset_voltage=onset.voltage * field / onset.balance_field,
    )
