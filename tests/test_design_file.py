"""Design files: units, provenance, and one helpful refusal per wrong input.

Oracle: INVARIANT throughout (the text of a file and the value it must give; the rule a bad value
breaks), unless a test says otherwise.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import pint
import pytest
from conftest import refused
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design, example_names, quantity_for
from conegap.geometries.design.kinds import ACCELERATORS, EMITTERS, SECTIONS
from conegap.geometries.design.starters import starter, starter_kinds, starter_tables
from conegap.geometries.parts.part import BASES
from conegap.geometries.quantities.errors import DesignError, GeometryError
from conegap.geometries.quantities.files import examples_folder
from conegap.geometries.quantities.quantity import (
    ANGLE,
    FIELD,
    KINDS,
    LENGTH,
    TEMPERATURE,
    VOLTAGE,
    QuantityError,
    as_text,
    read_quantity,
)

NAMES = (
    "array",
    "capillary",
    "crown",
    "drawn",
    "meshed",
    "needle",
    "profile",
    "slit",
    "slit_end",
)
Changed = Callable[..., Design]


def text_with(kind: str, /, **changes: str) -> str:
    """An example's text with keys set to other TOML values; `section__key` adds a key."""
    text = starter(kind)
    for key, value in changes.items():
        section, _, name = key.rpartition("__")
        if section:
            text, count = re.subn(
                rf"(?m)^\[{section}\].*$", rf"\g<0>\n{name} = {value}", text, count=1
            )
        else:
            text, count = re.subn(rf"(?m)^{name} = .*$", f"{name} = {value}", text, count=1)
        assert count == 1, key
    return text


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for kind in ("profile", "drawn", "meshed"):
        for name, table in starter_tables(kind):
            (tmp_path / name).write_text(table, encoding="utf-8")
    return tmp_path


@pytest.fixture
def changed(folder: Path) -> Changed:
    def build(kind: str, /, **changes: str) -> Design:
        return Design.from_text(text_with(kind, **changes), name=f"{kind}.toml", folder=folder)

    return build


# --- quantities --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("4 um", LENGTH, 4e-6),
        ("4um", LENGTH, 4e-6),
        ("4 µm", LENGTH, 4e-6),
        ("-2.5e-1 mm", LENGTH, -2.5e-4),
        ("15 deg", ANGLE, math.pi / 12.0),
        ("20 MV/m", FIELD, 2e7),
        ("4 kV/mm", FIELD, 4e6),
        ("157 degC", TEMPERATURE, 430.15),
        ("-1 kV", VOLTAGE, -1e3),
    ],
)
def test_a_text_with_unit_becomes_si(text: str, kind: object, value: float) -> None:
    assert_allclose(read_quantity(text, kind).value, value, rtol=1e-12, atol=0)  # type: ignore[arg-type]


def test_units_read_without_the_library_of_units_are_its_own() -> None:
    """TABLE (pint's registry): every unit that is offered or printed has the library's factor."""
    registry = pint.UnitRegistry()
    for kind in KINDS:
        for unit in {kind.si, *kind.units, *(unit for _, unit in kind.printed)} - {"degC"}:
            exact = registry.Quantity(7.0, unit).to(kind.si).magnitude
            assert_allclose(read_quantity(f"7 {unit}", kind).value, exact, rtol=1e-15, atol=0)


@pytest.mark.parametrize("value", [1e-9, 4e-6, 1e-4, 2.5e-4, 1e-3, 0.03])
def test_a_printed_length_reads_back(value: float) -> None:
    assert_allclose(read_quantity(as_text(value, LENGTH), LENGTH).value, value, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (4, ("4 um", "mm", "nm")),
        ("4", ("4 um",)),
        ("4 V", ("'V'", "um", "mm")),
        ("4 parsnip", ("'parsnip'", "um")),
        ("nan um", ("nan um",)),
        ("inf um", ("inf um",)),
        (float("nan"), ("finite",)),
        ("1e400 m", ("1e400 m",)),
        ("0,5 mm", ("decimal point",)),
        ("about 4 um", ("1 um",)),
        (True, ("True", "1 um")),
        ([4], ("[4]", "1 um")),
    ],
)
def test_a_length_without_a_right_unit_is_refused(text: object, says: tuple[str, ...]) -> None:
    with refused("", *says, kind=QuantityError):
        read_quantity(text, LENGTH)


