"""Campaign: a folder of records with one campaign.toml.

The file says once what holds for every drop. Every key has its unit in its name.
What may stand in it is the table of `keys`, from which a new file is written, too.
"""

from __future__ import annotations

import difflib
import os
import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tautlog.calibrate.kept import (
    newest_calibration,
    newest_file,
    newest_readable,
    unread_files,
)
from tautlog.calibrate.plausibility import (
    accepted_by,
    data_sheet_slope,
    sign_doubts,
    slope_doubts,
    uncertainty_doubts,
)
from tautlog.campaign.condemned import Retired
from tautlog.campaign.proofs import failed_elsewhere, proven, read_proofs
from tautlog.campaign.schema import AS_COMMENT, KEY_OF, KEYS, MANY, SECTIONS
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.calibration import Calibration
from tautlog.model.line import Line, stiffness_of_rope
from tautlog.model.load_path import Element, Mount
from tautlog.model.names import alike, meant, short
from tautlog.model.signature import signed
from tautlog.model.trace import DropSetup

# A stated target and load x factors may differ by rounding only.
TARGET_AGREES_FRACTION = 0.005
_ARTICLE_LETTERS = 60


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
class Rig:
    """Limits of the rig; None where nobody said.

    Attributes
    ----------
    rails_m, margin_m : float or None, float
        From the highest latch to the catch; what must be left above it.
    catch_energy_j : float or None
        That the catch takes with no line at all.
    most_mass_kg, friction_n : float or None
        What it is made for; friction of the rails.
    end_state : str
        What a good drop ends with: "hangs" or "rests".
    """

    rails_m: float | None = None
    margin_m: float = 0.0
    catch_energy_j: float | None = None
    most_mass_kg: float | None = None
    friction_n: float | None = None
    end_state: str = "hangs"


@dataclass(frozen=True)
class Cell:
    """The load cell, from its data sheet; None where nobody said."""

    rated_n: float | None = None
    sensitivity_mv_per_v: float | None = None
    excitation_v: float | None = None
    bridge_ohm: float | None = None
    shunt_ohm: float | None = None
    serial: str = ""
    certificate: str = ""
    certificate_date: str = ""
    certified_mv_per_v: float | None = None


@dataclass(frozen=True)
class Amplifier:
    """Amplifier and filter; None where nobody said."""

    gain: float | None = None
    zero_v: float | None = None
    serial: str = ""


@dataclass(frozen=True)
class Decision:
    """How verdicts are reached, agreed before the first drop."""

    rule: str = "guarded"
    decides: str = ""
    checklist: str = "advised"
    mount_over_article: float = 1.5
    proof_factor: float = 1.25


@dataclass(frozen=True)
class Article:
    """A part under test."""

    name: str
    version: str = ""
    note: str = ""
    retired: str = ""


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
    calibration_stated : bool
        Somebody said or measured its slope; else it is assumed.
    calibration_doubts : tuple of str
        Why it must not be used; none where it is plausible, or accepted by a named person.
    calibration_left_out : str
        What is wrong with newer calibrations than this one, of what looks back only.
    port : str
        Serial port, or "" to find the board.
    link_timeout_s : float
        Patience with the board.
    note : str
        Remarks.
    rig, cell, amplifier, decision : Rig, Cell, Amplifier, Decision
        As said.
    lines, articles, mounts, elements : tuple
        As said, in their order; `line.Line`, `Article`, `loadpath.Mount`, `loadpath.Element`.
    stated_newton_per_volt : float or None
        As campaign.toml says; its sign is that of the chain.
    retired : tuple of Retired
        Lines and articles that must not be dropped any more.
    """

    path: Path
    name: str
    setup: DropSetup = field(default_factory=DropSetup)
    requirement: Requirement = field(default_factory=Requirement)
    calibration: Calibration = field(default_factory=Calibration)
    port: str = ""
    link_timeout_s: float = 2.0
    note: str = ""
    rig: Rig = field(default_factory=Rig)
    cell: Cell = field(default_factory=Cell)
    amplifier: Amplifier = field(default_factory=Amplifier)
    decision: Decision = field(default_factory=Decision)
    lines: tuple[Line, ...] = ()
    articles: tuple[Article, ...] = ()
    mounts: tuple[Mount, ...] = ()
    elements: tuple[Element, ...] = ()
    calibration_stated: bool = False
    calibration_doubts: tuple[str, ...] = ()
    stated_newton_per_volt: float | None = None
    retired: tuple[Retired, ...] = ()
    calibration_left_out: str = ""

    @property
    def promised_newton_per_volt(self) -> float | None:
        """Slope that the cell's certificate or sheet and the gain promise, or None."""
        return _promised(self.cell, self.amplifier)

    @property
    def not_promised(self) -> tuple[str, ...]:
        """What lacks for such a promise, by the names in campaign.toml."""
        told = {
            "[cell] rated_n": self.cell.rated_n,
            "[cell] sensitivity_mv_per_v": _sensitivity(self.cell),
            "[cell] excitation_v": self.cell.excitation_v,
            "[amplifier] gain": self.amplifier.gain,
        }
        return tuple(name for name, value in told.items() if not value)

    def line(self, name: str) -> Line | None:
        """The line of a name, or None."""
        return next((one for one in self.lines if one.name == name), None)

    @property
    def folder(self) -> Path:
        """Where its records are."""
        return self.path.parent


