"""Closed forms and independent series: fields, capacitors, drops, liquids, lattices of spheres.

In: SI numbers.  Out: exact values, each with its published source; nothing of the solver is used.
"""
