"""Designs at the edge of what is built: very sharp or blunt, tips inside, blades nearly shorted."""

from __future__ import annotations

import pytest
from conftest import refused

from conegap.geometries.design.design import Design
from conegap.solver.field.solution import solve_field
from conegap.solver.onset.rigid import rigid_onset_of_solution
from conegap.validation.sections.catalogue import hyperboloid_needle

PLATE = 'kind = "aperture_plate"\ndiameter = "2 mm"\nthickness = "0.5 mm"\nedge_radius = "0.1 mm"'
REST = """
[liquid]
metal = "indium"
temperature = "450 K"
[voltages]
emitter = "5 kV"
accelerator = "-1 kV"
"""


def needle(tip: str, angle: str, gap: str, shank: str, accelerator: str = 'kind = "plane"') -> str:
    return (
        f'[emitter]\nkind = "needle"\ntip_radius = "{tip}"\nhalf_angle = "{angle}"\n'
        f'shank_diameter = "{shank}"\nprotrusion = "5 mm"\n'
        f'[accelerator]\n{accelerator}\ngap = "{gap}"\n' + REST
    )


def slit(lip: str, offset: str, gap: str, angle: str = "30 deg") -> str:
    inside = "tip_inside = true\n" if gap.startswith("-") else ""
    return (
        f'[emitter]\nkind = "slit"\nlength = "10 mm"\nchannel_height = "1.5 um"\n'
        f'lip_radius = "{lip}"\nblade_included_angle = "{angle}"\nprotrusion = "4 mm"\n'
        f'[accelerator]\nkind = "slotted_plate"\ngap = "{gap}"\nslot_width = "2.6 mm"\n'
        f'thickness = "0.4 mm"\nedge_radius = "0.15 mm"\nlateral_offset = "{offset}"\n'
        + inside
        + REST
    )


HARD = {
    "gap over radius 1e5, tip of 0.2 um": needle("0.2 um", "15 deg", "20 mm", "0.25 mm"),
    "half angle of 2 deg": needle("1 um", "2 deg", "1 mm", "0.25 mm"),
    "half angle of 80 deg": needle("0.2 um", "80 deg", "1 mm", "2 mm"),
    "tip of 0.5 mm": needle("0.5 mm", "20 deg", "2 mm", "2 mm", PLATE),
    "tip level with its plate": needle(
        "4 um", "15 deg", "0 mm", "0.25 mm", f"{PLATE}\ntip_inside = true"
    ),
    "tip through its plate": needle(
        "4 um", "15 deg", "-1.5 mm", "0.25 mm", f"{PLATE}\ntip_inside = true"
    ),
    "blades inside the slot, 46 um from touching": slit("3 um", "1.25 mm", "-0.2 mm"),
    "blades of 160 deg": slit("3 um", "0 mm", "0.8 mm", "160 deg"),
    "lips of 0.5 mm": slit("0.5 mm", "0 mm", "0.8 mm"),
}


@pytest.mark.parametrize("ratio", [3.0, 1e5])
def test_hyperboloids_from_blunt_to_sharp(ratio: float) -> None:
    """EXACT: apex field of a hyperboloid before a plane, d/R of 3 and of a hundred thousand."""
    case = hyperboloid_needle(radius=1e-6, gap=ratio * 1e-6, prescribed=False)
    found = solve_field(case.section).edge("tip", case.voltages)
    departure = abs(found.value / case.edge_fields["tip"] - 1.0)
    assert departure < 2e-4
    assert departure <= found.error


@pytest.mark.slow
@pytest.mark.parametrize("name", HARD)
def test_hard_designs_converge(name: str) -> None:
    """INVARIANT: an observed order near two, and two meshes agree with all within their errors."""
    design = Design.from_text(HARD[name])
    solution = solve_field(design.section())
    fine = rigid_onset_of_solution(design, solution)
    coarse = rigid_onset_of_solution(design, solution.first_meshes(2))
    assert 1.6 < fine.edge_at_design.order < 2.5
    assert fine.error < 1e-3
    change = abs(coarse.voltage / fine.voltage - 1.0)
    assert change <= coarse.error + fine.error


@pytest.mark.parametrize("offset", ["1.3 mm", "2 mm"])
@pytest.mark.parametrize("gap", ["0.8 mm", "-0.2 mm"])
def test_blades_that_touch_are_refused(offset: str, gap: str) -> None:
    """INVARIANT: a slot moved until the blades touch it gives a reason and no number."""
    with refused("accelerator.lateral_offset"):
        Design.from_text(slit("3 um", offset, gap))
