"""What all accelerators share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.profile import Profile
from conegap.geometries.curves.section import DimensionMark, Symmetry
from conegap.geometries.parts.opening import RingSlot, RoundHole, StraightSlot
from conegap.geometries.parts.part import Part
from conegap.geometries.parts.setting import Arrangement, Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline

__all__ = ["Accelerator", "gap_field", "gap_mark"]


def gap_field() -> Any:
    """The field of every accelerator that stands at a drawn distance."""
    return described(
        "axial distance from the metal apex of the emitter to the accelerator's near face", "1 mm"
    )


def gap_mark(gap: float) -> DimensionMark:
    """Dimension line of the gap, whose length is ``gap``, [m]."""
    return DimensionMark("accelerator.gap", length_text(gap), (0.0, 0.0), (0.0, gap))


class Accelerator(Part):
    """An accelerator of any kind, SI.

    Whatever the rest of the package must know about a kind it asks here; a kind overrides the
    answers that differ.
    """

    kind: str

    symmetry: ClassVar[Symmetry | None] = None
    """The only symmetry it is made for, or None when it suits both."""
    closed: ClassVar[bool] = False
    """Whether it closes the region at the gap's end over the whole width."""
    offsets: ClassVar[tuple[str, ...]] = ()
    """Its dimensions that break the mirror symmetry of a planar section."""
    askew_keys: ClassVar[tuple[str, ...]] = ()
    """Its dimensions that put it beside the axis of a round emitter, or askew."""
    faces: ClassVar[tuple[Arrangement, ...]] = ("single",)
    """Arrangements of tips that it can stand before."""

    @property
    def noun(self) -> str:
        """What sentences call it: "aperture plate"."""
        return self.kind.replace("_", " ")

    def symmetric(self, tables: Mapping[str, FloatArray]) -> bool:
        """Whether a planar accelerator is its own mirror image."""
        return True

    @property
    def askew(self) -> tuple[float, float]:
        """Distance of its opening's middle from the emitter's axis, [m], and tilt, [rad]."""
        return 0.0, 0.0

    def distance(self, emitter_apex: float, tables: Mapping[str, FloatArray]) -> float:
        """Axial distance from the emitter's metal apex to the near face, [m].

        Parameters
        ----------
        emitter_apex : float
            Height of the apex in the coordinates of a measured emitter, [m].
        tables : mapping of str to (n, 2) array
            Points of the profiles, [m].
        """
        raise NotImplementedError

    @property
    def tip_may_enter(self) -> bool:
        """Whether the file says that the emitter is meant to reach into it."""
        return False

    def closed_profile(
        self, tables: Mapping[str, FloatArray], *, revolved: bool
    ) -> tuple[Profile, str] | None:
        """Its measured outline that may enclose an emitter, and its file, or None.

        Parameters
        ----------
        tables : mapping of str to (n, 2) array
            Points of the profiles, [m].
        revolved : bool
            The emitter is turned about the axis.

        Raises
        ------
        GeometryError
            The outline does not close, or a gap is given too.
        """
        return None

    def round_hole(self, gap: float) -> RoundHole | None:
        """The hole over every tip, where that is what it has, for a ``gap``, [m]."""
        return None

    def straight_slot(self, gap: float) -> StraightSlot | None:
        """The slot between its two blades, where that is what it has, for a ``gap``, [m]."""
        return None

    def with_slot_length(self, length: float) -> Accelerator | None:
        """The same with a slot of another ``length``, [m], or None where it has no such slot."""
        return None

    def ring_slot(self, gap: float) -> RingSlot | None:
        """Its ring-shaped slot, where that is what it has, for a ``gap``, [m]."""
        return None

    @property
    def opening(self) -> float | None:
        """Width or diameter of the opening through which a beam leaves, [m], if there is one."""
        return None

    @property
    def depth(self) -> float:
        """Axial thickness of the electrode, [m]."""
        return 0.0

    @property
    def touches_side(self) -> bool:
        """Whether its metal reaches the side of the region."""
        return False

    @property
    def half_width(self) -> float:
        """Largest distance of its metal from x = 0, [m]."""
        return 0.0

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        """The accelerator's outlines.

        Parameters
        ----------
        gap : float
            Height z of the near face, [m].
        setting : Setting
            Tables, and whether to draw the half or the whole.

        Raises
        ------
        GeometryError
            A rounding does not fit.
        """
        raise NotImplementedError
