"""What all emitters share: the holder they stand on, and all that the package asks of a kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section, Symmetry
from conegap.geometries.curves.wall import ContactStart, Wall
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.feed_path import FeedPath
from conegap.geometries.parts.part import Length, Part, Problem, derived
from conegap.geometries.parts.setting import Arrangement, Setting, length_text
from conegap.geometries.parts.surroundings import EmitterOutline, Holder, Room
from conegap.geometries.quantities.errors import GeometryError
from conegap.geometries.solids.sector import Sector

__all__ = ["Emitter", "holder_width"]


def _holder_edge(given: Mapping[str, float]) -> float:
    return min(0.2e-3, given.get("holder_thickness", 1e-3) / 4.0)


class Emitter(Part):
    """An emitter of any kind, SI.

    Whatever the rest of the package must know about a kind it asks here; the answers given are
    those of a single dry tip or edge, and a kind overrides those that it answers otherwise.
    """

    kind: str
    holder_thickness: Length = Field(
        default=1e-3, description="height of the holder's side above the insulating floor"
    )
    holder_edge_radius: Length = derived(_holder_edge)

    wetted: ClassVar[bool] = False
    """Whether liquid.film_thickness has a meaning."""
    closed_form: ClassVar[Literal["tube", "tip or edge"]] = "tip or edge"
    """Which textbook onset it is compared with: of a tube, or by its symmetry of tip or edge."""
    alignment: ClassVar[str] = "emitter and accelerator are their own mirror images"
    """What a section drawn by its half takes for granted, for the report."""

    arrangement: ClassVar[Arrangement] = "single"
    """How its tips stand; a "ring" states pitch_diameter, tip_radius, tip_height and runout."""
    stands_alone: ClassVar[bool] = False
    """Whether it is one round body whose accelerator may stand beside its axis, or askew."""
    chamber_at_ground: ClassVar[bool] = False
    """Whether it is solved in a grounded chamber only."""

    @property
    def symmetry(self) -> Symmetry:
        """Planar or axisymmetric."""
        return "axisymmetric"

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        """Whether a planar emitter is its own mirror image."""
        return True

    @property
    def noun(self) -> str:
        """What sentences call it: "slit"."""
        return self.kind.replace("_", " ")

    @property
    def edge_radius_key(self) -> str | None:
        """Design file key of the dimension that sets the emitting radius, or None."""
        return None

    @property
    def meniscus_key(self) -> str | None:
        """Design file key of the dimension that sets the contact radius of its liquid, or None."""
        return self.edge_radius_key

    @property
    def count(self) -> int:
        """Number of its equal tips."""
        return 1

    @property
    def line_length(self) -> float | None:
        """Length along y of an extruded emitter, [m]; None where it has or states none."""
        return None

    @property
    def crest_width(self) -> float | None:
        """Width of a wet crest that breaks up into emission sites along y, [m], or None."""
        return None

    @property
    def tip_half_angle(self) -> float | None:
        """Angle from the axis to the flank of the cone under its tip, [rad], or None."""
        return None

    @property
    def whole_file(self) -> str | None:
        """Name of the file that holds its section with everything around, or None."""
        return None

    def feed_path(self, film_thickness: float) -> FeedPath | None:
        """The narrowest way of the liquid to the emitting edge, or None where none is drawn.

        Parameters
        ----------
        film_thickness : float
            Thickness of the liquid film on a wetted emitter, [m].
        """
        return None

    def refusals(self, accelerator: Accelerator) -> Iterator[Problem]:
        """Rules between this emitter and its accelerator that are broken.

        Parameters
        ----------
        accelerator : Accelerator
            Of a kind that stands before its arrangement and has its symmetry.
        """
        yield from ()

    def film_problems(self, film_thickness: float) -> Iterator[Problem]:
        """What is wrong with a film of ``film_thickness`` on it, > 0, [m]."""
        if not self.wetted:
            yield Problem(
                "liquid.film_thickness",
                f"a film belongs to a wetted tip, not to a {self.kind}; remove it",
            )

    def sector(
        self, accelerator: Accelerator, gap: float, room: Room, film: float
    ) -> Sector | None:
        """The part of the gap that its symmetries leave, or None where the section is enough.

        Parameters
        ----------
        gap : float
            Height z of the accelerator's near face, [m].
        film : float
            Thickness of the liquid film on the tips, [m].

        Raises
        ------
        GeometryError
            The bodies do not fit together.
        """
        return None

    def whole_section(
        self,
        accelerator: Accelerator,
        tables: Mapping[str, FloatArray],
        files: Mapping[str, Any],
    ) -> tuple[Section, tuple[Problem, ...]] | None:
        """The section and what looks like a slip, where no room is to be put about it, else None.

        Parameters
        ----------
        tables : mapping of str to (n, 2) array
            Points of the profiles, by the name of their file, [m].
        files : mapping
            Drawings and meshes by the name of their file.

        Raises
        ------
        GeometryError
            The outlines do not make a section.
        """
        return None

    def apex_height(self, tables: Mapping[str, FloatArray]) -> float:
        """Height of its apex in the coordinates of its own points in ``tables``, [m]."""
        return 0.0

    def outline_uncertainty(self, tables: Mapping[str, FloatArray]) -> tuple[float, float]:
        """Of the edge's radius as measured: what its points leave open between them (relative half
        width), and what their scatter is worth (relative standard uncertainty), [-].

        Zero for an outline that is drawn."""
        return 0.0, 0.0

    def remarks(self, tables: Mapping[str, FloatArray]) -> Iterator[Problem]:
        """What looks like a slip in its points in ``tables``."""
        yield from ()

    @property
    def solid(self) -> Literal["ring", "rows", "blade"] | None:
        """What its plan, true section and view show, or None where the section shows all."""
        return None

    @property
    def solid_name(self) -> str:
        """What those pictures show, in words: "crown of 24 tips"."""
        return self.kind

    @property
    def section_shows(self) -> str:
        """What of it the plane section shows where that is not all: "one tip alone"."""
        return ""

    @property
    def pitch_length(self) -> float | None:
        """Distance between the axes of neighbouring tips, [m], or None for one alone."""
        return None

    @property
    def endless(self) -> bool:
        """Whether only the interior of its pattern of tips is solved."""
        return False

    def tip_places(self) -> tuple[tuple[float, float], ...]:
        """Axes of all its tips, (x, y), [m]; none where its section shows all of it."""
        return ()

    def members(self, tip: str) -> int:
        """How many of its tips are like the one that its sector calls by the name ``tip``."""
        return self.count

    def alone(self) -> Emitter | None:
        """The same emitter with only one tip, in the same place, or None for a single one."""
        return None

    def spaced(self, pitch: float) -> Emitter | None:
        """The same with another pitch, [m], or None where its tips cannot stand so."""
        return None

    @property
    def drawn_end(self) -> float | None:
        """Radius with which an extruded emitter's edge turns down at its ends, [m], or None."""
        return None

    @property
    def edge_half_width(self) -> float:
        """Half the width of that edge, liquid and lips together, [m]."""
        return 0.0

    def end_sector(
        self, accelerator: Accelerator, gap: float, room: Room, edge_radius: float
    ) -> Sector:
        """One of its drawn ends with a blunter edge.

        Parameters
        ----------
        gap : float
            Height z of the accelerator's near face, [m].
        edge_radius : float
            Of the blunt edge that stands for its own, [m].

        Raises
        ------
        GeometryError
            It has no drawn ends, or they cannot be built so.
        """
        raise GeometryError(f"a {self.kind} has no drawn ends")

    def assumed_end(self, opening: float | None, gap: float) -> float | None:
        """Radius with which its edge is taken to turn down at ends that are not drawn, [m].

        Parameters
        ----------
        opening : float or None
            Width of the slot that it faces, None before a closed plane, [m].
        gap : float
            [m].

        Returns
        -------
        float or None
            None where it has no ends, or is too short for ends with a middle between them.
        """
        return None

    offsets: ClassVar[tuple[str, ...]] = ()
    """Its dimensions that break the mirror symmetry of a planar section."""

    @property
    def aligned_level(self) -> tuple[str, float] | None:
        """Key and value, [m], with which an aligned emitter's liquid is drawn as deep below its
        lips as this one's lies below the mean of both, or None where it has no lips."""
        return None

    def with_end(self, radius: float) -> Emitter | None:
        """The same with drawn ends of another ``radius``, [m], or None where they would meet."""
        return None

    @property
    def base_half_width(self) -> float:
        """Half the width of the foot on the holder, [m]."""
        raise NotImplementedError

    @property
    def height(self) -> float:
        """Height of the metal apex above the holder's face, [m]."""
        raise NotImplementedError

    @property
    def holder_half_width(self) -> float:
        """Radius or half width of the holder, [m]."""
        raise NotImplementedError

    def metal_top(self, x: FloatArray) -> FloatArray:
        """Height of the metal that liquid may rest on, within the contact line, (n,) array, [m].

        Parameters
        ----------
        x : (n,) array
            Radius, or distance from the middle of a symmetric slit, [m].

        Returns
        -------
        (n,) array
            z in the frame of the section; -inf over an open bore or channel.
        """
        return np.full_like(x, -np.inf)

    def wall(self) -> Wall | None:
        """The metal along which the contact line of a fed liquid may move, or None.

        From inside the feed over the edge to the foot, on the side x >= 0 of a section that is
        its own mirror image.
        """
        return None

    def contact_starts(self) -> tuple[ContactStart, ...]:
        """Where the contact line may stand on the wall without voltage, in the wall's order."""
        return ()

    @property
    def wetting_state(self) -> str:
        """State of `contact_starts` that the design states."""
        return ""

    def outline(self, setting: Setting) -> EmitterOutline:
        """The emitter's surface.

        Parameters
        ----------
        setting : Setting
            Film, tables, and whether to draw the half or the whole.

        Raises
        ------
        GeometryError
            The dimensions do not fit together.
        """
        raise NotImplementedError

    def holder(self) -> Holder:
        """The holder under this emitter, its face at z = -height."""
        return Holder(
            self.holder_half_width, self.holder_edge_radius, self.holder_thickness, -self.height
        )

    @property
    def holder_key(self) -> str:
        """Design file key of the holder's width."""
        return "holder_width" if self.symmetry == "planar" else "holder_diameter"

    def problems(self) -> Iterator[Problem]:
        room = self.holder_half_width - self.base_half_width
        if room < self.holder_edge_radius:
            needed = 2.0 * (self.base_half_width + self.holder_edge_radius)
            yield Problem(
                f"emitter.{self.holder_key}",
                f"the holder is too narrow: the emitter's foot is "
                f"{length_text(2.0 * self.base_half_width)} wide and the holder's edge radius "
                f"{length_text(self.holder_edge_radius)} needs its own width on both sides; make "
                f"the holder at least {length_text(needed)} wide",
            )
        if self.holder_edge_radius > self.holder_thickness:
            yield Problem(
                "emitter.holder_edge_radius",
                f"the radius is larger than the holder's side, "
                f"{length_text(self.holder_thickness)}; make it smaller or the holder thicker",
            )


def holder_width(given: Mapping[str, float], foot: str, height: str) -> float:
    """A holder that is wide against the emitter's foot and grows with its height, [m].

    Parameters
    ----------
    given : mapping
        Dimensions read so far, [m].
    foot, height : str
        Keys of the foot's diameter and of the emitter's height.
    """
    rim = given.get("holder_edge_radius", 0.0)
    return 4.0 * (given.get(foot, 0.0) + rim) + given.get(height, 0.0)
