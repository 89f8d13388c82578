"""Refusals of the metal library."""

from __future__ import annotations

from conegap.geometries.quantities.errors import DesignError

__all__ = ["FrozenMetalError", "MissingPropertyError", "UnknownMetalError"]


class UnknownMetalError(DesignError):
    """The name asked for is no metal of the library.

    Parameters
    ----------
    name : str
        The name asked for.
    known : tuple of str
        Symbols of the library.
    nearest : tuple of str, optional
        Names that resemble it, best first.
    """

    def __init__(self, name: str, known: tuple[str, ...], nearest: tuple[str, ...] = ()) -> None:
        suggestion = (
            f" Did you mean {' or '.join(repr(near) for near in nearest)}?" if nearest else ""
        )
        super().__init__(
            f"there is no metal {name!r} in the library.{suggestion} "
            f"Known metals: {', '.join(known)}. "
            "For another metal give its properties in the design file."
        )
        self.name = name
        self.known = known
        self.nearest = nearest


class FrozenMetalError(DesignError):
    """The metal is solid at the temperature asked for.

    Parameters
    ----------
    name : str
        Name of the metal.
    temperature : float
        Temperature asked for, [K].
    melting_point : float
        Melting point of the metal, [K].
    """

    def __init__(self, name: str, temperature: float, melting_point: float) -> None:
        super().__init__(
            f"{name} is solid at {temperature!r} K: it melts at {melting_point!r} K. "
            f"Set a temperature of {melting_point!r} K or more (heat emitter, feed and "
            "reservoir), or choose a metal that is liquid there."
        )
        self.name = name
        self.temperature = temperature
        self.melting_point = melting_point


class MissingPropertyError(DesignError):
    """A metal given by the user lacks a property that the computation needs.

    Parameters
    ----------
    name : str
        Name of the metal.
    missing : str
        Name of the property.
    """

    def __init__(self, name: str, missing: str) -> None:
        super().__init__(
            f"{missing} of {name} is not given, but this result needs it: add {missing} to the "
            "metal's properties, or choose a metal of the library."
        )
        self.name = name
        self.missing = missing
