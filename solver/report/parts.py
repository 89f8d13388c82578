"""What a report says, part by part, without any look: the page and the PDF print the same parts."""

from __future__ import annotations

from dataclasses import dataclass

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import percent, voltage_text
from conegap.solver.common.style import pretty
from conegap.solver.report.beam import beam_table, beam_words, landing_table
from conegap.solver.report.cone import cone_table, cone_words
from conegap.solver.report.electrode import electrode_table, electrode_words
from conegap.solver.report.first_sheet import versions
from conegap.solver.report.liquid import liquid_facts, liquid_words, slit_words
from conegap.solver.report.operating import operating_table
from conegap.solver.report.operation import (
    card_cautions,
    card_table,
    current_table,
    feed_table,
    feed_words,
    metals_table,
    operation_words,
)
from conegap.solver.report.sector import (
    DRAWINGS,
    SECTOR_CHARTS,
    end_table,
    firing_table,
    screening_table,
    sector_words,
    tips_table,
)
from conegap.solver.report.summary import summary
from conegap.solver.report.tables import (
    Table,
    budget_table,
    inputs_table,
    levels_table,
    metal_table,
    operation_table,
    review_table,
)
from conegap.solver.report.words import (
    cautions,
    not_modelled,
    quality,
)

__all__ = ["Block", "Bullets", "Facts", "Figures", "Grid", "Part", "Words", "report_parts"]


@dataclass(frozen=True)
class Words:
    """Paragraphs; soft ones are remarks."""

    lines: tuple[str, ...]
    soft: bool = False
    kind: str = "words"


@dataclass(frozen=True)
class Bullets:
    """A list under a heading of its own, "" for none."""

    items: tuple[str, ...]
    heading: str = ""
    kind: str = "bullets"


@dataclass(frozen=True)
class Facts:
    """Names and values."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "facts"


@dataclass(frozen=True)
class Figures:
    """Figures by name; one that the report does not have is passed over."""

    names: tuple[str, ...]
    kind: str = "figures"


@dataclass(frozen=True)
class Grid:
    """A table with its caption."""

    table: Table
    caption: str
    kind: str = "table"


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
        "" or "card" (a printed page of its own) or "caution" (framed).
    """

    key: str
    heading: str
    blocks: tuple[Block, ...]
    look: str = ""


def report_parts(assessment: Assessment) -> tuple[Part, ...]:
    """Everything behind the first sheet, in the order of a review.

    Parameters
    ----------
    assessment : Assessment
    """
    design = assessment.design
    parts = [
        _answer(assessment),
        _section(assessment),
        _sector(assessment),
        _liquid(assessment),
        Part(
            "field",
            "Field",
            (Figures(("equipotentials", "equipotentials_edge", "edge_field")),),
        ),
        _scans(assessment),
        Part(
            "budget",
            "Error budget",
            (
                Figures(("budget",)),
                Grid(budget_table(assessment), "Every contribution, largest first"),
            ),
        ),
        Part(
            "review",
            "Gap review",
            (
                Grid(
                    review_table(assessment),
                    "Criteria with their basis; a row passes when its value is at most its limit "
                    "wherever between its ends it lies, and is not proved when the limit lies "
                    "between them",
                ),
            ),
        ),
        Part(
            "inputs",
            "Inputs",
            (
                Grid(
                    inputs_table(assessment),
                    "Tolerances are plus-minus half widths; what the design file leaves out is "
                    "assumed",
                ),
            ),
        ),
        Part(
            "metal",
            f"Metal: {design.metal.name}",
            (
                Grid(
                    metal_table(design.metal, design.liquid.temperature),
                    f"Properties at {design.liquid.temperature:g} K; status “unavailable”: no "
                    "open source could be read, and the uncertainty covers what was found",
                ),
            ),
        ),
        _classic(assessment),
        _slit(assessment),
        Part(
            "electrode",
            "Negative electrode",
            (
                Words(electrode_words(assessment)),
                Grid(
                    electrode_table(assessment),
                    "Electrons from the accelerator at the design’s voltages",
                ),
            ),
        ),
        _beam(assessment),
        _operation(assessment),
        _feed(assessment),
        _metals(assessment),
        _quality(assessment),
        Part("limits", "What is not modelled", (Bullets(not_modelled(assessment)),)),
        Part("cautions", "Cautions", (Bullets(cautions(assessment)),), look="caution"),
        _card(assessment),
    ]
    return tuple(part for part in parts if part is not None)


def _answer(assessment: Assessment) -> Part:
    answer = summary(assessment)
    warnings = tuple(pretty(warning) for warning in assessment.warnings)
    blocks: tuple[Block, ...] = (
        Facts(answer.facts),
        Grid(answer.emission, "Every way to begin that was solved, the lowest first"),
        *((Figures(("first_emission",)),) if len(answer.emission.rows) > 1 else ()),
    )
    return Part(
        "answer",
        "The answer in numbers",
        blocks + ((Bullets(warnings, "Warnings"),) if warnings else ()),
    )


def _section(assessment: Assessment) -> Part:
    notes = tuple(pretty(note) for note in assessment.design.section().notes)
    blocks: tuple[Block, ...] = (Figures(("edge",)),)
    return Part(
        "section",
        "The emitting edge",
        blocks + ((Bullets(notes, "Remarks on the section"),) if notes else ()),
    )


