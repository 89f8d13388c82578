"""The files that a traced edge becomes: points in a CSV file and a design that names them."""

from __future__ import annotations

import math

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.micrograph.measured_edge import MeasuredEdge
from conegap.geometries.quantities.quantity import LENGTH, as_text

__all__ = ["design_text", "points_text", "radius_words"]

_DESIGN = """\
# conegap design file: an edge traced from {name}.
# {radius}.
# Everything but the emitter's outline is an example: change the values marked <- to your own.

title = "Edge traced from {title}"

[emitter]
kind = "profile"
# Points of the outline, from the picture.
points = "{points}"
revolved = {revolved}
corners = false
# The fitted radius; the points are scaled about the apex to it.  The tolerance is that of even
# likelihood with the standard uncertainty of the fit, {standard}.
edge_radius = {{ value = "{edge_radius}", tolerance = "{tolerance}", basis = "measured" }}
# Height of the apex above the holder's face; the flank goes on straight down to it.
protrusion = {{ value = "{protrusion}", basis = "assumed" }}          # <-

[accelerator]
kind = "{accelerator}"                                # <-
gap = {{ value = "1.5 mm", basis = "assumed" }}               # <-
{opening} = {{ value = "2.5 mm", basis = "assumed" }}         # <-
thickness = "0.5 mm"                                   # <-
edge_radius = "0.1 mm"                                 # <-

[liquid]
metal = "gallium"                                      # <-
temperature = "313 K"                                  # <-

[voltages]                                             # each against ground
emitter = "6 kV"                                       # <-
accelerator = "0 V"                                    # <-
"""


def radius_words(edge: MeasuredEdge) -> str:
    """The radius with its interval and window in one sentence without a full stop."""
    low, high = edge.interval

    def text(value: float) -> str:
        return as_text(float(f"{value:.4g}"), LENGTH)

    return (
        f"Edge radius {text(edge.radius)}, between {text(low)} and {text(high)} (k = 2, about "
        f"95 %), fitted within {math.degrees(edge.window.angle):.0f} deg on both sides of the apex"
    )


def points_text(edge: MeasuredEdge, points: FloatArray, name: str) -> str:
    """A CSV file in the form that a profile emitter reads.

    Parameters
    ----------
    points : (n, 2) array
        Radius or x, and height, [m].
    name : str
        Picture or file that was traced.
    """
    head = "radius" if float(points[:, 0].min()) >= 0.0 else "x"
    rows = "\n".join(f"{x * 1e6:.5f},{z * 1e6:.5f}" for x, z in points)
    return f"# Outline traced from {name}.\n# {radius_words(edge)}.\n{head},height\num,um\n{rows}\n"


def design_text(
    edge: MeasuredEdge, points: FloatArray, name: str, *, points_name: str, extruded: bool
) -> str:
    """A design file that `Design.read` takes as it is.

    Parameters
    ----------
    points : (n, 2) array
        Of the profile, [m].
    name : str
        Picture or file that was traced.
    points_name : str
        CSV file beside the design.
    extruded : bool
        The outline is extruded, not turned about its axis.
    """
    depth = -float(points[:, 1].min())
    protrusion = max(2e-3, 2.0 * 10.0 ** math.ceil(math.log10(depth)))
    plain = "".join(c if c.isprintable() and c not in '"\\' else "_" for c in name)
    return _DESIGN.format(
        name=plain,
        title=plain,
        radius=radius_words(edge),
        standard=as_text(float(f"{edge.uncertainty:.2g}"), LENGTH),
        edge_radius=as_text(float(f"{edge.radius:.4g}"), LENGTH),
        tolerance=as_text(float(f"{math.sqrt(3.0) * edge.uncertainty:.2g}"), LENGTH),
        points=points_name,
        revolved="false" if extruded else "true",
        protrusion=as_text(protrusion, LENGTH),
        accelerator="slotted_plate" if extruded else "aperture_plate",
        opening="slot_width" if extruded else "diameter",
    )
