"""What the parts of a design file have in common, and the parts that belong to no electrode.

In: tables of a design file.  Out: pydantic models in SI (`Part`, `Emitter`, liquid, voltages,
supply, chamber, criteria) and the outlines of holder and surroundings.
"""