def test_a_tolerance_in_degrees_celsius_is_an_interval() -> None:
    assert_allclose(read_quantity("5 degC", TEMPERATURE, difference=True).value, 5.0, rtol=1e-12)


def test_a_command_line_quantity_knows_its_key() -> None:
    assert_allclose(quantity_for("accelerator.gap", "0.5 mm"), 5e-4, rtol=1e-12)
    with refused("accelerator.gapp", "'accelerator.gap'"):
        quantity_for("accelerator.gapp", "0.5 mm")
    with refused("liquid.temperature", '"5 mm"', "'mm'"):
        quantity_for("liquid.temperature", "5 mm")


# --- the shipped examples ----------------------------------------------------------------------


def test_every_kind_has_an_example() -> None:
    assert example_names() == NAMES
    assert sorted(starter_kinds()) == list(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_an_example_reads_from_any_folder(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    design = Design.read(name)
    assert design.source == f"{name}.toml"
    assert design.warnings == ()
    assert design.voltage < (design.supply.voltage_limit or 0.0)
    assert design.liquid.temperature > design.metal.melting_point
    assert design.emitter.kind == name.removesuffix("_end")
    assert len(design.sha256) == 64


def test_a_file_wins_over_an_example_of_its_name(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "needle").write_text(starter("capillary"), encoding="utf-8")
    monkeypatch.chdir(folder)
    assert Design.read("needle").emitter.kind == "capillary"


def test_a_folder_of_an_examples_name_does_not_hide_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "needle").mkdir()
    monkeypatch.chdir(tmp_path)
    assert Design.read("needle").emitter.kind == "needle"


def test_the_examples_say_that_they_are_invented() -> None:
    for item in examples_folder().iterdir():
        if item.name.endswith((".toml", ".csv")):
            assert "invented" in item.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_a_starter_is_a_complete_design(name: str, folder: Path) -> None:
    (folder / "mine.toml").write_text(starter(name), encoding="utf-8")
    assert Design.read(folder / "mine.toml").emitter.kind == name.removesuffix("_end")


def test_an_unknown_starter_names_the_kinds() -> None:
    with refused("", "'needel'", "'needle'", "capillary"):
        starter("needel")


# --- dimensions, tolerances, bases -------------------------------------------------------------


def test_a_dimension_keeps_value_tolerance_basis_and_unit() -> None:
    tip = Design.read("needle").dimension("emitter.tip_radius")
    assert (tip.label, tip.basis, tip.unit) == ("tip radius", "measured", "um")
    assert_allclose([tip.value, tip.tolerance], [4e-6, 1e-6], rtol=1e-12)
    assert (tip.text, tip.tolerance_text) == ("4 um", "1 um")


def test_a_default_is_assumed_and_a_plain_value_is_drawn() -> None:
    design = Design.read("needle")
    assert design.dimension("emitter.holder_thickness").basis == "assumed"
    assert design.dimension("accelerator.thickness").basis == "drawn"
    assert design.dimension("accelerator.thickness").tolerance is None


def test_keys_are_unique_and_every_tolerance_is_positive() -> None:
    for name in NAMES:
        found = Design.read(name).dimensions()
        assert len({d.key for d in found}) == len(found)
        # A drawing or a mesh brings no dimensions with tolerances.
        whole = name in ("drawn", "meshed")
        assert sum(d.tolerance is not None for d in found) >= (1 if whole else 4)
        assert all(d.tolerance > 0.0 for d in found if d.tolerance is not None)


def test_every_physical_field_is_described_or_has_a_default() -> None:
    for part in (*EMITTERS.values(), *ACCELERATORS.values(), *SECTIONS.values()):
        for key, field in part.model_fields.items():
            if field.is_required() and key != "kind":
                assert field.description, f"{part.__name__}.{key}"
                assert field.examples, f"{part.__name__}.{key}"


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        ("needle", "emitter.tip_radius", 0.5e-6),
        ("needle", "accelerator.gap", 2e-3),
        ("needle", "liquid.film_thickness", 1e-7),
        ("capillary", "emitter.bore", 6e-5),
        ("slit", "liquid.temperature", 330.0),
        ("slit", "accelerator.lateral_offset", 1e-4),
        ("profile", "liquid.feed_pressure", -500.0),
        ("profile", "voltages.emitter", 5123.0),
        ("needle", "chamber.radius", 0.06),
    ],
)
def test_a_changed_copy_differs_in_one_value_only(name: str, key: str, value: float) -> None:
    design = Design.read(name)
    copy = design.with_value(key, value)
    before = {d.key: d.value for d in design.dimensions()}
    after = {d.key: d.value for d in copy.dimensions()}
    assert after.pop(key) == value
    before.pop(key)
    for other in set(before) - {"chamber.radius", "chamber.half_width"}:
        if design.dimension(other).basis != "assumed":
            assert after[other] == before[other]
    assert copy.sha256 != design.sha256
    assert key in copy.source
    assert copy.dimension(key).tolerance == design.dimension(key).tolerance


