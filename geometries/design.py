"""The design: a drawing of an emitter and its accelerator, read and checked, in SI."""

from __future__ import annotations

import copy
import difflib
import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from conegap.geometries.accelerators import Accelerator
from conegap.geometries.capacitor import capacitor_section
from conegap.geometries.checks import broken_rules, chosen_room, room_problems, slips
from conegap.geometries.clearance import check_clearance
from conegap.geometries.conditions import Chamber, Criteria, Liquid, Supply, Voltages
from conegap.geometries.curves import FloatArray
from conegap.geometries.design_file import Complaints, Parts, parse_toml, read_parts
from conegap.geometries.emitter import Emitter, Setting, length_text
from conegap.geometries.errors import DesignError, GeometryError
from conegap.geometries.kinds import physical_keys, physical_of
from conegap.geometries.metals import Metal
from conegap.geometries.part import Basis, Part, Problem
from conegap.geometries.points_file import ends_cleanly, read_points
from conegap.geometries.profile import ProfileAccelerator, ProfileEmitter
from conegap.geometries.quantity import PhysicalKind, QuantityError, as_text
from conegap.geometries.section import Section
from conegap.geometries.surroundings import assemble

__all__ = ["Design", "Dimension", "Drawing", "example_names", "quantity_for"]

_EXAMPLES = "conegap.geometries.examples"


@dataclass(frozen=True)
class Drawing:
    """Number and revision of the drawing, for the report."""

    number: str = ""
    revision: str = ""


@dataclass(frozen=True)
class Dimension:
    """A dimension of the design with its tolerance and where it comes from.

    Parameters
    ----------
    key : str
        Key of the design file: "emitter.tip_radius".
    label : str
        Words for a table: "tip radius".
    value : float
        Value in SI.
    tolerance : float or None
        Plus-minus half width in SI.
    basis : str
        "measured", "drawn" or "assumed"; a default is assumed.
    unit : str
        Unit in which to print it.
    kind : PhysicalKind
        What it is.
    """

    key: str
    label: str
    value: float
    tolerance: float | None
    basis: Basis
    unit: str
    kind: PhysicalKind

    @property
    def text(self) -> str:
        """Value with unit, as in the file."""
        return as_text(self.value, self.kind, self.unit)

    @property
    def tolerance_text(self) -> str:
        """Tolerance with unit, or an empty text."""
        if self.tolerance is None:
            return ""
        unit = {"degC": "K", "°C": "K"}.get(self.unit, self.unit)
        return as_text(self.tolerance, self.kind, unit)


