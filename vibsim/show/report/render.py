"""A report as one HTML file: nothing is fetched, all text is escaped, all numbers stand in it."""

from __future__ import annotations

import datetime
import textwrap
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from vibsim import __version__
from vibsim.results.hdf5 import beside
from vibsim.show.report.difference_tables import difference_tables
from vibsim.show.report.payload import as_json, payload
from vibsim.show.report.people import exposure_tables
from vibsim.show.report.tables import (
    ASSUMED,
    cautions,
    difference,
    engine_words,
    provenance,
    run_tables,
    side_by_side,
    subject_tables,
    sweep_tables,
)
from vibsim.show.report.verdict import verdicts
from vibsim.studies.report import Report

LONGEST_RUNNING = 90  # letters of the title at the top of a printed page
NAMES = ("svg", "chart", "map", "mechanism", "mounts", "modes", "people", "parallel", "matters", "record")
SCRIPTS = tuple(f"{name}.js" for name in (*NAMES, "differences", "data", "main"))

STYLES = ("report.css", "print.css")


def running_title(title: str) -> str:
    """Style rules that put a title, a caution and the page's number on every printed page.

    Every sign but plain letters and digits is escaped by its number, so that nothing in it can end the text or the
    style element (CSS Syntax Module Level 3, 4.3.7).
    """
    shown = textwrap.shorten(title, LONGEST_RUNNING, placeholder=" …")
    text = "".join(sign if sign.isascii() and sign.isalnum() else f"\\{ord(sign):06x}" for sign in shown)
    look = "font: 8pt sans-serif; color: #555555;"
    return (
        f'@page {{ @top-left {{ content: "{text}"; {look} }} '
        f'@bottom-left {{ content: "Computed from the case as given, not a certificate."; {look} }} '
        f'@bottom-right {{ content: "page " counter(page) " of " counter(pages); {look} }} }}\n'
    )


def render(report: Report, made: datetime.datetime | None = None) -> str:
    """The HTML of a report; the same for the same report and date."""
    made = made or datetime.datetime.now(datetime.UTC)
    loader = PackageLoader("vibsim.show.report", "templates")
    environment = Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = {name: loader.get_source(environment, name)[0] for name in (*SCRIPTS, *STYLES)}
    return environment.get_template("report.html").render(
        report=report,
        title=report.title,
        made=made.strftime("%Y-%m-%d %H:%M %Z"),
        version=__version__,
        style=Markup("".join(source[name] for name in STYLES) + running_title(report.title)),
        script=Markup("\n".join(source[name] for name in SCRIPTS)),
        data=Markup(as_json(payload(report))),
        verdicts=verdicts(report),
        difference=difference(report),
        side_by_side=side_by_side(report),
        run_tables=[(one.name, run_tables(one)) for one in report.sources if one.summary is not None],
        sweep_tables=[(view.name, sweep_tables(view)) for view in report.views if view.found is not None],
        changed=difference_tables(report.differences),
        exposure=exposure_tables(report),
        subjects=[(one, engine_words(one), subject_tables(one)) for one in report.subjects],
        assumed=ASSUMED,
        cautions=cautions(report),
        provenance=[(one.name, provenance(one)) for one in report.sources],
    )


def write_report(report: Report, path: Path) -> Path:
    """Write the file whole or not at all. Raises VibsimError when that cannot be done."""
    text = render(report)
    with beside(path) as name:
        name.write_text(text, encoding="utf-8")
    return path
