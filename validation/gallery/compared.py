"""The last line of every script of the gallery: computed beside expected."""

from __future__ import annotations

__all__ = ["compared"]


def compared(what: str, computed: float, expected: float, tolerance: float) -> bool:
    """Print both values and whether they agree.

    Parameters
    ----------
    what : str
        Quantity with its unit.
    computed, expected : float
        In the same unit, expected not 0.
    tolerance : float
        Largest relative difference, [-].

    Examples
    --------
    >>> compared("gap [mm]", 1.0, 1.0, 1e-12)
    gap [mm]: computed 1, expected 1, apart by 0.0e+00 (allowed 1e-12)
    True
    """
    apart = abs(computed / expected - 1.0)
    print(
        f"{what}: computed {computed:.6g}, expected {expected:.6g}, apart by {apart:.1e} "
        f"(allowed {tolerance:g})"
    )
    return apart <= tolerance
