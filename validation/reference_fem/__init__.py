"""An independent finite-element solver, to check the finite volumes against.

In: sections and sectors.  Out: fields of quadratic elements; it shares no line with the solver's
discretisation.
"""
