"""The computation: from a section to the report that is taken into a design review.

The rooms, each importing only those before it: common, mesh, field, field3d, onset, liquid,
operation, beam, studies, arrays, then the module `assessment`, figures, report and commands.
"""
