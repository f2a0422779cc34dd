"""Report: what is told of a drop or a campaign, and as one HTML file that needs nothing else.

`contents_of` gathers it, all as text and pictures; `report_pdf` puts the same on paper.
Everything that people typed is escaped by the template; the curves are drawn by a small
open library that stands in the file, and stand there as pictures, too, for print and for
readers without scripts.
"""

from __future__ import annotations

import importlib.resources
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from jinja2 import Environment, StrictUndefined

from tautlog.analysis.verdict_words import force_text, notes, prediction_words, verdict_lines, words
from tautlog.archive.assess import AS_BEFORE, Marked, look_at, unlike_kept
from tautlog.archive.photos import shown
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.corrections import corrections_in
from tautlog.campaign.ledger import HEAD, Exposure, row
from tautlog.display.views import AFTER, BEFORE
from tautlog.files.new_file import new_file
from tautlog.files.strict_json import read_json, read_object
from tautlog.model.calibration import Calibration
from tautlog.model.force_curve import ForceCurve
from tautlog.model.marks import definitions
from tautlog.model.origin import MARK, REHEARSED
from tautlog.planning.expected import (
    LATER_DIFFERS,
    Expected,
    Predicted,
    expectations_at,
    expected_from,
)
from tautlog.record import Inspection, Record
from tautlog.record.layout import SOFTWARE

FloatArray = npt.NDArray[np.float64]

CAUTION = (
    "Falling masses and snapping lines kill. This report describes measurements; it replaces "
    "neither local codes nor licensed practice nor the judgement of the responsible person."
)
RULE = (
    "A load counts as proven on target when the whole interval, measured peak plus and minus its "
    "expanded uncertainty (95.45 %), lies between target and limit. Whether the record is valid, "
    "which load was reached and what happened to the article are asked apart. The tool proposes; "
    "a named person decides."
)
ARTICLES_TOLD = (
    "Drops pulled, oldest first; force at the first damage, when it came and what energy line and "
    "rig had taken up in that pull; else the highest load carried."
)
POINTS = 700  # of a curve, the highest and lowest of each stretch among them
_QUESTIONS = {
    "rest-off",
    "closure-off",
    "closure-wrong",
    "force-scale",
    "bandwidth-low",
    "stop-touched",
    "mount-moved",
    "two-peaks",
}
_VERDICTS = ("record_verdict", "load_verdict", "trace_says", "test_verdict")


