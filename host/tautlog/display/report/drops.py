"""Drops of a report: one by one, what there is to tell of each."""

from __future__ import annotations

import math
from dataclasses import fields

from tautlog.archive.kept_marks import unlike_kept
from tautlog.archive.photos import shown
from tautlog.archive.verdict_lines import OWN_AGAIN, notes_without_prediction, verdict_lines
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import (
    BudgetTold,
    CalibrationTold,
    DecisionTold,
    DropTold,
    OverrideTold,
    PartTold,
    VerdictsTold,
)
from tautlog.display.report.figures import contact_picture
from tautlog.display.report.sources import Source
from tautlog.display.report.words import form, short
from tautlog.files.strict_json import read_json, read_object
from tautlog.model.calibration import Calibration
from tautlog.model.marks import Marks
from tautlog.model.uncertainty import Budget
from tautlog.model.verdict_words import force_text, prediction_words
from tautlog.planning.expected import LATER_DIFFERS
from tautlog.record import Decision, Inspection, Record


def drop_told(one: Source, campaign: Campaign | None) -> DropTold:
    """What there is to tell of a drop, and where it is not as the campaign has it."""
    record, drop, setup = one.record, one.drop, one.record.inspected_setup
    marks, verdict = drop.marks, drop.verdict
    unlike = unlike_kept(record, drop)
    return DropTold(
        name=one.name,
        article=setup.article or "-",
        mass=form(setup.mass_kg),
        height=form(setup.height_m),
        peak=force_text(marks.peak_force_n, marks.peak_force_expanded_u_n),
        words=VerdictsTold(
            short(verdict.record_verdict),
            short(verdict.load_verdict),
            short(verdict.trace_says),
            short(verdict.test_verdict),
        ),
        status="" if record.status == "complete" else record.status,
        finding=setup.article_finding,
        lines=tuple(verdict_lines(drop)),
        notes=(*notes_without_prediction(drop), *([unlike] if unlike else [])),
        decision=_decision(drop.decision),
        override=_override(setup.override),
        set_up=_set_up(record),
        plan=(*_against_plan(one, campaign), *_predictions(one)),
        picture=contact_picture(one),
        reasons=tuple(reason.text for reason in verdict.reasons),
        figures=_figures(marks),
        budgets=tuple(_budget(budget) for budget in marks.budgets),
        inspections=tuple(_inspection(each) for each in record.inspections),
        photos=tuple(shown(photo, record.path.parent) for photo in record.photos),
        checklist=_checklist(setup.checklist),
        calibration=_calibration(one),
    )


def _decision(one: Decision | None) -> DecisionTold | None:
    if one is None:
        return None
    return DecisionTold(one.by, one.utc, one.reason, short(one.verdict), short(one.proposed))


def _override(text: str) -> OverrideTold | None:
    try:
        value = read_json(text) if text else None
    except ValueError:
        return None
    if not isinstance(value, dict) or not {"by", "reason", "refused"} <= set(value):
        return None
    return OverrideTold(str(value["by"]), str(value["reason"]), str(value["refused"]))


def _figures(marks: Marks) -> tuple[tuple[str, str], ...]:
    """All that is a number, by its name."""
    values = ((one.name, getattr(marks, one.name)) for one in fields(marks))
    return tuple(
        (name, form(value))
        for name, value in values
        if isinstance(value, (int, float)) and type(value) is not bool and math.isfinite(value)
    )


def _calibration(one: Source) -> CalibrationTold:
    """What the forces rest on; where it is not what was used that day, who took it."""
    told = one.drop.calibration
    used, note = told.used, told.used.note or "-"
    if told.chosen:
        note = (
            f"{told.chosen.file or OWN_AGAIN}, taken by {told.chosen.by} on "
            f"{told.chosen.utc[:10]}: {told.chosen.reason}; the drop was recorded under "
            f"{told.recorded.newton_per_volt:.6g} N/V. {note}"
        )
    return CalibrationTold(
        slope="imported" if one.record.instrument is None else form(used.newton_per_volt),
        u=_calibration_u(used),
        covered=form(used.range_n) if used.range_n else "-",
        date=used.date or "-",
        note=note,
    )


def _calibration_u(one: Calibration) -> str:
    told = f"{100 * one.expanded_u_fraction:.2g} %"
    return f"{told} and {one.expanded_u_n:.2g} N" if one.expanded_u_n else told


def _inspection(one: Inspection) -> str:
    parts = [one.finding, one.where and f"where: {one.where}"]
    parts += [one.moved and f"touched or moved first: {one.moved}", one.note]
    return f"{one.utc}, {one.by}: {'; '.join(part for part in parts if part)}"


def _against_plan(one: Source, campaign: Campaign | None) -> list[str]:
    """Where a drop's set-up is not the campaign's."""
    if campaign is None or one.record.rehearsed:
        return []
    said, setup, found = campaign.setup, one.record.setup, []
    for name, unit in (("mass_kg", "kg"), ("height_m", "m"), ("target_n", "N"), ("limit_n", "N")):
        planned, done = getattr(said, name), getattr(setup, name)
        if planned is not None and planned != done:
            what = name.rsplit("_", 1)[0]
            found.append(f"{what}: {form(done, unit)}, campaign.toml says {form(planned, unit)}")
    for name in ("article", "line"):
        planned, done = getattr(said, name), getattr(setup, name)
        if planned and planned != done:
            found.append(f"{name}: {done or 'not named'}, campaign.toml says {planned}")
    return found


def _predictions(one: Source) -> list[str]:
    """What was predicted, and where a plan that is made now says otherwise."""
    told, later = one.drop.predicted, one.later
    if told is None:
        return []
    text = prediction_words(told, one.drop.marks.peak_force_n)
    when = "on the day" if told.on_the_day else "afterwards, from what was known before the drop"
    found = [f"{text}; reckoned {when}: line {told.line} by {told.source}"]
    if later and abs(later.peak_force_n / told.peak_force_n - 1.0) > LATER_DIFFERS:
        found.append(
            f"a plan made now for the same mass and height: {prediction_words(later)}, from "
            f"{later.source}; it knows more, and the drop is not held against it"
        )
    return found


def _set_up(record: Record) -> str:
    setup = record.setup
    parts = [
        record.utc,
        f"status {record.status}",
        f"{form(setup.mass_kg, 'kg')} from {form(setup.height_m, 'm')}",
        f"target {form(setup.target_n, 'N')}, limit {form(setup.upper_n, 'N')}",
        f"article {setup.article or 'not named'}",
        f"line {setup.line or 'not named'}",
        f"mount {setup.mount or 'not named'}",
        f"operator {setup.operator or 'not named'}",
        setup.note,
    ]
    return "; ".join(part for part in parts if part)


def _checklist(text: str) -> str:
    try:
        told = read_object(text) if text else None
        if not told:
            return ""
        answered = len(told["answered"])
        return (
            f"{told['utc']}: asked by {told['operator']}, answered by {told['second']}; "
            f"{answered} points, {len(told['measured'])} measured"
        )
    except (ValueError, KeyError, TypeError):
        return "a checklist that cannot be read"


def _budget(one: Budget) -> BudgetTold:
    unit = "" if one.unit == "1" else one.unit
    return BudgetTold(
        figure=one.figure,
        value=form(one.value, unit),
        expanded=form(one.expanded_u, unit),
        k=f"{one.coverage_factor:.3g}",
        parts=tuple(
            PartTold(part.name, f"{part.u:.3g}", part.kind, part.basis) for part in one.parts
        ),
    )
