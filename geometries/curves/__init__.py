"""Plane curves and the section of a vacuum that they bound.

In: points, radii and corners, [m].  Out: named boundary curves with the vacuum on their left,
emitting edges, dimension marks (`Section`: the contract with the solver) and clearances.
"""
