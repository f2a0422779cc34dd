"""Instruments: what the forces of a report were measured with, and how it was calibrated."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Sequence

from tautlog.archive.verdict_lines import OWN_AGAIN
from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import Item
from tautlog.display.report.sources import Source
from tautlog.display.report.words import form
from tautlog.model.calibration import Calibration
from tautlog.model.display_units import SI, Units

NOT_STATED = "not stated"


def instrument_items(sources: Sequence[Source], campaign: Campaign | None) -> tuple[Item, ...]:
    """Cell, amplifier, boards with their converters, calibrations and mounts.

    Cell, amplifier and mount are those of campaign.toml as it is now; board, converter and
    calibration are those that the records keep.
    """
    stated = [*_chain(campaign), *_legs(campaign)] if campaign else _no_chain()
    return (
        *stated,
        *_boards(sources),
        *_calibrations(sources),
        *(_mounts(campaign) if campaign else ()),
    )


def numbers(sources: Iterable[Source]) -> str:
    """Numbers of drops, such as "1 to 3, 5"."""
    runs: list[list[int]] = []
    for number in sorted({source.number for source in sources}):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(
        str(first) if first == last else f"{first}{' to ' if last > first + 1 else ', '}{last}"
        for first, last in runs
    )


def drops_text(sources: Sequence[Source]) -> str:
    """Drops by their numbers, such as "drops 1 to 3, 5"."""
    return f"{'drop' if len(sources) == 1 else 'drops'} {numbers(sources)}"


def _no_chain() -> list[Item]:
    why = f"{NOT_STATED}: there is no campaign.toml"
    return [Item("load cell", (why,)), Item("amplifier", (why,))]


def _chain(campaign: Campaign) -> list[Item]:
    cell, amplifier, base = campaign.cell, campaign.amplifier, campaign.calibration
    certificate = cell.certificate or NOT_STATED
    if cell.certificate_date:
        certificate += f", of {cell.certificate_date}"
    poles = f", {base.filter_poles} poles" if base.filter_poles else ""
    return [
        Item(
            "load cell",
            (
                f"rated load {_or_not(cell.rated_n, 'N', campaign.units)}",
                f"output {_or_not(cell.best_mv_per_v, 'mV/V')}",
                f"serial number {cell.serial or NOT_STATED}",
                f"certificate {certificate}",
            ),
        ),
        Item(
            "amplifier",
            (
                f"gain {_or_not(amplifier.gain, '')}",
                f"bandwidth {_or_not(base.bandwidth_hz or None, 'Hz')}{poles}",
                f"output {form(base.rail_low_v, 'V')} to {form(base.rail_high_v, 'V')}",
                f"serial number {amplifier.serial or NOT_STATED}",
            ),
        ),
    ]


def _legs(campaign: Campaign) -> Iterator[Item]:
    for leg in campaign.force_channels:
        facts = (
            f"rated load {_or_not(leg.rated_n, 'N', campaign.units)}",
            f"gain {_or_not(leg.gain, '')}",
            f"serial numbers {leg.serial or NOT_STATED}",
        )
        yield Item(f"cell and amplifier of {leg.name}", facts)


def _or_not(value: float | None, unit: str, units: Units = SI) -> str:
    return NOT_STATED if value is None else form(value, unit, units)


def _boards(sources: Sequence[Source]) -> Iterator[Item]:
    """Every board with its converter, and the drops that it recorded."""
    found: dict[Item, list[Source]] = {}
    for source in sources:
        found.setdefault(_board(source), []).append(source)
    for item, mine in found.items():
        yield Item(item.what, item.facts, numbers(mine))


def _board(source: Source) -> Item:
    instrument = source.record.instrument
    if instrument is None:
        return Item("another instrument", ("IMPORTED: recorded elsewhere, its traces were read",))
    steps = source.drop.calibration.used
    return Item(
        "board and converter",
        (
            instrument.board,
            f"serial number {instrument.serial or NOT_STATED}",
            f"firmware {instrument.firmware}",
            f"{instrument.converter_bits} bits, {form(instrument.sample_rate_hz)} samples/s of "
            f"{instrument.reduction} conversions each",
            _steps(steps),
        ),
    )


def _steps(calibration: Calibration) -> str:
    try:
        return f"steps: {calibration.steps.basis}"
    except ValueError as problem:
        return f"steps: {problem}"


def _calibrations(sources: Sequence[Source]) -> Iterator[Item]:
    """Every calibration, with its validity on the days of its drops."""
    found: dict[tuple[str, ...], list[Source]] = {}
    for source in sources:
        found.setdefault(_calibration(source), []).append(source)
    for facts, mine in found.items():
        yield Item("calibration", (*facts, _validity(mine)), numbers(mine))


def _calibration(source: Source) -> tuple[str, ...]:
    use = source.drop.calibration
    used = use.used
    slope = f"{form(used.newton_per_volt)} N/V"
    if source.record.instrument is None:
        slope = "imported: the values came as forces"
    covered = (
        f"up to {form(used.range_n, 'N', source.drop.units)}"
        if used.range_n
        else f"range {NOT_STATED}"
    )
    facts = [slope, f"U (k = 2) {_expanded(used, source.drop.units)}", covered, used.note]
    if use.chosen:
        facts.append(
            f"{use.chosen.file or OWN_AGAIN}, chosen by {use.chosen.by} on "
            f"{use.chosen.utc[:10]}: {use.chosen.reason}; the drop was recorded with "
            f"{use.recorded.newton_per_volt:.6g} N/V"
        )
    if use.corrected:
        facts.append(f"CORRECTED SINCE: {use.corrected}")
    if used.accepted:
        facts.append(f"accepted against the data sheet by {used.accepted}")
    date = used.date or NOT_STATED
    return (*(fact for fact in facts if fact), f"made on: {date}", _until(used))


def _expanded(calibration: Calibration, units: Units) -> str:
    text = f"{100 * calibration.expanded_u_fraction:.2g} %"
    own_n = calibration.expanded_u_n
    return f"{text} and {units.text(own_n, 'N', '.2g')}" if own_n else text


def _until(calibration: Calibration) -> str:
    if not calibration.good_for_days:
        return "no end of its validity is stated"
    try:
        made = datetime.date.fromisoformat(calibration.date)
        end = made + datetime.timedelta(days=calibration.good_for_days)
    except (ValueError, OverflowError):
        return "how long it is valid cannot be told without its day"
    return f"valid until {end.isoformat()}"


def _validity(mine: Sequence[Source]) -> str:
    """Whether it was valid on the days of the drops."""
    used = mine[0].drop.calibration.used
    if not used.date or not used.good_for_days:
        return "whether it was valid on the day is not known" * (not used.date)
    expired = [one for one in mine if used.expired_on(one.record.utc)]
    if expired:
        return f"EXPIRED on the day of {numbers(expired)}"
    early = [one for one in mine if one.record.utc[:10] < used.date]
    return f"made after {numbers(early)}" if early else "valid on the day of every drop"


def _mounts(campaign: Campaign) -> Iterator[Item]:
    for mount in campaign.mounts:
        proven = "no proof pull is on record"
        if mount.proven_n > 0.0:
            pulled = form(mount.proven_n, "N", campaign.units)
            proven = f"pulled to {pulled} on {mount.proven_on[:10] or '?'}"
        facts = (proven, f"good for {mount.good_for_drops} drops", mount.failed)
        yield Item(f"mount {mount.name}", tuple(fact for fact in facts if fact))
