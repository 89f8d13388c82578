"""From a wanted first emission to the dimensions that give it, with the review as constraints.

In: a design, ranges of some of its quantities, and what is wanted of the first emission.  Out: the
quantities that meet it, solved anew, or the demands that contradict each other.
"""
