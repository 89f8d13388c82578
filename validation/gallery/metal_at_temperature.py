"""Properties of a liquid metal with their sources.

Expected: indium's surface tension follows 0.556 - 9e-5 (T - 429.75) N/m, the law of its table,
for which no open source could be read.
"""

from __future__ import annotations

from conegap.geometries.metals.metal import metal
from conegap.validation.gallery.compared import compared


def main() -> bool:
    """Print every property at 500 K, with what has still to be confirmed."""
    indium, temperature = metal("indium"), 500.0
    for record in indium.records(temperature):
        mark = "  (no open source)" if record.status == "unavailable" else ""
        print(f"  {record.key}: {record.value:.5g} {record.unit}{mark}")
    law = 0.556 - 9e-5 * (temperature - 429.75)
    return compared("surface tension [N/m]", indium.surface_tension(temperature), law, 1e-5)


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
