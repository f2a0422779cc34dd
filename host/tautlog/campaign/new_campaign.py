"""New campaign: a folder with a commented campaign.toml, generated from the keys."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from tautlog.campaign.stated import SECTIONS, Section
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.files.chain import begin
from tautlog.model.key import keys_of

PRACTICE_PORT = 7000
# What a campaign to practise with states otherwise: the rehearsed rig as `rehearsal.scene` has it.
# R / (4 Rs + 2 R) of 350 ohm at 5 V and gain 500 is the step of its shunt, 0.5 V.
_PRACTICE: dict[tuple[str, str], object] = {
    ("campaign", "kind"): "rehearsal",
    ("campaign", "note"): "Practice on a rehearsed rig: invented figures, no evidence.",
    ("board", "port"): f"socket://127.0.0.1:{PRACTICE_PORT}",
    ("cell", "shunt_ohm"): 437325.0,
    ("fitted", "article_wire"): "yes",
    ("fitted", "mount_wire"): "yes",
    ("fitted", "flash"): "yes",
}


_PRACTICE_HEAD = (
    "# REHEARSAL: a campaign to practise with, on a rehearsed rig. Its figures are invented and",
    "# fit that rig; leave them as they are for a first day. Nothing in this folder counts.",
    "#",
)


def write_new_campaign(folder: str | os.PathLike[str], *, practice: bool = False) -> Path:
    """Make a folder, if needed, and a commented campaign.toml in it.

    Parameters
    ----------
    folder : path
        Where.
    practice : bool
        It is there to practise with, on a rehearsed rig.

    Raises
    ------
    CampaignError
        If the file exists already, or the folder cannot be written.
    """
    where = Path(folder) / CAMPAIGN_FILE
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
        with where.open("x", encoding="utf-8") as file:
            file.write(new_campaign_text(practice=practice))
    except FileExistsError as problem:
        raise CampaignError(
            f"{where} exists already (or {where.parent} is not a folder): edit it, or choose "
            "another folder"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{where} cannot be written: {problem.strerror}") from problem
    begin(where.parent)
    return where


def new_campaign_text(*, practice: bool = False) -> str:
    """Return the text of a new campaign.toml."""
    lines = [
        *(_PRACTICE_HEAD if practice else ()),
        "# A campaign of drops. Fill in this form: REPLACE ALL VALUES with your own. They are",
        "# examples from an imaginary campaign, the recovery bridle of a survey kite.",
        "# The name of a key ends with its unit (n newton, kg kilogram, m metre, s second,",
        "# v volt, j joule, hz hertz, ohm, mv_per_v millivolt per volt, c degree Celsius, h hour).",
        '# A number is in that unit; in quotes it may bear another: target_n = "405 lbf",',
        '# height_m = "4 ft". Delete a key that you do not know: it then counts as not known. To',
        "# use a key behind a #, remove the #.",
    ]
    for section in SECTIONS.values():
        lines += ["", *_section_lines(section, _PRACTICE if practice else {})]
    return "\n".join(lines) + "\n"


def _section_lines(section: Section, otherwise: Mapping[tuple[str, str], object]) -> list[str]:
    lines = [f"# {section.about}.", ("# " if section.as_comment else "") + section.head]
    for key in keys_of(section.kind).values():
        value = otherwise.get((section.name, key.name))
        mark = "# " if value is None and (key.optional or section.as_comment) else ""
        stated = key.example if value is None else value
        lines += [f"# {key.meaning}", f"{mark}{key.name} = {_toml(stated)}"]
    return lines


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)
