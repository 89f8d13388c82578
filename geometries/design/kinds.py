"""The emitters, accelerators and feeds that a design file may name: add a kind here, and only
here."""

from __future__ import annotations

from collections.abc import Mapping

from conegap.geometries.accelerators.annular_slot import AnnularSlot
from conegap.geometries.accelerators.aperture_plate import AperturePlate
from conegap.geometries.accelerators.plane import Plane
from conegap.geometries.accelerators.profile import ProfileAccelerator
from conegap.geometries.accelerators.ring import Ring
from conegap.geometries.accelerators.slotted_plate import SlottedPlate
from conegap.geometries.emitters.capillary import Capillary
from conegap.geometries.emitters.crown import Crown
from conegap.geometries.emitters.needle import Needle
from conegap.geometries.emitters.profile import ProfileEmitter
from conegap.geometries.emitters.slit import Slit
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.emitters.whole_file import DrawnEmitter, MeshedEmitter, WholeEmitter
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.conditions import (
    Chamber,
    Criteria,
    Insulator,
    Liquid,
    Supply,
    Voltages,
)
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.feed_way import (
    BoreFeed,
    ChannelFeed,
    FeedWay,
    FilmFeed,
    GrooveFeed,
    PorousPlugFeed,
)
from conegap.geometries.parts.part import Part, Physical

__all__ = [
    "ACCELERATORS",
    "EMITTERS",
    "FEEDS",
    "SECTIONS",
    "WHOLE_EMITTERS",
    "physical_keys",
    "physical_of",
]

WHOLE_EMITTERS: Mapping[str, type[WholeEmitter]] = {
    "drawn": DrawnEmitter,
    "meshed": MeshedEmitter,
}
"""Emitters whose file also holds the accelerator and everything around."""
EMITTERS: Mapping[str, type[Emitter]] = {
    "needle": Needle,
    "capillary": Capillary,
    "slit": Slit,
    "crown": Crown,
    "array": TipArray,
    "profile": ProfileEmitter,
    **WHOLE_EMITTERS,
}
ACCELERATORS: Mapping[str, type[Accelerator]] = {
    "plane": Plane,
    "slotted_plate": SlottedPlate,
    "aperture_plate": AperturePlate,
    "ring": Ring,
    "annular_slot": AnnularSlot,
    "profile": ProfileAccelerator,
}
FEEDS: Mapping[str, type[FeedWay]] = {
    "bore": BoreFeed,
    "channel": ChannelFeed,
    "film": FilmFeed,
    "groove": GrooveFeed,
    "porous_plug": PorousPlugFeed,
}
SECTIONS: Mapping[str, type[Part]] = {
    "liquid": Liquid,
    "voltages": Voltages,
    "supply": Supply,
    "chamber": Chamber,
    "insulator": Insulator,
    "criteria": Criteria,
}


def physical_of(key: str) -> Physical | None:
    """What a key such as "accelerator.gap" holds, whatever the kind, or None."""
    return _all_physical().get(key)


def _all_physical() -> dict[str, Physical]:
    parts: list[tuple[str, type[Part]]] = [("emitter", part) for part in EMITTERS.values()]
    parts += [("accelerator", part) for part in ACCELERATORS.values()]
    parts += [("feed", part) for part in FEEDS.values()]
    parts += list(SECTIONS.items())
    found: dict[str, Physical] = {}
    for section, part in parts:
        for name, physical in part.physical_fields().items():
            known = found.get(f"{section}.{name}")
            # Where kinds differ in sign the wider rule holds; the design itself checks the rest.
            if known is None or physical.sign == "any":
                found[f"{section}.{name}"] = physical
    return found


def physical_keys() -> tuple[str, ...]:
    """All keys of physical quantities, of all kinds."""
    return tuple(_all_physical())