def test_a_changed_copy_may_fall_below_its_tolerance_but_not_below_zero() -> None:
    design = Design.read("needle")
    assert design.with_value("emitter.tip_radius", 0.5e-6).dimension("emitter.tip_radius").value
    with refused("emitter.tip_radius", "-1 um"):
        design.with_value("emitter.tip_radius", -1e-6)
    with refused("emitter.tip_radius", "nan"):
        design.with_value("emitter.tip_radius", math.nan)
    with refused("emitter.tip_radus", "'emitter.tip_radius'"):
        design.with_value("emitter.tip_radus", 1e-6)


def test_the_digest_follows_the_csv_too(folder: Path) -> None:
    (folder / "mine.toml").write_text(starter("profile"), encoding="utf-8")
    first = Design.read(folder / "mine.toml").sha256
    table = folder / "profile_edge.csv"
    table.write_text(table.read_text(encoding="utf-8") + "# checked\n", encoding="utf-8")
    assert Design.read(folder / "mine.toml").sha256 != first


def test_a_contaminated_surface_has_its_own_tension(changed: Changed) -> None:
    """EXACT: the lower tension of the table, and a refusal where none is known."""
    dirty = changed("needle", metal='"EGaIn"', liquid__surface='"contaminated"')
    clean = changed("needle", metal='"EGaIn"')
    temperature = dirty.liquid.temperature
    fall = clean.metal.surface_tension(temperature) - dirty.metal.surface_tension(temperature)
    assert_allclose(fall, 0.624 - 0.435, rtol=1e-9, atol=0)
    with refused("liquid.surface"):
        changed("needle", liquid__surface='"contaminated"')
    with refused("liquid.surface"):
        changed("needle", liquid__surface='"dirty"')


def test_a_users_own_metal(changed: Changed) -> None:
    text = starter("needle").replace('metal = "indium"', "")
    text += """
[liquid.custom]
name = "bench alloy"
molar_mass = "100 g/mol"
melting_point = "400 K"
surface_tension = "0.5 N/m"
work_function = "4 eV"
"""
    design = Design.from_text(text)
    assert design.metal.name == "bench alloy"
    assert_allclose(design.metal.melting_point, 400.0)
    assert_allclose(design.metal.work_function or 0.0, 4.0 * 1.602176634e-19, rtol=1e-12)
    with refused("liquid.custom.surface_tension", '"0.5 V"', "'V'"):
        Design.from_text(text.replace("0.5 N/m", "0.5 V"))


# --- refusals ----------------------------------------------------------------------------------

