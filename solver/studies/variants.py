"""Variants of a design, solved two at a time.

The coarse mesh of the design as drawn is moved to every variant that it can follow (`morph`), so
that what is left between neighbouring points is the shift itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import partial
from typing import TypeVar

from conegap.geometries.design.design import Design, Dimension
from conegap.geometries.quantities.errors import DesignError, MeshError
from conegap.solver.common.parallel_map import parallel_map
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.moved_tetrahedra import SectorMeshes
from conegap.solver.mesh.coarse_mesh import CoarseMesh, coarse_mesh
from conegap.solver.mesh.morph import morphed
from conegap.solver.onset.rigid import RigidOnset, rigid_onset

__all__ = [
    "Changes",
    "Finished",
    "all_follow",
    "changed_design",
    "drawn_mesh",
    "onset_of_variants",
    "solve_variants",
    "tolerance_ends",
]

Finished = Callable[[int, RigidOnset | str], None]
"""Called with (number of the variant, its result) as soon as a variant is solved."""

Changes = tuple[tuple[str, float], ...]
"""Changes that make a variant of a design: ((key, SI value), ...); () is the design as drawn."""

Result = TypeVar("Result")

_TIP_ONLY = ("emitter.tip_radius",)


def changed_design(design: Design, changes: Changes) -> Design:
    """A design with some values changed.

    Parameters
    ----------
    changes : ((key, SI value), ...)

    Raises
    ------
    DesignError
        The changed design is refused.
    """
    return design.with_values(changes)


def _rigid(
    design: Design,
    changes: Changes,
    *,
    meshes: int,
    accuracy: float,
    factor: float | None,
    near: CoarseMesh | None,
    near_sector: SectorMeshes | None,
) -> RigidOnset:
    """Rigid onset of a variant; a given factor of the third dimension holds for changes of the
    tips' radius and film, to which it is blind (measured: 4e-5 over a factor four in radius)."""
    kept = all(key in _TIP_ONLY or key.startswith("liquid.") for key, _ in changes)
    return rigid_onset(
        changed_design(design, changes),
        accuracy=accuracy,
        meshes=meshes,
        factor=factor if kept else None,
        near=near,
        near_sector=near_sector,
    )


def drawn_mesh(design: Design) -> CoarseMesh | None:
    """The coarse mesh of the design as drawn, to be moved to its variants, or None."""
    with suppress(MeshError):
        return coarse_mesh(design.section()).prepared()
    return None


def tolerance_ends(dimensions: Iterable[Dimension]) -> list[Changes]:
    """Both ends of every tolerance as variants, the lower one first.

    Parameters
    ----------
    dimensions : iterable of Dimension
        With a tolerance each.
    """
    return [
        ((d.key, d.value + sign * float(d.tolerance or 0.0)),)
        for d in dimensions
        for sign in (-1.0, 1.0)
    ]


def onset_of_variants(
    design: Design,
    variants: Iterable[Changes],
    *,
    meshes: int = 2,
    accuracy: float = 1e-3,
    factor: float | None = None,
    near: CoarseMesh | None = None,
    near_sector: SectorMeshes | None = None,
    progress: Progress | None = None,
    what: str = "solving variants",
    finished: Finished | None = None,
) -> list[RigidOnset | str]:
    """Rigid onset of every variant of a design, two at a time.

    Parameters
    ----------
    variants : iterable of ((key, SI value), ...)
        Changes that make each variant.
    meshes : int
        Meshes of every solve: 2 for shifts and curves, 3 where each value must carry an
        observed order, [-].
    accuracy : float
        As for `rigid_onset`, [-].
    factor : float or None
        Factor of the third dimension on two meshes, of the design as drawn, see
        `conegap.solver.field3d.sector_factor.SectorOnset`, [-].
    near : CoarseMesh or None
        Of the design as drawn where it is at hand; made where it is not.
    near_sector : SectorMeshes or None
        Of the design as drawn, where it is solved in three dimensions.
    progress : callable or None
        Called after every variant.
    what : str
        What the progress is called.
    finished : callable or None
        Gets every result as soon as it is there, in this process, so that it can be kept.

    Returns
    -------
    list of RigidOnset or str
        In the order of the variants; a text says why a variant has no onset.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    wanted = list(variants)
    if near is None and wanted:
        near = drawn_mesh(design)
    return solve_variants(
        partial(
            _rigid,
            meshes=meshes,
            accuracy=accuracy,
            factor=factor,
            near=near,
            near_sector=near_sector,
        ),
        design,
        wanted,
        progress=progress,
        what=what,
        finished=finished,
        brief=design.sector() is None,
    )


def all_follow(design: Design, variants: Iterable[Changes]) -> bool:
    """Whether the mesh of the design as drawn can be moved to every variant.

    Parameters
    ----------
    variants : iterable of ((key, SI value), ...)
    """
    near = drawn_mesh(design)
    if near is None:
        return False
    try:
        for changes in variants:
            morphed(near, changed_design(design, changes).section())
    except (MeshError, DesignError):
        return False
    return True


def solve_variants(
    solve: Callable[[Design, Changes], Result],
    design: Design,
    variants: Iterable[Changes],
    *,
    progress: Progress | None = None,
    what: str = "solving variants",
    finished: Callable[[int, Result | str], None] | None = None,
    brief: bool = False,
) -> list[Result | str]:
    """Any result of every variant of a design, two at a time.

    Parameters
    ----------
    solve : callable
        Takes the design and the changes that make a variant; a function of a module, since it
        runs in other processes.
    variants : iterable of ((key, SI value), ...)
    progress, what, finished
        As for `onset_of_variants`.
    brief : bool
        See `parallel_map`.

    Returns
    -------
    list
        In the order of the variants; a text says why a variant has no result.

    Raises
    ------
    ComputationError
        A process that was solving ended early.
    """
    return parallel_map(
        partial(_variant, solve, design),
        list(variants),
        progress=progress,
        what=what,
        finished=finished,
        brief=brief,
    )


def _variant(
    solve: Callable[[Design, Changes], Result], design: Design, changes: Changes
) -> Result:
    return solve(design, changes)
