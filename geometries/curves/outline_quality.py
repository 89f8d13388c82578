"""Whether measured points are taken as they are or smoothed, and what their edge's radius is worth.

Points whose scatter would move the radius of a curve through all of them by less than a per cent
are taken as they are; what they leave open between them is then half of what leaving out every
other point changes.  Others give way to the smooth outline of `outline_fit`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import FloatArray
from conegap.geometries.curves.outline_fit import FEWEST, fit_outline
from conegap.geometries.curves.profile import Profile, sharpest_edges
from conegap.geometries.quantities.errors import GeometryError

__all__ = ["OutlineQuality", "outline_quality"]

# Scatter of the radius of a curve through all points up to which they are taken as they are: more
# than writing nanometres does to an outline of 6 um with points 1 um apart.  A choice.
_NEGLIGIBLE = 0.01
# Scatter of the curvature of a quintic spline through points, times their distance squared, over
# the scatter of one point: 1.7 times that of a second difference, sqrt(6), as measured.
_OF_CURVATURE = 1.7 * math.sqrt(6.0)
# Places along the outline at which its roughness is looked for, several between two points.
_PLACES = 2001
# Radius of another place over that of the apex from which on that place is the edge: the waves that
# scatter leaves in a smooth outline are weaker. A choice.
_SHARPER = 0.7
# Relative radius taken for unknown where leaving out every other point leaves no curve.
_OPEN = 0.25
# Twice the standard uncertainty of the radius over the radius from which on it is not known.
_UNKNOWN = 0.7
# Standard uncertainties in which two halves of the points may differ, so that sound points are
# refused once in a thousand times, and what the fit itself may be off besides, 2 %.
_DISAGREE, _FIT = 4.0, 0.02
# Scatter over the stated one beyond which the statement cannot be right: with ten points or more a
# standard deviation is known to a quarter.
_MISJUDGED = 2.0


@dataclass(frozen=True)
class OutlineQuality:
    """What is known of an outline's edge.

    Parameters
    ----------
    profile : Profile
        The outline to take: as measured, or smooth.
    smoothed : bool
        Whether it is the smooth one.
    radius : float or None
        Radius of the smooth outline's apex, None where the points are taken as they are, [m].
    scatter : float
        Standard deviation of a coordinate of the points, 0 where it is not known, [m].
    uncertainty : float
        Relative standard uncertainty of the edge's radius from the scatter, [-].
    interpolation : float
        Relative half width of what the points leave open between them, [-].
    """

    profile: Profile
    smoothed: bool
    radius: float | None
    scatter: float
    uncertainty: float
    interpolation: float


def outline_quality(profile: Profile, name: str, scatter: float | None) -> OutlineQuality:
    """Judge an outline and choose between its points and a smooth curve.

    Parameters
    ----------
    profile : Profile
        As measured.
    name : str
        Name of the points' file, for messages.
    scatter : float or None
        Standard deviation of a coordinate as stated, [m].

    Raises
    ------
    GeometryError
        The points scatter so much, or so much more than stated, that the edge's radius is not
        known.
    """
    open_form = profile.form in ("from the middle", "across")
    if profile.corners or not open_form or len(profile.points) < FEWEST:
        return _as_measured(profile, 0.0, 0.0)
    half = profile.form == "from the middle"
    own = fit_outline(profile.points, half=half)
    if scatter is not None and own.scatter > _MISJUDGED * scatter:
        raise GeometryError(
            f"{name}: the points scatter by {_nm(own.scatter)} about a smooth outline, more than "
            f"emitter.points_uncertainty, {_nm(scatter)}; state what they scatter by, or look for "
            "a point that is wrong",
            keys=("emitter.points_uncertainty",),
        )
    spacing = _spacing(profile)
    known = own.scatter if scatter is None else scatter
    of_curve = _OF_CURVATURE * known * own.radius / spacing**2
    if not _apex_is_the_edge(own.points, profile, own.radius):
        found = _as_measured(profile, 0.0, 0.0)
        if found.interpolation >= _OPEN:
            raise GeometryError(
                f"{name}: the points leave the radius of the edge open: without every other one it "
                "changes by half and more; measure more points about the edge, or more exactly"
            )
        return found
    rough = _roughness(profile, own.radius)
    # An outline that was smoothed before, such as a traced one, follows no single points.
    smooth_already = scatter is None and rough <= _NEGLIGIBLE
    if of_curve <= _NEGLIGIBLE or smooth_already:
        return _as_measured(profile, known, min(of_curve, rough))
    fit = own if scatter is None else fit_outline(profile.points, half=half, scatter=scatter)
    uncertainty = fit.uncertainty / fit.radius
    if 2.0 * uncertainty > _UNKNOWN:
        raise GeometryError(
            f"{name}: the points scatter by {_nm(fit.scatter)} and leave the radius of the edge "
            f"open, {fit.radius * 1e6:.3g} um +- {200.0 * uncertainty:.0f} %; measure more points "
            "about the edge, or more exactly"
        )
    _compare_halves(profile, name, half, scatter)
    smooth = Profile(fit.points, profile.form)
    return OutlineQuality(smooth, True, smooth.apex_radius(), fit.scatter, uncertainty, 0.0)


def _as_measured(profile: Profile, scatter: float, uncertainty: float) -> OutlineQuality:
    """The points themselves, with what they leave open between them."""
    left_open = 0.0 if profile.corners else _left_open(profile)
    return OutlineQuality(profile, False, None, scatter, uncertainty, left_open)


def _thinned(profile: Profile) -> Profile:
    """The outline without every other point, its apex and ends kept."""
    points = profile.points
    apex = int(np.argmax(points[:, 1])) if profile.form == "across" else 0
    keep = np.arange(len(points)) % 2 == apex % 2
    keep[[0, -1]] = True
    return Profile(points[keep], profile.form)


def _roughness(profile: Profile, radius: float) -> float:
    """How far the curvature about the apex follows single points, over that of the apex, [-].

    The root mean square of what it changes by when every other point is left out.
    """
    try:
        whole, fewer = profile.curves()[0], _thinned(profile).curves()[0]
    except GeometryError:
        return math.inf
    t = np.linspace(0.0, 1.0, _PLACES)
    apex = profile.points[int(np.argmax(profile.points[:, 1]))]
    near = t[np.hypot(*(whole.point(t) - apex).T) < 2.0 * radius]
    if len(near) == 0:
        return math.inf
    change = whole.curvature(near) - fewer.curvature(near)
    return float(np.sqrt(np.mean(change**2))) * radius


def _left_open(profile: Profile) -> float:
    """Half of the relative change of the edge's radius when every other point is left out."""
    try:
        full, fewer = (
            min(edge.radius for edge in sharpest_edges(one.curves()))
            for one in (profile, _thinned(profile))
        )
    except GeometryError:
        return _OPEN
    return min(0.5 * abs(fewer / full - 1.0), _OPEN)