REFUSALS = [
    # kind, changes, key at fault, and what the message must quote: values, limits, remedies
    ("needle", {"tip_radius": '"4"'}, "emitter.tip_radius", ['"4":', '"4 um"']),
    ("needle", {"tip_radius": "4"}, "emitter.tip_radius", ["4:", '"4 um"', "mm"]),
    ("needle", {"gap": '"1 V"'}, "accelerator.gap", ['"1 V"', "'V'", "length"]),
    ("needle", {"emitter": '"5 mm"'}, "voltages.emitter", ['"5 mm"', "'mm'", "kV"]),
    ("needle", {"temperature": '"157 C"'}, "liquid.temperature", ["'C'", "degC"]),
    ("needle", {"tip_radius": '"4 mm"'}, "emitter.tip_radius", ['"4 mm"', "0.25 mm", '"4 um"']),
    ("needle", {"shank_diameter": '"4.5 um"'}, "emitter.tip_radius", ["diameter", "4.5 um"]),
    ("needle", {"half_angle": '"90 deg"'}, "emitter.half_angle", ['"90 deg"', "below 90 deg"]),
    ("needle", {"half_angle": '"0 deg"'}, "emitter.half_angle", ['"0 deg"', "0.125 mm"]),
    ("needle", {"protrusion": '"2 um"'}, "emitter.protrusion", ['"2 um"']),
    ("needle", {"film_thickness": '"5 mm"'}, "liquid.film_thickness", ['"5 mm"', '"5 um"']),
    ("needle", {"gap": '"4 m"'}, "accelerator.gap", ['"4 m"', '"4 mm"']),
    ("needle", {"gap": '"-0.5 mm"'}, "accelerator.gap", ["-0.5 mm", "tip_inside = true"]),
    ("needle", {"gap": '"0 mm"'}, "accelerator.gap", ["0 mm", "tip_inside = true"]),
    ("needle", {"gap": '"nan mm"'}, "accelerator.gap", ['"nan mm"', "finite"]),
    ("needle", {"gap": '"inf mm"'}, "accelerator.gap", ['"inf mm"', "finite"]),
    ("needle", {"shank_diameter": '"0 mm"'}, "emitter.shank_diameter", ['"0 mm"', "zero"]),
    (
        "needle",
        {"tip_radius": '{ value = "4 um", tolerance = "4.1 um" }'},
        "emitter.tip_radius",
        ['"4 um"', "tolerance 4.1 um"],
    ),
    (
        "needle",
        {"gap": '{ value = "1 mm", tolerance = "2 mm" }'},
        "accelerator.gap",
        ["tolerance 2 mm"],
    ),
    (
        "needle",
        {"tip_radius": '{ value = "4 um", tolerance = "1" }'},
        "emitter.tip_radius",
        ["tolerance: the unit"],
    ),
    (
        "needle",
        {"tip_radius": '{ value = "4 um", tolerance = "-1 um" }'},
        "emitter.tip_radius",
        ["tolerance -1 um"],
    ),
    (
        "needle",
        {"tip_radius": '{ value = "4 um", basis = "guessed" }'},
        "emitter.tip_radius",
        ["'guessed'", *BASES],
    ),
    (
        "needle",
        {"tip_radius": '{ value = "4 um", tol = "1 um" }'},
        "emitter.tip_radius",
        ["'tol'", "tolerance"],
    ),
    ("needle", {"tip_radius": '{ tolerance = "1 um" }'}, "emitter.tip_radius", ["value"]),
    ("needle", {"emitter__tip_radios": '"4 um"'}, "emitter.tip_radios", ["'tip_radius'"]),
    ("needle", {"kind": '"needel"'}, "emitter.kind", ['"needel"', "'needle'", "slit"]),
    ("slit", {"accelerator__kind2": '"x"'}, "accelerator.kind2", ["'kind'", "slot_width"]),
    ("needle", {"metal": '"indum"'}, "liquid.metal", ['"indum"', "indium"]),
    ("needle", {"temperature": '"429 K"'}, "liquid.temperature", ['"429 K"', "429.7"]),
    ("needle", {"temperature": '"157 K"'}, "liquid.temperature", ['"157 K"', "degC"]),
    ("needle", {"contact_angle": '"91 deg"'}, "liquid.contact_angle", ['"91 deg"', " 90 deg"]),
    ("needle", {"emitter": '"-5 kV"'}, "voltages.emitter", ['"-5 kV"', "electron"]),
    ("needle", {"emitter": '"-1 kV"'}, "voltages.emitter", ['"-1 kV"', "same voltage"]),
    ("needle", {"thickness": '"0.19 mm"'}, "accelerator.edge_radius", ["95 um"]),
    ("needle", {"edge_radius": '"100 mm"'}, "accelerator.edge_radius", ['"0.1 mm"']),
    (
        "needle",
        {"accelerator__outer_diameter": '"1.5 mm"'},
        "accelerator.diameter",
        ["1.5 mm", "radius"],
    ),
    ("needle", {"accelerator__bevel_angle": '"80 deg"'}, "accelerator.bevel_angle", [" 75 deg"]),
    ("needle", {"radius": '"10 mm"'}, "chamber.radius", ['"10 mm"', " 11 mm"]),
    ("needle", {"radius": '"11 mm"'}, "chamber.radius", ['"11 mm"', "touches"]),
    ("needle", {"onset_fraction_of_supply": "1.5"}, "criteria.onset_fraction_of_supply", ["1.5"]),
    ("needle", {"onset_fraction_of_supply": "true"}, "criteria.onset_fraction_of_supply", ["true"]),
    ("needle", {"voltage_limit": '"0 V"'}, "supply.voltage_limit", ['"0 V"', "zero"]),
    ("capillary", {"bore": '"100 um"'}, "emitter.bore", ['"100 um"', "diameters"]),
    ("capillary", {"bore": '"50 mm"'}, "emitter.bore", ['"50 mm"', '"50 um"']),
    ("capillary", {"rim_radius": '"25.1 um"'}, "emitter.rim_radius", ['"25.1 um"', " 25 um"]),
    ("capillary", {"rim_radius": '"0 um"'}, "emitter.rim_radius", ['"0 um"', "sharp"]),
    ("capillary", {"contact_line": '"edge"'}, "emitter.contact_line", ["'bore'", "'rim'"]),
    ("capillary", {"gap": '"20 um"'}, "accelerator.gap", ["25 um above", "by 5 um"]),
    ("capillary", {"liquid__film_thickness": '"1 um"'}, "liquid.film_thickness", ["capillary"]),
    ("slit", {"half_width": '"40 mm"\nradius = "40 mm"'}, "chamber.radius", ["half_width"]),
    ("slit", {"blade_included_angle": '"161 deg"'}, "emitter.blade_included_angle", [" 160 deg"]),
    ("slit", {"channel_height": '"1.5 mm"'}, "emitter.channel_height", ['"1.5 um"']),
    ("slit", {"lip_radius": '"3 mm"'}, "emitter.lip_radius", ['"3 um"']),
    ("slit", {"lateral_offset": '"1.3 mm"'}, "accelerator.lateral_offset", ["half its width, 1.3"]),
    ("slit", {"recess": '"4 mm"'}, "emitter.recess", ['"4 mm"', "foot"]),
    ("slit", {"misalignment_half": '"3 mm"'}, "emitter.misalignment_half", ['"3 um"']),
    ("profile", {"revolved": '"yes"'}, "emitter.revolved", ["true or false"]),
    ("profile", {"revolved": "false"}, "accelerator.kind", ["axisymmetric", "planar"]),
    ("profile", {"points": '"edge.csv"'}, "emitter.points", ["'edge.csv'"]),
]


