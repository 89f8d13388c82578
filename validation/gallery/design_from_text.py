"""A design from text, one dimension changed, and how a slip is refused.

Expected: the values as written, in SI; a tip of 10 mm on a shank of 0.4 mm is refused by its key.
"""

from __future__ import annotations

from conegap.geometries.design.design import Design
from conegap.geometries.quantities.errors import DesignError
from conegap.validation.gallery.compared import compared
from conegap.validation.gallery.plain_needle import TEXT


def main() -> bool:
    """Read, change, refuse."""
    design = Design.from_text(TEXT)
    wider = design.with_value("accelerator.gap", 2e-3)
    print(f"{design.title}: {design.metal.name}, inputs {design.sha256[:12]}")
    print(f"with a wider gap: inputs {wider.sha256[:12]}")
    try:
        Design.from_text(TEXT.replace("10 um", "10 mm"))
    except DesignError as refusal:
        print(f"refused: {refusal}")
        named = "emitter.tip_radius" in str(refusal)
    else:
        named = False
    return named and all(
        [
            compared("gap as drawn [m]", design.gap, 1e-3, 1e-12),
            compared("gap changed [m]", wider.gap, 2e-3, 1e-12),
            compared("voltage across the gap [V]", design.voltage, 6e3, 1e-12),
        ]
    )


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
