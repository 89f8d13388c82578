"""The design: a drawing of an emitter and its accelerator, read and checked, in SI."""

from __future__ import annotations

import difflib
import hashlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.section import Section
from conegap.geometries.design.assembly import assembly_of
from conegap.geometries.design.checks import broken_rules, slips
from conegap.geometries.design.design_file import Complaints, Parts, parse_toml, read_parts
from conegap.geometries.design.dimensions import (
    Dimension,
    dimensions_html,
    dimensions_of,
    quantity_for,
    unknown_key,
)
from conegap.geometries.design.drawing import Drawing, read_drawing
from conegap.geometries.design.named_files import imported_files, named_tables
from conegap.geometries.design.tolerance_ends import broken_ends, with_text
from conegap.geometries.emitters.whole_file import ImportedFile
from conegap.geometries.metals.metal import Metal
from conegap.geometries.parts.accelerator import Accelerator
from conegap.geometries.parts.conditions import (
    Chamber,
    Criteria,
    Insulator,
    Liquid,
    Supply,
    Voltages,
)
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.feed_way import FeedWay
from conegap.geometries.parts.part import Part, Problem
from conegap.geometries.parts.surroundings import Room
from conegap.geometries.quantities.errors import DesignError
from conegap.geometries.quantities.files import (
    Files,
    Folder,
    example_names,
    examples_folder,
    exists,
    is_file,
    text_of,
)
from conegap.geometries.quantities.quantity import as_text
from conegap.geometries.solids.sector import Sector

__all__ = ["Design", "Dimension", "Drawing", "example_names", "quantity_for"]


