"""The report of a design as one HTML file that needs nothing else."""

from __future__ import annotations

import html
import platform
import re
from collections.abc import Mapping
from importlib.metadata import version
from importlib.resources import files

from conegap.solver.assessment import Assessment
from conegap.solver.figure_style import COLOURS, pretty
from conegap.solver.figure_units import field_text, length_words, percent, voltage_text
from conegap.solver.figures import Picture, svg_of
from conegap.solver.report_beam import beam_table, beam_words, landing_table
from conegap.solver.report_operation import (
    card_cautions,
    card_table,
    current_table,
    electrode_table,
    electrode_words,
    feed_table,
    feed_words,
    metals_table,
    operation_words,
)
from conegap.solver.report_tables import (
    budget_table,
    inputs_table,
    levels_table,
    metal_table,
    operation_table,
    review_table,
)
from conegap.solver.report_words import (
    cautions,
    liquid_facts,
    liquid_words,
    not_modelled,
    quality,
    slit_words,
    verdict,
)

__all__ = ["html_report", "inlined", "versions"]


def html_report(assessment: Assessment, pictures: Mapping[str, Picture]) -> str:
    """The report as HTML with its figures inside.

    Parameters
    ----------
    assessment : Assessment
    pictures : mapping of str to Picture
        From `conegap.solver.figures.report_pictures`.
    """
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    folder = files("conegap.solver").joinpath("templates")
    template = environment.from_string(folder.joinpath("report.html").read_text(encoding="utf-8"))
    design = assessment.design
    figures = {name: inlined(picture) for name, picture in pictures.items()}
    return template.render(
        title=design.title or design.source,
        drawing=design.drawing,
        source=design.source,
        sha256=design.sha256,
        versions=versions(),
        passed=assessment.passed,
        verdict=verdict(assessment),
        onset=voltage_text(assessment.onset_voltage),
        rigid=voltage_text(assessment.onset.voltage),
        liquid=liquid_facts(assessment),
        liquid_words=liquid_words(assessment),
        band=(
            f"{voltage_text(assessment.lowest_onset)} to {voltage_text(assessment.highest_onset)}"
        ),
        design_voltage=voltage_text(design.voltage),
        supply=(
            voltage_text(design.supply.voltage_limit)
            if design.supply.voltage_limit
            else "not given"
        ),
        criterion=assessment.criterion,
        edge=assessment.onset.edge_name,
        edge_field=field_text(assessment.onset.edge_field),
        enhancement=f"{assessment.enhancement:.3g}",
        clearance=length_words(design.clearance) if design.clearance > 0.0 else "not given",
        tension=f"{assessment.onset.surface_tension * 1e3:.4g} mN/m",
        figures={name: _Safe(text) for name, text in figures.items()},
        captions={name: picture.caption for name, picture in pictures.items()},
        notes=[pretty(note) for note in design.section().notes],
        warnings=[pretty(warning) for warning in assessment.warnings],
        review=review_table(assessment),
        inputs=inputs_table(assessment),
        budget=budget_table(assessment),
        metal=design.metal,
        metal_table=metal_table(design.metal, design.liquid.temperature),
        temperature=f"{design.liquid.temperature:g} K",
        classic=_classic(assessment),
        slit=slit_words(assessment),
        operation=operation_table(assessment),
        current=current_table(assessment),
        operation_words=operation_words(assessment),
        metals=metals_table(assessment),
        electrode=electrode_table(assessment),
        electrode_words=electrode_words(assessment),
        beam=beam_table(assessment),
        beam_words=beam_words(assessment),
        landing=landing_table(assessment),
        feed=feed_table(assessment),
        feed_words=feed_words(assessment),
        card=card_table(assessment),
        card_cautions=card_cautions(assessment),
        emitter_voltage=voltage_text(design.voltages.emitter),
        quality=quality(assessment),
        levels=levels_table(assessment),
        cells=f"{assessment.solution.cells:,}".replace(",", "\u202f"),
        seconds=f"{assessment.solution.seconds:.1f}",
        not_modelled=not_modelled(assessment),
        cautions=cautions(assessment),
        scans=bool(assessment.scans),
        colours=COLOURS,
    )


def versions() -> tuple[tuple[str, str], ...]:
    """Names and versions of what computed the report."""
    names = ("conegap", "fipy", "numpy", "scipy", "netgen-mesher", "matplotlib")
    return (*((name, version(name)) for name in names), ("Python", platform.python_version()))


def inlined(picture: Picture) -> str:
    """The SVG of a figure for a page: its words, own identifiers and the page's colours.

    Parameters
    ----------
    picture : Picture
    """
    text = svg_of(picture.figure, title=picture.name)
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    # One identifier may stand only once on a page.
    text = re.sub(r'\bid="([^"]+)"', rf'id="{picture.name}-\1"', text)
    text = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{picture.name}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{picture.name}-\1)", text)
    for name, colour in COLOURS.items():
        text = re.sub(re.escape(colour), f"var(--{name})", text, flags=re.IGNORECASE)
    box = re.search(r'viewBox="([^"]+)"', text)
    assert box is not None
    width = float(box.group(1).split()[2]) / 72.0
    words = html.escape(picture.alt, quote=True)
    head = (
        f'<svg viewBox="{box.group(1)}" role="img" aria-label="{words}" '
        f'style="--natural: {width:.2f}in"><title>{words}</title>'
    )
    return re.sub(r"<svg\b[^>]*>", lambda _: head, text, count=1)


class _Safe(str):
    """Markup that the template must not escape."""

    def __html__(self) -> str:
        return str(self)


def _classic(assessment: Assessment) -> dict[str, str] | None:
    classic = assessment.classic
    if classic is None:
        return None
    share = classic.voltage / assessment.onset_voltage - 1.0
    return {
        "name": classic.name,
        "voltage": voltage_text(classic.voltage),
        "difference": f"{percent(abs(share))} {'above' if share >= 0.0 else 'below'}",
        "source": classic.source,
        "validity": classic.validity,
        "within": "this design lies within it" if classic.within else "this design lies OUTSIDE it",
    }
