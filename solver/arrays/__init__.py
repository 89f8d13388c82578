"""What tips and lips do to each other: crowns, arrays, ends of slits.

In: sector solutions, an onset.  Out: first emission, screening, and the rows of the review.
"""