def read_campaign(path: str | os.PathLike[str], *, to_drop: bool = True) -> Campaign:
    """Read a campaign.toml, or that of a folder.

    Parameters
    ----------
    path : path
        The file, or its folder.
    to_drop : bool
        The newest calibration must be readable. Without it, for what only looks back, one
        that is not is left out and named in `calibration_left_out`.

    Raises
    ------
    CampaignError
        With every mistake in the file at once, in `problems`.
    """
    where = Path(path)
    if where.is_dir():
        where = where / CAMPAIGN_FILE
    content, text = _parsed(where)
    problems = _problems(content, text)
    if problems:
        raise _mistakes(where, problems)
    said = {name: _as_said(name, content.get(name, {})) for name in SECTIONS if name not in MANY}
    many = {name: [_as_said(name, one) for one in content.get(name, [])] for name in MANY}
    requirement = Requirement(**said["requirement"])
    calibration = Calibration(**said["calibration"])
    problems = [
        *_requirement_problems(requirement),
        *_calibration_problems(calibration),
        *_name_problems(content),
    ]
    if problems:
        raise _mistakes(where, problems)
    target_n = requirement.target_n or requirement.derived_target_n
    rig, cell, amplifier = Rig(**said["rig"]), Cell(**said["cell"]), Amplifier(**said["amplifier"])
    left_out = ""
    if to_drop:
        calibration = newest_calibration(where.parent, calibration)
    else:
        calibration, left_out = newest_readable(where.parent, calibration)
    measured = newest_file(where.parent) is not None
    stated = "newton_per_volt" in said["calibration"] or measured
    setup = DropSetup(
        target_n=target_n,
        limit_n=requirement.limit_n,
        shortest_s=requirement.shortest_duration_s,
        longest_s=requirement.longest_duration_s,
        end_state=rig.end_state,
        **said["drop"],
    )
    return Campaign(
        path=where,
        name=said["campaign"].get("name") or where.absolute().parent.name,
        setup=setup,
        requirement=requirement,
        calibration=calibration,
        calibration_stated=stated,
        # Nothing may be dropped under what was left out, whoever asks.
        calibration_doubts=unread_files(where.parent)
        + (
            (left_out,)
            if left_out
            else _calibration_doubts(
                calibration,
                stated,
                _promised(cell, amplifier),
                setup,
                said["calibration"].get("newton_per_volt"),
                measured=measured,
            )
        ),
        calibration_left_out=left_out,
        stated_newton_per_volt=said["calibration"].get("newton_per_volt"),
        retired=tuple(
            Retired(kind, one["name"], signed(one["retired"]) or "nobody wrote why")
            for kind in ("line", "article")
            for one in many[kind]
            if "retired" in one
        ),
        note=said["campaign"].get("note", ""),
        rig=rig,
        cell=cell,
        amplifier=amplifier,
        decision=Decision(**said["decision"]),
        lines=tuple(_line(one) for one in many["line"] if _tells_stiffness(one)),
        articles=tuple(Article(**one) for one in many["article"]),
        mounts=_mounts(where.parent, many["mount"]),
        elements=tuple(Element(**one) for one in many["element"]),
        **said["board"],
    )