@pytest.mark.parametrize(("kind", "changes", "key", "quotes"), REFUSALS)
def test_a_wrong_value_is_refused_with_key_value_rule_and_remedy(
    changed: Changed, kind: str, changes: dict[str, str], key: str, quotes: list[str]
) -> None:
    with pytest.raises(DesignError) as caught:
        changed(kind, **changes)
    assert key in caught.value.keys
    assert [q for q in (f"{kind}.toml", key, *quotes) if q not in str(caught.value)] == []


EQUALITIES = [
    ("needle", {"tip_radius": '{ value = "4 um", tolerance = "3.999 um" }'}),
    ("needle", {"contact_angle": '"90 deg"'}),
    ("needle", {"half_angle": '"0 deg"', "tip_radius": '"125 um"', "film_thickness": '"0 um"'}),
    ("needle", {"thickness": '"0.2 mm"'}),
    ("needle", {"tip_radius": '"0 um"', "film_thickness": '"0 um"'}),
    ("capillary", {"rim_radius": '"25 um"'}),
    ("slit", {"lip_radius": '"0 um"'}),
    ("slit", {"recess": '"3 um"'}),
    ("slit", {"blade_included_angle": '"160 deg"'}),
]


@pytest.mark.parametrize(("kind", "changes"), EQUALITIES)
def test_a_value_exactly_at_its_limit_is_accepted(
    changed: Changed, kind: str, changes: dict[str, str]
) -> None:
    assert changed(kind, **changes).section().edges


def test_the_melting_point_itself_is_liquid(changed: Changed) -> None:
    melting = Design.read("needle").metal.melting_point
    assert changed("needle", temperature=f'"{melting!r} K"').liquid.temperature == melting
    with refused("liquid.temperature"):
        changed("needle", temperature=f'"{math.nextafter(melting, 0.0)!r} K"')


