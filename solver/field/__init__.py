"""The electrostatic field of a section, by finite volumes on Voronoi cells.

In: nested meshes.  Out: unit solutions of every electrode (FiPy assembles, SuperLU factors), edge
and surface fields with observed order and error, smooth potentials between the points.
"""
