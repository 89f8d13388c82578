"""Random designs against the laws, broken files against the reader; run from a checkout.

In: a seed and numbers of designs.  Out: every design that breaks a law, with its file.
"""
