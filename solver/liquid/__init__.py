"""The free liquid surface: its shapes in balance and where they lose it.

In: a design whose surface may move.  Out: a branch of equilibria up to its turning point
(`MeniscusOnset`), waves along a slit, and the choice between turning point and rigid balance.
"""
