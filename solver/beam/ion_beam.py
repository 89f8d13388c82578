"""The beam of a design: where its ions go, how wide, how straight, and what they hit."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from conegap.geometries.curves.curve import BoolArray, FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import ConvergenceError
from conegap.geometries.quantities.notebook import brief
from conegap.solver.beam.charged_flow import ChargedFlow, charged_flow
from conegap.solver.beam.clearance import narrowest_clearance, weighted_quantile
from conegap.solver.beam.landing import Landing
from conegap.solver.beam.landing_spots import LandingSpot, landing_spots
from conegap.solver.beam.launch import IonStarts, LaunchModel, edge_currents, ion_starts
from conegap.solver.beam.lockstep import Job
from conegap.solver.beam.trajectories import Swarm, Trajectories
from conegap.solver.field.charged import ChargedLevel
from conegap.solver.field.electrodes import electrode_voltages
from conegap.solver.field.interpolation import FieldAtPoints, field_at_points
from conegap.solver.field.solution import FieldSolution

__all__ = ["Beam", "BeamCharge", "LandingSpot", "beam_of", "compute_beam"]

# Paths. The angles need far fewer, but the outermost of 400 stands for 0.5 % of a round beam.
_IONS = 400
# Paths per tube that carries charge: 50 tubes or 400 leave the needle's half angle within 0.001
# degrees.
_IONS_PER_TUBE = 4
# Of the shares of all fates from 1: rounding of some hundred additions, and room.
_LOST = 1e-9


@dataclass(frozen=True)
class BeamCharge:
    """What the beam's own charge does.

    Parameters
    ----------
    current : float
        Of the beam; for a sheet per length of slit, [A] or [A/m].
    bare_half_angle : float
        Half angle that would hold 95 % of what leaves without charge, nan where nothing leaves,
        [rad].
    bare_filling : float or None
        Of the accelerator's opening without charge, [-].
    added_angle : float
        Half angle with charge less without, [rad].
    potential : float
        Greatest potential that the charge adds, [V].
    edge_field_share : float
        Greatest field on the drawn edges with charge over without: of the drawn surface, not of
        the cusp, see `conegap.solver.beam.charged_flow`, [-].
    rounds : int
        Of charge and paths, [-].
    change : float
        Of the charge in the last round, [-].
    density : (n,) array
        Charge of every control volume of that mesh, [C] or [C/m].
    """

    current: float
    bare_half_angle: float
    bare_filling: float | None
    added_angle: float
    potential: float
    edge_field_share: float
    rounds: int
    change: float
    density: FloatArray


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
    charge : BeamCharge or None
        None where no current is known: the paths are then those of single ions.
    energy_error : float
        Largest deviation from energy conservation over the voltage, [-].
    notes : tuple of str
    seconds : float
        Time of the computation with what was computed side by side, [s].
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
    charge: BeamCharge | None
    energy_error: float
    notes: tuple[str, ...]
    seconds: float

    __repr__ = brief

    @property
    def thrust_share(self) -> float:
        """Thrust of what leaves over that of all that is emitted in a parallel beam, [-].

        What lands on an electrode pushes nothing: 0 where nothing leaves.
        """
        return self.left * self.thrust_factor if self.left > 0.0 else 0.0

    def as_dict(self) -> dict[str, Any]:
        """Keys of the results contract about the beam; None stands for what does not exist."""
        charge = self.charge
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
            "space_charge_angle_rad": None if charge is None else _finite(charge.added_angle),
            "space_charge_potential_V": None if charge is None else charge.potential,
            "space_charge_edge_field_share": None if charge is None else charge.edge_field_share,
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
    emitter_voltage: float | None = None,
    emission: LaunchModel | None = None,
    ions: int = _IONS,
    level: int = -1,
    charge: FloatArray | None = None,
) -> Job[Beam]:
    """Job to follow the ions of a design through a field that is already solved.

    Run it with `conegap.solver.beam.lockstep.followed`.

    The current of several edges is shared in proportion to how far each is above its own rigid
    onset, after a straight line of current over voltage.

    Parameters
    ----------
    solution : FieldSolution
        Of ``design.section()``.
    current : float or None
        Of the emitter in this section: of one tip, or of the whole slit; ions without charge when
        left out, [A].
    emitter_voltage : float or None
        Emitter against ground, less what a ballast takes; the design's own when left out, [V].
    emission : LaunchModel or None
        The usual one when left out.
    ions : int
        Number of paths, [-].
    level : int
        Which mesh of the sequence, the finest when left out, [-].
    charge : (n,) array or None
        From which the rounds begin, of the same mesh, [C] or [C/m].

    Raises
    ------
    DesignError
        The edges hold ions back or have no radius.
    ConvergenceError
        There is no steady beam of this current.
    """
    voltages = electrode_voltages(design, solution.electrodes)
    if emitter_voltage is not None:
        voltages["emitter"] = emitter_voltage
    shares, notes = edge_currents(design, solution, voltages)
    if solution.section.symmetry == "planar":
        # Without a length of the edge nothing is known of the current per length.
        length = design.emitter.line_length
        current = None if current is None or length is None else current / length
    return (
        yield from beam_of(
            solution,
            voltages,
            mass=design.metal.ion_mass,
            edge_shares=shares,
            current=current,
            emission=emission,
            ions=ions,
            level=level,
            charge=charge,
            notes=notes,
        )
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
    level: int = -1,
    charge: FloatArray | None = None,
    notes: tuple[str, ...] = (),
) -> Job[Beam]:
    """Job to follow the ions of any solved section.

    Parameters
    ----------
    voltages : mapping
        Of each electrode, [V].
    mass : float
        Of an ion, [kg].
    edge_shares : dict of edge name to share of the current or None
        Equal when left out, [-].
    current : float or None
        Whose charge acts on the paths, [A], or [A/m] when planar.
    emission, ions, level, charge
        As for `compute_beam`.
    notes : tuple of str
        To be kept with the result.

    Raises
    ------
    DesignError
        The edges hold ions back or have no radius.
    ConvergenceError
        There is no steady beam of this current, or ions were lost count of.
    """
    started = time.perf_counter()
    emission = emission or LaunchModel()
    section = solution.section
    edge_shares = edge_shares or {edge.name: 1.0 / len(section.edges) for edge in section.edges}

    field = field_at_points(solution, voltages, level)
    half = field.mirrored
    flow = None
    if current is not None and current > 0.0:

        def launch(field: FieldAtPoints) -> IonStarts:
            tubes = max(ions // _IONS_PER_TUBE, 2)
            return ion_starts(solution, field, voltages, edge_shares, emission, tubes)

        flow = yield from charged_flow(
            ChargedLevel.of(solution, level), voltages, mass, launch, current, charge=charge
        )
        field = flow.field
    starts = ion_starts(solution, field, voltages, edge_shares, emission, ions)
    (paths,) = yield [Swarm(field, starts.positions, starts.velocities(mass), mass)]
    share, fate = starts.shares, _fates(section, paths)
    steering, rms, wide, thrust = _angles(paths.end_angle, share, fate == "left", half)
    shares = {name: float(share[fate == name].sum()) for name in _FATES}
    if not abs(sum(shares.values()) - 1.0) <= _LOST:
        raise ConvergenceError(
            "ions were lost: the shares that left, landed and are under way do not add up to 1",
            residual=abs(sum(shares.values()) - 1.0),
            tolerance=_LOST,
        )
    return Beam(
        emission=emission,
        starts=starts,
        trajectories=paths,
        edge_shares=edge_shares,
        **shares,
        spots=landing_spots(section, paths, share),
        steering_angle=steering,
        rms_half_angle=rms,
        half_angle_95=wide,
        filling=narrowest_clearance(section, paths.paths, share),
        thrust_factor=thrust,
        charge=None if flow is None else _charge(flow, voltages, edge_shares, wide, half),
        energy_error=float(paths.energy_error.max()),
        notes=(*_assumptions(emission), *notes),
        seconds=time.perf_counter() - started,
    )


def _finite(value: float) -> float | None:
    """None in place of what JSON does not know."""
    return value if math.isfinite(value) else None


def _charge(
    flow: ChargedFlow,
    voltages: Mapping[str, float],
    edge_shares: Mapping[str, float],
    wide: float,
    half: bool,
) -> BeamCharge:
    """What the charge of a flow does to a beam of a half angle [rad]."""
    alone, share, section = flow.alone, flow.starts.shares, flow.level.solution.section
    bare = _angles(alone.end_angle, share, _fates(section, alone) == "left", half)[2]
    none = np.zeros_like(flow.charge)
    return BeamCharge(
        current=flow.current,
        bare_half_angle=bare,
        bare_filling=narrowest_clearance(section, alone.paths, share),
        added_angle=wide - bare,
        potential=float(flow.potential.max()),
        edge_field_share=max(
            flow.level.edge_field(name, voltages, flow.potential, flow.charge)
            / flow.level.edge_field(name, voltages, none, none)
            for name, part in edge_shares.items()
            if part > 0.0
        ),
        rounds=flow.rounds,
        change=flow.change,
        density=flow.charge,
    )


_FATES = ("left", "intercepted", "returned", "unfinished")


def _fates(section: Section, paths: Trajectories) -> NDArray[np.str_]:
    """What became of every ion, from where it landed."""
    return np.array([_fate(spot, section.gap) for spot in paths.landing])


def _fate(spot: Landing | None, gap: float) -> str:
    if spot is None or not math.isfinite(spot.position[0] + spot.position[1]):
        return "unfinished"
    if spot.name == "accelerator":
        return "intercepted"
    return "left" if spot.name in ("chamber", "outer") and spot.position[1] > gap else "returned"


def _angles(
    angles: FloatArray, shares: FloatArray, gone: BoolArray, half: bool
) -> tuple[float, float, float, float]:
    """Steering angle, root mean square and 95 % half angle about it, and mean cosine."""
    if not gone.any():
        return (math.nan,) * 4
    angle, weight = angles[gone], shares[gone] / shares[gone].sum()
    mean = 0.0 if half else float(weight @ angle)
    rms = math.sqrt(float(weight @ (angle - mean) ** 2))
    wide = weighted_quantile(np.abs(angle - mean), weight, 0.95)
    return mean, rms, wide, float(weight @ np.cos(angle))


def _assumptions(emission: LaunchModel) -> tuple[str, ...]:
    return (
        "Assumed: ions leave normal to the drawn surface, within "
        f"{math.degrees(emission.half_angle):.3g} deg of the normal at the apex, with the cosine "
        "of that angle.",
        f"They are followed from {emission.start_distance:.2g} edge radii off the surface; the "
        "field of the emitting cusp itself, which spreads them further, is left out.",
    )
