"""The refusals of conegap: every error a person can meet, below one root.

A message says what is wrong, where, the value, the rule and the remedy.  The command line turns
`DesignError` into exit code 2 (bad input, nothing written) and `ComputationError` into exit
code 3 (no number reported).
"""

from __future__ import annotations

__all__ = [
    "ComputationError",
    "ConegapError",
    "ConvergenceError",
    "DesignError",
    "GeometryError",
    "MeshError",
    "OutputError",
    "SharpEdgeError",
]


class ConegapError(Exception):
    """Root of all refusals."""


class DesignError(ConegapError):
    """The design file, a table it names or a command line value is wrong: exit code 2.

    Parameters
    ----------
    message : str
        What is wrong, where, the value, the rule and the remedy.
    keys : tuple of str
        Keys of the design file at fault, "emitter.tip_radius"; empty where none is.
    """

    def __init__(self, message: str = "", *, keys: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.keys = keys


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
