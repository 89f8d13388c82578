"""From a micrograph to an edge radius with its interval, and to a design.

In: a picture or an outline in pixels with its scale.  Out: the outline, [m], the fitted circle with
its uncertainty, and the text of a design file.
"""
