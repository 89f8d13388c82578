"""Potentials of the electrodes while emitter and accelerator are ramped together."""

from __future__ import annotations

from conegap.geometries.design.design import Design

__all__ = ["electrode_voltages", "per_volt"]


def electrode_voltages(
    design: Design, electrodes: tuple[str, ...], share: float = 1.0
) -> dict[str, float]:
    """Voltages of the electrodes with emitter and accelerator at a share of their design values.

    Parameters
    ----------
    electrodes : tuple of str
        Electrodes of the section.
    share : float
        1 for the design's voltages; a chamber apart from the accelerator keeps its own, [-].

    Returns
    -------
    dict of str to float
        [V].
    """
    wanted = {
        "emitter": share * design.voltages.emitter,
        "accelerator": share * design.voltages.accelerator,
        "chamber": (share if design.one_with_wall else 1.0) * design.voltages.chamber,
    }
    return {name: wanted[name] for name in electrodes}


def per_volt(design: Design, electrodes: tuple[str, ...]) -> dict[str, float]:
    """Potentials per volt of emitter minus accelerator, all in the proportion of the design.

    Parameters
    ----------
    electrodes : tuple of str
        Electrodes of the section.

    Returns
    -------
    dict of str to float
        [-].
    """
    working = electrode_voltages(design, electrodes)
    return {name: volts / design.voltage for name, volts in working.items()}
