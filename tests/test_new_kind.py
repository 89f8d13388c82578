"""Kinds that the package does not know: one class and one line of the registry make them whole."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar, Literal

import numpy as np
import pytest
from conftest import refused
from numpy.testing import assert_allclose
from scipy.special import zeta

from conegap.geometries.accelerators.plate import OpenAccelerator
from conegap.geometries.curves.curve import Arc
from conegap.geometries.curves.outline import rounded_polygon
from conegap.geometries.curves.section import (
    Boundary,
    DimensionMark,
    EmittingEdge,
    Section,
    Symmetry,
)
from conegap.geometries.design.design import Design
from conegap.geometries.design.kinds import ACCELERATORS, EMITTERS
from conegap.geometries.design.starters import starter
from conegap.geometries.emitters.tip_array import TipArray
from conegap.geometries.parts.accelerator import gap_mark
from conegap.geometries.parts.emitter import Emitter
from conegap.geometries.parts.part import Angle, Length, Problem
from conegap.geometries.parts.setting import Setting, described, length_text
from conegap.geometries.parts.surroundings import AcceleratorOutline, EmitterOutline
from conegap.solver.commands.main import main
from conegap.solver.onset.rigid import rigid_onset


class Boss(Emitter):
    """A hemisphere on the flat face of a holder."""

    kind: Literal["boss"]
    boss_radius: Length = described("radius of the hemisphere", "20 um")
    holder_diameter: Length = described("diameter of the face it stands on", "8 mm")

    @property
    def edge_radius_key(self) -> str | None:
        return "emitter.boss_radius"

    @property
    def base_half_width(self) -> float:
        return self.boss_radius

    @property
    def height(self) -> float:
        return self.boss_radius

    @property
    def holder_half_width(self) -> float:
        return self.holder_diameter / 2.0

    def problems(self) -> Iterator[Problem]:
        if self.boss_radius > 1e-3:
            yield Problem("emitter.boss_radius", "a boss above 1 mm is no emitter")
        yield from super().problems()

    def outline(self, setting: Setting) -> EmitterOutline:
        r = self.boss_radius
        spot = (r * math.sqrt(0.5), r * math.sqrt(0.5) - r)
        mark = DimensionMark(
            "emitter.boss_radius", f"R {length_text(r)}", (0.0, -r), spot, "radius", inset=True
        )
        return EmitterOutline(
            boundaries=(Boundary("emitter", Arc((0.0, -r), r, math.pi / 2.0, 0.0)),),
            edges=(EmittingEdge("pole", 0, 0, 0.0, r),),
            holder=self.holder(),
            marks=(mark,),
            notes=("A hemispherical boss.",),
        )


class Funnel(OpenAccelerator):
    """A conical ring: a wall of constant thickness whose opening narrows away from the emitter."""

    kind: Literal["funnel"]
    mouth: Length = described("diameter of the near opening", "3 mm")
    depth_of_wall: Length = described("axial length of the cone", "0.5 mm")
    lean: Angle = described("angle of the wall from the axis", "20 deg")
    rim: Length = described("radius of all edges", "0.1 mm")
    outer: Length = described("outer diameter", "12 mm")

    symmetry: ClassVar[Symmetry | None] = "axisymmetric"

    @property
    def opening(self) -> float | None:
        return self.mouth - 2.0 * self.depth_of_wall * math.tan(self.lean)

    @property
    def depth(self) -> float:
        return self.depth_of_wall

    @property
    def half_width(self) -> float:
        return self.outer / 2.0

    def outline(self, gap: float, setting: Setting) -> AcceleratorOutline:
        near, far = self.mouth / 2.0, (self.opening or 0.0) / 2.0
        top = gap + self.depth_of_wall
        corners = [(near, gap), (far, top), (self.half_width, top), (self.half_width, gap)]
        return AcceleratorOutline(
            gap=gap,
            top=top,
            islands=(tuple(rounded_polygon(corners, [self.rim] * 4, closed=True)),),
            marks=(gap_mark(gap),),
        )


class Pair(TipArray):
    """Two tips: a row whose number of tips is no dimension."""

    kind: Literal["pair"]  # type: ignore[assignment]
    tips_per_row: int = 2

    @property
    def solid_name(self) -> str:
        return "pair of tips"


@pytest.fixture(autouse=True)
def registered(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(EMITTERS, "boss", Boss)  # type: ignore[arg-type]
    monkeypatch.setitem(EMITTERS, "pair", Pair)  # type: ignore[arg-type]
    monkeypatch.setitem(ACCELERATORS, "funnel", Funnel)  # type: ignore[arg-type]
    monkeypatch.chdir(tmp_path)


def with_section(text: str, name: str, lines: str) -> str:
    """A design file with one of its sections written anew."""
    found, count = re.subn(rf"(?ms)^\[{name}\].*?(?=^\[)", f"[{name}]\n{lines}\n\n", text)
    assert count == 1
    return found


def boss_text() -> str:
    """A boss of 20 um on a face of 8 mm, 0.4 mm below a plane."""
    text = re.sub(r"(?m)^film_thickness.*\n", "", starter("needle"))
    emitter = 'kind = "boss"\nboss_radius = { value = "20 um", tolerance = "1 um" }\n'
    text = with_section(text, "emitter", emitter + 'holder_diameter = "8 mm"')
    text = text.replace('emitter = "4 kV"', 'emitter = "16 kV"')
    text = text.replace('voltage_limit = "8 kV"', 'voltage_limit = "20 kV"')
    return with_section(text, "accelerator", 'kind = "plane"\ngap = "380 um"')


def test_a_new_emitter_has_its_exact_field() -> None:
    """EXACT: a hemisphere of radius a on a plane, another plane at the distance D = gap + a.

    In a uniform field its pole has three times that field (image of a sphere; textbook).  The far
    plane adds images of its dipole 4 pi eps0 a^3 E at 2 k D to both sides, each with a field on
    the line of 2 (a / 2 k D)^3 E: zeta(3) / 2 (a / D)^3 in all, derived here.  What is left out
    is of the order (a / D)^5, 3e-7, and the holder's rim, ten distances away, exp(-10 pi).
    """
    design = Design.from_text(boss_text())
    onset = rigid_onset(design)
    a, apart = 20e-6, 400e-6
    field = 3.0 / apart * (1.0 + 0.5 * zeta(3.0) * (a / apart) ** 3)
    error = onset.error
    assert error < 1e-3
    assert_allclose(onset.edge_per_volt, field, rtol=error + 1e-6)
    # The field is lost at sqrt(2 gamma (2 / a) / eps0), at the pole of a sphere.
    balance = math.sqrt(4.0 * onset.surface_tension / (8.8541878188e-12 * a))
    assert_allclose(onset.voltage, balance / field, rtol=error + 1e-6)


def test_a_new_emitter_goes_through_the_main_job() -> None:
    """INVARIANT: read, draw, onset and report know nothing of the kind and serve it."""
    Path("boss.toml").write_text(boss_text(), encoding="utf-8")
    assert main(["draw", "boss.toml", "--to", "boss.svg"]) == 0
    drawing = Path("boss.svg").read_text(encoding="utf-8")
    assert "boss and accelerator" in drawing
    assert main(["onset", "boss.toml", "--quick", "--to", "report", "-q"]) in (0, 1)
    results: dict[str, Any] = json.loads(Path("report/results.json").read_text(encoding="utf-8"))
    page = Path("report/report.html").read_text(encoding="utf-8")
    assert "boss radius" in page
    assert "A hemispherical boss." in page
    assert "emitter.boss_radius" in json.dumps(results)


def test_a_new_emitter_is_refused_in_words() -> None:
    """EXACT: by its own rules, those of all emitters, and the accelerators that suit it."""
    text = boss_text()
    with refused("emitter.boss_radius", "2 mm"):
        Design.from_text(text.replace('value = "20 um"', 'value = "2 mm"'))
    with refused("liquid.film_thickness"):
        Design.from_text(
            text.replace("[voltages]", "[voltages]", 1).replace(
                "contact_angle", 'film_thickness = "1 um"\ncontact_angle', 1
            )
        )
    slot = 'kind = "slotted_plate"\ngap = "1 mm"\nslot_width = "1 mm"\nthickness = "1 mm"\n'
    with refused("accelerator.kind", "plane, aperture_plate, ring", "funnel"):
        Design.from_text(with_section(text, "accelerator", slot + 'edge_radius = "0.1 mm"'))


def section_before(lines: str) -> Section:
    """Section of the shipped needle before another accelerator."""
    return Design.from_text(with_section(starter("needle"), "accelerator", lines)).section()


def test_a_new_accelerator_stands_before_a_needle() -> None:
    """INVARIANT: without lean it is an aperture plate; with it, its far opening is narrower."""
    sizes = 'mouth = "3 mm"\ndepth_of_wall = "0.5 mm"\nrim = "0.1 mm"\nouter = "12 mm"\n'
    straight = section_before(f'kind = "funnel"\ngap = "1 mm"\nlean = "0 deg"\n{sizes}')
    plate = section_before(
        'kind = "aperture_plate"\ngap = "1 mm"\ndiameter = "3 mm"\nthickness = "0.5 mm"\n'
        'edge_radius = "0.1 mm"\nouter_diameter = "12 mm"\nouter_edge_radius = "0.1 mm"\n'
    )
    t = np.linspace(0.0, 1.0, 9)
    for one, other in zip(straight.loops, plate.loops, strict=True):
        for mine, its in zip(one, other, strict=True):
            assert mine.name == its.name
            assert_allclose(mine.curve.point(t), its.curve.point(t), rtol=0.0, atol=1e-15)
    leaning = Design.from_text(
        with_section(
            starter("needle"),
            "accelerator",
            f'kind = "funnel"\ngap = "1 mm"\nlean = "20 deg"\n{sizes}',
        )
    )
    x = np.vstack([b.curve.point(t) for b in leaning.section().loops[1]])[:, 0]
    assert 1.5e-3 - 0.5e-3 * math.tan(math.radians(20.0)) < x.min() < 1.5e-3
    assert rigid_onset(leaning, meshes=2).voltage > 0.0


def test_a_new_group_of_tips_has_its_sector_and_its_pictures() -> None:
    """INVARIANT: a pair is an array of two; its plan and its view bear its own name."""
    two = re.sub(r"(?m)^tips_per_row = .*$", "tips_per_row = 2", starter("array"))
    pair = re.sub(r"(?m)^(tips_per_row|rows|layout) = .*\n", "", two)
    pair = pair.replace('kind = "array"', 'kind = "pair"')
    Path("pair.toml").write_text(pair, encoding="utf-8")
    assert Design.read("pair.toml").sector() == Design.from_text(two).sector()
    assert main(["draw", "pair.toml", "--to", "pair.svg"]) == 0
    drawing = Path("pair.svg").read_text(encoding="utf-8")
    assert "Plan of the pair of tips" in drawing
