"""Ion paths through the recovered field, and where they leave or land.

In: a field solution and voltages.  Out: `Beam` with divergence, clearance, interception and the
first-order spread by its own charge.
"""
