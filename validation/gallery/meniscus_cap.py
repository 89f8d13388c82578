"""A meniscus without field: its shape, pressure and volume.

Expected: a spherical cap of contact angle t on a bore of radius a has the curvature 2 sin(t) / a
(Young and Laplace) and the volume pi a^3 (2 + cos t)(1 - cos t)^2 / (3 sin^3 t) (textbook).
"""

from __future__ import annotations

import math

import numpy as np

from conegap.geometries.metals.metal import metal
from conegap.solver.liquid.shape import cap
from conegap.validation.gallery.compared import compared


def main() -> bool:
    """Gallium at 313 K on a bore of 50 um, half way to the hemisphere."""
    radius, angle = 25e-6, math.radians(45.0)
    gamma = metal("gallium").surface_tension(313.0)
    shape = cap(angle, 12, "axisymmetric")
    curvature = float(np.mean(shape.curvature(np.linspace(0.1, 0.9, 9)))) / radius
    cosine, sine = math.cos(angle), math.sin(angle)
    volume = math.pi * (2.0 + cosine) * (1.0 - cosine) ** 2 / (3.0 * sine**3)
    height = radius * math.tan(angle / 2.0)
    return all(
        [
            compared("pressure [Pa]", gamma * curvature, gamma * 2.0 * sine / radius, 1e-9),
            compared("height of the apex [m]", shape.height * radius, height, 1e-9),
            compared("volume over a^3 [-]", shape.volume, volume, 1e-6),
        ]
    )


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
