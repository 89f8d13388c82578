"""The field of a section with a known answer: a sphere inside a sphere.

Expected: E = V b / (a (b - a)) on the inner sphere (textbook), within the solver's own error.
"""

from __future__ import annotations

from conegap.solver.field.solution import solve_field
from conegap.validation.gallery.compared import compared
from conegap.validation.sections.axisymmetric import concentric_spheres


def main() -> bool:
    """Solve on three meshes and extrapolate."""
    inner, outer, volts = 10e-6, 40e-6, 100.0
    solution = solve_field(concentric_spheres(inner=inner, outer=outer).section)
    edge = solution.edge("tip", {"emitter": volts, "accelerator": 0.0})
    for size, value in zip(solution.level_sizes, edge.level_values, strict=True):
        print(f"  subdivision {size}: {value:.6g} V/m")
    print(f"observed order {edge.order:.2f}, estimated relative error {edge.error:.1e}")
    exact = volts * outer / (inner * (outer - inner))
    return compared("field on the inner sphere [V/m]", edge.value, exact, max(edge.error, 1e-6))


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