@dataclass(frozen=True)
class Source:
    """One record of a report with its marks.

    `expected` is what was predicted of it, to be drawn; `later` what would be predicted now.
    """

    record: Record
    marked: Marked
    force: ForceCurve
    expected: Expected | None
    later: Predicted | None = None

    @cached_property
    def curve(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Time from release (or start), unfiltered and filtered force around the contact."""
        rate = self.force.sample_rate_hz
        start, stop = 0, self.force.force_n.size
        onset = self.marked["onset_time_s"]
        if onset is not None:
            length = self.marked["base_duration_s"] or 0.1
            start = max(int((onset - BEFORE * length) * rate), 0)
            stop = min(int((onset + AFTER * length) * rate), stop)
        time = np.arange(start, stop) / rate - (self.marked["release_time_s"] or 0.0)
        return time, self.force.unfiltered_n[start:stop], self.force.force_n[start:stop]


def read_sources(records: Sequence[Record], cfc: int | None = AS_BEFORE) -> list[Source]:
    """Mark records as they were marked last, with budgets, in the order of their drops."""
    ordered = sorted(records, key=lambda one: (one.utc, one.path.name))
    homes = {one: expectations_at(one / "record") for one in {one.path.parent for one in records}}
    found = []
    for one in ordered:
        expectations = homes[one.path.parent]
        look = look_at(one, cfc=cfc, budget=True, expectations=expectations)
        told = look.marked["predicted"]
        later = expectations.of(one.setup) if expectations and told else None
        found.append(Source(one, look.marked, look.curve, expected_from(told), later))
    return found


def contents_of(
    sources: list[Source],
    *,
    campaign: Campaign | None = None,
    unreadable: Sequence[RecordSummary] = (),
    folder: Path | None = None,
    exposed: Sequence[Exposure] = (),
) -> dict[str, Any]:
    """Gather what a report tells.

    Parameters
    ----------
    sources : list of Source
        The drops.
    campaign : Campaign or None
        What campaign.toml says, for a report on a campaign.
    unreadable : sequence of RecordSummary
        Records that cannot be read: they are named.
    folder : Path or None
        Of a campaign that is told as a whole.
    exposed : sequence of Exposure
        From the ledger, what there is to tell.
    """
    drops = [{**_drop(one), "plan": _against_plan(one, campaign)} for one in sources]
    real = [one for one in sources if not one.record.rehearsed]
    closures = _closures(real)
    return {
        "title": _title(sources, campaign, folder),
        "drops": drops,
        "count": _count(len(real), len(sources) - len(real)),
        "outcomes": _outcomes(sources, unreadable),
        "first_utc": sources[0].record.utc[:19] if sources else "-",
        "last_utc": sources[-1].record.utc[:19] if sources else "-",
        "written": f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC",
        "software": SOFTWARE,
        "caution": CAUTION,
        "rule": RULE,
        "requirement": _requirement(campaign),
        "unreadable": [{"name": one.name, "problem": one.problem} for one in unreadable],
        "ledger": [row(one) for one in exposed],
        "ledger_head": HEAD,
        "corrections": corrections_in(campaign.folder) if campaign else [],
        "articles": _articles(real, campaign),
        "articles_told": ARTICLES_TOLD,
        "questions": _questions(sources, campaign),
        "decides": campaign.decision.decides if campaign else "",
        "definitions": sorted(definitions().items()),
        "traces": [_trace(one) for one in sources],
        "closures": closures,
        "closures_svg": _closures_svg(closures),
        "closures_alt": _closures_alt(closures),
    }


def _outcomes(sources: list[Source], unreadable: Sequence[RecordSummary]) -> str:
    """How many drops ended how, in one line: what a reader wants to know first.

    Where a person decided otherwise than was proposed, both stand there.
    """
    counts = Counter(_outcome(one.marked) for one in sources)
    told = [f"{number} {what}" for what, number in counts.most_common()]
    if unreadable:
        told.append(f"{len(unreadable)} cannot be read")
    return "; ".join(told)


def _count(drops: int, rehearsed: int) -> str:
    told = f"{drops} drop" + ("" if drops == 1 else "s")
    return f"{told}, and {rehearsed} rehearsed" if rehearsed else told


def _outcome(marked: Marked) -> str:
    proposed = _short(marked["test_verdict"])
    if marked["decision"]:
        decided = _short(marked["decision"]["verdict"])
        was = "" if decided == proposed else f" (proposed: {proposed})"
        proposed = f"{decided} as decided{was}"
    if marked["origin"] == REHEARSED:
        return f"{MARK} ({proposed})"
    return proposed


def write_html(path: Path, contents: dict[str, Any]) -> None:
    """Write a report to a new HTML file.

    Parameters
    ----------
    path : Path
        File to make.
    contents : dict
        From `contents_of`.

    Raises
    ------
    RecordExistsError, RecordError
        If there is a file of that name; if it cannot be written.
    """
    with new_file(path) as draft:
        draft.write_text(html_of(contents), encoding="utf-8")


def html_of(contents: dict[str, Any]) -> str:
    """Return the text of a report."""
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    return environment.from_string(_page("report.html")).render(
        contents, plot_css=_page("uPlot.min.css"), plot_js=_page("uPlot.iife.min.js")
    )


def _page(name: str) -> str:
    pages = importlib.resources.files("tautlog.display") / "pages"
    return (pages / name).read_text(encoding="utf-8")


def _title(sources: list[Source], campaign: Campaign | None, folder: Path | None) -> str:
    if len(sources) == 1 and folder is None:
        return f"Drop {_named(sources[0])}"
    return f"Campaign {campaign.name}" if campaign is not None and folder is not None else "Drops"


def _requirement(campaign: Campaign | None) -> list[tuple[str, str]]:
    if campaign is None:
        return []
    one, setup = campaign.requirement, campaign.setup
    rows = [
        ("kind of load", one.kind),
        ("target", _form(setup.target_n, "N")),
        ("limit", _form(setup.upper_n, "N")),
        ("flight load", _form(one.flight_load_n, "N")),
        ("design factor x test factor", f"{one.design_factor:g} x {one.test_factor:g}"),
        (
            "duration",
            _between(one.shortest_duration_s, one.longest_duration_s),
        ),
        ("criterion", one.criterion or "-"),
        ("source", one.source or "-"),
        ("who decides", campaign.decision.decides or "-"),
        ("remarks", campaign.note or "-"),
    ]
    return rows


def _between(low_s: float | None, high_s: float | None) -> str:
    if low_s is None and high_s is None:
        return "-"
    return f"{_form(low_s, 's')} to {_form(high_s, 's')}"


def _drop(one: Source) -> dict[str, Any]:
    record, marked = one.record, one.marked
    setup = record.inspected_setup
    decision = marked["decision"]
    if decision:
        decision = {
            **decision,
            "words": _short(decision["verdict"]),
            "proposed_words": _short(decision["proposed"]),
        }
    return {
        "name": _named(one),
        "article": setup.article or "-",
        "mass": _form(setup.mass_kg),
        "height": _form(setup.height_m),
        "peak": force_text(marked["peak_force_n"], marked["peak_force_expanded_u_n"]),
        "notes": [
            *notes({**marked, "predicted": None}),
            *filter(None, [unlike_kept(record, marked)]),
        ],
        "looks": verdict_lines(marked),
        "words": {name: _short(marked[name]) for name in _VERDICTS},
        "status": "" if record.status == "complete" else record.status,
        "finding": setup.article_finding,
        "decision": decision,
        "override": _object(setup.override),
        "set_up": _set_up(record),
        "svg": _contact_svg(one),
        "alt": _alt(one),
        "reasons": marked["reasons"],
        "figures": [
            (name, _form(value))
            for name, value in marked.items()
            if isinstance(value, (int, float)) and not isinstance(value, bool)
        ],
        "budgets": [_budget(budget) for budget in marked["budgets"]],
        "inspections": [_inspection(one) for one in record.inspections],
        "photos": [shown(photo, record.path.parent) for photo in record.photos],
        "checklist": _checklist(setup.checklist),
        "calibration": _calibration(one),
    }


def _short(verdict: object) -> str:
    """A verdict in words under a heading that says of what it is."""
    told = words(verdict)
    for head in ("record ", "trace: load path ", "test: "):
        told = told.removeprefix(head)
    return told


def _named(one: Source) -> str:
    """Name of a drop, and what it must not be taken for."""
    stem = one.record.path.stem
    return f"{MARK}: {stem}" if one.record.rehearsed else stem


def _calibration(one: Source) -> dict[str, str]:
    """What the forces of a drop rest on; where it is not what was used that day, who took it."""
    told, record = one.marked["calibration"], one.record
    note = told["note"] or "-"
    if told["by"]:
        which = told["file"] or "the record's own again"
        note = (
            f"{which}, taken by {told['by']} on {told['utc'][:10]}: {told['reason']}; the drop "
            f"was recorded under {record.calibration.newton_per_volt:.6g} N/V. {note}"
        )
    slope = _form(told["newton_per_volt"])
    if record.instrument is None:
        slope = "imported"
    return {
        "slope": slope,
        "u": _calibration_u(record.calibration_used),
        "covered": _form(told["range_n"]) if told["range_n"] else "-",
        "date": told["date"] or "-",
        "note": note,
    }


def _calibration_u(one: Calibration) -> str:
    told = f"{100 * one.expanded_u_fraction:.2g} %"
    return f"{told} and {one.expanded_u_n:.2g} N" if one.expanded_u_n else told


def _inspection(one: Inspection) -> str:
    parts = [one.finding, one.where and f"where: {one.where}"]
    parts += [one.moved and f"touched or moved first: {one.moved}", one.note]
    return f"{one.utc}, {one.by}: {'; '.join(part for part in parts if part)}"


def _against_plan(one: Source, campaign: Campaign | None) -> list[str]:
    """What was predicted for this drop, and where its set-up is not the campaign's."""
    if campaign is None or one.record.rehearsed:
        return _predictions(one)
    said, setup, found = campaign.setup, one.record.setup, []
    for name, unit in (("mass_kg", "kg"), ("height_m", "m"), ("target_n", "N"), ("limit_n", "N")):
        planned, done = getattr(said, name), getattr(setup, name)
        if planned is not None and planned != done:
            what = name.rsplit("_", 1)[0]
            found.append(f"{what}: {_form(done, unit)}, campaign.toml says {_form(planned, unit)}")
    for name in ("article", "line"):
        if getattr(said, name) and getattr(said, name) != getattr(setup, name):
            found.append(
                f"{name}: {getattr(setup, name) or 'not named'}, campaign.toml says "
                f"{getattr(said, name)}"
            )
    return found + _predictions(one)


def _predictions(one: Source) -> list[str]:
    """What was predicted, and where a plan that is made now says otherwise."""
    told, later = one.marked["predicted"], one.later
    if not told:
        return []
    text = prediction_words(told, one.marked["peak_force_n"])
    when = "on the day" if told["on_the_day"] else "afterwards, from what was known before the drop"
    found = [f"{text}; reckoned {when}: line {told['line']} by {told['source']}"]
    if later and abs(later["peak_force_n"] / told["peak_force_n"] - 1.0) > LATER_DIFFERS:
        found.append(
            f"a plan made now for the same mass and height: {prediction_words(later)}, from "
            f"{later['source']}; it knows more, and the drop is not held against it"
        )
    return found


def _set_up(record: Record) -> str:
    setup = record.setup
    parts = [
        record.utc,
        f"status {record.status}",
        f"{_form(setup.mass_kg, 'kg')} from {_form(setup.height_m, 'm')}",
        f"target {_form(setup.target_n, 'N')}, limit {_form(setup.upper_n, 'N')}",
        f"article {setup.article or 'not named'}",
        f"line {setup.line or 'not named'}",
        f"mount {setup.mount or 'not named'}",
        f"operator {setup.operator or 'not named'}",
        setup.note,
    ]
    return "; ".join(part for part in parts if part)


def _object(text: str) -> dict[str, Any] | None:
    try:
        value = read_json(text) if text else None
    except ValueError:
        return None
    if not isinstance(value, dict) or not {"by", "reason", "refused"} <= set(value):
        return None
    return value


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


def _budget(budget: dict[str, Any]) -> dict[str, Any]:
    unit = "" if budget["unit"] == "1" else budget["unit"]
    return {
        "figure": budget["figure"],
        "value": _form(budget["value"], unit),
        "expanded": _form(budget["expanded_u"], unit),
        "k": f"{budget['coverage_factor']:.3g}",
        "parts": [{**part, "u": f"{part['u']:.3g}"} for part in budget["parts"]],
    }


def _alt(one: Source) -> str:
    """The curve in words, for those who do not see it."""
    marked = one.marked
    peak = marked["peak_force_n"]
    if peak is None:
        return "Force over time: no contact stands out of the noise."
    text = f"Force over time: it rises to {peak:.0f} N"
    if marked["duration_s"]:
        text += f" and stays above a tenth of that for {1000 * marked['duration_s']:.1f} ms"
    if marked["break_time_s"] is not None:
        text += f"; it collapses from {abs(marked['break_force_n'] or 0):.0f} N"
    elif marked["bounces"]:
        text += f"; {marked['bounces']} bounces follow"
    if marked["target_force_n"]:
        text += f". Target {marked['target_force_n']:.0f} N, limit {marked['limit_force_n']:.0f} N"
    if one.expected is not None:
        text += f". Dotted: {one.expected.text}"
    return text + "."


# Curves


def _thinned(values: FloatArray) -> npt.NDArray[np.intp]:
    """Places of highest and lowest of each stretch, in order: no peak is lost."""
    if values.size <= POINTS:
        return np.arange(values.size)
    per = -(-values.size // (POINTS // 2))
    places = []
    for start in range(0, values.size, per):
        piece = values[start : start + per]
        if np.isfinite(piece).any():
            both = {start + int(np.nanargmin(piece)), start + int(np.nanargmax(piece))}
        else:
            both = {start}
        places += sorted(both)
    return np.array(places, dtype=np.intp)


def _band(one: Source, time: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Lower and upper end of what was expected, at the times of a curve; NaN beyond it."""
    expected, onset = one.expected, one.marked["onset_time_s"]
    if expected is None or onset is None:
        return None
    since = time + (one.marked["release_time_s"] or 0.0) - onset
    low, high = (
        np.interp(since, expected.since_onset_s, force, left=np.nan, right=np.nan)
        for force in (expected.low_n, expected.high_n)
    )
    return low, high


def _trace(one: Source) -> dict[str, Any]:
    """What the page's script draws of a drop."""
    time, raw, smooth = one.curve
    places = np.union1d(_thinned(raw), _thinned(smooth))
    cfc = one.marked["cfc"]
    band = _band(one, time[places])
    return {
        "expected_n": [[_plain(value) for value in end] for end in band] if band else None,
        "time_s": [round(float(value), 6) for value in time[places]],
        "raw_n": [_plain(value) for value in raw[places]],
        "force_n": [_plain(value) for value in smooth[places]],
        "label": f"class {cfc} N" if cfc else "not filtered N",
        "target_n": one.marked["target_force_n"],
        "limit_n": one.marked["limit_force_n"],
    }


def _plain(value: float) -> float | None:
    return round(float(value), 2) if np.isfinite(value) else None


CHART = (0.8, 1.2)  # of the closures; what lies beyond is named below it
_W, _H, _LEFT, _BOTTOM, _TOP = 800, 320, 70, 44, 14


def _svg(label: str, body: str) -> str:
    from markupsafe import escape

    return (
        f'<svg viewBox="0 0 {_W} {_H}" role="img" aria-label="{escape(label)}" '
        f'xmlns="http://www.w3.org/2000/svg" font-family="sans-serif" font-size="13" '
        f'fill="#1b2a41">{body}</svg>'
    )


@dataclass(frozen=True)
class _Scale:
    """From values to places in a picture."""

    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: float, y: float) -> str:
        left = _LEFT + (x - self.x[0]) / (self.x[1] - self.x[0]) * (_W - _LEFT - 14)
        top = _TOP + (self.y[1] - y) / (self.y[1] - self.y[0]) * (_H - _TOP - _BOTTOM)
        return f"{left:.1f},{top:.1f}"

    def line(self, x: FloatArray, y: FloatArray, style: str) -> str:
        points = " ".join(
            self.at(float(a), float(b)) for a, b in zip(x, y, strict=True) if np.isfinite(b)
        )
        return f'<polyline fill="none" points="{points}" {style}/>'

    def level(self, y: float, text: str, style: str) -> str:
        (x0, y0), (x1, _) = (self.at(one, y).split(",") for one in self.x)
        return (
            f'<line x1="{x0}" x2="{x1}" y1="{y0}" y2="{y0}" {style}/>'
            f'<text x="{x1}" y="{float(y0) - 4:.1f}" text-anchor="end">{text}</text>'
        )

    def axes(self, xlabel: str, ylabel: str) -> str:
        parts = []
        for value in _ticks(*self.x):
            x, _ = self.at(value, self.y[0]).split(",")
            parts.append(f'<text x="{x}" y="{_H - 24}" text-anchor="middle">{value:g}</text>')
        for value in _ticks(*self.y):
            _, y = self.at(self.x[0], value).split(",")
            parts.append(f'<text x="{_LEFT - 8}" y="{y}" text-anchor="end" dy="4">{value:g}</text>')
            parts.append(f'<line x1="{_LEFT}" x2="{_W - 14}" y1="{y}" y2="{y}" stroke="#d8dee5"/>')
        parts.append(f'<text x="{_W / 2}" y="{_H - 6}" text-anchor="middle">{xlabel}</text>')
        turned = f'transform="rotate(-90)" x="{-_H / 2}" y="14" text-anchor="middle"'
        parts.append(f"<text {turned}>{ylabel}</text>")
        return "".join(parts)


def _ticks(low: float, high: float) -> list[float]:
    """Four to eight round values between two."""
    span = high - low
    step = 10.0 ** np.floor(np.log10(span / 4.0))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if span / (factor * step) <= 8.0:
            step *= factor
            break
    first = np.ceil(low / step)
    return [
        float(round(number * step, 12)) for number in range(int(first), int(high / step + 1e-9) + 1)
    ]


def _contact_svg(one: Source) -> str:
    time, raw, smooth = one.curve
    finite = raw[np.isfinite(raw)]
    if time.size < 2 or not finite.size:
        return _svg("no samples", "")
    marked = one.marked
    levels = [marked[name] for name in ("target_force_n", "limit_force_n") if marked[name]]
    low = min(0.0, float(finite.min()))
    band = _band(one, time)
    tops = [float(np.nanmax(band[1]))] if band and np.isfinite(band[1]).any() else []
    high = max([float(finite.max()), *levels, *tops, 1e-9])
    scale = _Scale((float(time[0]), float(time[-1])), (low, 1.08 * high))
    places = np.union1d(_thinned(raw), _thinned(smooth))
    body = scale.axes("seconds from release", "force, N")
    for end in band or ():
        few = slice(None, None, max(time.size // 400, 1))
        body += scale.line(time[few], end[few], 'stroke="#8a96a5" stroke-dasharray="2 3"')
    body += scale.line(time[places], raw[places], 'stroke="#8a96a5" stroke-width="1"')
    body += scale.line(time[places], smooth[places], 'stroke="#1b2a41" stroke-width="2"')
    for name, dash in (("target", "8 5"), ("limit", "10 4 2 4")):
        value = marked[f"{name}_force_n"]
        if value:
            style = f'stroke="#1b2a41" stroke-dasharray="{dash}"'
            body += scale.level(value, f"{name} {value:.0f} N", style)
    return _svg(_alt(one), body)


def _closures(sources: list[Source]) -> dict[str, list[Any]]:
    return {
        "number": list(range(1, len(sources) + 1)),
        "impulse": [one.marked["impulse_closure"] for one in sources],
        "rest": [one.marked["rest_closure"] for one in sources],
    }


def _closures_svg(closures: dict[str, list[Any]]) -> str:
    count = len(closures["number"])
    if not count:
        return ""
    scale = _Scale((0.5, count + 0.5), CHART)
    body = scale.axes("drop", "measured / expected")
    for level in (0.95, 1.05):
        body += scale.level(level, f"{level:g}", 'stroke="#1b2a41" stroke-dasharray="10 4 2 4"')
    for name, mark in (("impulse", "circle"), ("rest", "square")):
        for number, value in zip(closures["number"], closures[name], strict=True):
            if value is None or not CHART[0] <= value <= CHART[1]:
                continue
            x, y = scale.at(number, value).split(",")
            body += (
                f'<circle cx="{x}" cy="{y}" r="5"/>'
                if mark == "circle"
                else f'<rect x="{float(x) - 5:.1f}" y="{float(y) - 5:.1f}" width="10" height="10" '
                'fill="none" stroke="#1b2a41" stroke-width="2"/>'
            )
    return _svg(_closures_alt(closures), body)


def _closures_alt(closures: dict[str, list[Any]]) -> str:
    told = [one for one in closures["impulse"] if one is not None]
    if not told:
        return "Closures over the campaign: none could be determined."
    outside = [
        f"{name} {value:.2f} of drop {number}"
        for name in ("impulse", "rest")
        for number, value in zip(closures["number"], closures[name], strict=True)
        if value is not None and not CHART[0] <= value <= CHART[1]
    ]
    text = (
        f"Closures over the campaign (dots: impulse, squares: rest force, over what momentum and "
        f"weight ask for): impulse {min(told):.3f} to {max(told):.3f} in {len(told)} drops; 0.95 "
        "to 1.05 is valid."
    )
    return f"{text} Outside of the chart: {', '.join(outside)}." if outside else text


# What hangs over all drops


def _articles(sources: list[Source], campaign: Campaign | None) -> list[dict[str, Any]]:
    versions = {one.name: one.version for one in campaign.articles} if campaign else {}
    rows = []
    for name in sorted({one.record.setup.article for one in sources}):
        mine = [one for one in sources if one.record.setup.article == name]
        damaged = [one for one in mine if one.marked["first_damage_force_n"] is not None]
        peaks = [abs(one.marked["peak_force_n"]) for one in mine if one.marked["peak_force_n"]]
        looked = [one for source in mine for one in source.record.inspections]
        rows.append(
            {
                "name": name or "not named",
                "version": versions.get(name, "-") or "-",
                "drops": len(mine),
                **_first_damage(damaged[0].marked if damaged else None),
                "highest": _form(max(peaks) if peaks else None),
                "found": mine[-1].record.inspected_setup.article_finding,
                "where": next((one.where for one in reversed(looked) if one.where), "-"),
            }
        )
    return rows


def _first_damage(marked: Marked | None) -> dict[str, str]:
    """Force, time since onset, and energy taken up, of the drop that first damaged an article."""
    if marked is None:
        return {"damage": "-", "after": "-", "energy": "-"}
    onset, at = marked["onset_time_s"], marked["first_damage_time_s"]
    after = None if None in (onset, at) else 1e3 * (at - onset)
    return {
        "damage": _form(abs(marked["first_damage_force_n"])),
        "after": _form(after),
        "energy": _form(marked["energy_absorbed_j"]),
    }


def _questions(sources: list[Source], campaign: Campaign | None) -> list[str]:
    found = []
    for one in sources:
        if one.record.rehearsed:
            continue  # of which nothing is asked
        name, marked = one.record.path.stem, one.marked
        if marked["test_verdict"] == "pending" and not marked["decision"]:
            found.append(f"{name}: the article has not been inspected")
        if marked["record_verdict"] != "valid" and not marked["decision"]:
            found.append(f"{name}: the {words(marked['record_verdict'])}, and nobody has decided")
        found += [
            f"{name}: {reason['text']}"
            for reason in marked["reasons"]
            if reason["code"] in _QUESTIONS or reason["code"].startswith("disagree-")
        ]
    if campaign and not any(one.proven_n > 0 for one in campaign.mounts):
        found.append("no proof pull of the mount is on record")
    return found


def _form(value: float | None, unit: str = "") -> str:
    if value is None:
        return "-"
    told = str(value) if isinstance(value, int) else f"{value:.5g}"
    return f"{told} {unit}".strip()