def _mounts(folder: Path, said: list[dict[str, Any]]) -> tuple[Mount, ...]:
    """The mounts with their newest proofs; what cannot be read proves nothing."""
    mounts = [Mount(**one) for one in said]
    try:
        proofs = read_proofs(folder)
    except CampaignError as problem:
        return tuple(replace(one, proven_n=0.0, failed=str(problem)) for one in mounts)
    names = [one.name for one in mounts]
    return tuple(
        replace(proven(one, proofs), failed_elsewhere=failed_elsewhere(one, names, proofs))
        for one in mounts
    )


def _promised(cell: Cell, amplifier: Amplifier) -> float | None:
    return data_sheet_slope(cell.rated_n, _sensitivity(cell), cell.excitation_v, amplifier.gain)


def _sensitivity(cell: Cell) -> float | None:
    return cell.certified_mv_per_v or cell.sensitivity_mv_per_v


def _calibration_doubts(
    calibration: Calibration,
    stated: bool,
    promised: float | None,
    setup: DropSetup,
    stated_newton_per_volt: float | None,
    *,
    measured: bool,
) -> tuple[str, ...]:
    """Why a calibration must not be used, unless a named person accepts it."""
    if not stated:
        return (
            "no calibration is stated: calibrate (`tautlog calibrate`), or say newton_per_volt in "
            "campaign.toml",
        )
    doubts = (
        sign_doubts(calibration, stated_newton_per_volt, measured=measured)
        + slope_doubts(calibration, promised=promised, planned_n=setup.upper_n)
        + uncertainty_doubts(calibration)
    )
    if not doubts or accepted_by(calibration):
        return ()
    return (
        *doubts,
        "calibrate again, or let a named person accept it (`tautlog calibrate --accept`, or "
        'accepted = "NAME: REASON" in [calibration])',
    )


def _as_said(section: str, values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: float(value) if KEY_OF[section, name].kind is float else value
        for name, value in values.items()
    }


def _tells_stiffness(said: Mapping[str, Any]) -> bool:
    return "stiffness_n_per_m" in said or ("modulus_n" in said and "length_m" in said)


def _line(said: Mapping[str, Any]) -> Line:
    stiffness = said.get("stiffness_n_per_m")
    source = "campaign.toml"
    if stiffness is None:
        stiffness = stiffness_of_rope(said["modulus_n"], said["length_m"])
        source = "EA / L of campaign.toml"
    return Line(
        name=said["name"],
        stiffness_n_per_m=stiffness,
        hardening_per_m2=said.get("hardening_per_m2", 0.0),
        damping_ratio=said.get("damping_fraction", 0.0),
        drops=said.get("drops_before"),
        source=source,
    )


