"""The accelerator electrodes that a design file may name.

In: their dimensions and the gap, [m].  Out: outlines of the section, solids of the sector, marks.
"""