@dataclass(frozen=True)
class Design:
    """A checked design; read it with `Design.read` or `Design.from_text`.

    Parameters
    ----------
    title : str
        What it is called.
    drawing : Drawing
        Drawing number and revision.
    emitter, accelerator, liquid, voltages, supply, chamber, criteria
        Sections of the file, in SI.  The chamber holds the sizes in use, also where the file
        leaves them out.
    source : str
        Name of the file, and of the changes made to it.
    sha256 : str
        Digest of the file, the CSV files it names and the changes made to it.
    warnings : tuple of str
        Values that are possible but look like a slip.
    metal : Metal
        Property table of the liquid.
    clearance : float
        Smallest distance between emitter and accelerator, [m].
    """

    title: str
    drawing: Drawing
    emitter: Emitter
    accelerator: Accelerator
    liquid: Liquid
    voltages: Voltages
    supply: Supply
    chamber: Chamber
    criteria: Criteria
    source: str
    sha256: str
    warnings: tuple[str, ...]
    metal: Metal
    clearance: float
    _section: Section = field(repr=False, compare=False)
    _document: Mapping[str, Any] = field(repr=False, compare=False)
    _tables: Mapping[str, FloatArray] = field(repr=False, compare=False)

    @classmethod
    def read(cls, path: str | Path) -> Design:
        """Read a design file, or a shipped example by its name.

        Parameters
        ----------
        path : str or Path
            Path of a file, or a name from `example_names`; a file that exists wins.

        Raises
        ------
        DesignError
            The file cannot be read, or the design is wrong; all complaints in one message.
        GeometryError
            The electrodes cannot be built as drawn.
        """
        place = Path(path)
        name = str(path)
        if not place.is_file() and name in example_names():
            folder = resources.files(_EXAMPLES)
            text = folder.joinpath(f"{name}.toml").read_text(encoding="utf-8")
            return _build(text, f"{name}.toml", _files_in(folder))
        if not place.exists():
            close = difflib.get_close_matches(name, example_names(), n=1)
            hint = f" Did you mean '{close[0]}'?" if close else ""
            raise DesignError(
                f"there is no design file '{name}' and no example of that name; the examples are "
                f"{', '.join(example_names())}.{hint}"
            )
        if place.is_dir():
            raise DesignError(f"'{name}' is a folder; name the design file in it")
        return _build(_text_of(place), place.name, _files_in(place.parent))

    @classmethod
    def from_text(
        cls, text: str, name: str = "design.toml", folder: str | Path | None = None
    ) -> Design:
        """A design from the text of a design file.

        Parameters
        ----------
        text : str
            TOML.
        name : str
            What to call it in messages.
        folder : str or Path, optional
            Where the CSV files lie that it names; the current folder if left out.

        Raises
        ------
        DesignError
            The design is wrong; all complaints in one message.
        """
        return _build(text, name, _files_in(Path(folder) if folder is not None else Path()))

    @property
    def voltage(self) -> float:
        """Emitter minus accelerator, [V]."""
        return self.voltages.emitter - self.voltages.accelerator

    @property
    def gap(self) -> float:
        """Distance from the emitter's metal crest to the accelerator's near face, [m]."""
        return self._section.gap

    def section(self) -> Section:
        """The cross-section of the vacuum."""
        return self._section

    def dimensions(self) -> tuple[Dimension, ...]:
        """Every physical quantity of the electrodes, liquid, voltages, supply and chamber."""
        found = []
        for section in ("emitter", "accelerator", "liquid", "voltages", "supply", "chamber"):
            part: Part = getattr(self, section)
            given = self._document.get(section, {})
            for name, physical in part.physical_fields().items():
                value = getattr(part, name)
                if value is None:
                    continue
                raw = given.get(name)
                basis: Basis = "assumed" if raw is None else "drawn"
                if isinstance(raw, Mapping):
                    basis = raw.get("basis", "drawn")
                if raw is None:
                    unit = as_text(value, physical.kind).partition(" ")[2]
                else:
                    unit = physical.read(raw, tolerance_rule=False).unit
                found.append(
                    Dimension(
                        key=f"{section}.{name}",
                        label=_label(section, name),
                        value=value,
                        tolerance=physical.tolerance(raw),
                        basis=basis,
                        unit=unit,
                        kind=physical.kind,
                    )
                )
        return tuple(found)

    def dimension(self, key: str) -> Dimension:
        """The dimension of that key.

        Raises
        ------
        DesignError
            No such dimension in this design; the message names the nearest.
        """
        found = {d.key: d for d in self.dimensions()}
        if key not in found:
            raise DesignError(_unknown_key(key, tuple(found), self.source))
        return found[key]

    def with_value(self, key: str, value: float) -> Design:
        """A copy with one quantity changed and everything checked again.

        Parameters
        ----------
        key : str
            Key of the design file: "emitter.tip_radius", "liquid.temperature".
        value : float
            New value in SI.

        Raises
        ------
        DesignError
            The key is unknown in this design, or the changed design is wrong.
        """
        section, _, name = key.partition(".")
        part = getattr(self, section, None)
        fields = part.physical_fields() if isinstance(part, Part) else {}
        if name not in fields:
            known = [f"{s}.{n}" for s in _PARTS for n in getattr(self, s).physical_fields()]
            raise DesignError(_unknown_key(key, tuple(known), self.source))
        kind = fields[name].kind
        unit = self._unit_of(section, name)
        if not math.isfinite(value):
            raise DesignError(f"{self.source}: {key} = {value}: a {kind.name} must be finite")
        document = copy.deepcopy(dict(self._document))
        table = dict(document.get(section, {}))
        text = f"{float(value)!r} {kind.si}"
        previous = table.get(name)
        if isinstance(previous, Mapping):
            table[name] = {**previous, "value": text}
        else:
            table[name] = text
        document[section] = table
        shown = f"{key} = {as_text(float(value), kind, unit)}"
        digest = hashlib.sha256(f"{self.sha256}\n{key} = {text}".encode()).hexdigest()
        source = f"{self.source} with {shown}"
        return _checked(document, source, "", self._tables, digest, scanned=True)

    def _unit_of(self, section: str, name: str) -> str:
        for dimension in self.dimensions():
            if dimension.key == f"{section}.{name}":
                return dimension.unit
        return ""