@dataclass(frozen=True)
class Design:
    """A checked design; read it with `Design.read` or `Design.from_text`.

    Parameters
    ----------
    title : str
        What it is called.
    drawing : Drawing
        Drawing number and revision.
    emitter, accelerator, liquid, feed, voltages, supply, chamber, insulator, criteria
        Sections of the file, in SI.  The chamber holds the sizes in use, also where the file
        leaves them out.
    source : str
        Name of the file, and of the changes made to it.
    sha256 : str
        Digest of the file, the files it names and the changes made to it.
    warnings : tuple of str
        Values that are possible but look like a slip.
    metal : Metal
        Property table of the liquid.
    clearance : float
        Smallest distance between emitter and accelerator, [m].

    Examples
    --------
    Build one with `Design.read` (a file or a shipped example) or `Design.from_text`; change one
    dimension with `with_value`, which leaves the first design as it is.

    >>> design = Design.read("needle")
    >>> design.title, design.drawing.number
    ('Needle N4, indium, first bench article', 'BP-0104')
    >>> round(design.gap * 1e3, 9), design.voltage
    (1.0, 5000.0)
    >>> design.dimension("emitter.tip_radius").text
    '4 um'
    >>> wider = design.with_value("accelerator.gap", 2e-3)
    >>> round(wider.gap * 1e3, 9), wider.sha256 == design.sha256
    (2.0, False)
    """

    title: str
    drawing: Drawing
    emitter: Emitter
    accelerator: Accelerator
    liquid: Liquid
    feed: FeedWay
    voltages: Voltages
    supply: Supply
    chamber: Chamber
    insulator: Insulator
    criteria: Criteria
    source: str
    sha256: str
    warnings: tuple[str, ...]
    metal: Metal
    clearance: float
    _section: Section = field(repr=False, compare=False)
    _document: Mapping[str, Any] = field(repr=False, compare=False)
    _tables: Mapping[str, FloatArray] = field(repr=False, compare=False)
    _imports: Mapping[str, ImportedFile] = field(repr=False, compare=False)

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
        if not is_file(place) and name in example_names():
            folder = examples_folder()
            text = folder.joinpath(f"{name}.toml").read_text(encoding="utf-8")
            return _build(text, f"{name}.toml", Folder(folder))
        if not is_file(place) and not exists(place):
            close = difflib.get_close_matches(name, example_names(), n=1)
            hint = f" Did you mean '{close[0]}'?" if close else ""
            raise DesignError(
                f"there is no design file '{name}' and no example of that name; the examples are "
                f"{', '.join(example_names())}.{hint}"
            )
        if place.is_dir():
            raise DesignError(f"'{name}' is a folder; name the design file in it")
        return _build(text_of(place), place.name, Folder(place.parent))

    @classmethod
    def from_text(
        cls, text: str, name: str = "design.toml", folder: str | Path | Files | None = None
    ) -> Design:
        """A design from the text of a design file.

        Parameters
        ----------
        text : str
            TOML.
        name : str
            What to call it in messages.
        folder : str, Path or Files, optional
            Where the files lie that it names; the current folder if left out.

        Raises
        ------
        DesignError
            The design is wrong; all complaints in one message.
        """
        if folder is None or isinstance(folder, (str, Path)):
            folder = Folder(Path(folder or ""))
        return _build(text, name, folder)

    def __repr__(self) -> str:
        what = f"{self.emitter.kind} before {self.accelerator.kind}, {self.metal.name}"
        return f"Design({self.title or self.source!r}, {what}, sha256 {self.sha256[:8]})"

    def _repr_html_(self) -> str:
        return dimensions_html(self.title or self.source, self.dimensions())

    @property
    def record(self) -> dict[str, Any]:
        """What it was read from, changes included: `record.design_of_record` reads it again."""
        return {
            "source": self.source,
            "document": self._document,
            "tables_m": {name: points.tolist() for name, points in self._tables.items()},
            "files": list(self._imports),
        }

    @property
    def voltage(self) -> float:
        """Emitter minus accelerator, [V]."""
        return self.voltages.emitter - self.voltages.accelerator

    @property
    def one_with_wall(self) -> bool:
        """The accelerator touches the chamber's wall, whose voltage rises with its own."""
        return self.accelerator.touches_side and self.chamber.side == "wall"

    @property
    def edge_pressure(self) -> float:
        """Gauge pressure of the liquid at the emitting edge, see `Liquid.edge_pressure`, [Pa]."""
        return self.liquid.edge_pressure(self.metal)

    @property
    def pressure_words(self) -> str:
        """The pressure at the emitting edge as the design file gives it."""
        given = f"liquid.feed_pressure = {self.liquid.feed_pressure:g} Pa"
        if self.liquid.rise == 0.0:
            return given
        return (
            f"the pressure at the emitting edge, {self.edge_pressure:.4g} Pa ({given} and the "
            "weight of the liquid column),"
        )

    @property
    def surface_tension(self) -> float:
        """Of the liquid at its temperature, [N/m]."""
        return float(self.metal.surface_tension(self.liquid.temperature))

    @property
    def outline_uncertainty(self) -> tuple[float, float]:
        """Of the edge's radius as measured: what its points leave open between them (relative half
        width), and what their scatter is worth (relative standard uncertainty), [-]."""
        return self.emitter.outline_uncertainty(self._tables)

    @property
    def gap(self) -> float:
        """Distance from the emitter's metal apex to the accelerator's near face, [m]."""
        return self._section.gap

    def section(self) -> Section:
        """The cross-section of the vacuum."""
        return self._section

    def sector(self) -> Sector | None:
        """The part of the gap to be solved in three dimensions, or None for a plane section.

        Raises
        ------
        GeometryError
            The bodies do not fit together.
        """
        return self.emitter.sector(
            self.accelerator, self.gap, self.room(), self.liquid.film_thickness
        )

    @property
    def askew_keys(self) -> tuple[str, ...]:
        """Keys of the dimensions that put the accelerator beside the emitter's axis or askew, which
        its section does not show; none where that is not solved."""
        keys = self.accelerator.askew_keys if self.emitter.stands_alone else ()
        return tuple(f"accelerator.{key}" for key in keys)

    def room(self) -> Room:
        """The region around the electrodes."""
        wide = self.chamber.half_width if self.chamber.radius is None else self.chamber.radius
        return Room(wide or 0.0, self.chamber.length or 0.0)

    def dimensions(self) -> tuple[Dimension, ...]:
        """Every physical quantity of the electrodes, liquid, voltages, supply and chamber."""
        return dimensions_of({name: getattr(self, name) for name in _PARTS[:-1]}, self._document)

    def dimension(self, key: str) -> Dimension:
        """The dimension of that key.

        Raises
        ------
        DesignError
            No such dimension in this design; the message names the nearest.
        """
        found = {d.key: d for d in self.dimensions()}
        if key not in found:
            raise DesignError(unknown_key(key, tuple(found), self.source), keys=(key,))
        return found[key]

    def tolerance(self, key: str) -> float:
        """Plus-minus half width of a quantity's tolerance, 0 where none is stated, SI.

        Raises
        ------
        DesignError
            No such dimension in this design; the message names the nearest.
        """
        return self.dimension(key).tolerance or 0.0

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
        return self.with_values(((key, value),))

    def with_values(self, changes: Iterable[tuple[str, float]]) -> Design:
        """A copy with several quantities changed at once, checked when all of them are.

        Parameters
        ----------
        changes : iterable of (str, float)
            Keys and new values in SI.

        Raises
        ------
        DesignError
            As `with_value`.
        """
        document, digest, shown = self._document, self.sha256, []
        for key, value in changes:
            section, _, name = key.partition(".")
            part = getattr(self, section, None)
            physical = part.physical_fields() if isinstance(part, Part) else {}
            if name not in physical:
                known = [f"{s}.{n}" for s in _PARTS for n in getattr(self, s).physical_fields()]
                raise DesignError(unknown_key(key, tuple(known), self.source), keys=(key,))
            kind = physical[name].kind
            if not math.isfinite(value):
                message = f"{self.source}: {key} = {value}: a {kind.name} must be finite"
                raise DesignError(message, keys=(key,))
            text = f"{float(value)!r} {kind.si}"
            document = with_text(document, section, name, text)
            shown.append(f"{key} = {as_text(float(value), kind, self._unit_of(key))}")
            digest = hashlib.sha256(f"{digest}\n{key} = {text}".encode()).hexdigest()
        if not shown:
            return self
        source = f"{self.source} with {', '.join(shown)}"
        return _checked(document, source, "", self._tables, self._imports, digest, scanned=True)

    def _unit_of(self, key: str) -> str:
        return next((d.unit for d in self.dimensions() if d.key == key), "")


