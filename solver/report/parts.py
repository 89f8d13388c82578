"""What a report says, part by part, without any look: the page and the PDF print the same parts."""

from __future__ import annotations

from dataclasses import replace

from conegap.solver.assessment import Assessment
from conegap.solver.common.display_units import field_text, length_words, percent, voltage_text
from conegap.solver.report.beam import beam_table, beam_words, landing_table
from conegap.solver.report.blocks import Block, Bullets, Facts, Figures, Grid, Part, Words
from conegap.solver.report.callouts import callouts_table
from conegap.solver.report.cone import cone_table, cone_words
from conegap.solver.report.electrode import electrode_table, electrode_words
from conegap.solver.report.first_sheet import versions
from conegap.solver.report.liquid import liquid_facts, liquid_words, slit_words
from conegap.solver.report.operating import operating_table
from conegap.solver.report.operation import (
    card_cautions,
    card_table,
    feed_table,
    feed_words,
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
    common_basis,
    inputs_table,
    levels_table,
    review_basis,
    short_metal_table,
)
from conegap.solver.report.words import not_modelled, quality

__all__ = ["report_parts"]


def report_parts(assessment: Assessment) -> tuple[Part, ...]:
    """Everything behind the first sheet: two pages for the reviewer, then the appendix, in which
    each thing stands once.

    Parameters
    ----------
    assessment : Assessment
    """
    parts = (
        _review(assessment),
        _uncertainty(assessment),
        _section(assessment),
        _liquid(assessment),
        _sector(assessment),
        _beam(assessment),
        _operation(assessment),
        _feed(assessment),
        _electrode(assessment),
        _inputs(assessment),
        _metal(assessment),
        None if _short(assessment) else _quality(assessment),
        _card(assessment),
    )
    return tuple(part.typeset() for part in parts if part is not None)


def _review(assessment: Assessment) -> Part:
    answer = summary(assessment)
    table, notes = review_basis(assessment)
    caption = f"Not proved: the limit lies between the ends of the value. {notes}"
    blocks: list[Block] = [Grid(table, caption)]
    if answer.advice:
        blocks.append(Bullets(answer.advice, "What to do"))
    if assessment.warnings:
        blocks.append(Bullets(assessment.warnings, "Warnings"))
    return Part("review", "Criteria and their basis", tuple(blocks), look="page")


def _uncertainty(assessment: Assessment) -> Part:
    """The error budget, what moves the onset, what else could begin, what the band leaves out."""
    known = common_basis(assessment)
    several = len(assessment.emission.instabilities) > 1
    blocks: list[Block] = [
        Figures(("budget",)),
        Bullets(not_modelled(assessment), "Not in the band, because not modelled"),
        *((Figures(("first_emission",)),) if several else ()),
        Grid(
            budget_table(assessment),
            "As drawn where no basis is said" + (f"; else {known}" if known else ""),
        ),
    ]
    if _short(assessment):
        blocks += [Words(("Numerical quality:",), soft=True), *_quality(assessment).blocks]
    elif not several:
        blocks.append(Figures(_curves(assessment)))
    return Part("uncertainty", "Uncertainty of the onset", tuple(blocks), look="page")


def _short(assessment: Assessment) -> bool:
    """Whether the page on uncertainty has neither curves nor several ways to begin, and so has room
    for the numerical quality."""
    return not assessment.scans and len(assessment.emission.instabilities) == 1


def _curves(assessment: Assessment) -> tuple[str, ...]:
    """The onset over gap and edge size."""
    return ("onset_over_gap", "onset_over_edge_size") if assessment.scans else ()


def _section(assessment: Assessment) -> Part:
    rigid, notes = assessment.onset.rigid, assessment.design.section().notes
    clearance = assessment.design.clearance
    facts = [
        (f"field at the {rigid.edge_name} at rigid onset", field_text(rigid.balance_field)),
        ("edge field × gap / voltage", f"{assessment.enhancement:.3g}"),
        ("narrowest clearance", length_words(clearance) if clearance > 0.0 else "not given"),
        *_classic(assessment),
    ]
    return Part(
        "section",
        "The emitting edge and its field",
        (
            Figures(("edge",)),
            Facts(tuple(facts)),
            Grid(callouts_table(assessment), "Callouts for the drawing"),
            Figures(("equipotentials", "equipotentials_edge")),
            Figures(("edge_field",)),
            *((Bullets(notes),) if notes else ()),
            *(
                (Figures(_curves(assessment)),)
                if len(assessment.emission.instabilities) > 1
                else ()
            ),
        ),
        look="appendix",
    )


