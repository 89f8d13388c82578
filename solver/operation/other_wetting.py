"""The other states of wetting of an emitter: what the gap does there, and the rows that are worse.

The design file states one; which of them a bench finds is not certain.  Each criterion is judged
in the state that is the less favourable for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from conegap.geometries.design.design import Design
from conegap.solver.common.display_units import voltage_text
from conegap.solver.cone.taylor import EXTINCTION_UNCERTAINTY
from conegap.solver.liquid.meniscus_onset import MeniscusOnset
from conegap.solver.liquid.wetting_states import greatest_pressure, wetting_of
from conegap.solver.operation.beam_current import CurrentLaw
from conegap.solver.operation.feed_ends import FeedEnds
from conegap.solver.operation.operating_band import OperatingBand, operating_band
from conegap.solver.operation.review import ReviewRow, review_row

__all__ = ["OtherWetting", "flooding_rows", "less_favourable", "other_wettings"]

# To the worst.
_ORDER = ("pass", "not proved", "fail")


@dataclass(frozen=True)
class OtherWetting:
    """A gap in a state of wetting that its design does not state.

    Parameters
    ----------
    state : str
        What is wetted without voltage.
    share : float
        Its onset over that of the stated state, [-]; 0 where it floods without voltage.
    first : tuple of float
        Lowest, expected and highest voltage of its first emission: the band of the stated state in
        proportion, [V].
    band : OperatingBand or None
        None where it floods.
    """

    state: str
    share: float
    first: tuple[float, float, float]
    band: OperatingBand | None

    @property
    def words(self) -> str:
        """For the basis of a row."""
        if self.band is None:
            return f"with a {self.state}, which floods without voltage"
        return f"with a {self.state}, which emits from {voltage_text(self.first[1])}"

    def as_dict(self) -> dict[str, Any]:
        """For the results contract; null stands for a current that is not known."""
        found: dict[str, Any] = {"state": self.state, "first_emission_V": self.first[1]}
        if self.band is not None:
            for name, at in zip(("low", "expected", "high"), self.band.points, strict=True):
                found[f"current_{name}_A"] = at.point.current if at.current_known else None
        return found


def other_wettings(
    design: Design,
    emission: CurrentLaw,
    feed: FeedEnds | None,
    meniscus: MeniscusOnset | None,
    *,
    onset_band: tuple[float, float],
    first: tuple[float, float, float],
) -> tuple[OtherWetting, ...]:
    """Every other state of wetting that ends at another voltage than the stated one.

    No extinction is estimated there: the law begins at the onset, in the band up to
    `EXTINCTION_UNCERTAINTY` below.

    Parameters
    ----------
    design : Design
    emission : CurrentLaw
        Of the stated state.
    feed : FeedEnds or None
    meniscus : MeniscusOnset or None
    onset_band : tuple of float
        Of the stated state, [V].
    first : tuple of float
        Lowest, expected and highest voltage of the first emission in the stated state, [V].
    """
    if meniscus is None:
        return ()
    found = []
    for other in meniscus.others:
        if other.voltage is None:
            found.append(OtherWetting(other.state, 0.0, (0.0, 0.0, 0.0), None))
            continue
        share = other.voltage / meniscus.voltage
        if share == 1.0:
            continue
        law = replace(
            emission,
            onset_voltage=share * emission.onset_voltage,
            base_radius=other.contact_radius,
            extinction_over_onset=1.0,
            extinction_ends=(1.0 - EXTINCTION_UNCERTAINTY, 1.0),
        )
        low, expected, high = (share * volts for volts in first)
        band = operating_band(
            design,
            law,
            feed,
            onset_band=(share * onset_band[0], share * onset_band[1]),
            first=(low, expected, high),
        )
        found.append(OtherWetting(other.state, share, (low, expected, high), band))
    return tuple(found)


def less_favourable(
    rows: Iterable[ReviewRow],
    others: Iterable[OtherWetting],
    rows_in: Callable[[OtherWetting], Iterable[ReviewRow]],
) -> tuple[ReviewRow, ...]:
    """Each row in the state of wetting that is the worst for it; rows of other states alone too.

    Parameters
    ----------
    rows : iterable of ReviewRow
        In the stated state.
    others : iterable of OtherWetting
    rows_in : callable
        Gives the rows of another state.
    """
    found = {row.name: row for row in rows}
    for other in others:
        for row in rows_in(other):
            stated = found.get(row.name)
            if stated is None or _badness(row) > _badness(stated):
                found[row.name] = replace(row, basis=f"{row.basis}; {other.words}")
    return tuple(found.values())


def _badness(row: ReviewRow) -> tuple[int, float]:
    """First by what the row says, then by how much of its limit it may take."""
    _, high = row.span or (row.value, row.value)
    return _ORDER.index(row.state), high / row.limit if row.limit > 0.0 else high


def flooding_rows(design: Design, other: OtherWetting) -> Iterator[ReviewRow]:
    """That a state of wetting holds less pressure than the feed's, where it floods without voltage.

    Parameters
    ----------
    design : Design
    other : OtherWetting
    """
    gamma = design.surface_tension
    place = wetting_of(design, gamma)
    if other.band is None and place is not None:
        yield review_row(
            "pressure of the feed against flooding",
            design.edge_pressure,
            gamma * greatest_pressure(place, design, other.state),
            "Pa",
            "the greatest pressure that any place from that contact line on holds, textbook",
            "lower the feed pressure, or assure the state of wetting that the design states",
        )
