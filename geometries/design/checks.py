"""Rules between the sections of a design, and values that look like a slip."""

from __future__ import annotations

import math
from collections.abc import Iterator

from conegap.geometries.design.design_file import Parts
from conegap.geometries.design.kinds import ACCELERATORS
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.conditions import Chamber, Liquid
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.part import Problem
from conegap.geometries.parts.setting import length_text
from conegap.geometries.parts.surroundings import Room
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.quantity import LENGTH, TEMPERATURE, as_text

__all__ = ["broken_rules", "chosen_room", "room_problems", "slips"]

# No electrode gap of this kind is a metre long, so a greater length is a slip of the unit, [m].
_LARGEST = 1.0
# Diameter of an atom, [m].
_SMALLEST = 1e-10


def broken_rules(parts: Parts) -> Iterator[Problem]:
    """Rules between the sections that a design breaks, for the ``parts`` of the design."""
    yield from _scale(parts)
    yield from _liquid(parts.emitter, parts.liquid)
    yield from parts.feed.refusals(
        parts.emitter.kind,
        wetted=parts.emitter.wetted,
        drawn=parts.emitter.feed_path(parts.liquid.film_thickness) is not None,
    )
    emitter, accelerator = parts.emitter, parts.accelerator
    unfit = list(_pairing(emitter, accelerator))
    yield from unfit or (*emitter.refusals(accelerator), *_slot(emitter, accelerator))
    if emitter.chamber_at_ground and parts.voltages.chamber != 0.0:
        yield Problem(
            "voltages.chamber",
            f"a {emitter.kind} is solved in a grounded chamber; leave the chamber at 0 V",
        )
    yield from _askew(emitter, accelerator)
    yield from _chamber_keys(emitter, parts.chamber)
    yield from _side_keys(parts)


def _pairing(emitter: Emitter, accelerator: Accelerator) -> Iterator[Problem]:
    """An accelerator that cannot stand before this emitter."""
    if _fits(emitter, accelerator):
        return
    fitting = ", ".join(kind for kind, other in ACCELERATORS.items() if _fits(emitter, other))
    why = f"this accelerator is {accelerator.symmetry} and the emitter {emitter.symmetry}"
    if emitter.arrangement not in accelerator.faces:
        name = accelerator.noun
        why = f"a {emitter.kind} is not solved before this accelerator, {name}"
    yield Problem("accelerator.kind", f"{why}; choose one of {fitting}")


def _askew(emitter: Emitter, accelerator: Accelerator) -> Iterator[Problem]:
    """An accelerator beside the axis of an emitter for which that is not solved."""
    if emitter.stands_alone or not accelerator.askew_keys:
        return
    for key, value in zip(accelerator.askew_keys, accelerator.askew, strict=True):
        if value != 0.0:
            yield Problem(
                f"accelerator.{key}",
                f"an accelerator beside the axis or askew is solved before a needle or a capillary "
                f"only, not before a {emitter.noun}; leave it out",
            )


def _fits(emitter: Emitter, accelerator: Accelerator | type[Accelerator]) -> bool:
    if emitter.arrangement not in accelerator.faces:
        return False
    # Several tips are solved in three dimensions, where a slot may face a row of them.
    return emitter.arrangement != "single" or accelerator.symmetry in (None, emitter.symmetry)


def _slot(emitter: Emitter, accelerator: Accelerator) -> Iterator[Problem]:
    """A slot whose own ends would leave part of the emitter behind the closed plate."""
    # Its length is the same whatever the gap.
    slot = accelerator.straight_slot(0.0)
    if slot is None or slot.slot_length is None:
        return
    length = emitter.line_length
    if length is None:
        yield Problem(
            "accelerator.slot_length",
            f"the slot before a {emitter.kind} is solved open far beyond the last tips; leave "
            "slot_length out, and show by test that its ends are far enough away",
        )
    elif slot.slot_length < length:
        yield Problem(
            "accelerator.slot_length",
            f"the slot is shorter than the {emitter.kind}, {length_text(length)}: what lies "
            "behind the closed plate has another field, and its ions land there; make the slot at "
            "least as long",
        )


