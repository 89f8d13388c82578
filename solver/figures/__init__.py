"""Figures: drawings true to scale, charts, and views of the third dimension.

In: designs, solutions and results.  Out: matplotlib axes and `Picture`s with caption and words for
readers who cannot see them.  Draws; computes no result.
"""
