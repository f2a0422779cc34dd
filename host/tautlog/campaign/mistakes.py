"""Mistakes: everything that is wrong in a campaign.toml, at once, each with its line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from tautlog.campaign.sections import Requirement
from tautlog.campaign.stated import SECTIONS, Section, Stated
from tautlog.errors import CampaignError
from tautlog.model.calibration import Calibration
from tautlog.model.names import alike, short

# A stated target and load x factors may differ by rounding only.
TARGET_AGREES_FRACTION = 0.005


def file_mistakes(path: Path, mistakes: list[str]) -> CampaignError:
    """One error of all mistakes in a file."""
    count = f"{len(mistakes)} mistakes" if len(mistakes) > 1 else "a mistake"
    return CampaignError(f"{path} has {count}: {'; '.join(mistakes)}", problems=tuple(mistakes))


def mistakes_in(content: Mapping[str, object], text: str) -> list[str]:
    """Every mistake in sections, keys, types and ranges.

    Parameters
    ----------
    content : mapping
        What TOML makes of the text.
    text : str
        To find the lines.
    """
    found: list[str] = []
    for name, value in content.items():
        section = SECTIONS.get(name)
        if section is None:
            heads = ", ".join(f"[{one}]" for one in SECTIONS)
            problem = f"[{short(name)}]: unknown section; allowed are {heads}"
            found.append(_at(text, name, 0) + problem)
            continue
        told = value if section.many else [value]
        if isinstance(told, list) and all(isinstance(one, dict) for one in told):
            for number, one in enumerate(told):
                found += _of_keys(section, one, text, number)
        else:
            problem = f"{name} = {short(value)}: expected a section {section.head}"
            found.append(_at(text, name, 0) + problem)
    return found


def contradictions(stated: Stated) -> list[str]:
    """What of a file's values, each good by itself, cannot stand side by side."""
    return [
        *_of_requirement(stated.requirement),
        *_of_calibration(stated.calibration),
        *(one for name in SECTIONS if SECTIONS[name].many for one in _of_names(stated, name)),
    ]


def order_mistakes(target_n: float | None, limit_n: float | None) -> list[str]:
    """A limit lies above its target."""
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
            problem = (
                f"{name} is the former name of {key.name}, which stands there too; take it out"
            )
        else:
            problem = key.mistake(value, name)
        if problem:
            yield f"{_at(text, section.name, number, name)}{section.head} {problem}"
    if section.many and "name" not in values:
        place = _at(text, section.name, number)
        yield f"{place}{section.head}: name is missing; expected a text in quotes"


def _unknown(section: Section, name: str, value: object) -> str:
    allowed = [one for one, key in section.keys.items() if one == key.name]
    stem = name.rsplit("_", 1)[0]
    near = [other for other in allowed if other.rsplit("_", 1)[0] == stem and "_" in other]
    near = near or difflib.get_close_matches(name, allowed, 1)
    hint = f"did you mean {near[0]}?" if near else f"allowed are {', '.join(allowed)}"
    return f"{short(name, quoted=False)} = {short(value)}: unknown key; {hint}"


def _at(text: str, section: str, number: int, name: str = "") -> str:
    """Say on which line a section stands, or a key of it; "" where it cannot be found."""
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
    """Names that stand there twice, or that people confuse."""
    names = [one.name for one in getattr(stated, section)]
    for name in sorted({one for one in names if names.count(one) > 1}):
        yield f"[[{section}]] name = {short(name)} stands there twice"
    different = sorted(set(names))
    for place, name in enumerate(different):
        for other in different[:place]:
            if alike(name, other):
                yield (
                    f"[[{section}]] name = {short(name)}: only capitals or blanks make it "
                    f"another than {short(other)}; allowed are names that nobody confuses"
                )


def _of_requirement(said: Requirement) -> Iterator[str]:
    found = order_mistakes(said.target_n, said.limit_n)
    target_n, derived_n = said.target_n, said.derived_target_n
    if target_n and derived_n and abs(target_n / derived_n - 1) > TARGET_AGREES_FRACTION:
        found.append(
            f"target_n = {target_n:g}: flight load x design factor x test factor is "
            f"{derived_n:g}; take out target_n or mend the one that is wrong"
        )
    shortest_s, longest_s = said.shortest_duration_s, said.longest_duration_s
    if shortest_s and longest_s and longest_s < shortest_s:
        found.append(
            f"longest_duration_s = {longest_s:g}: allowed is a number >= shortest_duration_s, "
            f"which is {shortest_s:g}"
        )
    return (f"[requirement] {one}" for one in found)


def _of_calibration(said: Calibration) -> Iterator[str]:
    low_v, high_v = said.rail_low_v, said.rail_high_v
    if not low_v < high_v <= said.reference_v:
        yield (
            f"[calibration] rail_high_v = {high_v:g}: allowed is a number > rail_low_v ({low_v:g}) "
            f"and <= reference_v ({said.reference_v:g})"
        )
