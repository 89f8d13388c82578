"""Liquid metals: property laws with source, status and range of validity.

In: `data/metals.toml` and what a design file says of a metal of its own.  Out: `Metal`, whose laws
take a temperature, [K], and refuse one out of range.
"""
