"""``conegap metals``: properties of the liquid metals, with laws, ranges and sources."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from conegap.geometries.metals.metal import Metal
    from conegap.solver.cone.evaporation import CuspField

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "show the properties of the liquid metals with their sources"
EXAMPLES = """\
examples:
  conegap metals                                every metal at its melting point
  conegap metals indium --temperature "500 K"   one metal: laws, ranges, sources, hazards
  conegap metals indium --json                  the same for a script, in SI
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="name or symbol of a metal")
    parser.add_argument(
        "--temperature", metavar="T", help='with its unit, such as "450 K" or "180 degC"'
    )
    parser.add_argument(
        "--json", action="store_true", help="print the properties as JSON in place of the table"
    )
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    from importlib.metadata import version

    from conegap.geometries.metals.metal import metal, metal_names
    from conegap.geometries.quantities.errors import DesignError
    from conegap.geometries.quantities.quantity import TEMPERATURE, QuantityError, read_quantity
    from conegap.solver.common.writing import json_text

    temperature = None
    if arguments.temperature is not None:
        try:
            temperature = read_quantity(arguments.temperature, TEMPERATURE).value
        except QuantityError as problem:
            raise DesignError(f"--temperature {arguments.temperature}: {problem}") from problem
    names = metal_names() if arguments.name is None else (arguments.name,)
    chosen = [metal(name) for name in names]
    if arguments.json:
        results = [
            _results(one, temperature, may_be_solid=arguments.name is None) for one in chosen
        ]
        sys.stdout.write(json_text({"conegap_version": version("conegap"), "metals": results}))
    elif arguments.quiet:
        return 0
    elif arguments.name is None:
        _overview(chosen, temperature)
    else:
        _one(chosen[0], temperature)
    return 0


def _results(one: Metal, temperature: float | None, *, may_be_solid: bool) -> dict[str, Any]:
    """Everything known of a metal in SI; below its melting point only what does not need it."""
    from conegap.solver.cone.evaporation import cusp_field

    at = _usual(one) if temperature is None else temperature
    liquid = at >= one.melting_point
    if not liquid and may_be_solid:
        return {"name": one.name, "symbol": one.symbol, "temperature_K": at, "liquid": False,
                "melting_point_K": one.melting_point, "properties": []}  # fmt: skip
    cusp = cusp_field(one, at)
    return {
        "name": one.name,
        "symbol": one.symbol,
        "temperature_K": at,
        "liquid": liquid,
        "melting_point_K": one.melting_point,
        "properties": [
            {"name": record.key, **{k: v for k, v in record.columns().items() if k != "key"}}
            for record in one.records(at)
        ],
        "apex": None if cusp is None else cusp.as_dict(),
        "laws": dict(_laws(one)),
        "notes": list(one.range_notes(at)),
        "hazards": one.hazards,
    }


def _usual(one: Metal) -> float:
    """Melting point, or room temperature where that is higher, [K]."""
    return max(one.melting_point, 293.15)


def _overview(metals: list[Metal], temperature: float | None) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.cone.evaporation import cusp_field
    from conegap.solver.report.tables import property_text

    rows = []
    for one in metals:
        at = one.melting_point if temperature is None else temperature
        row = [one.symbol, one.name, f"{one.melting_point:.2f} K"]
        if at < one.melting_point:
            row += ["solid"] * 3
        else:
            known = {record.key: record for record in one.records(at)}
            row += [
                property_text(known[key].value, known[key].unit) if key in known else "not known"
                for key in ("surface_tension", "density", "vapour_pressure")
            ]
        constants = {record.key: record for record in one.records(one.melting_point)}
        row += [
            property_text(constants[key].value, constants[key].unit)
            if key in constants
            else "not known"
            for key in ("first_ionisation_energy", "work_function")
        ]
        cusp = cusp_field(one, max(at, one.melting_point))
        row.append("not known" if cusp is None else f"{cusp.field / 1e9:.2g} V/nm")
        rows.append(row)
    where = "melting point" if temperature is None else f"{temperature:g} K"
    out = console()
    out.print(
        plain_table(
            (
                "",
                "metal",
                "melts at",
                "surface tension",
                "density",
                "vapour pressure",
                "ionises at",
                "work function",
                "cusp field",
            ),
            rows,
            f"Liquid metals at {'their ' if temperature is None else ''}{where}",
        )
    )
    out.print("\nconegap metals NAME gives laws, ranges, uncertainties and sources.")