def test_an_outline_deeper_than_its_protrusion_is_refused(changed: Changed) -> None:
    with refused("emitter.protrusion", "0.1367 mm", kind=GeometryError):
        changed("profile", protrusion='"0.1 mm"')


def test_all_errors_come_in_one_message(changed: Changed) -> None:
    with pytest.raises(DesignError) as caught:
        changed("needle", tip_radius='"4"', gap='"1 V"', contact_angle='"100 deg"')
    assert caught.value.keys == ("emitter.tip_radius", "accelerator.gap", "liquid.contact_angle")
    assert all(key in str(caught.value) for key in caught.value.keys)


@pytest.mark.parametrize("section", ["emitter", "accelerator", "liquid", "voltages"])
def test_a_missing_section_or_key_is_named(section: str) -> None:
    text = re.sub(rf"(?ms)^\[{section}\].*?(?=^\[)", "", starter("needle"))
    with refused(section, f"[{section}]"):
        Design.from_text(text)
    text = re.sub(r"(?m)^protrusion = .*$", "", starter("needle"))
    with refused("emitter.protrusion", 'protrusion = "3 mm"'):
        Design.from_text(text)


def test_an_unknown_section_is_named_with_the_nearest() -> None:
    with refused("acelerator", "'accelerator'"):
        Design.from_text(starter("needle") + '\n[acelerator]\ngap = "1 mm"\n')


def test_invalid_toml_gives_the_line() -> None:
    text = starter("needle").replace('thickness = "0.5 mm"', "thickness = 0.5 mm")
    number = text.splitlines().index("thickness = 0.5 mm") + 1
    with refused("", f"line {number}:", "thickness = 0.5 mm"):
        Design.from_text(text)
    with refused("", "conegap start needle"):
        Design.from_text(" \n")


def test_a_file_that_is_not_there_lists_the_examples(tmp_path: Path) -> None:
    with refused("", "'needl'", "capillary", "'needle'"):
        Design.read("needl")
    with refused("", str(tmp_path), "folder"):
        Design.read(tmp_path)


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "design.toml"
    path.write_bytes(b"\xff\xfe\x00title")
    with refused("", "design.toml", "UTF-8"):
        Design.read(path)


# --- measured points ---------------------------------------------------------------------------

GOOD = "radius,height\num,um\n0,0\n3,-0.8\n6,-3.5\n9,-8\n12,-14\n15,-21\n"
TABLES = [
    ("", ["header row"]),
    ("# nothing\n", ["no points"]),
    ("radius,height\n", ["unit row"]),
    ("radius,height\n0,0\n1,-1\n", ["line 2", "'0,0'", "um,um"]),
    ("0,0\n1,-1\n", ["line 1"]),
    ("height,radius\num,um\n0,0\n", ["first column", "radius"]),
    ("radius;height\num;um\n0;0\n", ["commas"]),
    ("radius,height\num,V\n0,0\n", ["'um,V'", "length"]),
    (GOOD.replace("6,-3.5", "6,abc"), ["line 5", "'6,abc'"]),
    (GOOD.replace("6,-3.5", "6,nan"), ["line 5", "'6,nan'", "finite"]),
    (GOOD.replace("6,-3.5", "6"), ["line 5", "'6'", "half written"]),
    (GOOD.replace("15,-21\n", "15,"), ["line 8", "'15,'", "half written"]),
    ("radius,height\num,um\n0,0\n3,-1\n6,-4\n", ["3 points"]),
    (GOOD.replace("3,-0.8\n6,-3.5", "6,-3.5\n3,-0.8"), ["order"]),
    (GOOD.replace("3,-0.8", "3,-0.8\n3,-0.8"), ["lines 4 and 5"]),
    (GOOD.replace("0,0\n", "1,0\n"), ["axis"]),
    (GOOD.replace("3,-0.8", "-3,-0.8"), ["negative"]),
    (GOOD.replace("-", ""), ["flank"]),
    (GOOD.replace("15,-21", "20,-80"), ["last two points", "corners = true"]),
]