_PARTS = tuple(f.name for f in fields(Parts))


def _build(text: str, name: str, files: Files) -> Design:
    """Read the tables that a design names, then check everything."""
    document = parse_toml(text, name)
    complaints = Complaints(name, text, document)
    digest = hashlib.sha256(text.encode())
    tables, remarks = named_tables(document, files, complaints, digest)
    imports = imported_files(document, files, complaints, digest)
    design = _checked(
        document,
        name,
        text,
        tables,
        imports,
        digest.hexdigest(),
        complaints=complaints,
        remarks=remarks,
    )
    ends = broken_ends(design.dimensions(), document, design.clearance, design.with_value)
    for key, message in ends:
        complaints.add(key, message)
    complaints.raise_if_any()
    return design


def _checked(
    document: Mapping[str, Any],
    name: str,
    text: str,
    tables: Mapping[str, FloatArray],
    imports: Mapping[str, ImportedFile],
    digest: str,
    *,
    scanned: bool = False,
    complaints: Complaints | None = None,
    remarks: list[Problem] | None = None,
) -> Design:
    complaints = complaints or Complaints(name, text, document)
    drawing = read_drawing(document, complaints)
    parts = read_parts(document, complaints, scanned=scanned)
    complaints.extend(broken_rules(parts))
    complaints.raise_if_any()
    assembly = assembly_of(parts, tables, imports, complaints)
    found = [*(remarks or []), *slips(parts, assembly.section.gap), *assembly.remarks]
    return Design(
        title=str(document.get("title", "")),
        drawing=drawing,
        emitter=parts.emitter,
        accelerator=parts.accelerator,
        liquid=parts.liquid,
        feed=parts.feed,
        voltages=parts.voltages,
        supply=parts.supply,
        chamber=assembly.chamber,
        insulator=parts.insulator,
        criteria=parts.criteria,
        source=name,
        sha256=digest,
        warnings=tuple(complaints.wording(problem) for problem in found),
        metal=parts.liquid.properties(),
        clearance=assembly.clearance,
        _section=assembly.section,
        _document=document,
        _tables=tables,
        _imports=imports,
    )