def _spacing(profile: Profile) -> float:
    """Distance between neighbouring points at the apex, [m]."""
    points = profile.points
    apex = 0 if profile.form == "from the middle" else int(np.argmax(points[:, 1]))
    near = points[max(apex - 2, 0) : apex + 3]
    return float(np.mean(np.hypot(*np.diff(near, axis=0).T)))


def _apex_is_the_edge(smooth: FloatArray, profile: Profile, radius: float) -> bool:
    """Whether the smooth outline is rounded at its apex and nowhere much sharper."""
    if not 0.0 < radius < math.inf:
        return False
    try:
        places = sharpest_edges(Profile(smooth, profile.form).curves())
    except GeometryError:
        return False
    return min(edge.radius for edge in places) > _SHARPER * radius


def _compare_halves(profile: Profile, name: str, half: bool, scatter: float | None) -> None:
    """Refuse points of which the even and the odd ones show different edges."""
    points = profile.points
    apex = 0 if half else int(np.argmax(points[:, 1]))
    order = np.arange(len(points)) - apex
    # Both keep the apex, which frames them.
    halves = [points[(order % 2 == k) | (order == 0)] for k in (0, 1)]
    if min(len(some) for some in halves) < FEWEST:
        return
    a, b = (fit_outline(some, half=half, scatter=scatter) for some in halves)
    allowed = _DISAGREE * math.hypot(a.uncertainty, b.uncertainty) + _FIT * max(a.radius, b.radius)
    if abs(a.radius - b.radius) > allowed:
        raise GeometryError(
            f"{name}: every other point shows an edge radius of {a.radius * 1e6:.3g} um, the rest "
            f"one of {b.radius * 1e6:.3g} um, further apart than their scatter explains; look for "
            "a point that is wrong, or measure more points about the edge"
        )


def _nm(length: float) -> str:
    return f"{length * 1e9:.3g} nm"
