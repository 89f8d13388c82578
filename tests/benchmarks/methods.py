"""Every method that takes part, with its settings from coarse to fine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from benchmarks.measured import Run
from benchmarks.problems import Problem

__all__ = ["METHODS", "Method", "missing"]


@dataclass(frozen=True)
class Method:
    """A way to solve the problems.

    Parameters
    ----------
    name : str
    module : str
        Module of this package that holds its ``solve``.
    needs : tuple of str
        Packages that are imported before the clock starts.
    settings : tuple of float
        From coarse to fine: numbers of meshes for conegap, else spacings, [-].
    options : tuple of (str, value)
        Further arguments of ``solve``.
    """

    name: str
    module: str
    needs: tuple[str, ...]
    settings: tuple[float, ...]
    options: tuple[tuple[str, Any], ...] = ()

    def solver(self) -> Callable[[Problem, float], Run]:
        """The function that solves a problem at a setting."""
        module = import_module(f"benchmarks.{self.module}")
        return partial(module.solve, **dict(self.options))


_NG = ("netgen.geom2d", "ngsolve")
_SK = ("netgen.geom2d", "skfem", "scipy.sparse.linalg")
_FI = ("netgen.geom2d", "fipy")

METHODS = (
    Method("conegap", "with_conegap", ("netgen.geom2d", "fipy"), (2, 3, 4)),
    Method("scikit-fem P1", "with_skfem", _SK, (1, 0.5, 0.25, 0.125), (("order", 1),)),
    Method("scikit-fem P2", "with_skfem", _SK, (1, 0.5, 0.25, 0.125), (("order", 2),)),
    Method("NGSolve order 2", "with_ngsolve", _NG, (1, 0.5, 0.25, 0.125), (("order", 2),)),
    Method("NGSolve order 4", "with_ngsolve", _NG, (1.4, 1, 0.7, 0.5, 0.25), (("order", 4),)),
    Method("NGSolve order 6", "with_ngsolve", _NG, (2, 1.4, 1, 0.7, 0.5), (("order", 6),)),
    Method("NGSolve order 8", "with_ngsolve", _NG, (2, 1.4, 1, 0.7), (("order", 8),)),
    Method("FiPy, own triangles", "with_fipy", _FI, (1, 0.5, 0.25, 0.125)),
)


def missing(method: Method) -> str:
    """Why a method cannot take part, or ""."""
    packages = [need.partition(".")[0] for need in method.needs]
    absent = [package for package in packages if find_spec(package) is None]
    if not absent:
        return ""
    return f"{method.name}: not run, {absent[0]} is missing (pip install 'conegap[benchmark]')"