def write_new_campaign(folder: str | os.PathLike[str]) -> Path:
    """Make a folder, if need be, and a commented campaign.toml in it.

    Raises
    ------
    CampaignError
        If there is one already, or the folder cannot be written.
    """
    where = Path(folder) / CAMPAIGN_FILE
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
        "# in its name (n newton, kg kilogram, m metre, s second, v volt,",
        "# j joule, hz hertz, ohm, mv_per_v millivolt per volt). A key that you take",
        "# out counts as not known.",
    ]
    for section, about in SECTIONS.items():
        head = f"[[{section}]]" if section in MANY else f"[{section}]"
        lines += ["", f"# {about}.", ("# " if section in AS_COMMENT else "") + head]
        for key in KEYS:
            if key.section == section:
                mark = "# " if key.optional or section in AS_COMMENT else ""
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
    mount: str | None = None,
) -> DropSetup:
    """Return the set-up of one drop: the campaign's, with what is given put over it.

    Parameters
    ----------
    campaign : Campaign or None
        The campaign, if there is one.
    mass_kg, height_m, ... : float, str or None
        Fields of `DropSetup`; None where nothing was given. The mount is the campaign's only
        one then; of several none is assumed.

    Raises
    ------
    CampaignError
        If a value is out of range, with all of them in `problems`, or the mount is none of
        the campaign's.
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
        "mount": mount_name(campaign, mount),
    }
    given = {name: value for name, value in given.items() if value is not None}
    problems = []
    for name, value in given.items():
        key = KEY_OF.get(("drop", name)) or KEY_OF.get(("requirement", name))
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


def mount_name(campaign: Campaign | None, name: str | None) -> str:
    """Name of the mount that is meant; "" where several are and none was named.

    Raises
    ------
    CampaignError
        If the campaign has mounts, and none of that name.
    """
    mounts = [one.name for one in campaign.mounts] if campaign else []
    if not name:
        return mounts[0] if len(mounts) == 1 else ""
    if mounts and name not in mounts:
        raise CampaignError(f"mount {name!r} is none of the campaign's; {meant(name, mounts)}")
    return name


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


def _parsed(path: Path) -> tuple[dict[str, Any], str]:
    text = ""
    try:
        text = path.read_bytes().decode("utf-8-sig") + "\n"
        return tomllib.loads(text), text
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
        raise _mistakes(path, [f"no valid TOML: {short(why, 200, quoted=False)}"]) from problem


def _problems(content: Mapping[str, Any], text: str) -> list[str]:
    """Every mistake in sections, keys, types and ranges, with its line."""
    problems = []
    for section, value in content.items():
        many = section in MANY
        if section not in SECTIONS:
            names = ", ".join(f"[{name}]" for name in SECTIONS)
            problem = f"[{short(section)}]: unknown section; allowed are {names}"
            problems.append(_at(text, section, 0) + problem)
        elif many and isinstance(value, list) and all(isinstance(one, dict) for one in value):
            for number, one in enumerate(value):
                problems += _key_problems(section, one, text, number)
        elif not many and isinstance(value, dict):
            problems += _key_problems(section, value, text, 0)
        else:
            wanted = f"[[{section}]]" if many else f"[{section}]"
            problem = f"{section} = {short(value)}: expected a section {wanted}"
            problems.append(_at(text, section, 0) + problem)
    return problems


def _key_problems(section: str, values: Mapping[str, Any], text: str, number: int) -> list[str]:
    problems = []
    for name, value in values.items():
        key = KEY_OF.get((section, name))
        problem = key.problem(value) if key else _unknown(section, name, value)
        if problem:
            problems.append(_at(text, section, number, name) + problem)
    if section in MANY and "name" not in values:
        problem = f"[[{section}]]: name is missing; expected a text in quotes"
        problems.append(_at(text, section, number) + problem)
    return problems


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


def _name_problems(content: Mapping[str, Any]) -> list[str]:
    """Names that stand there twice, as it must not."""
    problems = []
    for section in MANY:
        names = [one["name"] for one in content.get(section, [])]
        for name in sorted({one for one in names if names.count(one) > 1}):
            problems.append(f"[[{section}]] name = {short(name)} stands there twice")
        different = sorted(set(names))
        for place, name in enumerate(different):
            for other in different[:place]:
                if alike(name, other):
                    problems.append(
                        f"[[{section}]] name = {short(name)}: only capitals or blanks make it "
                        f"another than {short(other)}; allowed are names that nobody confuses"
                    )
    return problems


def _unknown(section: str, name: str, value: object) -> str:
    allowed = [key.name for key in KEYS if key.section == section]
    stem = name.rsplit("_", 1)[0]
    near = [other for other in allowed if other.rsplit("_", 1)[0] == stem and "_" in other]
    near = near or difflib.get_close_matches(name, allowed, 1)
    hint = f"did you mean {near[0]}?" if near else f"allowed are {', '.join(allowed)}"
    return f"[{section}] {short(name, quoted=False)} = {short(value)}: unknown key; {hint}"


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


def _toml(value: str | float | int) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)
