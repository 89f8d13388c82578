"""Table and sentences of a report about the emitting cone."""

from __future__ import annotations

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import length_words, percent, time_text
from conegap.solver.operation.cone_state import ConeState
from conegap.solver.report.tables import Table

__all__ = ["cone_table", "cone_words"]


def cone_table(assessment: Assessment) -> Table:
    """Figures of one cone, each with how well it is known.

    Parameters
    ----------
    assessment : Assessment
    """
    cone, metal = assessment.operation.cone, assessment.design.metal
    slopes = cone.slopes
    if not metal.gives_ions:
        return Table(("figure of one cone", "value", "known to"), tuple(_time_rows(cone)))
    rows = [
        ("slope of the current, without the feed", _slope(slopes.slope),
         "a factor of 3"),
        ("the same by other models",
         f"{_slope(slopes.across_gap_slope)} and {_slope(slopes.near_cone_slope)}",
         "charge as between plates; all of the cone"),
    ]  # fmt: skip
    rows += _apex_rows(cone, metal.ion)
    rows += _time_rows(cone)
    return Table(("figure of one cone", "value", "known to"), tuple(rows))


def _apex_rows(cone: ConeState, ion: str) -> list[tuple[str, str, str]]:
    cusp, density, rise = cone.cusp, cone.current_density, cone.heat_rise
    if cusp is None or density is None or rise is None:
        return []
    sign = ion + ("⁺" if cusp.charge == 1 else "²⁺")
    across = "" if cusp.atoms_across is None else f"; {cusp.atoms_across:.0f} atoms across"
    return [
        (f"field that evaporates {sign}", f"{cusp.warm_field / 1e9:.2g} V/nm",
         f"± {percent(cusp.relative_uncertainty)}, k = 1"),
        ("apex radius that holds it", length_words(float(f"{cusp.radius:.2g}")),
         f"a factor of {cusp.radius_factor:.2g}{across}"),
        ("current density there", f"{density:.0e} A/m²".replace("e+", "e"),
         "order of magnitude"),
        ("heat of the current there", f"at most {_short(max(rise, 0.1), 1)} K",
         "bound, without electrons"),
    ]  # fmt: skip


def _time_rows(cone: ConeState) -> list[tuple[str, str, str]]:
    ramp = cone.slow_ramp
    if cone.times is None or ramp is None:
        return []
    rate = f"{_short(ramp / 1e6, 1)} kV/ms" if ramp >= 1e6 else f"{_short(ramp / 1e3, 1)} kV/s"
    return [
        ("time in which a cone forms", time_text(float(f"{cone.times.formation:.1g}")),
         "a factor of 3"),
        ("ramp whose overshoot is below 1 %", f"slower than {rate}", "a factor of 3"),
    ]  # fmt: skip


def cone_words(assessment: Assessment) -> tuple[str, ...]:
    """What the figures of the cone rest on.

    Parameters
    ----------
    assessment : Assessment
    """
    cone = assessment.operation.cone
    words = [
        "Other models: plane law named after G. L. R. Mair, derived here; Boltachev, Zubarev and "
        "Zubareva, arXiv:1201.3743, abstract read, approach only.",
    ]
    if cone.cusp is None:
        words.append(
            "The metal's sublimation energy is not known, so no evaporation field is given."
        )
    else:
        words.append("Evaporation field: image-hump model (E. W. Mueller, 1956).")
    if cone.times is None:
        words.append("The metal's density is not known, so no time of growth is given.")
    else:
        words.append(
            "A voltage switched on faster can start a cone some per cent below the static onset."
            if cone.viscous
            else "Time: from the liquid's mass alone, its viscosity is not known."
        )
    return tuple(words)


def _slope(value: float) -> str:
    return f"{_short(value * 1e9, 2)} nA/V"


def _short(value: float, digits: int) -> str:
    """A number of few digits, written out."""
    return f"{float(f'{value:.{digits}g}'):g}"