def _sector(assessment: Assessment) -> Part | None:
    words = sector_words(assessment)
    if not words:
        return None
    tables = (
        (tips_table(assessment), "Classes of tips, the strongest first"),
        (screening_table(assessment), "Field of the most screened tip over the pitch"),
        (firing_table(assessment), "When the tips of a crown fire, over the sampled crowns"),
        (end_table(assessment), "The ends of the slit"),
    )
    grids = tuple(Grid(table, caption) for table, caption in tables if table is not None)
    blocks: tuple[Block, ...] = (Figures(DRAWINGS), Words(words), Figures(SECTOR_CHARTS), *grids)
    return Part("sector", "Third dimension", blocks)


def _liquid(assessment: Assessment) -> Part | None:
    facts = liquid_facts(assessment)
    if not facts:
        return None
    return Part(
        "liquid",
        "Liquid surface",
        (
            Words(tuple(line for line in liquid_words(assessment) if line)),
            Figures(("liquid_shapes", "liquid_branch", "liquid_balance")),
            Facts(facts),
        ),
    )


def _scans(assessment: Assessment) -> Part | None:
    if not assessment.scans:
        return None
    return Part(
        "scans",
        "What moves the onset",
        (Figures(("onset_over_gap", "onset_over_edge_size")),),
    )


def _classic(assessment: Assessment) -> Part | None:
    classic = assessment.classic
    if classic is None:
        return None
    share = classic.voltage / assessment.emission.first.voltage - 1.0
    side = f"{percent(abs(share))} {'above' if share >= 0.0 else 'below'}"
    outside = tuple(f"Outside its range: {words}." for words in classic.departures)
    return Part(
        "classic",
        "Beside the classic estimate",
        (
            Facts(
                (
                    ("computed", voltage_text(assessment.emission.first.voltage)),
                    ("closed form", f"{voltage_text(classic.voltage)}, {side}"),
                )
            ),
            Words(
                (
                    f"{classic.name}; {classic.source}.",
                    f"Meant for: {classic.validity}. It knows nothing of shanks, holders and "
                    "chambers.",
                    *(outside or ("This design lies within that range.",)),
                )
            ),
        ),
    )


def _slit(assessment: Assessment) -> Part | None:
    words = slit_words(assessment)
    return Part("slit", "Along the slit", (Words(words),)) if words else None


def _beam(assessment: Assessment) -> Part:
    fan, landing = beam_table(assessment), landing_table(assessment)
    blocks: list[Block] = [Figures(("beam",))]
    if fan is not None:
        blocks.append(Grid(fan, "The fan of ion paths at the design’s voltages"))
    if landing is not None:
        blocks.append(Grid(landing, "Where ions meet the accelerator: the spots that sputter"))
    return Part("beam", "Ion beam", (*blocks, Words(beam_words(assessment))))


def _operation(assessment: Assessment) -> Part:
    table = operation_table(assessment)
    ion = assessment.design.metal.ion
    first: Block = Words(
        ("The emitter is not positive against ground, so no exhaust speed is given.",)
    )
    if table is not None:
        first = Grid(
            table,
            f"Singly charged {ion} ions falling from the emitter to ground, without divergence",
        )
    return Part(
        "operation",
        "Operation",
        (
            Figures(("load_line",)),
            Grid(
                operating_table(assessment),
                "The operating point; what rests on the current is an order of magnitude",
            ),
            first,
            Grid(current_table(assessment), "Current against voltage of the gap"),
            Words(operation_words(assessment)),
            Grid(cone_table(assessment), "The emitting cone: current, apex and time"),
            Words(cone_words(assessment)),
        ),
    )


def _feed(assessment: Assessment) -> Part:
    table = feed_table(assessment)
    words: tuple[Block, ...] = (Words(feed_words(assessment)),)
    if table is None:
        return Part("feed", "Feed", words)
    grid = Grid(table, "Flow and pressures of the path to the emitting edge")
    return Part("feed", "Feed", (grid, *words))


def _metals(assessment: Assessment) -> Part:
    emitter = voltage_text(assessment.design.voltages.emitter)
    return Part(
        "metals",
        "Other metals in this gap",
        (
            Grid(
                metals_table(assessment),
                "From the same field, no further solves; at the design’s temperature or 10 K above "
                f"melting, emitter at {emitter}",
            ),
            Words(
                (
                    "A scaled turning point is the rigid onset times this design’s own ratio of "
                    "turning point to rigid onset; it is exact only where feed pressure over "
                    "surface tension is the same.",
                ),
                soft=True,
            ),
        ),
    )


def _quality(assessment: Assessment) -> Part:
    cells = f"{assessment.solution.cells:,}".replace(",", "\u202f")
    return Part(
        "quality",
        "Numerical quality",
        (
            Words(quality(assessment)),
            Grid(
                levels_table(assessment),
                f"The mesh sequence; finest mesh {cells} control volumes, "
                f"{assessment.solution.seconds:.1f} s",
            ),
            Facts(versions()),
        ),
    )


def _card(assessment: Assessment) -> Part:
    design = assessment.design
    drawing = design.drawing
    return Part(
        "card",
        "Supply card",
        (
            Words(
                (
                    f"{design.title or design.source}, drawing {drawing.number or 'not given'}, "
                    f"revision {drawing.revision or 'not given'}. All voltages emitter minus "
                    "accelerator, unless stated otherwise.",
                    f"Inputs {design.sha256}",
                ),
                soft=True,
            ),
            Grid(card_table(assessment), "Settings and limits"),
            Bullets(card_cautions(assessment), "Cautions on this card"),
        ),
        look="card",
    )
