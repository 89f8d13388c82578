"""The emitters that a design file may name.

In: their dimensions, [m].  Out: outlines with emitting edges, solids of the sector, marks, and the
answers that set one kind apart from another (what fires, what may carry a tolerance, its words).
"""