_PARTS = ("emitter", "accelerator", "liquid", "voltages", "supply", "chamber", "criteria")


def example_names() -> tuple[str, ...]:
    """Names of the shipped examples, for `Design.read` and the command line."""
    found = [item.name for item in resources.files(_EXAMPLES).iterdir()]
    return tuple(sorted(name[: -len(".toml")] for name in found if name.endswith(".toml")))


def quantity_for(key: str, text: str) -> float:
    """A quantity given on a command line for a key of the design file, in SI.

    Parameters
    ----------
    key : str
        Key, such as "accelerator.gap".
    text : str
        Value with unit, such as "0.5 mm".

    Raises
    ------
    DesignError
        The key is unknown or holds no physical quantity, or the text is wrong.
    """
    physical = physical_of(key)
    if physical is None:
        raise DesignError(_unknown_key(key, physical_keys(), "command line"))
    try:
        return physical.read(text).value
    except QuantityError as problem:
        raise DesignError(f'{key} = "{text}": {problem}') from problem


def _unknown_key(key: str, known: tuple[str, ...], where: str) -> str:
    close = difflib.get_close_matches(key, known, n=1, cutoff=0.4)
    if not close:
        last = {k.rpartition(".")[2]: k for k in known}
        close = [last[n] for n in difflib.get_close_matches(key, list(last), n=1)]
    hint = f", did you mean '{close[0]}'?" if close else ""
    return f"{where}: '{key}' is no dimension that can be changed{hint}; known are {', '.join(known)}"


def _label(section: str, name: str) -> str:
    words = name.replace("_", " ")
    plain = section == "emitter" or name in ("gap", "film_thickness", "contact_angle")
    if section == "voltages":
        return f"{words} voltage"
    return words if plain or name.startswith("feed") else f"{section} {words}"


def _text_of(place: Path) -> str:
    try:
        return place.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as problem:
        raise DesignError(
            f"{place.name} is not a text file in UTF-8 (byte {problem.start} cannot be read); save "
            "it as plain text"
        ) from problem
    except OSError as problem:
        raise DesignError(f"{place.name} cannot be read: {problem.strerror}") from problem


class _Files:
    """Text files beside the design file."""

    def __init__(self, folder: Any) -> None:
        self.folder = folder

    def text(self, name: str) -> str:
        place = self.folder.joinpath(name)
        if not place.is_file():
            raise DesignError(
                f"there is no file '{name}' beside the design file; give its path relative to it"
            )
        if isinstance(place, Path):
            return _text_of(place)
        return str(place.read_text(encoding="utf-8"))


def _files_in(folder: Any) -> _Files:
    return _Files(folder)


def _build(text: str, name: str, files: _Files) -> Design:
    """Read the tables that a design names, then check everything."""
    document = parse_toml(text, name)
    complaints = Complaints(name, text, document)
    tables: dict[str, FloatArray] = {}
    digest = hashlib.sha256(text.encode())
    remarks: list[Problem] = []
    for section in ("emitter", "accelerator"):
        part = document.get(section)
        points = part.get("points") if isinstance(part, Mapping) else None
        if not isinstance(points, str) or part is None or part.get("kind") != "profile":
            continue
        try:
            content = files.text(points)
            tables[points] = read_points(content, points)
        except DesignError as problem:
            complaints.add(f"{section}.points", str(problem))
            continue
        digest.update(content.encode())
        if not ends_cleanly(content):
            remarks.append(
                Problem(
                    f"{section}.points",
                    f"the last line of {points} has no line end; is the file half written?",
                )
            )
    return _checked(
        document, name, text, tables, digest.hexdigest(), complaints=complaints, remarks=remarks
    )


