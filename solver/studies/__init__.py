"""How the onset moves: error budget, scans, tolerances, calibration.

In: a design and the onset of it as drawn.  Out: onsets of changed designs on moved meshes, their
budget, response surfaces and tolerance allocations.
"""
