"""Drops of a report: one section for each drop."""

from __future__ import annotations

import math
from dataclasses import fields

from tautlog.archive.assessment import Assessment
from tautlog.archive.kept_marks import unlike_kept
from tautlog.archive.photos import thumbnail
from tautlog.archive.verdict_lines import load_words, notes_without_prediction, verdict_lines
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import (
    BudgetPart,
    BudgetTable,
    DecisionText,
    DropSection,
    OverrideText,
    VerdictTexts,
)
from tautlog.display.report.figures import contact_picture, flight_picture
from tautlog.display.report.headline_figures import headline_figures
from tautlog.display.report.labels import bare_label, label
from tautlog.display.report.scale import scale_of
from tautlog.display.report.sources import Source
from tautlog.display.report.words import (
    finding_word,
    form,
    minute,
    outcome_shape,
    outcome_word,
    short,
)
from tautlog.files.strict_json import read_json, read_object
from tautlog.model.dimensions import texts_of
from tautlog.model.display_units import SI, Units
from tautlog.model.marks import AboveLevel, Marks
from tautlog.model.uncertainty import Budget
from tautlog.model.verdict_words import prediction_words
from tautlog.planning.against_flight import against_flight
from tautlog.planning.expected import LATER_DIFFERS
from tautlog.record import Decision, Inspection, Record


def drop_section(source: Source, campaign: Campaign | None) -> DropSection:
    """The section of one drop, with its deviations from the campaign."""
    record, drop, setup = source.record, source.drop, source.record.inspected_setup
    marks, verdict, peak = drop.marks, drop.verdict, drop.shown(drop.marks)
    unlike, flight = unlike_kept(record, drop), against_flight(drop, campaign)
    return DropSection(
        number=source.number,
        name=source.name,
        mark=source.mark,
        day=record.utc[:10] or "-",
        article=setup.article or "-",
        mass=form(setup.mass_kg, "kg", drop.units),
        height=form(setup.height_m, "m", drop.units),
        peak=peak.interval if peak else "-",
        load=load_words(drop),
        words=VerdictTexts(
            short(verdict.record_verdict),
            short(verdict.load_verdict),
            short(verdict.trace_says),
            outcome_word(verdict.test_verdict),
        ),
        scale=scale_of(drop),
        proposed_shape=outcome_shape(verdict.test_verdict),
        decided_shape=outcome_shape(drop.decision.verdict) if drop.decision else "",
        status="" if record.status == "complete" else record.status,
        finding=finding_word(setup.article_finding),
        lines=tuple(verdict_lines(drop)),
        notes=(*notes_without_prediction(drop), *([unlike] if unlike else [])),
        decision=_decision(drop.decision),
        override=override_text(setup.override),
        set_up=_set_up(record, drop.units),
        plan=(*against_plan(source, campaign), *_predictions(source)),
        picture=contact_picture(source),
        flight=flight_picture(source, flight),
        against_flight=flight.texts if flight else (),
        reasons=_reasons(drop),
        headline=headline_figures(drop),
        figures=figure_rows(marks, drop.units),
        budgets=tuple(
            budget_table(budget.shown_in(drop.units.of(budget.unit))) for budget in marks.budgets
        ),
        inspections=tuple(_inspection(each, drop.units) for each in record.inspections),
        photos=tuple(thumbnail(photo, record.path.parent) for photo in record.photos),
        checklist=_checklist(setup.checklist),
    )


def _reasons(drop: Assessment) -> tuple[str, ...]:
    """The reasons; where other units are shown, the first line says that these are SI."""
    kept = tuple(reason.text for reason in drop.verdict.reasons)
    return kept if drop.units.are_si else ("as they are kept, in SI:", *kept)


def _decision(decision: Decision | None) -> DecisionText | None:
    if decision is None:
        return None
    return DecisionText(
        decision.by,
        minute(decision.utc),
        decision.reason,
        outcome_word(decision.verdict),
        outcome_word(decision.proposed),
    )


def bare(value: float | None, si: str, units: Units) -> str:
    """A figure in the unit of display, without it."""
    return form(None if value is None else value / units.of(si).size)


def override_text(text: str) -> OverrideText | None:
    """Who overrode a refusal, from the text that a set-up keeps; None if there is none."""
    try:
        value = read_json(text) if text else None
    except ValueError:
        return None
    if not isinstance(value, dict) or not {"by", "reason", "refused"} <= set(value):
        return None
    return OverrideText(str(value["by"]), str(value["reason"]), str(value["refused"]))