def _scale(parts: Parts) -> Iterator[Problem]:
    """Lengths that no bench setup has."""
    sections = {
        "emitter": parts.emitter,
        "accelerator": parts.accelerator,
        "liquid": parts.liquid,
        "feed": parts.feed,
        "chamber": parts.chamber,
        "insulator": parts.insulator,
    }
    for section, part in sections.items():
        for name in sorted(part.model_fields_set & set(part.physical_fields())):
            size = abs(getattr(part, name) or 0.0)
            physical = part.physical_fields()[name]
            if physical.kind is not LENGTH or size == 0.0:
                continue
            if size > _LARGEST:
                yield Problem(
                    f"{section}.{name}",
                    f"this is longer than {length_text(_LARGEST)}, the largest size that is "
                    f'accepted; did you mean "{length_text(size / 1000.0)}"?',
                )
            elif size < _SMALLEST and physical.sign != "any":
                yield Problem(
                    f"{section}.{name}",
                    f"this is smaller than an atom ({length_text(_SMALLEST)}); "
                    f'did you mean "{length_text(size * 1000.0)}"?',
                )


def _liquid(emitter: Emitter, liquid: Liquid) -> Iterator[Problem]:
    if liquid.film_thickness > 0.0:
        yield from emitter.film_problems(liquid.film_thickness)
    if liquid.metal is None and liquid.custom is None:
        return
    key = "liquid.metal" if liquid.custom is None else "liquid.custom"
    try:
        metal = liquid.properties()
    except DesignError as problem:
        yield Problem(problem.keys[0] if problem.keys else key, str(problem))
        return
    if liquid.temperature < metal.melting_point:
        given, melting = (
            f"{as_text(t, TEMPERATURE)} ({as_text(t, TEMPERATURE, 'degC')})"
            for t in (liquid.temperature, metal.melting_point)
        )
        yield Problem(
            "liquid.temperature",
            f"at {given} {metal.name} is solid, so it has no onset; it melts at {melting}: raise "
            "the temperature, look at its unit, or choose another metal",
        )


def _chamber_keys(emitter: Emitter, chamber: Chamber) -> Iterator[Problem]:
    planar = emitter.symmetry == "planar"
    wrong, right = ("radius", "half_width") if planar else ("half_width", "radius")
    if getattr(chamber, wrong) is not None:
        yield Problem(
            f"chamber.{wrong}",
            f"the section is {emitter.symmetry}, so the chamber's size is given by {right}",
        )


def _side_keys(parts: Parts) -> Iterator[Problem]:
    """What closes the region at its side, where that is not a wall apart from all else."""
    emitter, accelerator = parts.emitter, parts.accelerator
    flux_free = parts.chamber.side == "flux_free"
    if flux_free and emitter.solid is not None:
        yield Problem(
            "chamber.side",
            f"this {emitter.kind} is solved in three dimensions, with the chamber's wall about it; "
            'leave side out or write "wall"',
        )
    if accelerator.touches_side and emitter.solid is not None:
        yield Problem(
            "accelerator.reaches_wall",
            f"a {emitter.kind} is solved in three dimensions, before a plate with a rim; give "
            "outer_diameter instead",
        )
    if not accelerator.touches_side or flux_free:
        return
    if parts.voltages.chamber != parts.voltages.accelerator:
        yield Problem(
            "accelerator.reaches_wall",
            "the plate touches the chamber's wall, which is at another voltage; give "
            'voltages.chamber that of the accelerator, or write side = "flux_free" in [chamber]',
        )


def chosen_room(
    emitter: Emitter, accelerator: Accelerator, chamber: Chamber, gap: float, holder: float
) -> Room:
    """The region around the electrodes, with defaults that grow with them.

    Parameters
    ----------
    emitter, accelerator, chamber
        Sections of the design.
    gap : float
        Axial distance to the accelerator, [m].
    holder : float
        Radius or half width of the holder, [m].
    """
    span = abs(gap) + emitter.height
    given = chamber.half_width if emitter.symmetry == "planar" else chamber.radius
    wide = holder + accelerator.half_width + 3.0 * span if given is None else given
    length = chamber.length
    if length is None:
        length = 2.0 * span + (accelerator.opening or 0.0)
    return Room(wide, length, chamber.side == "flux_free")


