"""The answer in a few cards: worst mount, worst sensor, what people feel, ripple; of a sweep the least and the most."""

from __future__ import annotations

from typing import Any

import numpy as np

from vibsim.post.exposure_rules import daily_values
from vibsim.show.report.steps import steps_verdict
from vibsim.show.report.words import Card, three_digits
from vibsim.show.run_tables import _orders, _running, _settling, load_step_lines
from vibsim.show.tables import plain_number
from vibsim.studies.report import Axis, Report, Source, View
from vibsim.studies.sweep.shown import SHOWN

FEW_AXES = 2  # of which places are told in a line
MOST_CARDS, FIRM = 6, "\u00a0"
TRADE = {
    "sensor_resultant_rms": "Acceleration rms",
    "exposure_a8": "A(8) of 8 h",
    "mount_force_resultant_rms": "Varying force of the worst mount, rms",
    "torque_swing": "Torque swing",
    "speed_fluctuation": "Speed fluctuation",
    "peak_pressure": "Peak pressure",
}


def verdicts(report: Report) -> list[dict[str, Any]]:
    """Per results file a heading, what was run, a sentence, cards and remarks."""
    runs = [_of_run(source) for source in report.sources if source.summary is not None]
    return runs + [_of_sweep(view) for view in report.views if view.found is not None]


def _of_run(source: Source) -> dict[str, Any]:
    summary = source.summary
    assert summary is not None
    if "steps" in summary:
        return steps_verdict(source)
    remarks = load_step_lines(summary["load_step"]) if "load_step" in summary else []
    if "settling" in summary:
        remarks = [_settling(summary["settling"]), *remarks]
    cards = [_mount(summary), _sensor(summary), _people(summary), _ripple(summary)]
    return {
        "name": source.name,
        "running": _running(summary),
        "sentence": _sentence(summary),
        "cards": [card for card in cards if card],
        "remarks": remarks,
        "doubtful": "settling" in summary and not summary["settling"]["settled"],
    }


def _leads(row: dict[str, Any]) -> str:
    words = _orders(row)
    return f"orders {words}" if words else ""


def _mount(summary: dict[str, Any]) -> Card | None:
    if not summary["mounts"]:
        return None
    worst = summary["mounts"][0]
    value = f"{three_digits(worst['rms_N'])} N rms"
    detail = f"varying force, peak {three_digits(worst['peak_N'])} N, mostly along {worst['worst_axis']}"
    return {"title": "Worst mount", "name": worst["name"], "value": value, "lines": [detail, _leads(worst)]}


def _sensor(summary: dict[str, Any]) -> Card | None:
    if not summary["sensors"]:
        return None
    worst = summary["sensors"][0]
    value = f"{three_digits(worst['rms_m_per_s2'])} m/s² rms"
    detail = f"peak {three_digits(worst['peak_m_per_s2'])} m/s², mostly along {worst['worst_axis']}, unweighted"
    return {"title": "Worst sensor", "name": worst["name"], "value": value, "lines": [detail, _leads(worst)]}


def _people(summary: dict[str, Any]) -> Card | None:
    judged = judged_rows(summary)
    if not judged:
        return None
    worst = judged[0]
    share = worst["a8_m_per_s2"] / worst["action_m_per_s2"]
    limit = daily_values(worst["contact"]).limit
    over = "over the action value" if share >= 1.0 else "below the action value"
    if worst["a8_m_per_s2"] >= limit:
        over = "OVER THE LIMIT VALUE"
    lines = [f"{over} of {worst['action_m_per_s2']:g} m/s² (limit {limit:g}), {worst['contact']}, 8 h a day"]
    felt = max((row for row in summary["people"] if row["comfort"]), key=_comfort, default=None)
    if felt is not None:
        lines.append(f"comfort: {felt['name']} {felt['comfort']}")
    return {
        "title": "Exposure, worst",
        "name": worst["name"],
        "value": f"A(8) {three_digits(worst['a8_m_per_s2'])} m/s²",
        "lines": lines,
        "share": round(100.0 * share, 1),
        "alarm": share >= 1.0,
    }


def _comfort(row: dict[str, Any]) -> float:
    return float(row["comfort_m_per_s2"])


def judged_rows(summary: dict[str, Any]) -> list[dict[str, Any]]:
    """People judged for health, nearest to the action value first."""
    judged = [row for row in summary["people"] if row["a8_m_per_s2"] is not None]
    return sorted(judged, key=lambda row: -row["a8_m_per_s2"] / row["action_m_per_s2"])


def _ripple(summary: dict[str, Any]) -> Card:
    net = next(row for row in summary["torque"] if row["name"] == "net")
    return {
        "title": "Torque ripple",
        "name": "net, at the flywheel",
        "value": f"{three_digits(net['swing_N_m'])} N m swing",
        "lines": [f"about a mean of {plain_number(net['mean_N_m'], 1)} N m", _leads(net)],
    }


def _sentence(summary: dict[str, Any]) -> str:
    """The answer in one breath."""
    parts = []
    judged = judged_rows(summary)
    if judged:
        over = [row["name"] for row in judged if row["a8_m_per_s2"] >= row["action_m_per_s2"]]
        parts.append(f"Over the action value at {', '.join(over)}" if over else "Below every exposure action value")
    for kind, what in (("mounts", "mount"), ("sensors", "sensor")):
        if summary[kind]:
            worst = summary[kind][0]
            leads = f" (order {worst['orders'][0]['order']:g} leads)" if worst.get("orders") else ""
            parts.append(f"worst {what} {worst['name']}{leads}")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." if text else ""