def _field(value: float) -> str:
    return f"{value / 1e9:.3g} V/nm"


def _apex(one: Metal, cusp: CuspField) -> list[tuple[str, str, str]]:
    """Evaporation field and apex radius in print."""
    ion = one.ion + ("+" if cusp.charge == 1 else f"{cusp.charge}+")
    share = f"± {100.0 * cusp.relative_uncertainty:.0f} %, image-hump model"
    across = "" if cusp.atoms_across is None else f", {cusp.atoms_across:.0f} atoms across"
    return [
        (f"evaporation field of {ion}, cold", _field(cusp.field), share),
        ("the same at this temperature", _field(cusp.warm_field), share),
        ("radius that holds it", f"{cusp.radius * 1e9:.2g} nm{across}",
         f"a factor of {cusp.radius_factor:.2g} either way"),
    ]  # fmt: skip


def _one(one: Metal, temperature: float | None) -> None:
    from conegap.solver.commands.terminal import console, plain_table
    from conegap.solver.cone.evaporation import cusp_field
    from conegap.solver.report.tables import metal_table

    at = _usual(one) if temperature is None else temperature
    table = metal_table(one, at)
    out = console()
    # Sources are long: they stand below the table, one line each.
    heads = (*table.heads[:4], table.heads[5])
    rows = [(*row[:4], row[5]) for row in table.rows]
    out.print(plain_table(heads, rows, f"{one.name} ({one.symbol}) at {at:.2f} K"))
    out.print()
    for row in table.rows:
        out.print(f"{row[0]}: {row[4]}", soft_wrap=True)
    laws = _laws(one)
    if laws:
        out.print()
        out.print(plain_table(("law", "T in K"), laws))
    cusp = cusp_field(one, at)
    if cusp is not None:
        out.print()
        out.print(plain_table(("apex of an emitting cone", "value", "known to"), _apex(one, cusp)))
    for note in one.range_notes(at):
        out.print(f"note: {note}", soft_wrap=True)
    if one.hazards:
        out.print(f"\n{one.hazards}", soft_wrap=True)


def _laws(one: Metal) -> list[tuple[str, str]]:
    """The laws of temperature in print."""
    from conegap.geometries.metals.metal import LinearLaw, VapourPressureLaw, ViscosityLaw

    found = []
    for name, law, unit in (
        ("surface tension", one.surface_tension_law, "N/m"),
        ("density", one.density_law, "kg/m³"),
        ("viscosity", one.viscosity_law, "mPa s"),
        ("vapour pressure", one.vapour_pressure_law, "atm"),
    ):
        if isinstance(law, LinearLaw):
            words = f"{law.value:g}{_term(law.slope)} (T - {law.temperature:g}) {unit}"
        elif isinstance(law, ViscosityLaw):
            shift = f"(T - {law.shift:g})" if law.shift else "T"
            words = f"log10 of it in {unit} = {law.a1:g}{_term(law.a2)} / {shift}"
        elif isinstance(law, VapourPressureLaw):
            words = f"log10 of it in {unit} = {law.a:g}{_term(law.b)} / T"
            words += f"{_term(law.c)} log10 T" if law.c else ""
            words += f"{_term(law.d)} T" if law.d else ""
        elif law is not None:
            words = "ideal mixture of its components' vapours"
        else:
            continue
        found.append((name, words))
    return found


def _term(coefficient: float) -> str:
    """A coefficient with its sign as it stands behind another term."""
    return f" {'-' if coefficient < 0.0 else '+'} {abs(coefficient):g}"