def room_problems(
    emitter: Emitter, accelerator: Accelerator, room: Room, holder: float
) -> Iterator[Problem]:
    """A chamber that is too narrow for its contents.

    Parameters
    ----------
    holder : float
        Radius or half width of the holder, [m].
    """
    key = "chamber.half_width" if emitter.symmetry == "planar" else "chamber.radius"
    wide = key.split(".")[1].replace("_", " ")
    for what, size in (("holder", holder), ("accelerator", accelerator.half_width)):
        if room.half_width <= size * (1.0 + 1e-9):
            yield Problem(
                key,
                f"the {what} reaches {length_text(size)} from the middle and touches or overlaps "
                f"the chamber wall at {length_text(room.half_width)}; give a larger {wide}",
            )


def slips(parts: Parts, gap: float) -> Iterator[Problem]:
    """Values that are possible but unlikely.

    Parameters
    ----------
    parts : Parts
        The sections.
    gap : float
        Axial distance to the accelerator, [m].
    """
    emitter, accelerator = parts.emitter, parts.accelerator
    for part in (emitter, accelerator, parts.liquid, parts.voltages, parts.supply):
        yield from part.unlikely()
    length = emitter.line_length
    # What an end disturbs between two plates falls as exp(-pi x / d) (separation of variables,
    # textbook): to 4 % at one gap from it.
    if length is not None and length < 2.0 * gap:
        yield Problem(
            "emitter.length",
            f"the {emitter.kind} is shorter than twice the gap of {length_text(gap)}, so that no "
            "part of it has the field of a plane section: its true onset is lower, and the band "
            "does not hold the difference; make it longer, or confirm the onset by test",
        )
    key = emitter.edge_radius_key or ""
    edge = getattr(emitter, key.partition(".")[2]) if key.endswith("_radius") else None
    if edge is not None and edge > 200e-6:
        yield Problem(
            key,
            f'an edge radius above 0.2 mm is unusual; did you mean "{length_text(edge / 1000.0)}"?',
        )
    if edge is not None and 0.0 < edge < 10e-9:
        yield Problem(
            key,
            f'an edge radius below 10 nm is unusual; did you mean "{length_text(edge * 1000.0)}"?',
        )
    half_angle = emitter.tip_half_angle
    if half_angle is not None and half_angle > math.radians(50.0):
        yield Problem(
            "emitter.half_angle",
            "this needle is blunter than the liquid cone that it should carry (half angle 49.3 "
            f'deg): is the full angle given? Then write "{math.degrees(half_angle) / 2.0:.4g} deg"',
        )
    if "gap" in type(accelerator).model_fields and (abs(gap) > 50e-3 or 0.0 < gap < 20e-6):
        guess = gap / 1000.0 if abs(gap) > 50e-3 else gap * 1000.0
        yield Problem(
            "accelerator.gap",
            f'a gap of {length_text(gap)} is unusual; did you mean "{length_text(guess)}"?',
        )
    if accelerator.opening is not None and 0.0 < accelerator.opening < 20e-6:
        yield Problem(
            "accelerator.kind",
            f"an opening of {length_text(accelerator.opening)} is unusual; did you mean "
            f'"{length_text(accelerator.opening * 1000.0)}"?',
        )
    elif accelerator.opening is not None and gap > 0.0 and accelerator.opening < 0.2 * gap:
        yield Problem(
            "accelerator.kind",
            f"the opening, {length_text(accelerator.opening)}, is narrow against the gap, "
            f"{length_text(gap)}, and will catch much of the beam; is it given as a radius?",
        )
    limit = parts.supply.voltage_limit
    difference = parts.voltages.emitter - parts.voltages.accelerator
    if difference < 100.0:
        yield Problem(
            "voltages.emitter",
            f"{difference:.4g} V across the gap is very little; did you mean kV?",
        )
    if limit is not None and difference > limit:
        yield Problem(
            "voltages.emitter",
            f"emitter minus accelerator is {difference:.6g} V, above the supply's limit of "
            f"{limit:.6g} V",
        )
