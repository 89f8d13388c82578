"""The drawing: from a design file to the cross-section of its vacuum, SI inside.

Knows nothing of how a gap is solved.  The rooms, each importing only those before it: quantities,
curves, solids, metals, parts, imported, accelerators, emitters, design, micrograph.
"""
