"""The field of a sector in three dimensions, on nested tetrahedra.

In: a `Sector`, or solids of a STEP file.  Out: unit solutions, the field at tips (through a sphere)
and along lips (through a tube), and the factor between sector and plane section.
"""
