"""Two or more revisions of a design side by side.

In: designs, or report folders with their results.json.  Out: what changed in the drawing, what it
did to first emission, band, criteria and operating point, and the share of each changed entry.
Report folders are solved again only for the shares.
"""
