"""The liquid cone that emits ions: its shape under its own charge, its current, its apex, its time.

In: surface tension, mass and charge of the ion, the radius of the cone's base, voltages.  Out:
half angle against current (`charged_flow`), current against voltage (`current_law`), all by
formulas and ordinary differential equations that need no mesh.
"""