@pytest.mark.parametrize(("table", "says"), TABLES)
def test_a_wrong_table_is_refused_with_its_line(
    changed: Changed, folder: Path, table: str, says: list[str]
) -> None:
    (folder / "profile_edge.csv").write_text(table, encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        changed("profile")
    assert [q for q in ("profile_edge.csv", *says) if q not in str(caught.value)] == []


def test_a_table_that_is_no_text_is_refused(changed: Changed, folder: Path) -> None:
    (folder / "profile_edge.csv").write_bytes(b"radius,height\n\xb5m,\xb5m\n0,0\n")
    with refused("emitter.points", "profile_edge.csv", "UTF-8"):
        changed("profile")


def test_a_table_without_a_last_line_end_is_warned_about(changed: Changed, folder: Path) -> None:
    (folder / "profile_edge.csv").write_text(GOOD.rstrip("\n"), encoding="utf-8")
    assert any("half written" in warning for warning in changed("profile").warnings)
    (folder / "profile_edge.csv").write_text(GOOD, encoding="utf-8")
    assert changed("profile").warnings == ()


# --- warnings ----------------------------------------------------------------------------------

SLIPS = [
    ("needle", {"half_angle": '"61 deg"'}, "emitter.half_angle", "half of the full cone angle"),
    ("needle", {"half_angle": '"1 deg"'}, "emitter.shank_diameter", "the shank is left out"),
    ("needle", {"gap": '"10 um"'}, "accelerator.gap", 'did you mean "10 mm"'),
    ("needle", {"gap": '"60 mm"'}, "accelerator.gap", 'did you mean "60 um"'),
    ("needle", {"diameter": '"0.15 mm"'}, "accelerator.kind", "given as a radius"),
    ("needle", {"emitter": '"9.5 kV"'}, "voltages.emitter", "above the supply's limit"),
    ("slit", {"blade_included_angle": '"7.5 deg"'}, "emitter.blade_included_angle", "half angle"),
    ("slit", {"length": '"0.1 mm"'}, "emitter.length", "ends matter"),
]


@pytest.mark.parametrize(("kind", "changes", "key", "says"), SLIPS)
def test_an_unlikely_value_is_accepted_with_a_warning(
    changed: Changed, kind: str, changes: dict[str, str], key: str, says: str
) -> None:
    warnings = changed(kind, **changes).warnings
    assert any(key in warning and says in warning for warning in warnings), warnings


@pytest.mark.parametrize(
    ("kind", "changes"),
    [
        ("needle", {"half_angle": '"50 deg"'}),
        ("needle", {"emitter": '"7 kV"'}),
        ("slit", {"blade_included_angle": '"8 deg"'}),
    ],
)
def test_at_the_limit_there_is_no_warning(
    changed: Changed, kind: str, changes: dict[str, str]
) -> None:
    assert changed(kind, **changes).warnings == ()


@pytest.mark.parametrize(
    ("kind", "changes", "says"),
    [
        ("needle", {"gap": '"1 um"'}, 'did you mean "1 mm"'),
        ("needle", {"gap": '"1 m"'}, 'did you mean "1 mm"'),
        ("needle", {"emitter": '"4 MV"'}, 'did you mean "4 kV"'),
        ("needle", {"emitter": '"4 V"'}, 'did you mean "4 kV"'),
        ("needle", {"tip_radius": '"4 nm"'}, 'did you mean "4 um"'),
        ("needle", {"half_angle": '"60 deg"'}, 'write "30 deg"'),
        ("needle", {"diameter": '"2 um"'}, 'did you mean "2 mm"'),
        ("needle", {"voltage_limit": '"8 MV"'}, 'did you mean "8 kV"'),
        ("needle", {"current_limit": '"200 A"'}, 'did you mean "200 mA"'),
        ("needle", {"ballast_resistance": '"20 Gohm"'}, 'did you mean "20 Mohm"'),
    ],
)
def test_a_slip_of_a_thousand_is_warned_of(
    changed: Changed, kind: str, changes: dict[str, str], says: str
) -> None:
    """EXACT: what looks like a slip names the key and the likely value."""
    warnings = changed(kind, **changes).warnings
    found = [warning for warning in warnings if says in warning]
    assert found, warnings
    assert next(iter(changes)) in found[0] or "accelerator.kind" in found[0]


def test_a_tolerance_that_freezes_the_metal_or_joins_the_electrodes_is_refused(
    changed: Changed,
) -> None:
    """EXACT: indium melts at 429.7 K; a ring 1 um clear of a tube that may grow by 2.5 um."""
    frozen = '{ value = "450 K", tolerance = "30 K" }'
    with refused("liquid.temperature", "- 30 K"):
        changed("needle", temperature=frozen)
    fluid = '{ value = "450 K", tolerance = "20 K" }'
    assert changed("needle", temperature=fluid).liquid.temperature == 450.0
    ring = '"ring"\nmean_diameter = "0.602 mm"\nwire_diameter = "0.5 mm"\ntip_inside = true\n'
    text = text_with("capillary", gap='"-2 mm"')
    text = re.sub(r"(?m)^(diameter|thickness|edge_radius) = .*$", "", text)
    text = text.replace('kind = "aperture_plate"', f"kind = {ring}")
    with refused("emitter.outer_diameter", "+ 5 um"):
        Design.from_text(text)


def test_changed_values_are_shown_in_handy_units() -> None:
    """EXACT: 5 mm, not 0.005 m with all its digits, of a copy that does not fit."""
    with refused("accelerator.edge_radius", 'accelerator.edge_radius = "5 mm"'):
        Design.read("needle").with_value("accelerator.edge_radius", 0.1 * 0.05)


# --- overlap and contact -----------------------------------------------------------------------


def test_an_overlap_says_where_and_by_how_much(changed: Changed) -> None:
    """EXACT: a 0.25 mm shank in a 0.2 mm hole overlaps the plate by 0.025 mm."""
    with refused("", "25 um at x = 0.1", "mm, z = ", "accelerator.gap", kind=GeometryError):
        changed(
            "needle",
            diameter='"0.2 mm"',
            gap='"-1.5 mm"\ntip_inside = true',
            film_thickness='"0 um"',
        )


def test_a_tip_inside_that_clears_reports_its_clearance(changed: Changed) -> None:
    """EXACT: hole radius 1 mm minus shank radius 0.125 mm."""
    design = changed("needle", gap='"-1.5 mm"\ntip_inside = true', film_thickness='"0 um"')
    assert_allclose(design.clearance, 0.875e-3, rtol=1e-9)
    assert "smallest clearance is 0.875 mm" in design.section().notes[-1]


def test_a_ring_that_touches_the_capillary_is_refused(changed: Changed) -> None:
    """EXACT: inner radius of the ring equals the tube's outer radius."""
    ring = '"ring"\nmean_diameter = "0.6 mm"\nwire_diameter = "0.5 mm"\ntip_inside = true\n'
    text = text_with("capillary", gap='"-2 mm"', outer_diameter='"100 um"')
    text = re.sub(r"(?m)^(diameter|thickness|edge_radius) = .*$", "", text)
    touching = text.replace('kind = "aperture_plate"', f"kind = {ring}")
    with refused("", "x = 50 um, z = -1.75 mm", "accelerator.gap", kind=GeometryError):
        Design.from_text(touching)
    clear = touching.replace('mean_diameter = "0.6 mm"', 'mean_diameter = "0.602 mm"')
    assert_allclose(Design.from_text(clear).clearance, 1e-6, rtol=1e-3)


def test_values_are_changed_together() -> None:
    """EXACT: what no order of single changes allows is checked once, when all are made; where both
    ways go, the designs are the same."""
    drawn = Design.read("capillary")
    bore, outer = (drawn.dimension(f"emitter.{name}") for name in ("bore", "outer_diameter"))
    wide = ((bore.key, 1.2 * outer.value), (outer.key, 2.5 * outer.value))
    with pytest.raises(DesignError):
        drawn.with_value(*wide[0])
    changed = drawn.with_values(wide)
    assert changed.dimension(bore.key).value == wide[0][1]
    assert changed.dimension(outer.key).value == wide[1][1]
    one_by_one = drawn.with_value("accelerator.gap", 3e-3).with_value(bore.key, 40e-6)
    together = drawn.with_values((("accelerator.gap", 3e-3), (bore.key, 40e-6)))
    assert together.sha256 == one_by_one.sha256
    assert together.dimensions() == one_by_one.dimensions()
    assert drawn.with_values(()) is drawn
