"""Campaign: a folder of records with one campaign.toml.

The file says once what holds for every drop. Every key has its unit in its name.
What may stand in it is the table `KEYS`, from which a new file is written, too.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tautlog.calibration import Calibration
from tautlog.errors import CampaignError
from tautlog.trace import DropSetup

FILE_NAME = "campaign.toml"
# A stated target and load x factors may differ by rounding only.
TARGET_AGREES_FRACTION = 0.005
_ARTICLE_LETTERS = 60
_LARGEST = 1e15  # so that nothing overflows; infinity and NaN are not below it


@dataclass(frozen=True)
class Key:
    """One key that may stand in campaign.toml.

    Attributes
    ----------
    section, name : str
        Where it stands; the name ends in its unit.
    kind : type
        str, float or int.
    example : str, float or int
        What a new file holds.
    meaning : str
        The comment above it.
    above, least, most : float or None
        The value must be > `above`, >= `least`, <= `most`.
    choices : tuple of str
        Allowed values, when only some are.
    optional : bool
        A new file shows it as a comment.
    """

    section: str
    name: str
    kind: type
    example: str | float | int
    meaning: str
    above: float | None = None
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()
    optional: bool = False

    def problem(self, value: object) -> str:
        """Say in one line what is wrong with a value, or "" for nothing."""
        words = {str: "a text in quotes", float: "a number", int: "a whole number"}
        kinds = (int, float) if self.kind is float else (self.kind,)
        wrong = isinstance(value, bool) or not isinstance(value, kinds)
        if wrong or (isinstance(value, (int, float)) and not abs(value) < _LARGEST):
            return self._says(value, words[self.kind])
        if self.choices and value not in self.choices:
            return self._says(value, " or ".join(self.choices))
        if isinstance(value, (int, float)) and not self._inside(value):
            return self._says(value, self._range())
        return ""

    def _inside(self, value: float) -> bool:
        return (
            (self.above is None or value > self.above)
            and (self.least is None or value >= self.least)
            and (self.most is None or value <= self.most)
        )

    def _range(self) -> str:
        limits = ((">", self.above), (">=", self.least), ("<=", self.most))
        return "a number " + " and ".join(f"{s} {v:g}" for s, v in limits if v is not None)

    def _says(self, value: object, allowed: str) -> str:
        return f"[{self.section}] {self.name} = {_short(value)}: allowed is {allowed}"


SECTIONS = {
    "campaign": "What this folder is about",
    "requirement": "The load that the part must be proven for",
    "drop": "What holds for a drop unless its command line says otherwise",
    "calibration": "The measuring chain: cell, amplifier and converter as one",
    "board": "How the laptop reaches the board",
}
KEYS = (
    Key("campaign", "name", str, "kite recovery bridle", "Name of the campaign."),
    Key("campaign", "note", str, "", "Remarks for the report."),
    Key(
        "requirement",
        "kind",
        str,
        "limit",
        "limit: no detrimental permanent deformation. ultimate: no rupture.",
        choices=("limit", "ultimate"),
    ),
    Key(
        "requirement",
        "target_n",
        float,
        1800.0,
        "Force that the test must reach; or flight load and factors instead of it.",
        above=0,
    ),
    Key(
        "requirement",
        "flight_load_n",
        float,
        1200.0,
        "Largest load in flight; times both factors it is the target.",
        above=0,
        optional=True,
    ),
    Key(
        "requirement",
        "design_factor",
        float,
        1.25,
        "On the flight load.",
        least=1,
        most=100,
        optional=True,
    ),
    Key(
        "requirement",
        "test_factor",
        float,
        1.2,
        "On the design load.",
        least=1,
        most=100,
        optional=True,
    ),
    Key(
        "requirement",
        "limit_n",
        float,
        1980.0,
        "Force above which the part is overloaded; without it 1.1 x target.",
        above=0,
        optional=True,
    ),
    Key(
        "requirement",
        "shortest_duration_s",
        float,
        0.02,
        "The pulse must last at least this long, above 10 % of its peak.",
        above=0,
        optional=True,
    ),
    Key(
        "requirement",
        "longest_duration_s",
        float,
        0.2,
        "And at most this long.",
        above=0,
        optional=True,
    ),
    Key(
        "requirement",
        "criterion",
        str,
        "no visible crack; eye distance within 0.5 mm of before",
        "What inspection must find for the part to have held.",
    ),
    Key("requirement", "source", str, "load sheet 4, revision B", "Where the load comes from."),
    Key("drop", "mass_kg", float, 9.0, "All that moves: sled, weights, half the line.", above=0),
    Key("drop", "height_m", float, 1.2, "Free travel until the line is taut.", least=0),
    Key(
        "drop",
        "fittings_kg",
        float,
        0.4,
        "What hangs between the cell and the article.",
        least=0,
        optional=True,
    ),
    Key("drop", "article", str, "bridle-1", "The part under test."),
    Key("drop", "line", str, "polyester 8 mm, 1.5 m", "What springs taut."),
    Key("drop", "operator", str, "", "Who runs the drop."),
    Key("drop", "note", str, "", "Remarks that go with every record."),
    Key(
        "calibration",
        "newton_per_volt",
        float,
        1000.0,
        "Force of one volt at the converter; negative if tension lowers the voltage.",
    ),
    Key(
        "calibration",
        "expanded_u_fraction",
        float,
        0.04,
        "Expanded relative uncertainty (k = 2) of a force: 0.04 is 4 %.",
        least=0,
        most=1,
    ),
    Key("calibration", "reference_v", float, 3.3, "Converter's full scale.", above=0, most=100),
    Key("calibration", "converter_bits", int, 12, "Converter's resolution.", least=1, most=16),
    Key("calibration", "rail_low_v", float, 0.05, "Amplifier's lowest output.", least=0),
    Key("calibration", "rail_high_v", float, 3.2, "Amplifier's highest output.", above=0),
    Key("calibration", "range_n", float, 0.0, "Largest known load applied; 0: unknown.", least=0),
    Key(
        "calibration",
        "bandwidth_hz",
        float,
        0.0,
        "Of amplifier and anti-alias filter, -3 dB; 0: unknown.",
        least=0,
    ),
    Key("calibration", "date", str, "", "Day of the calibration, such as 2026-03-01."),
    Key("calibration", "note", str, "", "Serial numbers, method, who did it."),
    Key("board", "port", str, "", "Serial port or socket://host:port; empty: find the board."),
    Key("board", "link_timeout_s", float, 2.0, "Patience with the board.", above=0, most=3600),
)
_KEYS = {(key.section, key.name): key for key in KEYS}


@dataclass(frozen=True)
class Requirement:
    """The load that the part must be proven for; None or "" where nobody said."""

    kind: str = "limit"
    flight_load_n: float | None = None
    design_factor: float = 1.0
    test_factor: float = 1.0
    target_n: float | None = None
    limit_n: float | None = None
    shortest_duration_s: float | None = None
    longest_duration_s: float | None = None
    criterion: str = ""
    source: str = ""

    @property
    def derived_target_n(self) -> float | None:
        """Flight load x design factor x test factor, or None without a load."""
        if self.flight_load_n is None:
            return None
        return self.flight_load_n * self.design_factor * self.test_factor


@dataclass(frozen=True)
class Campaign:
    """What campaign.toml says.

    Attributes
    ----------
    path : Path
        The file; its folder is the campaign's.
    name : str
        Name of the campaign; that of its folder where the file has none.
    setup : DropSetup
        What holds for a drop unless told otherwise.
    requirement : Requirement
        Where the target comes from.
    calibration : Calibration
        As it stands now.
    port : str
        Serial port, or "" to find the board.
    link_timeout_s : float
        Patience with the board.
    note : str
        Remarks.
    """

    path: Path
    name: str
    setup: DropSetup = field(default_factory=DropSetup)
    requirement: Requirement = field(default_factory=Requirement)
    calibration: Calibration = field(default_factory=Calibration)
    port: str = ""
    link_timeout_s: float = 2.0
    note: str = ""

    @property
    def folder(self) -> Path:
        """Where its records are."""
        return self.path.parent


def find_campaign(start_folder: str | os.PathLike[str] = ".") -> Path | None:
    """Return the campaign.toml of a folder or of the nearest one above it, or None."""
    start = Path(start_folder).absolute()
    for folder in (start, *start.parents):
        if (folder / FILE_NAME).is_file():
            return folder / FILE_NAME
    return None


def read_campaign(path: str | os.PathLike[str]) -> Campaign:
    """Read a campaign.toml, or that of a folder.

    Raises
    ------
    CampaignError
        With every mistake in the file at once, in `problems`.
    """
    where = Path(path)
    if where.is_dir():
        where = where / FILE_NAME
    content = _parsed(where)
    problems = _problems(content)
    if problems:
        raise _mistakes(where, problems)
    said = {name: dict(content.get(name, {})) for name in SECTIONS}
    for (section, name), key in _KEYS.items():
        if key.kind is float and name in said[section]:
            said[section][name] = float(said[section][name])
    requirement = Requirement(**said["requirement"])
    calibration = Calibration(**said["calibration"])
    problems = [*_requirement_problems(requirement), *_calibration_problems(calibration)]
    if problems:
        raise _mistakes(where, problems)
    target_n = requirement.target_n or requirement.derived_target_n
    return Campaign(
        path=where,
        name=said["campaign"].get("name") or where.absolute().parent.name,
        setup=DropSetup(
            target_n=target_n,
            limit_n=requirement.limit_n,
            shortest_s=requirement.shortest_duration_s,
            longest_s=requirement.longest_duration_s,
            **said["drop"],
        ),
        requirement=requirement,
        calibration=calibration,
        note=said["campaign"].get("note", ""),
        **said["board"],
    )


def write_new_campaign(folder: str | os.PathLike[str]) -> Path:
    """Make a folder, if need be, and a commented campaign.toml in it.

    Raises
    ------
    CampaignError
        If there is one already, or the folder cannot be written.
    """
    where = Path(folder) / FILE_NAME
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
        with where.open("x", encoding="utf-8") as file:
            file.write(new_campaign_text())
    except FileExistsError as problem:
        raise CampaignError(
            f"{where} exists already (or {where.parent} is no folder): edit it, or choose "
            "another folder"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{where} cannot be written: {problem.strerror}") from problem
    return where


def new_campaign_text() -> str:
    """Return the text of a new campaign.toml."""
    lines = [
        "# A campaign of drops. All values are examples of one imaginary campaign, the",
        "# recovery bridle of a survey kite: REPLACE THEM by your own. Every key has its unit",
        "# in its name (n newton, kg kilogram, m metre, s second, v volt). A key that you take",
        "# out counts as not known.",
    ]
    for section, about in SECTIONS.items():
        lines += ["", f"# {about}.", f"[{section}]"]
        for key in KEYS:
            if key.section == section:
                mark = "# " if key.optional else ""
                lines += [f"# {key.meaning}", f"{mark}{key.name} = {_toml(key.example)}"]
    return "\n".join(lines) + "\n"


def setup_from(
    campaign: Campaign | None,
    *,
    mass_kg: float | None = None,
    height_m: float | None = None,
    target_n: float | None = None,
    limit_n: float | None = None,
    article: str | None = None,
    line: str | None = None,
    operator: str | None = None,
    note: str | None = None,
    article_finding: str | None = None,
) -> DropSetup:
    """Return the set-up of one drop: the campaign's, with what is given put over it.

    Parameters
    ----------
    campaign : Campaign or None
        The campaign, if there is one.
    mass_kg, height_m, ... : float, str or None
        Fields of `DropSetup`; None where nothing was given.

    Raises
    ------
    CampaignError
        If a value is out of range, with all of them in `problems`.
    """
    given = {
        "mass_kg": mass_kg,
        "height_m": height_m,
        "target_n": target_n,
        "limit_n": limit_n,
        "article": article,
        "line": line,
        "operator": operator,
        "note": note,
        "article_finding": article_finding,
    }
    given = {name: value for name, value in given.items() if value is not None}
    problems = []
    for name, value in given.items():
        key = _KEYS.get(("drop", name)) or _KEYS.get(("requirement", name))
        problem = key.problem(value) if key else ""
        if problem:
            problems.append(problem.partition("] ")[2])
    base = DropSetup() if campaign is None else campaign.setup
    if "target_n" in given and "limit_n" not in given:
        # The campaign's limit belongs to the campaign's target.
        given["limit_n"] = None
    merged: dict[str, Any] = {**vars(base), **given}
    if not problems:
        problems = _order_problems("", merged["target_n"], merged["limit_n"])
    if problems:
        text = "the set-up of the drop has a mistake: " + "; ".join(problems)
        raise CampaignError(text, problems=tuple(problems))
    return DropSetup(**merged)


def next_record_path(
    folder: str | os.PathLike[str], article: str = "", *, now: datetime | None = None
) -> Path:
    """Return a name for a new record in a folder, of UTC and article; none exists of that name.

    Parameters
    ----------
    folder : path
        Where the record goes; the name never leads out of it.
    article : str
        As people typed it; letters, digits, ``.`` and ``-`` of it are used.
    now : datetime, optional
        Time of the drop; now if left out.
    """
    # Taken apart first, so that an accented letter leaves its plain one.
    plain = unicodedata.normalize("NFKD", article).encode("ascii", "ignore").decode()
    plain_name = re.sub(r"[^A-Za-z0-9.]+", "-", plain)[:_ARTICLE_LETTERS].strip(".-") or "drop"
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    name = f"{moment:%Y-%m-%dT%H-%M-%SZ}_{plain_name}"
    path, number = Path(folder) / f"{name}.h5", 1
    while os.path.lexists(path):
        number += 1
        path = Path(folder) / f"{name}_{number}.h5"
    return path


# Inside


def _parsed(path: Path) -> dict[str, Any]:
    text = ""
    try:
        text = path.read_bytes().decode("utf-8-sig") + "\n"
        return tomllib.loads(text)
    except FileNotFoundError as problem:
        raise CampaignError(
            f"{path} is not there: make one with `tautlog init`, or name the folder that has it"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem.strerror}") from problem
    except UnicodeDecodeError as problem:
        raise CampaignError(f"{path} is not UTF-8 text (byte {problem.start})") from problem
    except (ValueError, RecursionError) as problem:
        # TOMLDecodeError ends in "(at line 3, column 7)"; int refuses thousands of digits.
        end = f"at line {len(text.splitlines())}, the last"
        why = str(problem).replace("at end of document", end)
        raise _mistakes(path, [f"no valid TOML: {_short(why, 200, quoted=False)}"]) from problem


def _problems(content: Mapping[str, Any]) -> list[str]:
    """Every mistake in sections, keys, types and ranges."""
    problems = []
    for section, keys in content.items():
        if section not in SECTIONS:
            names = ", ".join(f"[{name}]" for name in SECTIONS)
            problems.append(f"[{_short(section)}]: unknown section; allowed are {names}")
        elif not isinstance(keys, dict):
            problems.append(f"{section} = {_short(keys)}: expected a section [{section}]")
        else:
            for name, value in keys.items():
                key = _KEYS.get((section, name))
                problem = key.problem(value) if key else _unknown(section, name, value)
                if problem:
                    problems.append(problem)
    return problems


def _unknown(section: str, name: str, value: object) -> str:
    allowed = [key.name for key in KEYS if key.section == section]
    stem = name.rsplit("_", 1)[0]
    near = [other for other in allowed if other.rsplit("_", 1)[0] == stem and "_" in other]
    near = near or difflib.get_close_matches(name, allowed, 1)
    hint = f"did you mean {near[0]}?" if near else f"allowed are {', '.join(allowed)}"
    return f"[{section}] {_short(name, quoted=False)} = {_short(value)}: unknown key; {hint}"


def _requirement_problems(requirement: Requirement) -> list[str]:
    problems = _order_problems("[requirement] ", requirement.target_n, requirement.limit_n)
    target_n, derived_n = requirement.target_n, requirement.derived_target_n
    if target_n and derived_n and abs(target_n / derived_n - 1) > TARGET_AGREES_FRACTION:
        problems.append(
            f"[requirement] target_n = {target_n:g}: flight load x design factor x test factor is "
            f"{derived_n:g}; take out target_n or mend the one that is wrong"
        )
    shortest_s, longest_s = requirement.shortest_duration_s, requirement.longest_duration_s
    if shortest_s and longest_s and longest_s < shortest_s:
        problems.append(
            f"[requirement] longest_duration_s = {longest_s:g}: allowed is a number >= "
            f"shortest_duration_s, which is {shortest_s:g}"
        )
    return problems


def _order_problems(place: str, target_n: float | None, limit_n: float | None) -> list[str]:
    if target_n is None or limit_n is None or limit_n > target_n:
        return []
    return [f"{place}limit_n = {limit_n:g}: allowed is a number > target_n, which is {target_n:g}"]


def _calibration_problems(calibration: Calibration) -> list[str]:
    problems = []
    if calibration.newton_per_volt == 0:
        problems.append("[calibration] newton_per_volt = 0: allowed is any number but 0")
    low_v, high_v = calibration.rail_low_v, calibration.rail_high_v
    if not low_v < high_v <= calibration.reference_v:
        problems.append(
            f"[calibration] rail_high_v = {high_v:g}: allowed is a number > rail_low_v ({low_v:g}) "
            f"and <= reference_v ({calibration.reference_v:g})"
        )
    return problems


def _mistakes(path: Path, problems: list[str]) -> CampaignError:
    count = f"{len(problems)} mistakes" if len(problems) > 1 else "a mistake"
    return CampaignError(f"{path} has {count}: {'; '.join(problems)}", problems=tuple(problems))


def _short(value: object, length: int = 60, *, quoted: bool = True) -> str:
    text = repr(value) if isinstance(value, str) and quoted else str(value)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text if len(text) <= length else text[: length - 3] + "..."


def _toml(value: str | float | int) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)