def _checked(
    document: Mapping[str, Any],
    name: str,
    text: str,
    tables: Mapping[str, FloatArray],
    digest: str,
    *,
    scanned: bool = False,
    complaints: Complaints | None = None,
    remarks: list[Problem] | None = None,
) -> Design:
    complaints = complaints or Complaints(name, text, document)
    drawing = _drawing(document, complaints)
    parts = read_parts(document, complaints, scanned=scanned)
    complaints.extend(broken_rules(parts))
    complaints.raise_if_any()
    found = list(remarks or [])
    try:
        section, chamber, rough = _section(parts, tables, complaints)
    except GeometryError as problem:
        complaints.add("", str(problem), geometry=True)
    complaints.raise_if_any()
    clearance = float("nan")
    try:
        clearance = check_clearance(section)
    except GeometryError as problem:
        complaints.add("", str(problem), geometry=True)
    complaints.raise_if_any()
    found += [*slips(parts, section.gap), *rough]
    if section.gap <= 0.0:
        section = _with_note(section, clearance)
    return Design(
        title=str(document.get("title", "")),
        drawing=drawing,
        emitter=parts.emitter,
        accelerator=parts.accelerator,
        liquid=parts.liquid,
        voltages=parts.voltages,
        supply=parts.supply,
        chamber=chamber,
        criteria=parts.criteria,
        source=name,
        sha256=digest,
        warnings=tuple(complaints.wording(problem) for problem in found),
        metal=parts.liquid.properties(),
        clearance=clearance,
        _section=section,
        _document=document,
        _tables=tables,
    )


def _section(
    parts: Parts, tables: Mapping[str, FloatArray], complaints: Complaints
) -> tuple[Section, Chamber, list[Problem]]:
    """The section, the chamber in use and remarks about the outlines."""
    emitter, accelerator = parts.emitter, parts.accelerator
    rough: list[Problem] = []
    crest = 0.0
    if isinstance(emitter, ProfileEmitter):
        profile = emitter.profile(tables)
        crest = profile.crest()
        if profile.wavy() > 6:
            rough.append(
                Problem(
                    "emitter.points",
                    f"the curve through the points changes the sign of its curvature "
                    f"{profile.wavy()} times; the outline looks rough, and its edge radius follows "
                    "the roughness; smooth the points first",
                )
            )
        closes = profile.form in ("closed", "between the poles")
        if closes and isinstance(accelerator, ProfileAccelerator):
            return capacitor_section(emitter, accelerator, tables), parts.chamber, rough
    planar = emitter.symmetry == "planar"
    half = not planar or (emitter.symmetric(tables) and accelerator.symmetric(tables))
    setting = Setting(half, emitter.symmetry, parts.liquid.film_thickness, tables)
    drawn = emitter.outline(setting)
    gap = accelerator.distance(crest, tables)
    facing = accelerator.outline(gap, setting)
    surface = max(float(b.curve.point([0.0, 0.5, 1.0])[:, 1].max()) for b in drawn.boundaries)
    if surface >= gap and not getattr(accelerator, "tip_inside", False):
        remedy = "" if facing.plane else ", or write tip_inside = true if it may reach in"
        complaints.add(
            "accelerator.gap",
            f"the emitter's surface stands {length_text(surface)} above the level from which the "
            "gap is measured and reaches the accelerator, overlapping it by "
            f"{length_text(surface - gap)} at z = {length_text(surface)}; give a larger gap{remedy}",
            geometry=True,
        )
        complaints.raise_if_any()
    room = chosen_room(emitter, accelerator, parts.chamber, gap, drawn.holder.half_width)
    complaints.extend(room_problems(emitter, accelerator, room, drawn.holder.half_width))
    complaints.raise_if_any()
    in_use = {
        "half_width" if planar else "radius": room.half_width,
        "length": None if facing.plane else room.length,
    }
    chamber = parts.chamber.model_copy(update=in_use)
    return assemble(drawn, facing, room, emitter.symmetry), chamber, rough


def _with_note(section: Section, clearance: float) -> Section:
    from dataclasses import replace

    note = (
        f"The emitter reaches {length_text(-section.gap)} into the accelerator's opening; their "
        f"smallest clearance is {length_text(clearance)}."
    )
    return replace(section, notes=(*section.notes, note))


def _drawing(document: Mapping[str, Any], complaints: Complaints) -> Drawing:
    """Title and drawing, which are plain texts."""
    if not isinstance(document.get("title", ""), str):
        complaints.add("title", "the title must be a text in double quotes")
    table = document.get("drawing", {})
    if not isinstance(table, Mapping):
        complaints.add("drawing", "this must be a section with number and revision")
        return Drawing()
    for key, value in table.items():
        if key not in ("number", "revision"):
            complaints.add(f"drawing.{key}", "this key is unknown; the keys are number, revision")
        elif not isinstance(value, str):
            complaints.add(f"drawing.{key}", "this must be a text in double quotes")
    return Drawing(str(table.get("number", "")), str(table.get("revision", "")))
