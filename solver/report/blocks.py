"""What a report is made of: words, lists, names with values, figures and tables, no look."""

from __future__ import annotations

from dataclasses import dataclass, replace

from conegap.solver.common.style import pretty
from conegap.solver.report.tables import Table

__all__ = ["Block", "Bullets", "Facts", "Figures", "Grid", "Part", "Words"]


@dataclass(frozen=True)
class Words:
    """Paragraphs; soft ones are remarks."""

    lines: tuple[str, ...]
    soft: bool = False
    kind: str = "words"

    def typeset(self) -> Words:
        """The same with typeset numbers and units."""
        return replace(self, lines=_typeset(self.lines))


@dataclass(frozen=True)
class Bullets:
    """A list under a heading of its own, "" for none."""

    items: tuple[str, ...]
    heading: str = ""
    kind: str = "bullets"

    def typeset(self) -> Bullets:
        """The same with typeset numbers and units."""
        return replace(self, items=_typeset(self.items))


@dataclass(frozen=True)
class Facts:
    """Names and values."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "facts"

    def typeset(self) -> Facts:
        """The same with typeset numbers and units."""
        return replace(self, pairs=tuple((pretty(a), pretty(b)) for a, b in self.pairs))


@dataclass(frozen=True)
class Figures:
    """Figures by name; one that the report does not have is passed over."""

    names: tuple[str, ...]
    kind: str = "figures"

    def typeset(self) -> Figures:
        """The same: a figure is typeset where it is drawn."""
        return self


@dataclass(frozen=True)
class Grid:
    """A table with its caption."""

    table: Table
    caption: str
    kind: str = "table"

    def typeset(self) -> Grid:
        """The same with typeset numbers and units."""
        table = replace(self.table, rows=tuple(_typeset(row) for row in self.table.rows))
        return replace(self, table=table, caption=pretty(self.caption))


Block = Words | Bullets | Facts | Figures | Grid


@dataclass(frozen=True)
class Part:
    """A section of the report.

    Parameters
    ----------
    key : str
        For links.
    heading : str
    blocks : tuple of Block
        In the order of reading.
    look : str
        "", "page" (begins a printed page), "appendix" (begins the appendix) or "card" (a printed
        page of its own).
    """

    key: str
    heading: str
    blocks: tuple[Block, ...]
    look: str = ""

    def typeset(self) -> Part:
        """The same with typeset numbers and units, as a reader gets it."""
        return replace(self, blocks=tuple(block.typeset() for block in self.blocks))


def _typeset(lines: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(pretty(line) for line in lines)