def _of_sweep(view: View) -> dict[str, Any]:
    found = view.found
    assert found is not None
    failed, missing = len(found["failures"]), found["points"] - found["done"] - len(found["failures"])
    running = f"sweep over {' × '.join(axis.label for axis in view.axes)}: {found['done']} of {found['points']} points"
    remarks = [f"{failed} points failed, see the table of failures"] if failed else []
    remarks += [f"{missing} points not computed yet: vibsim sweep --resume"] if missing else []
    shown = [row for row in found["quantities"] if row["least"] is not None]
    return {
        "name": view.name,
        "running": running,
        "sentence": _best_words(view),
        "cards": _sweep_cards(view, shown),
        "wordy": len(view.axes) > FEW_AXES,
        "remarks": remarks,
        "doubtful": bool(failed or missing),
    }


def _sweep_cards(view: View, shown: list[dict[str, Any]]) -> list[Card]:
    """What is felt counts first: the last card is the worst exposure, where anything is judged for health."""
    assert view.found is not None
    axes = view.found["axes"]
    exposed = _exposed(view)
    plain = [row for row in shown if not row["quantity"].startswith("exposure_")]
    cards = [_range_card(row, view.axes, axes) for row in plain[: MOST_CARDS - len(exposed)]]
    return [*cards, *exposed]


def _exposed(view: View) -> list[Card]:
    """A(8) of the contact and point that come nearest to the action value, or pass it furthest."""
    levels = view.levels
    action = np.array([daily_values(contact).action for contact in levels.contacts])
    share = levels.a8 / action if len(action) else levels.a8
    if not np.isfinite(share).any():
        return []
    point, worst = np.unravel_index(int(np.nanargmax(share)), share.shape)
    most, name = float(share[point, worst]), levels.felt[worst]
    limit = daily_values(levels.contacts[worst]).limit
    over = int((np.nanmax(np.where(np.isfinite(share), share, 0.0), axis=1) >= 1.0).sum())
    at = at_words(view.axes, place_of(view, int(point)))
    beyond = "OVER THE LIMIT VALUE" if levels.a8[point, worst] >= limit else f"action value passed at {over} points"
    return [
        {
            "title": "Exposure, worst",
            "name": name,
            "value": f"A(8) {three_digits(float(levels.a8[point, worst]))} m/s²",
            "lines": [f"at {at}, {levels.contacts[worst]}, 8 h a day", beyond if over else "no point passes it"],
            "share": round(100.0 * most, 1),
            "alarm": most >= 1.0,
        }
    ]


def place_of(view: View, point: int) -> list[float]:
    """Where a point stands on every axis."""
    if not view.grid:
        return [float(axis.values[point]) for axis in view.axes]
    places = np.unravel_index(point, [len(axis.values) for axis in view.axes])
    return [float(axis.values[n]) for axis, n in zip(view.axes, places, strict=True)]


def _best_words(view: View) -> str:
    """Where the first of the sensors, or else of the quantities, is shaken least and most."""
    row = view.found["quantities"][0] if view.found else None
    if row is None or row["least"] is None:
        return ""
    scale, unit = shown_unit(row)
    least, most = (f"{scale * row[name]:.3g} {unit}".strip() for name in ("least", "greatest"))
    return (
        f"{trade_words(row)}: least {least} at {at_words(view.axes, row['least_at'])}; "
        f"most {most} at {at_words(view.axes, row['greatest_at'])}."
    )


def trade_words(row: dict[str, Any]) -> str:
    """What a kept quantity is called in a headline; its own words where there are no shorter ones."""
    name, _, inside = str(row["quantity"]).partition("[")
    words = TRADE.get(name)
    return f"{words}, {inside.rstrip(']')}" if words and inside else words or str(row["label"])


def shown_unit(row: dict[str, Any]) -> tuple[float, str]:
    """Factor and unit that a quantity is read in."""
    if row["quantity"] == "speed_fluctuation":
        return 100.0, "%"
    return SHOWN.get(row["units"], (1.0, row["units"]))


def _range_card(row: dict[str, Any], axes: list[Axis], names: list[str]) -> Card:
    scale, unit = shown_unit(row)
    shares = {name: share for name, share in row["importance"].items() if share is not None}
    lines = [f"most at {at_words(axes, row['greatest_at'])}", f"least at {at_words(axes, row['least_at'])}"]
    if len(axes) > 1 and shares:
        strongest = max(shares, key=lambda name: shares[name])
        lines.append(f"{axes[names.index(strongest)].label} alone explains {100.0 * shares[strongest]:.0f} %")
    return {
        "title": trade_words(row),
        "name": "",
        "value": f"{scale * row['least']:.3g} … {scale * row['greatest']:.3g} {unit}".strip(),
        "lines": lines,
    }


def at_words(axes: list[Axis], values: list[float]) -> str:
    """`4105 rpm, load 0.1`."""
    words = []
    for axis, value in zip(axes, values, strict=True):
        speed = axis.unit == "rpm"
        words.append(f"{value:.4g} rpm" if speed else f"{axis.label} {value:.3g} {axis.unit}".strip())
    return ", ".join(word.replace(" ", FIRM) for word in words)
