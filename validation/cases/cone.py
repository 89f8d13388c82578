"""The emitting cone: its balance under its own charge, its slope, against independent solutions."""

from __future__ import annotations

import math

from conegap.validation.cases.row import Case, Row

__all__ = ["cone_cases"]

_RESPONSE = (
    "linear response of Taylor's cone to its first charge, integrated from the axis "
    "(validation/exact/charged_cone.py)"
)
_MOMENTUM = "balance of momentum: field stress on a sphere = pull of the surface + momentum of ions"


def _slope_rows() -> list[Row]:
    from conegap.solver.cone.charged_flow import charged_cone
    from conegap.solver.cone.current_law import NEAR_CONE_SLOPE
    from conegap.solver.cone.taylor import TAYLOR_AXIS, TAYLOR_HALF_ANGLE
    from conegap.validation.exact.charged_cone import first_charge_slope, taylor_axis_potential

    exact = first_charge_slope()
    cone = charged_cone(TAYLOR_HALF_ANGLE - math.radians(0.01))
    nearly = cone.reduced_current / (cone.voltage_ratio - 1.0)
    return [
        Row("Taylor's cone, voltage on its axis", "G. I. Taylor, Proc R Soc A 280, 383 (1964); "
            "Legendre functions by scipy", "V / sqrt(gamma r / eps0) [-]", taylor_axis_potential(),
            TAYLOR_AXIS, 1e-9),
        Row("cone under its own charge, slope of the current", _RESPONSE,
            "0.01 degrees below Taylor's angle [-]", exact, nearly, 4e-4,
            note="the slope rises by 3 % per degree"),
        Row("cone under its own charge, slope of the current", _RESPONSE,
            "constant in use [-]", exact, NEAR_CONE_SLOPE, 1e-6),
    ]  # fmt: skip


def _momentum_rows() -> list[Row]:
    from conegap.solver.cone.charged_flow import charged_cone, charged_flow
    from conegap.validation.exact.charged_cone import carried_pull

    rows = []
    for degrees in (48.0, 42.0, 35.0):
        cone = charged_cone(math.radians(degrees))
        flow = charged_flow(cone)
        pull = 2.0 * math.pi * math.sin(cone.half_angle) * math.cos(cone.half_angle)
        carried = carried_pull(flow, cone.half_angle)
        rows.append(
            Row(f"cone under its own charge, {degrees:g} deg", _MOMENTUM,
                "pull over gamma times slant length [-]", pull, carried, 2e-6)
        )  # fmt: skip
    return rows


def _evaporation_rows() -> list[Row]:
    from scipy.constants import elementary_charge

    from conegap.geometries.metals.metal import metal
    from conegap.solver.cone.evaporation import evaporation_field
    from conegap.validation.exact.evaporation import hump_free_field

    hump = "image force and field, hump found by search (validation/exact/evaporation.py)"
    rows = []
    for name, charge, volts in (("gallium", 1, 4.56), ("tin", 2, 16.14)):
        energy = volts * elementary_charge
        rows.append(
            Row(f"evaporation field, {name}, charge {charge}", hump, "field [V/m]",
                hump_free_field(energy, charge), evaporation_field(energy, charge=charge), 1e-9)
        )  # fmt: skip
    found = metal("Ga")
    constants = (found.sublimation_energy_constant, found.first_ionisation_energy_constant,
                 found.work_function_constant)  # fmt: skip
    sublimation, first, work = (one.value if one else math.nan for one in constants)
    warm = evaporation_field(
        (sublimation + first - work) * elementary_charge, temperature=873.0, rate=1e3
    )
    rows.append(
        Row("evaporation field, gallium at 600 degC, 1e3 ions a second and atom",
            "T. Sakurai, R. J. Culbertson and others (1979), ionization of liquid metals, gallium: "
            "Ga+ at about 0.5 V/angstrom, abstract read", "field [V/m]", 5e9, warm, 0.25,
            note="the field is said to be approximate; a factor of ten in the vibrations moves the "
            "computed one by 12 %, 0.1 eV in the work function by 7 %")
    )  # fmt: skip
    return rows


