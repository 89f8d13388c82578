"""The ends of a slit beside its middle, for the drawn design and for changed ones.

A changed design shifts both: its middle as its plane section says, its ends by the ratio of end to
middle as well, which a rough model gives.  Lips, channel and liquid are not in that model, so that
only changes of the electrodes' large dimensions are solved; two designs with the same model have
the same ratio.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ComputationError, ConegapError, GeometryError
from conegap.geometries.solids.sector import Sector
from conegap.solver.common.parallel_map import parallel_map
from conegap.solver.common.progress import Progress
from conegap.solver.field3d.end_model import EndModel, end_model, solve_end
from conegap.solver.field3d.slit_end import SlitEnd, slit_end_or_why
from conegap.solver.studies.variants import Changes, changed_design

__all__ = ["ENDS", "Ends", "ends_of"]

# Of a dimension, for its power.
_STEP = 0.25
ENDS = "ends of the slit"
"""Place of what begins at a slit's ends."""


@dataclass(frozen=True)
class Ends:
    """Ends that emit before the middle; build with `ends_of`.

    Parameters
    ----------
    drawn : SlitEnd
        Of the design as drawn.
    progress : callable or None
    """

    design: Design
    drawn: SlitEnd
    progress: Progress | None = None

    @property
    def factor(self) -> float:
        """Field at the ends over that in the middle, [-]."""
        return self.drawn.factor

    @property
    def error(self) -> float:
        """Relative numerical error of the factor, [-]."""
        return self.drawn.error / self.drawn.factor

    def shifts(self, variants: Sequence[Changes]) -> list[float | str]:
        """Onset of the ends over that of the middle, of variants over the drawn design, [-].

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)

        Returns
        -------
        list of float or str
            A text says why the ends of a variant could not be solved.

        Raises
        ------
        ComputationError
            The drawn end could not be solved roughly, or a process that was solving ended early.
        """
        drawn = self._model(self.design)
        models = [drawn, *(self._of(changes) for changes in variants)]
        wanted: list[_Model] = []
        for one in models:
            if not isinstance(one, str) and one not in wanted:
                wanted.append(one)
        if len(wanted) == 1:
            # No variant changes the model.
            return [one if isinstance(one, str) else 1.0 for one in models[1:]]
        solved = parallel_map(_rough, wanted, progress=self.progress, what="slit's ends")
        if isinstance(solved[0], str):
            raise ComputationError(f"the slit's end could not be solved: {solved[0]}")
        found: list[float | str] = []
        for one in models[1:]:
            if isinstance(one, str):
                found.append(one)
                continue
            value = solved[wanted.index(one)]
            found.append(value if isinstance(value, str) else solved[0] / value)
        return found

    def powers(self, keys: Sequence[str]) -> dict[str, float]:
        """How the ratio of end to middle goes with dimensions: d ln(shift) / d ln(dimension), [-].

        For tolerances, which are too small for the scatter of a rough model, 0.4 %: over a step of
        a quarter it leaves 0.02 of the power.  A dimension of zero, or one that cannot grow by a
        quarter, has none.

        Parameters
        ----------
        keys : sequence of str
            Of the design file.

        Raises
        ------
        ComputationError
            As `shifts`.
        """
        drawn = {key: self.design.dimension(key).value for key in keys}
        large = [key for key in keys if drawn[key] != 0.0]
        shifts = self.shifts([((key, (1.0 + _STEP) * drawn[key]),) for key in large])
        found = dict.fromkeys(keys, 0.0)
        for key, shift in zip(large, shifts, strict=True):
            if not isinstance(shift, str):
                found[key] = math.log(shift) / math.log1p(_STEP)
        return found

    def near_shifts(self, variants: Sequence[Changes]) -> list[float]:
        """As `shifts`, by the powers of the dimensions: for changes of some per cent, which would
        drown in the scatter of the rough model, [-].

        Parameters
        ----------
        variants : sequence of ((key, SI value), ...)

        Raises
        ------
        ComputationError
            As `shifts`.
        """
        known = {one.key for one in self.design.dimensions()}
        powers = self.powers(sorted({k for one in variants for k, _ in one if k in known}))
        return [self.near_shift(one, powers) for one in variants]

    def near_shift(self, changes: Changes, powers: Mapping[str, float]) -> float:
        """That of one variant, [-].

        Parameters
        ----------
        changes : ((key, SI value), ...)
        powers : mapping of str to float
            See `powers`.
        """
        logs = (
            powers[key] * math.log(value / self.design.dimension(key).value)
            for key, value in changes
            if powers.get(key)
        )
        return math.exp(sum(logs))

    def _of(self, changes: Changes) -> _Model | str:
        try:
            return self._model(changed_design(self.design, changes))
        except ConegapError as error:
            return str(error)

    def _model(self, design: Design) -> _Model:
        """A radius that is not drawn stays as it was assumed for the drawn design."""
        model = end_model(design, design.emitter.drawn_end or self.drawn.end_radius)
        if model is None:
            raise GeometryError("the roundings of both ends meet")
        slit, plate = model.slit, model.accelerator
        sector = slit.end_sector(plate, design.gap, design.room(), model.radius)
        return _Model(sector, design, model)


@dataclass(frozen=True)
class _Model:
    """What is solved; two with the same sector are one."""

    sector: Sector
    design: Design = field(compare=False)
    model: EndModel = field(compare=False)


def _rough(one: _Model) -> float:
    return float(solve_end(one.design, one.model)[0].share.max())


def ends_of(
    design: Design, progress: Progress | None = None
) -> tuple[Ends | None, tuple[str, ...]]:
    """The ends of a slit where they emit before its middle, or None, and why they were not solved.

    Parameters
    ----------
    progress : callable or None

    Raises
    ------
    MeshError, ConvergenceError, ComputationError
        The ends as drawn could not be solved; assumed ones are left out.
    """
    found, why = slit_end_or_why(design, curve=False, progress=progress)
    if found is None or found.factor <= 1.0:
        return None, why
    note = f"the ends emit first, at {1.0 / found.factor:.3g} times the onset of the middle" + (
        ", with an assumed end radius" if found.assumed else ""
    )
    return Ends(design, found, progress), (note,)
