"""New campaign: a folder with a commented campaign.toml, generated from the keys."""

from __future__ import annotations

import os
from pathlib import Path

from tautlog.campaign.stated import SECTIONS, Section
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.key import keys_of


def write_new_campaign(folder: str | os.PathLike[str]) -> Path:
    """Make a folder, if needed, and a commented campaign.toml in it.

    Raises
    ------
    CampaignError
        If the file exists already, or the folder cannot be written.
    """
    where = Path(folder) / CAMPAIGN_FILE
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
        with where.open("x", encoding="utf-8") as file:
            file.write(new_campaign_text())
    except FileExistsError as problem:
        raise CampaignError(
            f"{where} exists already (or {where.parent} is not a folder): edit it, or choose "
            "another folder"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{where} cannot be written: {problem.strerror}") from problem
    return where


def new_campaign_text() -> str:
    """Return the text of a new campaign.toml."""
    lines = [
        "# A campaign of drops. Fill in this form: REPLACE ALL VALUES with your own. They are",
        "# examples from an imaginary campaign, the recovery bridle of a survey kite.",
        "# The name of a key ends with its unit (n newton, kg kilogram, m metre, s second,",
        "# v volt, j joule, hz hertz, ohm, mv_per_v millivolt per volt). A number is in that unit;",
        '# in quotes it may bear another: target_n = "405 lbf", height_m = "4 ft". Delete a key',
        "# that you do not know: it then counts as not known. To use a key behind a #, remove",
        "# the #.",
    ]
    for section in SECTIONS.values():
        lines += ["", *_section_lines(section)]
    return "\n".join(lines) + "\n"


def _section_lines(section: Section) -> list[str]:
    lines = [f"# {section.about}.", ("# " if section.as_comment else "") + section.head]
    for key in keys_of(section.kind).values():
        mark = "# " if key.optional or section.as_comment else ""
        lines += [f"# {key.meaning}", f"{mark}{key.name} = {_toml(key.example)}"]
    return lines


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)
