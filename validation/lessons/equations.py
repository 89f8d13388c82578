"""Equations in the lessons' texts: ``$2 √(γ / R)$``, as a terminal shows it, set as the place can.

Texts keep the notation that a terminal prints.  The page has it as MathML, through latex2mathml,
the notebook as TeX.
"""

from __future__ import annotations

import re
from collections.abc import Callable

__all__ = ["mathml", "plain", "tex", "with_equations"]

_MARKED = re.compile(r"\$([^$]+)\$")
# What has another name in TeX; the spaces end the names of commands.
_NAMES = {
    "P½": "P_{1/2}",
    "Pν": r"P_\nu ",
    "½": r"\tfrac{1}{2}",
    "₀": "_0",
    "²": "^2",
    "³": "^3",
    "°": r"^\circ",
    "−": "-",
    "·": r"\cdot ",
    "×": r"\times ",
    "α": r"\alpha ",
    "γ": r"\gamma ",
    "ε": r"\varepsilon ",
    "θ": r"\theta ",
    "π": r"\pi ",
}
_FUNCTIONS = re.compile(r"\b(arctan|cos|cot|ln)\b")


def plain(text: str) -> str:
    """A text as a terminal shows it, the marks of its equations taken off."""
    return _MARKED.sub(r"\1", text)


def with_equations(text: str, words: Callable[[str], str], equation: Callable[[str], str]) -> str:
    """A text with what stands between its equations, and its equations, each set in its way."""
    parts = _MARKED.split(text)
    return "".join((equation if k % 2 else words)(part) for k, part in enumerate(parts))


def tex(equation: str) -> str:
    r"""An equation in TeX: "2 √(γ / R)" as ``2 \sqrt{\gamma / R}``.

    Raises
    ------
    ValueError
        A bracket is open.
    """
    for mark, command in (("√", r"\sqrt"), ("^", "^")):
        equation = _grouped(equation, mark, command)
    for sign, name in _NAMES.items():
        equation = equation.replace(sign, name)
    return re.sub(r"\s+", " ", _FUNCTIONS.sub(r"\\\1 ", equation)).strip()


def mathml(equation: str) -> str:
    """An equation as a MathML element.

    Raises
    ------
    ValueError
        A bracket is open.
    """
    from latex2mathml.converter import convert

    # The converter leaves no space around the names of functions, as TeX itself does.
    spaced = re.sub(r"\\(arctan|cos|cot|ln) (?!\()", r"\\,\\\1\\,", tex(equation))
    return str(convert(spaced))


def _grouped(text: str, mark: str, command: str) -> str:
    """What a mark such as the root stands before, in brackets or a single word, in braces."""
    done, rest = "", text
    while mark in rest:
        before, rest = rest.split(mark, 1)
        inside, rest = _first(rest)
        done += f"{before}{command}{{{_grouped(inside, mark, command)}}}"
    return done + rest


def _first(text: str) -> tuple[str, str]:
    """The first group of a text, without its brackets, and what follows."""
    if not text.startswith("("):
        found = re.match(r"[\d.]+|.", text)
        end = found.end() if found else 0
        return text[:end], text[end:]
    depth = 0
    for k, sign in enumerate(text):
        depth += (sign == "(") - (sign == ")")
        if depth == 0:
            return text[1:k], text[k + 1 :]
    raise ValueError(f"a bracket of the equation '{text}' is open")
