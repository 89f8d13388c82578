"""Random capillaries, slits and films with a wetting of their own, and the laws of their surface.

A surface in balance under p and eps0 E^2 / 2 keeps its shape when every length, or the tension with
the pressure, is changed in proportion (textbook).  J. W. Gibbs's condition (textbook): a line that
stands until a greater angle never gives way earlier.  A field that must lift a surface with less
pressure behind it, or across a wider gap of the same electrodes, needs no lower voltage.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from conegap.geometries.quantities.errors import ComputationError, ConegapError, DesignError
from conegap.solver.liquid.followed_onset import meniscus_onset, voltage_in_proportion
from random_designs.designs import Draw, RandomDesign, Uniform, random_design
from random_designs.properties import Findings, Property

__all__ = ["LIQUID_KINDS", "check_liquid", "random_liquid"]

LIQUID_KINDS = ("needle", "capillary", "slit")

# Voltages of two meshes, each of which has a scatter of its own: about their stated errors.
_SCATTER = 2e-3
_MORE = 1.1
# A contact angle near which the line stands, [deg], and how much larger the other one is.
_ANGLES = (5.0, 80.0)
_WIDER_ANGLE = 8.0


def random_liquid(uniform: Uniform, kind: str | None = None) -> RandomDesign:
    """A design with a free surface before a plane; most can be built.

    Parameters
    ----------
    uniform : callable
        Gives a number from 0 to 1 at every call.
    kind : str or None
        One of `LIQUID_KINDS`; drawn when None.
    """
    draw = Draw(uniform)
    kind = kind or draw.one_of(*LIQUID_KINDS)
    found = random_design(uniform, kind)
    lengths = {
        key: value
        for key, value in found.lengths.items()
        if not key.startswith("accelerator.") and key != "emitter.misalignment_half"
    }
    lengths["accelerator.gap"] = found.lengths["accelerator.gap"]
    angle = draw.between(*_ANGLES)
    words = {key: word for key, word in found.words.items() if not key.startswith("accelerator.")}
    words |= {"accelerator.kind": '"plane"', "liquid.contact_angle": _degrees(angle)}
    if draw.sometimes(0.5):
        words["liquid.receding_angle"] = _degrees(angle * draw.uniform())
    radius = found.lengths.get("emitter.tip_radius", 0.0)
    if kind == "needle":
        lengths["liquid.film_thickness"] = radius * draw.spread(0.05, 1.0)
        return replace(found, lengths=lengths, words=words, pressure=0.0)
    half = lengths.get("emitter.bore", lengths.get("emitter.channel_height", 0.0)) / 2.0
    pressure = draw.between(-0.3, 0.6) * found.tension / half
    return replace(found, lengths=lengths, words=words, pressure=pressure)


def _degrees(angle: float) -> str:
    return f'"{angle:.4g} deg"'


def check_liquid(random: RandomDesign, folder: Path) -> Findings:
    """Follow the free surface of a design and of changed ones, and check every law.

    Parameters
    ----------
    random : RandomDesign
        From `random_liquid`.
    folder : Path
        For files that a design may need.
    """
    try:
        design = random.design(folder)
        drawn = voltage_in_proportion(design)
    except ComputationError as error:
        return Findings("not computed", str(error))
    except DesignError as error:
        return Findings("refused", str(error))
    good = 0.0 if math.isfinite(drawn) and drawn > 0.0 else math.inf
    laws = [Property("onset is a positive number", good, 0.0)]
    larger = replace(random.enlarged(2.0), pressure=random.pressure / 2.0)
    stiffer = replace(random, tension=4.0 * random.tension, pressure=4.0 * random.pressure)
    laws += _same("twice the lengths", larger, folder, math.sqrt(2.0) * drawn)
    laws += _same("four times the tension", stiffer, folder, 2.0 * drawn)
    gap = random.lengths["accelerator.gap"]
    wide = replace(random, lengths={**random.lengths, "accelerator.gap": _MORE * gap})
    laws += _not_lower("a wider gap", wide, folder, drawn)
    if random.kind == "needle":
        return Findings("solved", "", tuple(laws))
    angle = float(random.words["liquid.contact_angle"].strip('"').split()[0])
    words = {**random.words, "liquid.advancing_angle": _degrees(angle + _WIDER_ANGLE)}
    laws += _not_lower("a greater advancing angle", replace(random, words=words), folder, drawn)
    step = 0.05 * abs(random.pressure)
    less = replace(random, pressure=random.pressure - step)
    laws += _not_lower("less feed pressure", less, folder, drawn)
    if random.kind == "capillary":
        laws += _other_states(random, folder)
    return Findings("solved", "", tuple(laws))


def _voltage(random: RandomDesign, folder: Path) -> float | None:
    """Onset of a changed design, infinite where suction draws it back; None where it floods."""
    try:
        return voltage_in_proportion(random.design(folder))
    except DesignError as error:
        return math.inf if error.cause == "drawn back" else None


def _same(name: str, random: RandomDesign, folder: Path, expected: float) -> list[Property]:
    name = f"onset of a free surface with {name}"
    try:
        found = _voltage(random, folder)
    except ConegapError as error:
        return [Property(f"{name} ({error})", math.inf, _SCATTER)]
    deviation = math.inf if found is None else abs(found / expected - 1.0)
    return [Property(name, deviation, _SCATTER)]


def _not_lower(name: str, random: RandomDesign, folder: Path, drawn: float) -> list[Property]:
    """A changed design may be beyond what can be computed, which breaks no law."""
    try:
        found = _voltage(random, folder)
    except ComputationError:
        return []
    lower = math.inf if found is None else 1.0 - found / drawn
    return [Property(f"onset of a free surface not lower with {name}", lower, _SCATTER)]


def _other_states(random: RandomDesign, folder: Path) -> list[Property]:
    """A state of wetting reported beside the stated one is what a design that states it has."""
    try:
        found = meniscus_onset(random.design(folder))
    except ConegapError as error:
        return [Property(f"followed on three meshes ({error})", math.inf, _SCATTER)]
    other = '"rim"' if random.words["emitter.contact_line"] == '"bore"' else '"bore"'
    changed = replace(random, words={**random.words, "emitter.contact_line": other})
    laws = []
    for state in found.others:
        try:
            volts = _voltage(changed, folder)
        except ComputationError:
            continue
        if volts is None or state.voltage is None:
            deviation = 0.0 if volts is None and state.voltage is None else math.inf
        else:
            deviation = abs(state.voltage / volts - 1.0)
        # Reported from two meshes or the coarse one: its docstring says to about one per cent.
        laws.append(
            Property("the other state of wetting is that of its own design", deviation, 2e-2)
        )
    return laws
