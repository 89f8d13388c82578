"""How the onset moves: error budget, scans, tolerances, calibration.

In: a design and its drawn onset (`drawn_onset`, the one path for it).  Out: onsets of changed
designs on moved meshes, their budget, response surfaces and tolerance allocations.
"""
