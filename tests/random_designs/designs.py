"""Random designs of every plane kind, to be written again scaled, mirrored or in other units.

A design is drawn from a source of numbers between 0 and 1, so that a plain generator and a
property-testing library make the same designs.  All of them are invented.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design

__all__ = ["KINDS", "Draw", "RandomDesign", "Uniform", "random_design"]

KINDS = ("needle", "capillary", "slit", "profile")
# Metres per unit.
_UNITS = {"um": 1e-6, "mm": 1e-3, "m": 1.0}
_POINTS = "edge.csv"
# Lengths that change their sign in the mirror.
_SIDED = ("emitter.misalignment_half", "accelerator.lateral_offset")

Uniform = Callable[[], float]
"""Gives a number from 0 to 1."""


@dataclass(frozen=True)
class RandomDesign:
    """A design as numbers, before it is written.

    Parameters
    ----------
    lengths : mapping
        Key of the design file to its length, [m].
    words : mapping
        Key of the design file to any other TOML value.
    points : (n, 2) array or None
        Outline of a measured profile, [m].
    tension : float
        Surface tension of the liquid, [N/m].
    pressure : float
        Feed pressure, [Pa].
    voltage : float
        Of the emitter; the accelerator holds a fifth of it below ground, [V].
    """

    lengths: Mapping[str, float]
    words: Mapping[str, str]
    points: FloatArray | None = field(compare=False)
    tension: float
    pressure: float
    voltage: float = 5e3

    @property
    def kind(self) -> str:
        """Kind of the emitter."""
        return self.words["emitter.kind"].strip('"')

    @property
    def one_sided(self) -> bool:
        """Whether its mirror image is another design."""
        skewed = any(self.lengths.get(key, 0.0) != 0.0 for key in _SIDED)
        return skewed or (self.points is not None and bool(self.points[0, 0] < 0.0))

    def enlarged(self, factor: float) -> RandomDesign:
        """Every length times a factor, [-]."""
        return replace(
            self,
            lengths={key: factor * value for key, value in self.lengths.items()},
            points=None if self.points is None else factor * self.points,
        )

    def mirrored(self) -> RandomDesign:
        """The mirror image about x = 0."""
        lengths = {k: -v if k in _SIDED else v for k, v in self.lengths.items()}
        points = self.points
        if points is not None and points[0, 0] < 0.0:
            points = points[::-1] * np.array([-1.0, 1.0])
        return replace(self, lengths=lengths, points=points)

    def text(self, unit: str = "um") -> str:
        """The design file.

        Parameters
        ----------
        unit : "um", "mm" or "m"
            Unit of every length.
        """
        sections: dict[str, list[str]] = {}
        for key, word in self.words.items():
            section, _, name = key.rpartition(".")
            sections.setdefault(section, []).append(f"{name} = {word}")
        for key, value in self.lengths.items():
            section, _, name = key.rpartition(".")
            number = f"{value / _UNITS[unit]:.17g}"
            sections.setdefault(section, []).append(f'{name} = "{number} {unit}"')
        sections["liquid"] = [
            *sections.get("liquid", []),
            'temperature = "400 K"',
            f'feed_pressure = "{self.pressure:.17g} Pa"',
        ]
        sections["liquid.custom"] = [
            'name = "an invented metal"',
            'molar_mass = "100 g/mol"',
            'melting_point = "300 K"',
            f'surface_tension = "{self.tension:.17g} N/m"',
            'surface_tension_temperature = "400 K"',
        ]
        sections["voltages"] = [
            f'emitter = "{self.voltage:.17g} V"',
            f'accelerator = "{-0.2 * self.voltage:.17g} V"',
        ]
        blocks = ("\n".join([f"[{name}]", *lines]) for name, lines in sections.items())
        return "\n\n".join(blocks) + "\n"

    def table(self, unit: str = "um") -> str | None:
        """The CSV file of the outline, or None."""
        if self.points is None:
            return None
        rows = (f"{x / _UNITS[unit]:.17g},{z / _UNITS[unit]:.17g}" for x, z in self.points)
        return "\n".join(["radius,height", f"{unit},{unit}", *rows]) + "\n"

    def design(self, folder: Path, unit: str = "um") -> Design:
        """Write the design's table and read the design.

        Parameters
        ----------
        folder : Path
            Gets the table of a profile.
        unit : "um", "mm" or "m"

        Raises
        ------
        DesignError
            The design is refused.
        """
        table = self.table(unit)
        if table is not None:
            (folder / _POINTS).write_text(table, encoding="utf-8")
        return Design.from_text(self.text(unit), folder=folder)


@dataclass(frozen=True)
class Draw:
    """Numbers of a given range from a source of numbers between 0 and 1."""

    uniform: Uniform

    def between(self, low: float, high: float) -> float:
        """Evenly spread."""
        return low + (high - low) * self.uniform()

    def spread(self, low: float, high: float) -> float:
        """Evenly spread in the logarithm, to three digits as a person would write it."""
        value = low * (high / low) ** self.uniform()
        return float(f"{value:.3g}")

    def one_of(self, *choices: str) -> str:
        """Any of some words, each as likely."""
        return choices[min(int(self.uniform() * len(choices)), len(choices) - 1)]

    def sometimes(self, share: float) -> bool:
        """True with a probability, [-]."""
        return self.uniform() < share


def random_design(uniform: Uniform, kind: str | None = None) -> RandomDesign:
    """A design of any plane kind; nearly all can be built.

    Parameters
    ----------
    uniform : callable
        Gives a number from 0 to 1 at every call.
    kind : str or None
        One of `KINDS`; drawn when None.
    """
    draw = Draw(uniform)
    kind = kind or draw.one_of(*KINDS)
    emitter = {"needle": _needle, "capillary": _capillary, "slit": _slit, "profile": _profile}
    lengths, words, points, radius = emitter[kind](draw)
    planar = kind == "slit" or words.get("emitter.revolved") == "false"
    gap = radius * draw.spread(10.0, 1000.0)
    if kind == "capillary":
        gap = radius * draw.spread(4.0, 100.0)
    more, other = _accelerator(draw, gap, planar)
    more |= _surroundings(draw, {**lengths, **more}, planar)
    tension = draw.spread(0.05, 1.5)
    pressure = 0.0
    if draw.sometimes(0.3):
        pressure = draw.between(-0.5, 0.5) * tension / radius
    return RandomDesign({**lengths, **more}, {**words, **other}, points, tension, pressure)


_Parts = tuple[dict[str, float], dict[str, str], FloatArray | None, float]


def _needle(draw: Draw) -> _Parts:
    radius = draw.spread(0.3e-6, 30e-6)
    angle = draw.between(3.0, 50.0)
    shank = 2.0 * radius * draw.spread(2.0, 60.0)
    lengths = {
        "emitter.tip_radius": radius,
        "emitter.shank_diameter": shank,
        "emitter.protrusion": shank * draw.spread(3.0, 30.0),
    }
    film = 0.0
    if draw.sometimes(0.4):
        film = radius * draw.spread(0.02, 0.5)
        lengths["liquid.film_thickness"] = film
    words = {"emitter.kind": '"needle"', "emitter.half_angle": f'"{angle:.4g} deg"'}
    return lengths, words, None, radius + film


def _capillary(draw: Draw) -> _Parts:
    bore = draw.spread(5e-6, 200e-6)
    outer = bore * draw.spread(1.2, 4.0)
    lengths = {
        "emitter.bore": bore,
        "emitter.outer_diameter": outer,
        "emitter.rim_radius": 0.5 * (outer - bore) * draw.between(0.05, 0.95),
        "emitter.length": outer * draw.spread(4.0, 50.0),
    }
    line = draw.one_of("bore", "rim")
    words = {"emitter.kind": '"capillary"', "emitter.contact_line": f'"{line}"'}
    return lengths, words, None, 0.5 * (bore if line == "bore" else outer)


def _slit(draw: Draw) -> _Parts:
    lip = draw.spread(0.5e-6, 20e-6)
    lengths = {
        "emitter.length": 10e-3,
        "emitter.channel_height": lip * draw.spread(0.1, 5.0),
        "emitter.lip_radius": lip,
        "emitter.protrusion": lip * draw.spread(50.0, 2000.0),
    }
    if draw.sometimes(0.4):
        lengths["emitter.land"] = lip * draw.spread(0.1, 4.0)
    if draw.sometimes(0.4):
        lengths["emitter.recess"] = lip * draw.spread(0.1, 3.0)
    if draw.sometimes(0.3):
        lengths["emitter.misalignment_half"] = lip * draw.between(-0.5, 0.5)
    angle = draw.between(10.0, 120.0)
    words = {"emitter.kind": '"slit"', "emitter.blade_included_angle": f'"{angle:.4g} deg"'}
    return lengths, words, None, lip


def _profile(draw: Draw) -> _Parts:
    """A hyperbola sampled as a person would trace it, revolved or with two unlike flanks."""
    radius = draw.spread(0.5e-6, 20e-6)
    reach = radius * draw.spread(10.0, 80.0)
    revolved = draw.sometimes(0.6)
    right = _flank(radius, draw.between(8.0, 40.0), reach)
    points = right
    if not revolved:
        left = _flank(radius, draw.between(8.0, 40.0), reach)
        points = np.vstack([left[:0:-1] * np.array([-1.0, 1.0]), right])
    depth = float(-points[:, 1].min())
    lengths = {"emitter.protrusion": depth * draw.spread(1.5, 6.0)}
    words = {
        "emitter.kind": '"profile"',
        "emitter.points": f'"{_POINTS}"',
        "emitter.revolved": "true" if revolved else "false",
    }
    return lengths, words, points, radius


def _flank(radius: float, angle: float, reach: float) -> FloatArray:
    """Half a hyperbola from its vertex, (n, 2) array, [m]; angle of the flank, [deg]."""
    slope = 1.0 / math.tan(math.radians(angle))
    wide = radius * slope
    u = np.linspace(0.0, math.asinh(reach / wide), 24)
    x = wide * np.sinh(u)
    return np.column_stack([x, -radius * slope**2 * (np.cosh(u) - 1.0)])


def _accelerator(draw: Draw, gap: float, planar: bool) -> tuple[dict[str, float], dict[str, str]]:
    kinds = ("plane", "slotted_plate") if planar else ("plane", "aperture_plate", "ring")
    kind = draw.one_of(*kinds)
    lengths = {"accelerator.gap": gap}
    words = {"accelerator.kind": f'"{kind}"'}
    opening = gap * draw.spread(0.5, 4.0)
    if kind in ("slotted_plate", "aperture_plate"):
        thickness = gap * draw.spread(0.1, 1.0)
        width = "slot_width" if planar else "diameter"
        lengths[f"accelerator.{width}"] = opening
        lengths["accelerator.thickness"] = thickness
        lengths["accelerator.edge_radius"] = thickness * draw.between(0.1, 0.45)
        if planar and draw.sometimes(0.3):
            lengths["accelerator.lateral_offset"] = opening * draw.between(-0.3, 0.3)
    if kind == "ring":
        lengths["accelerator.mean_diameter"] = opening
        lengths["accelerator.wire_diameter"] = opening * draw.spread(0.05, 0.5)
    return lengths, words


def _surroundings(draw: Draw, lengths: Mapping[str, float], planar: bool) -> dict[str, float]:
    """Holder and walls; some of their defaults have a least size of their own."""
    tall = lengths.get("emitter.protrusion", 0.0)
    if "emitter.bore" in lengths:
        tall = lengths["emitter.length"]
    thickness = tall * draw.spread(0.1, 0.5)
    whole = 2.0 * (thickness + sum(
        abs(value) for key, value in lengths.items()
        if key != "emitter.length" or "emitter.bore" in lengths
    ))  # fmt: skip
    wall = "half_width" if planar else "radius"
    outer = "outer_width" if planar else "outer_diameter"
    found = {
        "emitter.holder_thickness": thickness,
        "emitter.holder_edge_radius": thickness * draw.between(0.1, 0.4),
        f"chamber.{wall}": whole * draw.spread(1.5, 5.0),
        "chamber.length": whole * draw.spread(0.5, 4.0),
    }
    if "accelerator.thickness" in lengths:
        opening = lengths.get("accelerator.diameter", lengths.get("accelerator.slot_width", 0.0))
        wide = opening + lengths["accelerator.thickness"] * draw.spread(20.0, 100.0)
        found[f"accelerator.{outer}"] = min(wide, 2.0 * whole)
    return found
