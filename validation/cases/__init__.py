"""The rows of `conegap validate`: every check with source, value, error and tolerance.

In: nothing; each case runs the solver live.  Out: `Row`s, collected by `table`.
"""
