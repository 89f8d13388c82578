"""Ion paths through the recovered field with their own charge, and where they leave or land.

In: a field solution, voltages and a current.  Out: `Beam` with divergence, clearance and
interception; `BeamBand` with the same at both ends of the current's band and numerical errors.
"""
