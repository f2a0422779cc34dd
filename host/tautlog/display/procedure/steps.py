"""Steps: what each step of a printed procedure says, from the module that has the words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from tautlog.archive.summary import RecordSummary
from tautlog.calibrate.validity import validity
from tautlog.campaign import procedure_steps as named
from tautlog.campaign.bring_ups import real_proving_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.checklist import CHALLENGES, GOOD_FOR_S
from tautlog.campaign.proofs import LEAST_HELD_S, MOST_SET
from tautlog.campaign.requirement import Requirement
from tautlog.display.procedure.tables import BLANK, Table
from tautlog.display.report.gathering import RULE
from tautlog.drop.crew import PHRASE
from tautlog.errors import PlanError
from tautlog.files.chain import HEAD_DIGITS
from tautlog.model.commissioning_steps import steps_for
from tautlog.model.dimensions import length_text
from tautlog.model.inspection import ARTICLE_FINDINGS
from tautlog.model.proven_wiring import unproven
from tautlog.model.timestamp import today
from tautlog.model.wiring import read_wiring
from tautlog.planning.ladder import HOLD, STOP_RULES
from tautlog.planning.plan import Plan, plan
from tautlog.planning.plan_words import drop_text, ladder_head, ladder_rows
from tautlog.planning.sequence import Course
from tautlog.qualify.statement import CAUTION, statement_of

Told = tuple[tuple[str, ...], tuple[Table, ...]]  # texts, tables
_LOADS, _DROPS = 10, 4  # rows to fill in


def at_step(name: str, campaign: Campaign, records: Sequence[RecordSummary]) -> Told:
    """Texts and tables of one step, a key of `procedure_steps.STEPS`."""
    if name == named.QUALIFICATION:
        return _qualification(campaign, records)
    return _TOLD[name](campaign)


def needs_of(course: Course) -> tuple[str, ...]:
    """What comes next, and what must be true before it."""
    coming = course.next
    if coming is None:
        return ("Nothing is left but the report.",)
    return (f"Next: {coming.name}.", *(f"First: {text}" for text in coming.needs))


def _bring_up(campaign: Campaign) -> Told:
    """Each wire, with what is done to it; as the board that was brought up told its pins."""
    proving = real_proving_of(campaign)
    missing = unproven(proving)
    stands = f"Not proven: {missing}" if missing else "Every wire is proven on record."
    if not proving.done:
        text = "Its table comes when a board has greeted: `tautlog health --bring-up`."
        return (stands, text), ()
    steps = steps_for(proving.parts, read_wiring(proving.done[-1].wiring))
    rows = tuple(
        (step.name, step.about, ". ".join(phase.do for phase in step.phases), BLANK)
        for step in steps
    )
    head = ("step", "what is proven", "do", "seen, by")
    return (stands,), (Table(head, rows, (1.2, 1.8, 5, 1.2)),)


def _calibration(campaign: Campaign) -> Told:
    used = campaign.calibration
    checks = [*campaign.calibration_doubts, *(one.text for one in validity(used, today()))]
    covered = campaign.units.text(used.range_n, "N") if used.range_n else "not stated"
    texts = (
        f"In force: {used.newton_per_volt:.6g} N/V, expanded uncertainty (k = 2) "
        f"{100 * used.expanded_u_fraction:.2g} % and "
        f"{campaign.units.text(used.expanded_u_n, 'N', '.2g')}, covers {covered}, "
        f"made on {used.date or 'a day that is not stated'}.",
        *dict.fromkeys(f"{text}." for text in checks),
        "Hang known weights up and down again, `tautlog calibrate`; nobody under the weights.",
    )
    head = ("load", "unit", "reading", "weight's mark and certificate")
    return texts, (Table(head, ((BLANK,) * 4,) * _LOADS, (1, 0.6, 1.2, 3)),)


def _proof(campaign: Campaign) -> Told:
    planned, why = _planned(campaign)
    factor, units = campaign.decision.proof_factor, campaign.units
    wanted = "not known"
    if planned is not None:
        peak_n = planned.prediction.peak_force_n
        peak = units.text(peak_n, "N")
        wanted = f"{units.text(factor * peak_n, 'N')} ({factor:g} x {peak} as planned)"
    rows = tuple(
        (
            one.name,
            wanted,
            one.failed
            or (
                f"{units.text(one.proven_n, 'N')} on {one.proven_on[:10]}"
                if one.proven_n
                else "none"
            ),
            *(BLANK,) * 4,
        )
        for one in campaign.mounts
    )
    texts = (
        f"Pull each mount, hold it for at least {LEAST_HELD_S:g} s, read the gauge under load and "
        f"after it; more than {100 * MOST_SET:g} % of the deflection left means that it yields. "
        "Stand clear of the pull.",
        *([why] if why else []),
    )
    head = ("mount", "pull at least", "on record", "pulled", "held", "deflection", "set")
    return texts, (Table(head, rows or (("none named",) + ("",) * 6,), (1.5, 2.2, 2, 1, 1, 1, 1)),)


def _ladder(campaign: Campaign) -> Told:
    planned, why = _planned(campaign)
    texts = (f"After each step: {HOLD}.", f"Stop at: {'; '.join(STOP_RULES)}.")
    try:
        steps = planned.ladder() if planned else ()
    except PlanError as problem:
        steps, why = (), f"The ladder cannot be climbed: {problem}"
    if not steps:
        return ((*texts, why) if why else texts), ()
    rows = tuple((*cells, BLANK, BLANK) for cells in ladder_rows(steps, campaign.units))
    figures = ladder_head(campaign.units)
    head = (*figures, "measured peak", "go on, by")
    return texts, (Table(head, rows, (*(1.0,) * (len(figures) - 1), 1.8, 1.2, 1.2)),)


def _checklist(campaign: Campaign) -> Told:
    texts = (
        "One person reads out, a second one answers. The list is good for "
        f"{GOOD_FOR_S / 60:g} minutes, and void when somebody enters the zone "
        f"({campaign.decision.checklist}).",
    )
    rows = tuple((code, text, *(BLANK,) * _DROPS) for code, text in CHALLENGES)
    head = ("", "challenge", *(f"drop {number}" for number in range(1, _DROPS + 1)))
    return texts, (Table(head, rows, (0.9, 4.5, *(0.8,) * _DROPS)),)


def _drop(campaign: Campaign) -> Told:
    planned, why = _planned(campaign)
    if planned is None:
        texts: tuple[str, ...] = (why,)
    else:
        refused = [check.text for check in planned.checks if check.refuses]
        texts = (
            f"As planned: {drop_text(planned)}.",
            *(f"Refused as it stands: {text}." for text in refused),
        )
    texts = (*texts, f"The board is armed by the typed phrase: {PHRASE}.")
    head = ("record", "mass", "height", "article, line, mount", "peak", "record valid")
    return texts, (Table(head, ((BLANK,) * 6,) * _DROPS, (2, 0.8, 0.8, 2.6, 1, 1)),)


def _inspection(campaign: Campaign) -> Told:
    criterion = campaign.requirement.criterion or "NOT STATED in campaign.toml"
    texts = (
        "Go there only when the program says that it is over, and key and catch say so too.",
        f"Criterion: {criterion}.",
        *_measured_for(campaign.requirement),
        f"Found is one of: {', '.join(ARTICLE_FINDINGS)}.",
    )
    blank = (BLANK,) * 5
    head = ("record", "article", "found", "where, what moved first", "by")
    tables = [Table(head, (blank,) * _DROPS, (2, 1.4, 1.3, 3.2, 1.2))]
    if campaign.dimensions:
        rows = tuple(
            (
                one.name,
                one.article or "-",
                "-" if one.before_mm is None else length_text(one.before_mm, campaign.units),
                "-" if one.limit_mm is None else length_text(one.limit_mm, campaign.units),
                one.instrument or "-",
                BLANK,
            )
            for one in campaign.dimensions
        )
        asked = ("dimension", "article", "before", "growth allowed", "instrument", "read")
        tables.append(Table(asked, rows, (2, 1.3, 1.1, 1.5, 1.8, 1.2)))
    return texts, tuple(tables)


def _measured_for(requirement: Requirement) -> tuple[str, ...]:
    if not requirement.dimensions:
        return ()
    names = ", ".join(requirement.dimensions)
    return (f"It is judged by {names}: without its reading no article is called whole.",)


def _decision(campaign: Campaign) -> Told:
    decides = campaign.decision.decides or "NOT STATED in campaign.toml"
    head = ("record", "proposed", "decided", "reason", "by")
    return (RULE, f"Who decides: {decides}."), (
        Table(head, ((BLANK,) * 5,) * _DROPS, (2, 1.2, 1.2, 3.4, 1.3)),
    )


def _qualification(campaign: Campaign, records: Sequence[RecordSummary]) -> Told:
    asked = campaign.qualification
    if not asked.asked:
        return ("No statement about the part is asked for: [qualification] in campaign.toml.",), ()
    said = statement_of(campaign, records)
    agreed = asked.agreed or "NOBODY, as far as campaign.toml says"
    return (
        f"Agreed by: {agreed}. Articles to try: {asked.articles or 'NOT STATED'}, of which "
        f"{asked.failures_allowed} may fail.",
        f"{said.word}. {said.text}",
        *(f"Why not: {text}." for text in said.why_not),
        CAUTION,
    ), ()


def _report(campaign: Campaign) -> Told:
    head = ("head of the chain", "read at", "by", "kept where")
    return (
        "Write the report (`tautlog report --pdf`), and the head of the chain by hand: a copy that "
        "lies elsewhere shows later whether anything was taken away. The first "
        f"{HEAD_DIGITS} digits are enough.",
    ), (Table(head, ((BLANK,) * 4,) * 2, (3, 1.3, 1.3, 2)),)


def _planned(campaign: Campaign) -> tuple[Plan | None, str]:
    """The planned drop; None, and why, if there is none."""
    try:
        return plan(campaign), ""
    except PlanError as problem:
        return None, f"The next drop cannot be planned: {problem}"


_TOLD: dict[str, Callable[[Campaign], Told]] = {
    named.BRING_UP: _bring_up,
    named.CALIBRATION: _calibration,
    named.PROOF: _proof,
    named.LADDER: _ladder,
    named.CHECKLIST: _checklist,
    named.DROP: _drop,
    named.INSPECTION: _inspection,
    named.DECISION: _decision,
    named.REPORT: _report,
}
