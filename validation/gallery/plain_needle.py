"""A dry needle before a plane, the design of several scripts of the gallery (invented)."""

from __future__ import annotations

from conegap.geometries.design.design import Design

__all__ = ["TEXT", "plain_needle"]

TEXT = """
title = "Gallery needle"
[emitter]
kind = "needle"
tip_radius = "10 um"
half_angle = "10 deg"
shank_diameter = "0.4 mm"
protrusion = "4 mm"
[accelerator]
kind = "plane"
gap = "1 mm"
[liquid]
metal = "indium"
temperature = "450 K"
[voltages]
emitter = "6 kV"
[chamber]
radius = "12 mm"
"""


def plain_needle() -> Design:
    """The design.

    Examples
    --------
    >>> design = plain_needle()
    >>> design.emitter.kind, round(design.gap * 1e3, 9), design.voltage
    ('needle', 1.0, 6000.0)
    """
    return Design.from_text(TEXT, "gallery.toml")
