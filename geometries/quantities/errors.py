"""The refusals of conegap: every error a person can meet, below one root.

A message says what is wrong, where, the value, the rule and the remedy.  The command line turns
`DesignError` into exit code 2 (bad input, nothing written) and `ComputationError` into exit
code 3 (no number reported).
"""

from __future__ import annotations

from typing import Literal

__all__ = [
    "Cause",
    "ComputationError",
    "ConegapError",
    "ConvergenceError",
    "DesignError",
    "GeometryError",
    "MeshError",
    "OutputError",
    "SharpEdgeError",
]


Cause = Literal[
    "",
    "crossing",
    "diverged",
    "drawn back",
    "folded",
    "insensitive",
    "misfit",
    "missing library",
    "no room",
    "no turn",
    "not finite",
    "not monotone",
    "singular",
    "too large",
]
"""What a program can tell a refusal by where its class and keys do not; most need none."""


class ConegapError(Exception):
    """Root of all refusals.

    Parameters
    ----------
    message : str
        What is wrong, where, the value, the rule and the remedy.
    keys : tuple of str
        Keys of the design file, or options of the command line, at fault: "emitter.tip_radius",
        "--goal"; empty where none is.
    cause : str
        One of `Cause`.
    """

    def __init__(self, message: str = "", *, keys: tuple[str, ...] = (), cause: Cause = "") -> None:
        super().__init__(message)
        self.keys = keys
        self.cause = cause


class DesignError(ConegapError):
    """The design file, a table it names or a command line value is wrong: exit code 2."""


class GeometryError(DesignError):
    """The electrodes of a design cannot be built as drawn (overlap, contact, no room)."""


class SharpEdgeError(DesignError):
    """An emitting edge has no radius, so its field does not exist."""


class OutputError(DesignError):
    """A result cannot be written where the user asked for it."""


class ComputationError(ConegapError):
    """The computation did not reach a result that can be trusted: exit code 3."""


class MeshError(ComputationError):
    """The region could not be divided into control volumes."""


class ConvergenceError(ComputationError):
    """A linear solve or a mesh sequence missed its tolerance.

    Parameters
    ----------
    message : str
        What did not converge, and where.
    residual : float
        Relative residual reached, [-].
    tolerance : float
        Relative residual required, [-].
    """

    def __init__(self, message: str, *, residual: float, tolerance: float) -> None:
        super().__init__(f"{message}: relative residual {residual:.2e}, allowed {tolerance:.1e}")
        self.residual = residual
        self.tolerance = tolerance
