"""The beam of a design: where its ions go, how wide, how straight, and what they hit."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.design.design import Design
from conegap.solver.beam.clearance import narrowest_clearance, weighted_quantile
from conegap.solver.beam.landing import Landing
from conegap.solver.beam.landing_spots import LandingSpot, landing_spots
from conegap.solver.beam.launch import IonStarts, LaunchModel, edge_currents, ion_starts
from conegap.solver.beam.space_charge import SpaceChargeSpread, space_charge_spread
from conegap.solver.beam.trajectories import Trajectories, trace
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.interpolation import field_at_points
from conegap.solver.field.solution import FieldSolution
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = ["Beam", "LandingSpot", "beam_of", "beam_rows", "compute_beam"]

# Paths; a quarter of them or four times as many move no angle and no share by more than 1e-5.
_IONS = 200
# Share of the current that may land on the accelerator; common practice, no source.
_MOST_INTERCEPTED = 0.01
# Beam half-width over available aperture half-width; common practice, no source.
_MOST_FILLED = 0.5
_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Beam:
    """Ions from the emitting edges to where they end.

    Fractions are of the emitted current; angles are to the z axis, of the ions that leave, and
    nan where none does.

    Parameters
    ----------
    emission : Emission
        What is assumed about the start.
    edge_shares : mapping of edge name to share of the current, [-]
    left, intercepted, returned, unfinished : float
        Left past the accelerator, landed on it, landed elsewhere before it, still under way
        after the last step, [-].
    spots : tuple of LandingSpot
        On the accelerator, the greatest share first.
    steering_angle : float
        Mean angle, positive towards +x; 0 for a section that is half of its shape, [rad].
    rms_half_angle : float
        Root mean square about the steering angle, in the plane of the section for a slit, [rad].
    half_angle_95 : float
        Half angle about the steering angle that holds 95 % of what leaves, [rad].
    filling : float or None
        Greatest half width (95 % of the current) of the beam within the accelerator over the
        distance from its middle to the metal; None for a closed accelerator, [-].
    thrust_factor : float
        Mean cosine of the angle of what leaves: thrust over that of a parallel beam of the same
        current, [-].
    space_charge : SpaceChargeSpread or None
        None where no current is known or nothing leaves.
    energy_error : float
        Largest deviation from energy conservation over the voltage, [-].
    notes : tuple of str
    seconds : float
        Time of the computation, [s].
    """

    emission: LaunchModel
    starts: IonStarts
    trajectories: Trajectories
    edge_shares: Mapping[str, float]
    left: float
    intercepted: float
    returned: float
    unfinished: float
    spots: tuple[LandingSpot, ...]
    steering_angle: float
    rms_half_angle: float
    half_angle_95: float
    filling: float | None
    thrust_factor: float
    space_charge: SpaceChargeSpread | None
    energy_error: float
    notes: tuple[str, ...]
    seconds: float

    @property
    def thrust_share(self) -> float:
        """Thrust of what leaves over that of all that is emitted in a parallel beam, [-].

        What lands on an electrode pushes nothing: 0 where nothing leaves.
        """
        return self.left * self.thrust_factor if self.left > 0.0 else 0.0

    def as_dict(self) -> dict[str, Any]:
        """Keys of the results contract about the beam; None stands for what does not exist."""
        spread = self.space_charge
        return {
            "intercepted_fraction": self.intercepted,
            "returned_fraction": self.returned,
            "unfinished_fraction": self.unfinished,
            "beam_leaving_fraction": self.left,
            "beam_steering_angle_rad": _finite(self.steering_angle),
            "beam_rms_half_angle_rad": _finite(self.rms_half_angle),
            "beam_half_angle_95_rad": _finite(self.half_angle_95),
            "beam_opening_filled": None if self.filling is None else _finite(self.filling),
            "thrust_factor": _finite(self.thrust_factor),
            "emission_half_angle_rad": self.emission.half_angle,
            "space_charge_angle_rad": None if spread is None else spread.angle,
            "space_charge_valid": None if spread is None else spread.valid,
            "landing_spots": [
                {
                    "share": spot.share,
                    "first_m": list(spot.first),
                    "last_m": list(spot.last),
                    "energy_J": spot.energy,
                    "angle_rad": spot.angle,
                }
                for spot in self.spots
            ],
        }


def compute_beam(
    design: Design,
    solution: FieldSolution,
    *,
    current: float | None = None,
    ions: int = _IONS,
) -> Beam:
    """Follow the ions of a design through a field that is already solved.

    The current of several edges is shared in proportion to how far each is above its own rigid
    onset, after a straight line of current over voltage.

    Parameters
    ----------
    solution : FieldSolution
        Of ``design.section()``.
    current : float or None
        Of the whole emitter, for the spread by the beam's own charge; the supply's current limit
        when left out, [A].
    ions : int
        Number of paths, [-].

    Raises
    ------
    DesignError
        The edges hold ions back or have no radius.
    """
    voltages = electrode_voltages(design, solution.electrodes)
    shares, notes = edge_currents(design, solution, voltages)
    if current is None:
        current = design.supply.current_limit
    if current is not None and design.emitter.line_length is not None:
        current = current / design.emitter.line_length
    return beam_of(
        solution,
        voltages,
        mass=design.metal.ion_mass,
        edge_shares=shares,
        current=current,
        ions=ions,
        notes=notes,
    )


def beam_of(
    solution: FieldSolution,
    voltages: Mapping[str, float],
    *,
    mass: float,
    edge_shares: dict[str, float] | None = None,
    current: float | None = None,
    emission: LaunchModel | None = None,
    ions: int = _IONS,
    notes: tuple[str, ...] = (),
) -> Beam:
    """Follow the ions of any solved section.

    Parameters
    ----------
    voltages : mapping
        Of each electrode, [V].
    mass : float
        Of an ion, [kg].
    edge_shares : dict of edge name to share of the current or None
        Equal when left out, [-].
    current : float or None
        For the spread by the beam's own charge, [A], or [A/m] when planar.
    emission, ions
        As for `compute_beam`.
    notes : tuple of str
        To be kept with the result.

    Raises
    ------
    DesignError
        The edges hold ions back or have no radius.
    """
    started = time.perf_counter()
    emission = emission or LaunchModel()
    section = solution.section
    edge_shares = edge_shares or {edge.name: 1.0 / len(section.edges) for edge in section.edges}
    field = field_at_points(solution, voltages)
    starts = ion_starts(solution, field, voltages, edge_shares, emission, ions)
    paths = trace(field, starts.positions, starts.velocities(mass), mass)
    share = starts.shares
    fate = np.array([_fate(spot, section.gap) for spot in paths.landing])
    gone = fate == "left"
    half = field.mirrored
    steering, rms, wide, thrust = _angles(paths.end_angle[gone], share[gone], half)
    return Beam(
        emission=emission,
        starts=starts,
        trajectories=paths,
        edge_shares=edge_shares,
        left=float(share[gone].sum()),
        intercepted=float(share[fate == "intercepted"].sum()),
        returned=float(share[fate == "returned"].sum()),
        unfinished=float(share[fate == "unfinished"].sum()),
        spots=landing_spots(section, paths, share),
        steering_angle=steering,
        rms_half_angle=rms,
        half_angle_95=wide,
        filling=narrowest_clearance(section, paths.paths, share),
        thrust_factor=thrust,
        space_charge=_spread(
            paths, gone, steering, wide, mass, current, section.symmetry == "planar"
        ),
        energy_error=float(paths.energy_error.max()),
        notes=(*_assumptions(emission), *notes),
        seconds=time.perf_counter() - started,
    )


def beam_rows(design: Design, beam: Beam) -> tuple[ReviewRow, ...]:
    """Rows of the gap review about the beam; none for a closed accelerator, which ends it."""
    if beam.filling is None:
        return ()
    name = design.accelerator.kind.replace("_", " ")
    spread = beam.space_charge
    charge, proved = "the beam's own charge adds less than 0.3 of its angle", True
    if spread is None or not spread.valid:
        # The charge can only widen the beam: paths without it are a lower bound.
        charge, proved = "a lower bound, since the beam's own charge widens it", False
    return (
        review_row(
            "share of the beam that lands on the accelerator",
            beam.intercepted,
            _MOST_INTERCEPTED,
            "",
            f"{charge}; {_PRACTICE}",
            f"open the {name}, bring it nearer or centre it on the emitter, or draw less current",
            span=None if proved else (beam.intercepted, math.inf),
        ),
        review_row(
            "beam half-width / available aperture half-width",
            beam.filling,
            _MOST_FILLED,
            "",
            f"twice the half width; {charge}; {_PRACTICE}",
            f"open the {name}, centre it on the emitter, or draw less current",
            span=None if proved else (beam.filling, math.inf),
        ),
    )


def _finite(value: float) -> float | None:
    """None in place of what JSON does not know."""
    return value if math.isfinite(value) else None


def _fate(spot: Landing | None, gap: float) -> str:
    """What became of an ion, from where it landed."""
    if spot is None:
        return "unfinished"
    if spot.name == "accelerator":
        return "intercepted"
    return "left" if spot.name in ("chamber", "outer") and spot.position[1] > gap else "returned"


def _angles(angle: FloatArray, share: FloatArray, half: bool) -> tuple[float, float, float, float]:
    """Steering angle, root mean square and 95 % half angle about it, and mean cosine."""
    if not len(angle):
        return (math.nan,) * 4
    weight = share / share.sum()
    mean = 0.0 if half else float(weight @ angle)
    rms = math.sqrt(float(weight @ (angle - mean) ** 2))
    wide = weighted_quantile(np.abs(angle - mean), weight, 0.95)
    return mean, rms, wide, float(weight @ np.cos(angle))


def _spread(
    paths: Trajectories,
    gone: FloatArray,
    steering: float,
    wide: float,
    mass: float,
    current: float | None,
    sheet: bool,
) -> SpaceChargeSpread | None:
    """Spread by the beam's own charge along the path nearest to its 95 % edge."""
    numbers = np.nonzero(gone)[0]
    if current is None or not len(numbers):
        return None
    edge = numbers[np.argmin(np.abs(np.abs(paths.end_angle[numbers] - steering) - wide))]
    path = paths.paths[edge]
    return space_charge_spread(
        path,
        paths.times[edge],
        np.abs(path[:, 0]),
        mass,
        current=current,
        half_angle=wide,
        sheet=sheet,
    )


def _assumptions(emission: LaunchModel) -> tuple[str, ...]:
    return (
        "Assumed: ions leave normal to the drawn surface, within "
        f"{math.degrees(emission.half_angle):.3g} deg of the normal at the apex, with the cosine "
        "of that angle.",
        f"They are followed from {emission.start_distance:.2g} edge radii off the surface; the "
        "field of the emitting cusp itself, which spreads them further, is left out.",
    )
