"""Gauss panels on [0, 1], graded toward 1, and quadrature for kernels singular at a node.

The contact line lies at 1, where the field is a power of the distance: panels there shrink by two.
A kernel with a logarithm is integrated by the substitution t = node +- width u^q, whose powers
take the logarithm out, and the density is carried there by the interpolating polynomial of its
panel.  Everything here depends on the parameter alone and is worked out once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conegap.geometries.curves.curve import BoolArray, FloatArray, IntArray

__all__ = ["NearTable", "Panels"]


_GRADING = 5  # u^4 log(u) is smooth enough for 20 Gauss points: 1e-10 of the integral
_NEAR_NODES = 20


@dataclass(frozen=True)
class NearTable:
    """Quadrature about every node over one panel: its own or a neighbour.

    Parameters
    ----------
    targets : (t,) array of int
        Nodes.
    sources : (t, p) array of int
        Nodes of the panel.
    carry : (t, q, p) array
        Interpolation from these to the quadrature points.
    weights : (t, q) array
        With respect to the parameter.
    """

    targets: IntArray
    sources: IntArray
    carry: FloatArray
    weights: FloatArray


@dataclass(frozen=True)
class Panels:
    """Nodes of all panels, and how functions given there are integrated.

    Parameters
    ----------
    nodes : (n,) array
        Ascending in (0, 1).
    weights : (n,) array
        Gauss weights.
    cumulative : (n, n) array
        Times a function at the nodes: its integral from 0 to every node.
    far : (n, n) array of bool
        Pairs (target, source) for which the plain weights serve.
    """

    nodes: FloatArray
    weights: FloatArray
    cumulative: FloatArray
    near: NearTable
    far: BoolArray

    @classmethod
    def graded(cls, equal: int, halved: int, degree: int) -> Panels:
        """Equal panels, of which the last is halved toward 1 again and again.

        Parameters
        ----------
        equal : int
            Panels of equal length, [-].
        halved : int
            How often the last one is halved, [-].
        degree : int
            Gauss points in each, [-].
        """
        ends = np.concatenate(
            [
                np.arange(equal) / equal,
                1.0 - np.ldexp(1.0 / equal, -np.arange(1, halved + 1)),
                [1.0],
            ]
        )
        point, share = np.polynomial.legendre.leggauss(degree)
        half = 0.5 * np.diff(ends)
        nodes = (0.5 * (ends[:-1] + ends[1:])[:, None] + half[:, None] * point).ravel()
        weights = np.outer(half, share).ravel()
        count = len(half)
        panel = np.repeat(np.arange(count), degree)
        inner = _antiderivative(point)
        cumulative = np.where(panel[:, None] > panel, weights, 0.0)
        for k in range(count):
            some = slice(k * degree, (k + 1) * degree)
            cumulative[some, some] = half[k] * inner
        near = _near_table(nodes, ends, degree)
        far = np.abs(panel[:, None] - panel) > 1
        return cls(nodes, weights, cumulative, near, far)


def _antiderivative(point: FloatArray) -> FloatArray:
    """Matrix that integrates the interpolating polynomial from -1 to each Gauss point."""
    legendre = np.polynomial.legendre
    degree = len(point)
    values = legendre.legvander(point, degree - 1)
    whole = legendre.legint(np.eye(degree), lbnd=-1, axis=0)
    return np.asarray(legendre.legval(point, whole).T @ np.linalg.inv(values))


def _near_table(nodes: FloatArray, ends: FloatArray, degree: int) -> NearTable:
    """Quadrature over the panel of every node, on either side of it, and its neighbours."""
    u, share = np.polynomial.legendre.leggauss(_NEAR_NODES)
    u, share = 0.5 * (1.0 + u), 0.5 * share
    reach, weight = u**_GRADING, _GRADING * u ** (_GRADING - 1) * share
    count = len(ends) - 1
    gathered: list[tuple[int, int, FloatArray, FloatArray]] = []
    for i, t in enumerate(nodes):
        own = i // degree
        for panel in range(max(own - 1, 0), min(own + 2, count)):
            low, high = ends[panel], ends[panel + 1]
            # The stretch is graded from the end that is nearest to the node.
            stretches = (
                [(t, low), (t, high)] if panel == own else [(high, low)] if panel < own
                else [(low, high)]
            )  # fmt: skip
            for start, stop in stretches:
                gathered.append(
                    (i, panel, start + (stop - start) * reach, abs(stop - start) * weight)
                )
    targets = np.array([g[0] for g in gathered])
    panels = np.array([g[1] for g in gathered])
    places = np.array([g[2] for g in gathered])
    weights = np.array([g[3] for g in gathered])
    sources = panels[:, None] * degree + np.arange(degree)
    middle, half = 0.5 * (ends[panels] + ends[panels + 1]), 0.5 * np.diff(ends)[panels]
    local = (places - middle[:, None]) / half[:, None]
    legendre = np.polynomial.legendre
    point, _ = legendre.leggauss(degree)
    to_coefficients = np.linalg.inv(legendre.legvander(point, degree - 1))
    carry = legendre.legvander(local, degree - 1) @ to_coefficients
    return NearTable(targets, sources, carry, weights)