def _sublimation_rows() -> list[Row]:
    from conegap.geometries.metals.metal import metal
    from conegap.validation.exact.evaporation import heat_of_vaporisation

    rows = []
    for symbol in ("Cs", "Rb", "K", "In", "Ga", "Hg", "Sn", "Bi", "Au"):
        found = metal(symbol)
        constant = found.sublimation_energy_constant
        rows.append(
            Row(f"sublimation energy of {found.name}",
                "slope of the vapour pressure law at the melting point (Clausius and Clapeyron)",
                "energy per atom [eV]", heat_of_vaporisation(found),
                constant.value if constant else math.nan, 0.11 if symbol == "Bi" else 0.06,
                note="the heat of fusion, 2 to 5 %, and the heat capacities stand between them; "
                "bismuth's vapour holds pairs of atoms besides")
        )  # fmt: skip
    return rows


def _time_rows() -> list[Row]:
    from conegap.solver.cone.growth import (
        STEP_ONSET,
        STEP_TIME,
        ConeTimes,
        fastest_growth_rate,
    )
    from conegap.validation.exact.cone_growth import (
        greatest_growth_rate,
        least_step,
        ramp_runaway,
        runaway_from_rest,
    )

    runaway = "runaway past a turning point, integrated (validation/exact/cone_growth.py)"
    stress, tension, density = 8.8541878e-12 * 1e16, 0.718, 6077.0
    rate = fastest_growth_rate(stress=stress, surface_tension=tension, density=density)
    rows = [
        Row("fastest wave of flat gallium at 1e8 V/m",
            "L. Tonks, Phys Rev 48, 562 (1935), dispersion relation, maximum found by search",
            "growth rate [1/s]",
            greatest_growth_rate(stress=stress, surface_tension=tension, density=density), rate,
            1e-9),
        Row("cone at a voltage put on at once", runaway, "time over sqrt(rho a^3 / gamma) [-]",
            runaway_from_rest(), STEP_TIME, 1e-4),
        Row("least voltage put on at once that forms a cone", runaway, "V / V0 [-]", least_step(),
            STEP_ONSET, 1e-5),
    ]  # fmt: skip
    for inertial, viscous, tolerance in ((1e-6, 0.0, 1e-5), (0.0, 1e-6, 1e-5)):
        given = ConeTimes(inertial, viscous)
        what = "mass" if inertial else "viscosity"
        rows.append(
            Row(f"ramp of 1 ms to the onset, {what} alone", runaway, "V / V0 - 1 [-]",
                ramp_runaway(inertial, viscous, 1e-3), given.overshoot(1e-3), tolerance)
        )  # fmt: skip
    both = ConeTimes(1e-6, 1e-6)
    rows.append(
        Row("ramp of 1 ms to the onset, mass and viscosity", runaway, "V / V0 - 1 [-]",
            both.overshoot(1e-3), ramp_runaway(1e-6, 1e-6, 1e-3), 0.0, "at most",
            note="the sum of both is an upper bound")
    )  # fmt: skip
    return rows


