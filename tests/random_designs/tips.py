"""Random crowns and rows of tips, and what must hold for them in three dimensions.

The third dimension is a factor on the field of a tip's plane section.  It has no unit, so that it
stays when every length is doubled; and the error stated on two meshes must bound what a third one
changes.  All designs are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from conegap.geometries.quantities.errors import ComputationError, DesignError
from conegap.geometries.quantities.quantity import LENGTH
from conegap.solver.field.solution import solve_field
from conegap.solver.field3d.sector_factor import SectorOnset, sector_onset
from conegap.solver.onset.rigid import rigid_onset_of_solution
from random_designs.designs import Draw, RandomDesign, Uniform
from random_designs.properties import Findings, Property

__all__ = ["check_tips", "random_tips"]

# Pitch over the width of a tip's foot, the closest that is drawn.
_CROWDED = 1.15


def random_tips(uniform: Uniform) -> RandomDesign:
    """A crown, or a row of tips; nearly all can be built.

    Parameters
    ----------
    uniform : callable
        Gives a number from 0 to 1 at every call.
    """
    draw = Draw(uniform)
    height, angle = draw.spread(0.3e-3, 2e-3), draw.between(8.0, 28.0)
    base = 2.0 * height * math.tan(math.radians(angle))
    gap = height * draw.spread(0.4, 2.0)
    lengths = {
        "emitter.tip_height": height,
        "emitter.tip_radius": draw.spread(1e-6, 12e-6),
        "accelerator.gap": gap,
    }
    words = {"emitter.half_angle": f'"{angle:.4g} deg"'}
    ring = draw.sometimes(0.6)
    if ring:
        tips = 4 + int(draw.between(0.0, 30.0))
        diameter = _CROWDED * base * draw.spread(1.0, 3.0) * tips / math.pi
        words |= {"emitter.kind": '"crown"', "emitter.tips": str(tips)}
        lengths["emitter.pitch_diameter"] = diameter
        wide, slotted = diameter, "annular_slot"
    else:
        count = 1 + int(draw.between(0.0, 5.0))
        pitch = _CROWDED * base * draw.spread(1.0, 3.0)
        words |= {
            "emitter.kind": '"array"',
            "emitter.layout": '"linear"',
            "emitter.tips_per_row": str(count),
            "emitter.rows": "1",
        }
        lengths["emitter.pitch"] = pitch
        wide, slotted = pitch * count, "slotted_plate"
    kind = draw.one_of("plane", slotted)
    words["accelerator.kind"] = f'"{kind}"'
    if kind == slotted:
        thickness = gap * draw.spread(0.2, 0.8)
        lengths["accelerator.slot_width"] = gap * draw.spread(0.8, 2.0)
        lengths["accelerator.thickness"] = thickness
        lengths["accelerator.edge_radius"] = thickness * draw.between(0.15, 0.45)
        if ring:
            lengths["accelerator.mean_diameter"] = wide
    room = wide + 20.0 * (height + gap)
    lengths |= {"chamber.radius": room, "chamber.length": room}
    return RandomDesign(lengths, words, None, draw.spread(0.05, 1.5), 0.0)


def check_tips(random: RandomDesign, folder: Path) -> Findings:
    """Solve a design on three meshes and its double on two, and check what must hold.

    Parameters
    ----------
    random : RandomDesign
        From `random_tips`.
    folder : Path
        For files that a design may need.
    """
    try:
        random = _with_all_lengths(random, folder)
        deep = _solved(random, folder, 3)
        double = _solved(random.enlarged(2.0), folder, 2)
    except ComputationError as error:
        return Findings("not computed", str(error))
    except DesignError as error:
        return Findings("refused", str(error))
    few = deep.first_meshes(2)
    change = abs(few.factor / deep.factor - 1.0)
    laws = (
        Property("factor is a positive number", 0.0 if deep.factor > 0.0 else math.inf, 0.0),
        Property(
            "same factor at twice the lengths",
            abs(double.factor / few.factor - 1.0),
            double.error + few.error,
        ),
    )
    bound = Property(
        "error on 2 meshes bounds the change to 3 in three dimensions", change, few.error
    )
    return Findings("solved", "", laws, (bound,))


def _with_all_lengths(random: RandomDesign, folder: Path) -> RandomDesign:
    """The design with the lengths that it assumes written out, so that they can be enlarged."""
    assumed = {
        d.key: d.value
        for d in random.design(folder).dimensions()
        if d.kind is LENGTH and d.value != 0.0 and d.key not in random.lengths
    }
    return replace(random, lengths={**random.lengths, **assumed})


def _solved(random: RandomDesign, folder: Path, meshes: int) -> SectorOnset:
    """The third dimension of a design."""
    design = random.design(folder)
    plane = rigid_onset_of_solution(design, solve_field(design.section(), meshes=meshes))
    found = sector_onset(design, plane.edge_per_volt, meshes=meshes)
    if found is None:
        raise DesignError("the design has no third dimension")
    return found
