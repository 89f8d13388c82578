"""Conducting drops and menisci on a plane in a uniform field, by boundary elements.

In: a contact angle or a fixed contact line, what is held, a resolution.  Out: shapes in balance,
turning points and energies.  Nothing of the solver is used; its free surfaces are checked against
these programs, which `tests/test_boundary_elements.py` checks against exact and published values.
"""
