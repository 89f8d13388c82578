"""What closes the region at its side: a wall, a line without flux, or a plate that reaches it.

Oracle: LIMIT of a plate whose rim nears the wall, and of one whose hole nears nothing before a
closed plane; EXACT names and places of the boundary; INVARIANT refusals by key.
"""

from __future__ import annotations

import re

import pytest
from numpy.testing import assert_allclose

from conegap.geometries.design.design import Design
from conegap.geometries.design.starters import starter
from conegap.geometries.quantities.errors import DesignError
from conegap.solver.field.solution import solve_field
from conegap.solver.onset.rigid import rigid_onset_of_solution
from conegap.solver.studies.onset import doubled_room

TOUCHING = ("thickness", 'thickness = "0.5 mm"\nreaches_wall = true')
OPEN = ("radius", 'radius = "30 mm"\nside = "flux_free"')
SAME = ("chamber", 'chamber = "-1 kV"')


def _text(*changes: tuple[str, str], example: str = "needle") -> str:
    text = starter(example)
    for key, line in changes:
        text, count = re.subn(rf"(?m)^{key} = .*$", line, text, count=1)
        assert count == 1, key
    return text


def _design(*changes: tuple[str, str], example: str = "needle") -> Design:
    return Design.from_text(_text(*changes, example=example), name=example)


def _tip_field(design: Design) -> float:
    """Greatest field on the emitter at 1 V, with all other metal at 0 V, [V/m]."""
    solution = solve_field(design.section())
    voltages = {name: float(name == "emitter") for name in solution.electrodes}
    return float(solution.surface("emitter", voltages).field.max())


def _refused(*changes: tuple[str, str], example: str = "needle") -> tuple[str, ...]:
    with pytest.raises(DesignError) as caught:
        _design(*changes, example=example)
    return caught.value.keys


def test_plate_at_the_wall_is_the_limit_of_a_plate_with_a_rim_near_it() -> None:
    """LIMIT: a rim 50 um from the wall, 30 mm from the tip, is no gap that the tip sees."""
    near = _design(("thickness", 'thickness = "0.5 mm"\nouter_diameter = "59.9 mm"'))
    touching = _tip_field(_design(TOUCHING, SAME))
    assert_allclose(touching, _tip_field(near), rtol=3e-5)
    # A plate with its usual rim is another gap.
    assert abs(_tip_field(_design()) / touching - 1.0) > 1e-4


def test_small_hole_before_a_side_without_flux_is_a_closed_plane() -> None:
    """LIMIT: the field falls by the cube of hole over gap, 1e-5 here, to that of a closed plane."""
    hole = ("diameter", 'diameter = "40 um"')
    rounded = ("edge_radius", 'edge_radius = "5 um"')
    small = (("radius", 'radius = "4 mm"\nside = "flux_free"'), TOUCHING)
    pierced = _design(hole, rounded, *small)
    plane = re.sub(
        r"(?ms)^\[accelerator\].*?^\[liquid\]",
        '[accelerator]\nkind = "plane"\ngap = "1 mm"\n\n[liquid]',
        _text(("radius", 'radius = "4 mm"')),
    )
    closed = Design.from_text(plane, name="plane")
    assert_allclose(_tip_field(pierced), _tip_field(closed), rtol=1e-4)


def test_boundary_keeps_its_names_where_the_plate_ends() -> None:
    """EXACT: floor, side, plate and side follow one another at their places."""
    for changes, side in (((TOUCHING, SAME), "chamber"), ((TOUCHING, OPEN), "outer")):
        loops = _design(*changes).section().loops
        assert len(loops) == 1
        wide = [b for b in loops[0] if b.curve.start[0] == b.curve.end[0] == 30e-3]
        assert [b.name for b in wide] == [side, side]
        assert_allclose(wide[0].curve.end[1], 1e-3, rtol=1e-9)
        assert_allclose(wide[1].curve.start[1], 1.5e-3, rtol=1e-9)
        names = [b.name for b in loops[0]]
        assert names.count("accelerator") >= 5
        assert "chamber" in names


def test_wall_that_the_plate_touches_rises_with_it() -> None:
    """EXACT: emitter at 4 kV before -1 kV on plate and wall is 5 kV before 0 V on both."""
    lifted = (("emitter", 'emitter = "5 kV"'), ("accelerator", 'accelerator = "0 V"'))
    onsets = [
        rigid_onset_of_solution(one, solve_field(one.section())).voltage
        for one in (_design(TOUCHING, SAME), _design(TOUCHING, *lifted))
    ]
    assert_allclose(onsets[0], onsets[1], rtol=1e-9)


def test_side_without_flux_is_stated_and_not_doubled() -> None:
    """INVARIANT: what the size of the chamber does to the onset is asked of a wall alone."""
    assert dict(doubled_room(_design())) == {"chamber.radius": 60e-3, "chamber.length": 60e-3}
    assert dict(doubled_room(_design(OPEN))) == {"chamber.length": 60e-3}


def test_contradictions_name_their_key() -> None:
    """INVARIANT: a plate at two voltages, one with a rim at the wall, a side that is not solved."""
    rim = ("thickness", TOUCHING[1] + '\nouter_diameter = "20 mm"')
    assert _refused(rim, SAME) == ("accelerator.outer_diameter",)
    assert _refused(TOUCHING) == ("accelerator.reaches_wall",)
    assert _refused(("radius", 'radius = "30 mm"\nside = "open"')) == ("chamber.side",)
    free = ("length", 'length = "30 mm"\nside = "flux_free"')
    assert "chamber.side" in _refused(free, example="crown")
