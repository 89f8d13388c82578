"""A page on which a design's dimensions are moved and its onset, band and review follow.

In: a design and ranges of up to three of its quantities.  Out: surfaces through whole solves over
those ranges with their error on solves held out, and one HTML file that evaluates them by itself.
"""
