"""Conductors as solids, and the sector of a gap to be solved in three dimensions.

In: profiles and placements, [m].  Out: `Solid` trees of primitives and a `Sector` with its
mirrors, tips and lips, which the solver's room `field3d` meshes.
"""
