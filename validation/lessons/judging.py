"""Reading a guess or an answer, and telling whether it is right and, if not, what may be wrong."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from conegap.geometries.quantities.errors import DesignError
from conegap.validation.lessons.lesson import Exercise, Findings, Lesson, Unit

__all__ = ["Judgement", "as_judged", "guess_from", "judge", "number_from", "words_on_guess"]

_NUMBER = re.compile(r"\s*([+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z")
_SAME_UNIT = {"um": "µm", "μm": "µm", "deg": "°", "degrees": "°", "uA": "µA", "uN": "µN",
              "percent": "%"}  # fmt: skip
# Relative; an answer worked out with pencil and slide rule is right within it.
_CLOSE = 0.02
# Factor from which it is printed without a decimal.
_FAR = 30.0
# Two numbers of few digits are the same, relative; rounding is far below.
_SAME = 1e-9
_ROUNDED = "Right as far as it goes, but rounded too far: give three digits."
# Powers of ten, femto to peta, among which a slip of a unit is sought.
_MOST_POWERS = 15


@dataclass(frozen=True)
class Judgement:
    """Whether an answer is right, and what to say to it."""

    right: bool
    words: str


def number_from(text: str, unit: Unit, what: str) -> float:
    """A number as a person writes it, in SI.

    Parameters
    ----------
    text : str
        A number in ``unit``, with or without the unit's name.
    what : str
        For the message: "the guess".

    Raises
    ------
    DesignError
        It is no number, not finite, or in another unit.
    """
    found = _NUMBER.match(text)
    wanted = f" in {unit.name}" if unit.name else ""
    value = math.nan
    if found is not None and not found.group(2).startswith(","):
        value = float(found.group(1).replace("−", "-"))
    if found is None or not math.isfinite(value):
        point = "; write the decimal point as a point" if "," in text else ""
        raise DesignError(f"{what} '{text}' is not a number; give one{wanted}, such as 4.2{point}")
    given = _SAME_UNIT.get(found.group(2), found.group(2))
    if given and given != unit.name:
        asked = f"a number in {unit.name}" if unit.name else "a number without a unit"
        raise DesignError(f"{what} '{text}': {asked} is asked for, not in '{found.group(2)}'")
    return value * unit.size


def guess_from(text: str, lesson: Lesson) -> float:
    """A guess for the question of a chapter, in SI.

    Parameters
    ----------
    text : str

    Raises
    ------
    DesignError
        It is no number, in another unit, or far outside anything that could be meant.
    """
    question = lesson.question
    value = number_from(text, question.unit, "the guess")
    if not question.low <= value <= question.high:
        raise DesignError(
            f"the guess '{text}' lies outside {question.unit.text(question.low, 3)} to "
            f"{question.unit.text(question.high, 3)}; give a number in that range"
        )
    return value


def judge(exercise: Exercise, value: float, findings: Findings) -> Judgement:
    """Whether an answer is right; a hint when it is not.

    Parameters
    ----------
    value : float
        The answer, SI.
    findings : Findings
        Of the chapter.
    """
    answer = exercise.answer(findings)
    if _near(value, answer, exercise.tolerance):
        return Judgement(True, f"Right. {exercise.solution(findings)}")
    if _rounded(value / exercise.unit.size, answer / exercise.unit.size):
        return Judgement(False, _ROUNDED)
    for slip in exercise.slips:
        if _near(value, slip.answer(findings), exercise.tolerance):
            return Judgement(False, f"Not quite. {slip.hint}")
    if _near(value, -answer, exercise.tolerance):
        return Judgement(False, "The size is right, the sign is not.")
    power = _power_of_ten(value, answer, exercise.tolerance)
    if power:
        return Judgement(
            False,
            f"The digits are right, but the answer is 10^{abs(power)} times too "
            f"{'large' if power > 0 else 'small'}: check the units.",
        )
    for factor, name in ((2.0, "2"), (math.sqrt(2.0), "√2"), (4.0, "4")):
        for size, side in ((factor, "large"), (1.0 / factor, "small")):
            if _near(value / size, answer, exercise.tolerance):
                return Judgement(False, f"Too {side} by a factor of {name}. {exercise.hint}")
    return Judgement(False, f"Not yet. {exercise.hint}")


def as_judged(exercise: Exercise, text: str, findings: Findings) -> Judgement:
    """`judge` for an answer as a person writes it.

    Parameters
    ----------
    text : str

    Raises
    ------
    DesignError
        It is no number, or in another unit.
    """
    return judge(exercise, number_from(text, exercise.unit, "the answer"), findings)


def words_on_guess(lesson: Lesson, guess: float | None, findings: Findings) -> str:
    """A sentence that sets a guess beside the computed value; "" without a guess.

    Parameters
    ----------
    guess : float or None
        SI.
    """
    if guess is None:
        return ""
    asked = next(row for row in findings.comparisons if row.asked)
    unit = lesson.question.unit
    words = f"You guessed {unit.text(guess, 3)}; the solver finds {unit.text(asked.computed)}"
    if guess <= 0.0:
        return f"{words}."
    ratio = guess / asked.computed
    if abs(ratio - 1.0) <= _CLOSE:
        return f"{words}: as close as it matters."
    if 0.5 < ratio < 2.0:
        return (
            f"{words}: your guess is {100.0 * abs(ratio - 1.0):.0f} % too "
            f"{'high' if ratio > 1.0 else 'low'}."
        )
    times, side = (ratio, "high") if ratio > 1.0 else (1.0 / ratio, "low")
    amount = f"{times:.1f}" if times < _FAR else f"{times:.0f}"
    return f"{words}: your guess is {amount} times too {side}."


def _near(value: float, wanted: float, tolerance: float) -> bool:
    return abs(value - wanted) <= tolerance * abs(wanted)


def _rounded(value: float, answer: float) -> bool:
    """Whether a value is the answer with one or two digits, both in the unit asked for."""
    return any(_near(value, float(f"{answer:.{digits}g}"), _SAME) for digits in (1, 2))


def _power_of_ten(value: float, answer: float, tolerance: float) -> int:
    """The power by which the answer is off, 0 where it is off by anything else."""
    if value == 0.0 or answer == 0.0 or value / answer < 0.0:
        return 0
    power = round(math.log10(value / answer))
    if abs(power) > _MOST_POWERS:
        return 0
    return power if _near(value, answer * 10.0**power, tolerance) else 0
