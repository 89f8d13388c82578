"""The balance of field stress against surface tension on a rigid surface.

In: a field and a metal.  Out: `RigidOnset` with its error, the closed forms beside it, and warnings
about the field.
"""
