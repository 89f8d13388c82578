"""Sections whose field is known exactly, drawn for the solver.

In: their parameters, [m].  Out: `Section`s and `Sector`s, and `ExactCase`s that pair them with the
exact value and its source.
"""