def _classic(assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """The closed form beside the answer."""
    classic = assessment.classic
    if classic is None:
        return ()
    share = classic.voltage / assessment.emission.first.voltage - 1.0
    side = f"{percent(abs(share))} {'above' if share >= 0.0 else 'below'} first emission"
    outside = "; ".join(classic.departures)
    held = f"outside its range: {outside}" if outside else f"meant for {classic.validity}"
    return (
        ("closed form", f"{voltage_text(classic.voltage)}, {side}; {held}"),
        ("its source", f"{classic.name}; {classic.source}"),
    )


def _electrode(assessment: Assessment) -> Part:
    return Part(
        "electrode",
        "Negative electrode",
        (
            Grid(
                electrode_table(assessment),
                "Electrons from the accelerator at the design’s voltages",
            ),
            Words(electrode_words(assessment)),
        ),
    )


def _inputs(assessment: Assessment) -> Part:
    return Part(
        "inputs",
        "Inputs",
        (
            Grid(
                _beside_the_budget(assessment),
                "As drawn where no basis is said; the rest stands in the budget",
            ),
        ),
    )


def _beside_the_budget(assessment: Assessment) -> Table:
    """Inputs that no line of the error budget states with its value, tolerance and basis."""
    table = inputs_table(assessment)
    known = {line.name for line in assessment.emission.first.budget.contributions}
    keep = [k for k, row in enumerate(table.rows) if row[0] not in known or not row[2]]
    return replace(
        table,
        rows=tuple(table.rows[k] for k in keep),
        state=tuple(table.mark(k) for k in keep),
    )


def _metal(assessment: Assessment) -> Part:
    metal, temperature = assessment.design.metal, assessment.design.liquid.temperature
    return Part(
        "metal",
        f"Metal: {metal.name}",
        (
            Grid(
                short_metal_table(metal, temperature),
                f"At {temperature:g} K; what was opened of a source says conegap metals "
                f"{metal.symbol}",
            ),
        ),
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
        along = slit_words(assessment)
        return Part("liquid", "Along the slit", (Words(along),)) if along else None
    return Part(
        "liquid",
        "Liquid surface",
        (
            Facts(facts),
            Figures(("liquid_balance",)),
            Words((*(line for line in liquid_words(assessment) if line), *slit_words(assessment))),
            Figures(("liquid_shapes", "liquid_branch")),
        ),
    )


def _beam(assessment: Assessment) -> Part:
    fan, landing = beam_table(assessment), landing_table(assessment)
    blocks: list[Block] = [Figures(("beam",))]
    if fan is not None:
        blocks.append(Grid(fan, "The fan of ion paths at the operating point"))
    if landing is not None:
        blocks.append(Grid(landing, "Where ions meet the accelerator: the spots that sputter"))
    return Part("beam", "Ion beam", (*blocks, Words(beam_words(assessment))))


def _operation(assessment: Assessment) -> Part:
    ion = assessment.design.metal.ion
    falling = (
        f"Singly charged {ion} ions falling from the emitter to ground; what rests on the current "
        "is an order of magnitude"
        if assessment.design.metal.gives_ions
        else "What is known of a liquid that gives no ions of a metal"
    )
    return Part(
        "operation",
        "Operation",
        (
            Figures(("load_line",)),
            Words(operation_words(assessment)),
            Grid(
                operating_table(assessment),
                falling,
            ),
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
            Words((", ".join(f"{name} {number}" for name, number in versions()),), soft=True),
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
                    f"revision {drawing.revision or 'not given'}. Voltages are emitter minus "
                    "accelerator unless stated.",
                    f"Inputs {design.sha256}",
                ),
                soft=True,
            ),
            Grid(card_table(assessment), "Settings and limits"),
            Bullets(card_cautions(assessment), "Cautions"),
        ),
        look="card",
    )
