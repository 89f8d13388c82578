"""From the text of a design file to a checked `Design`.

In: TOML with units.  Out: a `Design` in SI with its section, dimensions and warnings, or one
message with every complaint.  `kinds` is the registry of emitters and accelerators.
"""
