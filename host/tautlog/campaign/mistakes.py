"""Mistakes: all mistakes in a campaign.toml at once, each with its line."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path

from tautlog.campaign.people import mistakes_in_people
from tautlog.campaign.requirement import Requirement
from tautlog.campaign.stated import SECTIONS, Section, Stated
from tautlog.errors import CampaignError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import FORCE, role_of
from tautlog.model.legs import SUM
from tautlog.model.names import folded, meant, short
from tautlog.model.steps import CHIP_BITS, CHIPS, EVEN
from tautlog.model.surroundings import Atmosphere
from tautlog.model.trace import STANDARD_GRAVITY_M_PER_S2

# A stated target and load x factors may differ by rounding only.
TARGET_AGREES_FRACTION = 0.005
MOST_MISTAKES = 50  # that are told at once: nobody reads more; own choice


def file_mistakes(path: Path, mistakes: list[str]) -> CampaignError:
    """One error that lists all mistakes in a file, or so many that nobody reads more."""
    if len(mistakes) > MOST_MISTAKES:
        mistakes = [*mistakes[:MOST_MISTAKES], "and more, which are told when these are mended"]
    count = f"{len(mistakes)} mistakes" if len(mistakes) > 1 else "a mistake"
    return CampaignError(f"{path} has {count}: {'; '.join(mistakes)}", problems=tuple(mistakes))


def mistakes_in(content: Mapping[str, object], text: str) -> list[str]:
    """Every mistake in sections, keys, types and ranges, or one more than are told.

    Parameters
    ----------
    content : mapping
        The parsed TOML.
    text : str
        The text, to find the lines.
    """
    return list(islice(_every(content, text), MOST_MISTAKES + 1))


def _every(content: Mapping[str, object], text: str) -> Iterator[str]:
    for name, value in content.items():
        section = SECTIONS.get(name)
        if section is None:
            heads = ", ".join(f"[{head}]" for head in SECTIONS)
            problem = f"[{short(name)}]: unknown section; allowed are {heads}"
            yield _at(text, name, 0) + problem
            continue
        tables = value if section.many else [value]
        if isinstance(tables, list) and all(isinstance(table, dict) for table in tables):
            for number, table in enumerate(tables):
                yield from _of_keys(section, table, text, number)
        else:
            problem = f"{name} = {short(value)}: expected a section {section.head}"
            yield _at(text, name, 0) + problem


def contradictions(stated: Stated) -> list[str]:
    """Values of a file that are valid alone but contradict each other."""
    return [
        *_of_requirement(stated.requirement),
        *_of_criterion(stated),
        *stated.flight.contradictions(),
        *_of_calibration(stated.calibration),
        *_of_chip(stated),
        *_of_channels(stated),
        *_of_legs(stated),
        *_of_inputs(stated),
        *_of_qualification(stated),
        *_of_atmosphere(stated.atmosphere),
        *mistakes_in_people(stated.person),
        *(text for name in SECTIONS if SECTIONS[name].many for text in _of_names(stated, name)),
    ]


def order_mistakes(target_n: float | None, limit_n: float | None) -> list[str]:
    """Say if a limit is not above its target."""
    if target_n is None or limit_n is None or limit_n > target_n:
        return []
    return [f"limit_n = {limit_n:g}: allowed is a number > target_n, which is {target_n:g}"]


def _of_keys(
    section: Section, values: Mapping[str, object], text: str, number: int
) -> Iterator[str]:
    for name, value in values.items():
        key = section.keys.get(name)
        if key is None:
            problem = _unknown(section, name, value)
        elif name != key.name and key.name in values:
            problem = f"{name} is the old name of {key.name}, which is stated, too: delete {name}"
        else:
            problem = key.typing_mistake(value, name)
        if problem:
            yield f"{_at(text, section.name, number, name)}{section.head} {problem}"
    if section.many and "name" not in values:
        place = _at(text, section.name, number)
        yield f"{place}{section.head}: name is missing; expected text in quotes"


def _unknown(section: Section, name: str, value: object) -> str:
    allowed = [other for other, key in section.keys.items() if other == key.name]
    stem = name.rsplit("_", 1)[0]
    near = [other for other in allowed if other.rsplit("_", 1)[0] == stem and "_" in other]
    near = near or difflib.get_close_matches(name, allowed, 1)
    hint = f"did you mean {near[0]}?" if near else f"allowed are {', '.join(allowed)}"
    return f"{short(name, quoted=False)} = {short(value)}: unknown key; {hint}"


def _at(text: str, section: str, number: int, name: str = "") -> str:
    """The line of a section or of one of its keys, in words; "" if it is not found."""
    head = re.compile(rf"\s*\[\[?\s*[\"']?{re.escape(section)}[\"']?\s*\]\]?\s*(#.*)?$")
    other = re.compile(r"\s*\[.*\]\s*(#.*)?$")
    wanted = re.compile(rf"\s*[\"']?{re.escape(name)}[\"']?\s*=")
    seen, inside = -1, False
    for place, line in enumerate(text.splitlines(), start=1):
        if head.match(line):
            seen += 1
            inside = seen == number
            if inside and not name:
                return f"line {place}: "
        elif other.match(line):
            inside = False
        elif inside and name and wanted.match(line):
            return f"line {place}: "
    return ""


def _of_names(stated: Stated, section: str) -> Iterator[str]:
    """Names that are defined twice, or that people may confuse."""
    names = [part.name for part in getattr(stated, section)]
    for name in sorted(name for name, count in Counter(names).items() if count > 1):
        yield f"[[{section}]] name = {short(name)} is defined twice: rename one or delete it"
    first: dict[str, str] = {}
    for name in sorted(set(names)):
        other = first.setdefault(folded(name), name)
        if other != name:
            yield (
                f"[[{section}]] name = {short(name)} differs from {short(other)} only in "
                "capitals or blanks: choose names that nobody can confuse"
            )


def _of_requirement(stated: Requirement) -> Iterator[str]:
    found = order_mistakes(stated.target_n, stated.limit_n)
    target_n, derived_n = stated.target_n, stated.derived_target_n
    if target_n and derived_n and abs(target_n / derived_n - 1) > TARGET_AGREES_FRACTION:
        found.append(
            f"target_n = {target_n:g}: flight load x design factor x test factor is "
            f"{derived_n:g}; delete target_n or correct the wrong value"
        )
    shortest_s, longest_s = stated.shortest_duration_s, stated.longest_duration_s
    if shortest_s and longest_s and longest_s < shortest_s:
        found.append(
            f"longest_duration_s = {longest_s:g}: allowed is a number >= shortest_duration_s, "
            f"which is {shortest_s:g}"
        )
    return (f"[requirement] {text}" for text in found)


def _of_criterion(stated: Stated) -> Iterator[str]:
    """Dimensions of the criterion that are not there, or that could judge nothing."""
    known = {one.name: one for one in stated.dimension}
    for name in stated.requirement.dimensions:
        head = f"[requirement] criterion_dimensions = {short(name)}"
        one = known.get(name)
        if one is None:
            there = meant(name, tuple(known)) if known else "there is none"
            yield f"{head}: no [[dimension]] has that name; {there}"
        elif lacks := one.lacks(limit=True):
            yield f"{head}: its [[dimension]] must state {', '.join(lacks)}"


def _of_calibration(stated: Calibration) -> Iterator[str]:
    low_v, high_v = stated.rail_low_v, stated.rail_high_v
    if not low_v < high_v <= stated.reference_v:
        yield (
            f"[calibration] rail_high_v = {high_v:g}: allowed is a number > rail_low_v ({low_v:g}) "
            f"and <= reference_v ({stated.reference_v:g})"
        )
    if stated.converter in CHIPS and stated.converter_bits != CHIP_BITS:
        yield (
            f"[calibration] converter = {short(stated.converter)}: the chip's own converter has "
            f"{CHIP_BITS} bits, converter_bits says {stated.converter_bits}; a separate one is "
            f'"{EVEN}"'
        )


def _of_chip(stated: Stated) -> Iterator[str]:
    converter, chip = stated.calibration.converter, stated.board.chip
    if converter in CHIPS and chip and chip != converter:
        yield (
            f"[calibration] converter = {short(converter)}: [board] chip says {short(chip)}; "
            "correct the wrong one"
        )


def _of_channels(stated: Stated) -> Iterator[str]:
    """Channels that are no force, or that two sections describe."""
    first, others = stated.cell.channel, [leg.name for leg in stated.force_channel]
    for head, name in (("[cell] channel", first), *(("[[force_channel]] name", n) for n in others)):
        if role_of(name) != FORCE or name != name.strip():
            yield f"{head} = {short(name)}: allowed is a name that begins with the word force"
    if first in others:
        yield f"[[force_channel]] name = {short(first)}: [cell] describes that channel"
    judged = stated.requirement.judged_on
    if judged not in (SUM, first, *others):
        yield (
            f"[requirement] judged_on = {short(judged)}: allowed is {SUM} or a force channel: "
            f"{', '.join((first, *others))}"
        )
    if stated.accelerometer.volt_per_m_s2 == 0:
        yield "[accelerometer] volt_per_m_s2 = 0: allowed is any other number"


def _of_legs(stated: Stated) -> Iterator[str]:
    """Legs that no channel has, and angles of some of them only."""
    names = (stated.cell.channel, *(leg.name for leg in stated.force_channel))
    for leg in stated.leg:
        head = f"[[leg]] {short(leg.name)}"
        if leg.name not in names:
            yield f"{head}: allowed is a force channel: {', '.join(names)}"
        elif len(names) < 2:
            yield f"{head}: there is one force channel, and so no leg: add a [[force_channel]]"
        yield from (f"{head}: {text}" for text in leg.mistakes())
    angled = [leg.name for leg in stated.leg if leg.from_vertical_deg is not None]
    without = [name for name in names if name not in angled]
    if angled and without:
        yield (
            f"[[leg]] from_vertical_deg is stated for {', '.join(angled)} and not for "
            f"{', '.join(without)}: a sum along the vertical needs the angle of each leg"
        )


def _of_inputs(stated: Stated) -> Iterator[str]:
    """Voltages that no input of a converter with this reference can read."""
    top_v = stated.calibration.reference_v
    below = f"reference_v ({top_v:g}) under [calibration]"
    zeros = [("[amplifier] zero_v", stated.amplifier.zero_v)]
    zeros += [(f"[[force_channel]] {leg.name}: zero_v", leg.zero_v) for leg in stated.force_channel]
    zeros.append(("[accelerometer] zero_v", stated.accelerometer.zero_v))
    for head, zero_v in zeros:
        if zero_v is not None and zero_v >= top_v:
            yield f"{head} = {zero_v:g}: allowed is a voltage below {below}"
    sensor = stated.accelerometer
    if sensor.zero_v is not None and sensor.zero_v < top_v and sensor.volt_per_m_s2:
        rest_v = sensor.zero_v + sensor.volt_per_m_s2 * STANDARD_GRAVITY_M_PER_S2
        if not 0.0 <= rest_v < top_v:
            yield (
                f"[accelerometer] volt_per_m_s2 = {sensor.volt_per_m_s2:g}: with zero_v "
                f"{sensor.zero_v:g} it gives {rest_v:.3g} V at rest, 1 g; allowed is 0 to below "
                f"{below}"
            )
    supply = stated.excitation
    if supply.expected_v and supply.divider_ratio:
        seen_v = supply.expected_v / supply.divider_ratio
        if seen_v >= top_v:
            yield (
                f"[excitation] divider_ratio = {supply.divider_ratio:g}: it gives {seen_v:.3g} V "
                f"of expected_v {supply.expected_v:g}; allowed is a voltage below {below}"
            )


def _of_qualification(stated: Stated) -> Iterator[str]:
    """Numbers with which nothing could be stated, and versions that no article has."""
    asked = stated.qualification
    if (asked.reliability is None) != (asked.confidence is None):
        yield "[qualification] states only one of reliability and confidence: state both"
    if asked.articles and asked.failures_allowed >= asked.articles:
        yield (
            f"[qualification] failures_allowed = {asked.failures_allowed}: allowed is a number < "
            f"articles, which is {asked.articles}"
        )
    versions = sorted({article.version for article in stated.article})
    if asked.version and versions and asked.version not in versions:
        yield (
            f"[qualification] version = {short(asked.version)}: no [[article]] has it; stated are "
            f"{', '.join(map(short, versions))}"
        )


def _of_atmosphere(stated: Atmosphere) -> Iterator[str]:
    for name, low, high in (
        ("temperature", stated.temperature_low_c, stated.temperature_high_c),
        ("humidity", stated.humidity_low_percent, stated.humidity_high_percent),
    ):
        if low is not None and high is not None and high < low:
            yield f"[atmosphere] {name}: its highest value, {high:g}, is below its lowest, {low:g}"
