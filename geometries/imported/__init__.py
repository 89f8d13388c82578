"""Sections from drawings (DXF), meshes and tables of points.

In: the content of a file.  Out: closed loops of curves in the frame of the section, the
triangles of a mesh, or points, [m]; every refusal names the line or the coordinates.
"""