def figure_rows(marks: Marks, units: Units = SI) -> tuple[tuple[str, str, str], ...]:
    """Key, label and value of every figure that is a number, and of the durations."""
    values = ((field.name, getattr(marks, field.name)) for field in fields(marks))
    numbers = tuple(
        (name, units.label(label(name)), bare(value, label(name).rpartition(", ")[2], units))
        for name, value in values
        if isinstance(value, (int, float)) and type(value) is not bool and math.isfinite(value)
    )
    return numbers + tuple(
        ("above_levels", f"above {100 * one.share:.0f} % of the target, s", _bounded(one))
        for one in marks.above_levels
    )


def _bounded(one: AboveLevel) -> str:
    """A duration with its bounds."""
    longest = "unknown" if one.longest_s is None else form(one.longest_s)
    return f"{form(one.duration_s)} ({form(one.shortest_s)} to {longest})"


def _inspection(inspection: Inspection, units: Units) -> str:
    parts = [finding_word(inspection.finding), inspection.where and f"where: {inspection.where}"]
    parts += [inspection.moved and f"touched or moved first: {inspection.moved}", inspection.note]
    parts += texts_of(inspection.dimensions, units)
    return f"{minute(inspection.utc)}, {inspection.by}: {'; '.join(part for part in parts if part)}"


def against_plan(source: Source, campaign: Campaign | None) -> list[str]:
    """Where a drop's set-up differs from the campaign's."""
    if campaign is None or not source.counts:
        return []
    asked, setup, found = campaign.setup, source.record.setup, []
    for name, unit in (("mass_kg", "kg"), ("height_m", "m"), ("target_n", "N"), ("limit_n", "N")):
        planned, done = getattr(asked, name), getattr(setup, name)
        if planned is not None and planned != done:
            what = name.rsplit("_", 1)[0]
            told, wanted = (form(value, unit, source.drop.units) for value in (done, planned))
            found.append(f"{what}: {told}, campaign.toml says {wanted}")
    for name in ("article", "line"):
        planned, done = getattr(asked, name), getattr(setup, name)
        if planned and planned != done:
            found.append(f"{name}: {done or 'not named'}, campaign.toml says {planned}")
    return found


def _predictions(source: Source) -> list[str]:
    """The prediction, and a plan made now if it differs."""
    predicted, later = source.drop.predicted, source.later
    if predicted is None:
        return []
    units = source.drop.units
    text = prediction_words(predicted, source.drop.marks.peak_force_n, units)
    when = "on the day" if predicted.on_the_day else "later, from what was known before the drop"
    found = [f"{text}; calculated {when}: line {predicted.line} by {predicted.source}"]
    if later and abs(later.peak_force_n / predicted.peak_force_n - 1.0) > LATER_DIFFERS:
        found.append(
            f"a plan made now for the same mass and height: "
            f"{prediction_words(later, units=units)}, from "
            f"{later.source}; it uses later knowledge, so the drop is not judged by it"
        )
    return found


def _set_up(record: Record, units: Units) -> str:
    setup = record.setup
    parts = [
        minute(record.utc),
        f"status {record.status}",
        f"{form(setup.mass_kg, 'kg', units)} from {form(setup.height_m, 'm', units)}",
        f"target {form(setup.target_n, 'N', units)}, limit {form(setup.upper_n, 'N', units)}",
        f"article {setup.article or 'not named'}",
        f"line {setup.line or 'not named'}",
        f"mount {setup.mount or 'not named'}",
        f"operator {setup.operator or 'not named'}",
        setup.surroundings.text,
        setup.note,
    ]
    return "; ".join(part for part in parts if part)


def _checklist(text: str) -> str:
    try:
        checklist = read_object(text) if text else None
        if not checklist:
            return ""
        answered = len(checklist["answered"])
        return (
            f"{checklist['utc']}: read out by {checklist['operator']}, answered by "
            f"{checklist['second']}; {answered} points, {len(checklist['measured'])} measured"
        )
    except (ValueError, KeyError, TypeError):
        return "the checklist cannot be read"


def budget_table(budget: Budget) -> BudgetTable:
    """An uncertainty budget in words."""
    unit = "" if budget.unit == "1" else budget.unit
    return BudgetTable(
        figure=bare_label(budget.figure),
        value=form(budget.value),
        expanded=f"{budget.expanded_u:.3g}",
        unit=unit,
        k=f"{budget.coverage_factor:.3g}",
        parts=tuple(
            BudgetPart(part.name, f"{part.u:.3g}", part.kind, part.basis) for part in budget.parts
        ),
    )
