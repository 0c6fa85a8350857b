"""A report as one HTML file: nothing is fetched, all text is escaped, all numbers stand in it."""

from __future__ import annotations

import datetime
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

SCRIPTS = tuple(
    f"{name}.js"
    for name in [
        "svg",
        "chart",
        "map",
        "mechanism",
        "mounts",
        "modes",
        "people",
        "parallel",
        "matters",
        "record",
        "differences",
        "data",
        "main",
    ]
)


def render(report: Report, made: datetime.datetime | None = None) -> str:
    """The HTML of a report; the same for the same report and date."""
    made = made or datetime.datetime.now(datetime.UTC)
    loader = PackageLoader("vibsim.show.report", "templates")
    environment = Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = {name: loader.get_source(environment, name)[0] for name in (*SCRIPTS, "report.css")}
    return environment.get_template("report.html").render(
        report=report,
        title=report.title,
        made=made.strftime("%Y-%m-%d %H:%M %Z"),
        version=__version__,
        style=Markup(source["report.css"]),
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
