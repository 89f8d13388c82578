"""What a lesson is made of: idea, question, computation, pictures, comparison, exercises.

A chapter asks for a guess before it computes, computes with the solver, and sets guess, computed
and exact or published value side by side.  Numbers are in SI inside; a `Unit` says how they are
asked for and printed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from conegap.geometries.curves.curve import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "Comparison",
    "Exercise",
    "Findings",
    "Kind",
    "Lesson",
    "Question",
    "Sketch",
    "Slip",
    "Step",
    "Table",
    "Unit",
]

Kind = Literal["exact", "published", "measured", "computed elsewhere", "formula", "common practice"]
"""What a computed number is compared with; a formula is a limit, a fit or an approximation."""


@dataclass(frozen=True)
class Unit:
    """A unit in which a number is asked for and printed.

    Parameters
    ----------
    name : str
        As printed: "kV", "%", "" for a pure number.
    size : float
        The unit in SI.
    """

    name: str
    size: float

    def text(self, value: float, digits: int = 4) -> str:
        """A number in SI as text with the unit: "4.247 kV".

        Parameters
        ----------
        value : float
            SI.
        digits : int
            Significant digits, [-].
        """
        number = f"{value / self.size:#.{digits}g}".removesuffix(".")
        if "e" in number:
            number = f"{value / self.size:.{digits}g}"
        space = "" if self.name == "°" else " "
        return f"{number}{space}{self.name}".strip().replace("-", "−")


@dataclass(frozen=True)
class Comparison:
    """A computed number beside an exact, published or other one.

    Parameters
    ----------
    quantity : str
    computed : float
        By the solver in this run, SI.
    reference : float
        What it is compared with, SI.
    kind : str
        What the reference is: "published" only where the value itself was read in print.
    source : str
        Author, journal, year, or the method; says where it is from memory.
    asked : bool
        Whether the chapter's question was about this number.
    error : float
        Relative error that the solver itself states, nan where it states none, [-].
    digits : int
        Printed, [-].
    """

    quantity: str
    unit: Unit
    computed: float
    reference: float
    kind: Kind
    source: str
    asked: bool = False
    error: float = float("nan")
    digits: int = 4

    @property
    def difference(self) -> float:
        """Computed over reference, less one, [-]."""
        return self.computed / self.reference - 1.0


@dataclass(frozen=True)
class Findings:
    """What one run of a chapter computed.

    Parameters
    ----------
    numbers : mapping of str to float, SI
    comparisons : tuple of Comparison
    series : mapping of str to (n,) or (n, 2) array, SI
        For the pictures.
    words : mapping of str to tuple of str
        Names that belong to the entries of a series.
    """

    numbers: Mapping[str, float]
    comparisons: tuple[Comparison, ...]
    series: Mapping[str, FloatArray] = field(default_factory=dict)
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """What is to be guessed before anything is computed.

    Parameters
    ----------
    text : str
    low, high : float
        A guess outside is refused as a slip of the pen, SI.
    """

    text: str
    unit: Unit
    low: float
    high: float


@dataclass(frozen=True)
class Table:
    """Rows of text under heads."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Sketch:
    """A picture of the findings.

    Parameters
    ----------
    name : str
        File name without its end, lower-case letters and underscores.
    draw : callable (Axes, Findings)
    caption, alt : callable (Findings) -> str
        Below the picture, and what it shows for someone who cannot see it.
    height : float
        Of the figure at a width of 4.6 in, [in].
    """

    name: str
    draw: Callable[[Axes, Findings], object]
    caption: Callable[[Findings], str]
    alt: Callable[[Findings], str]
    height: float = 3.4


@dataclass(frozen=True)
class Step:
    """One thing to see in the findings.

    Parameters
    ----------
    heading : str
    words : callable (Findings) -> tuple of str
        Paragraphs; every number in them is from the findings.
    table : callable (Findings) -> Table, or None
    """

    heading: str
    words: Callable[[Findings], tuple[str, ...]]
    sketch: Sketch | None = None
    table: Callable[[Findings], Table] | None = None


@dataclass(frozen=True)
class Slip:
    """A wrong answer that is often given, and what to say to it."""

    answer: Callable[[Findings], float]
    hint: str


@dataclass(frozen=True)
class Exercise:
    """A question with an answer that can be checked.

    Parameters
    ----------
    text : str
    answer : callable (Findings) -> float
        SI; from what the run computed, or from a formula of the chapter.
    tolerance : float
        Relative, [-].
    hint : str
        For an answer that is wrong in no known way.
    solution : callable (Findings) -> str
    slips : tuple of Slip
    """

    text: str
    unit: Unit
    answer: Callable[[Findings], float]
    tolerance: float
    hint: str
    solution: Callable[[Findings], str]
    slips: tuple[Slip, ...] = ()


@dataclass(frozen=True)
class Lesson:
    """A chapter of the course.

    Parameters
    ----------
    name : str
        By which the command line calls it.
    title, summary : str
    idea : tuple of str
        Paragraphs before the question.
    compute : callable (guess in SI or None) -> Findings
        Runs the solver.
    steps : tuple of Step
    exercises : tuple of Exercise
    reading : tuple of str
        Sources, with what was seen of them.
    task : str
        A design to change, with a prediction to make first.
    """

    name: str
    title: str
    summary: str
    idea: tuple[str, ...]
    question: Question
    compute: Callable[[float | None], Findings]
    steps: tuple[Step, ...]
    exercises: tuple[Exercise, ...]
    reading: tuple[str, ...]
    task: str