def _pull_rows() -> list[Row]:
    from conegap.solver.cone.current_law import APEX_SHARE, APEX_SPREAD
    from conegap.solver.cone.taylor import TAYLOR_AXIS, TAYLOR_HALF_ANGLE
    from conegap.validation.boundary_elements.cone_in_gap import capillary_gap, needle_gap
    from conegap.validation.exact.charged_cone import taylor_axis_potential

    angle, source = TAYLOR_HALF_ANGLE, "boundary elements (validation/boundary_elements)"
    taylor = needle_gap(cone_angle=angle, shank_angle=angle, gap=200.0).solve()
    own = 1.0 / math.sqrt(math.sin(angle))
    rows = [
        Row("boundary elements alone: Taylor's cone before a plane far away",
            "G. I. Taylor, Proc R Soc A 280, 383 (1964)",
            "voltage that the cone takes at its extinction [sqrt(gamma R / eps0)]",
            taylor_axis_potential() * own, taylor.cone_voltage, 3e-3,
            note="the plane stands at 150 slant lengths"),
    ]  # fmt: skip
    for name, gap in (
        ("needle of 15 deg before a plane", needle_gap(
            cone_angle=angle, shank_angle=math.radians(15.0), gap=200.0)),
        ("tube of twice its bore before a plane", capillary_gap(
            cone_angle=angle, outer=2.0, gap=10.0)),
        ("plate before a plane", capillary_gap(cone_angle=angle, outer=300.0, gap=30.0)),
    ):  # fmt: skip
        found = gap.solve()
        share = APEX_SHARE * math.sqrt(TAYLOR_AXIS * own / found.extinction_voltage)
        rows += [
            Row(f"pull that ions take from a cone, {name}", source,
                "over the momentum of the ions [-]", found.momentum_share, share,
                APEX_SPREAD - 1.0, note="spread of the law over fifteen gaps"),
            Row(f"boundary elements alone: the same, {name}", "charge that the ions induce",
                "pull by reciprocity [-]", found.direct_share, found.momentum_share, 0.015,
                note="charge next to the apex is cut off in the induced charge"),
        ]  # fmt: skip
    return rows


# Invented; a tube of twice its bore before a plane, without feed pressure.
_TUBE = """
[emitter]
kind = "capillary"
bore = "50 um"
outer_diameter = "100 um"
rim_radius = "2 um"
length = "12 mm"
contact_line = "bore"

[accelerator]
kind = "plane"
gap = "0.5 mm"

[liquid]
metal = "gallium"
temperature = "313 K"
contact_angle = "40 deg"

[voltages]
emitter = "7 kV"
accelerator = "0 V"

[supply]
voltage_limit = "12 kV"
"""


def _extinction_rows() -> list[Row]:
    from scipy.constants import epsilon_0

    from conegap.geometries.design.design import Design
    from conegap.solver.cone.taylor import TAYLOR_HALF_ANGLE
    from conegap.solver.liquid.attached_cone import extinction
    from conegap.solver.liquid.liquid_section import liquid_section
    from conegap.validation.boundary_elements.cone_in_gap import capillary_gap

    design = Design.from_text(_TUBE)
    liquid = liquid_section(design)
    (place,) = (
        (loop, index)
        for loop, row in enumerate(design.section().loops)
        for index, boundary in enumerate(row)
        if boundary.name == "liquid"
    )
    tension, radius = 0.7, liquid.contact[0]
    found = extinction(design, surface=place, contact=liquid.contact, surface_tension=tension)
    gap = capillary_gap(
        cone_angle=TAYLOR_HALF_ANGLE, outer=2.0, length=480.0,
        gap=0.5e-3 / radius - 1.0 / math.tan(TAYLOR_HALF_ANGLE),
    )  # fmt: skip
    scale = math.sqrt(tension * radius / epsilon_0)
    return [
        Row("extinction of a cone on a tube before a plane",
            "boundary elements (validation/boundary_elements)", "voltage [V]",
            scale * gap.solve(60).extinction_voltage, found.voltage, 0.02,
            note="a cone rounded at a tenth and a twentieth of its base on two meshes, carried on "
            "to none, scatters by 0.5 %; the rim's rounding takes 0.4 %")
    ]  # fmt: skip


def cone_cases() -> list[Case]:
    """Cases of the emitting cone."""
    return [
        Case("charged cone, slope", _slope_rows),
        Case("charged cone, momentum", _momentum_rows),
        Case("extinction of a cone", _extinction_rows),
        Case("pull that ions take", _pull_rows),
        Case("evaporation field", _evaporation_rows),
        Case("sublimation energy", _sublimation_rows),
        Case("time of a cone", _time_rows),
    ]
