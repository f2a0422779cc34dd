"""``tautlog import``."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.model import quantities as q


@click.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--force-column",
    required=True,
    multiple=True,
    metavar="COLUMN",
    help="Name of the column, or its number from 1; several (or a+b) are summed.",
)
@click.option(
    "--time-column",
    metavar="COLUMN",
    help="Column of the times, in seconds unless --time-unit says otherwise.",
)
@click.option("--time-unit", metavar="UNIT", help="Unit of the times: s, ms or us.")
@click.option(
    "--sample-rate",
    "sample_rate_hz",
    type=options.Number(q.RATE),
    metavar="HZ",
    help="Sample rate, instead of a time column.",
)
@click.option(
    "--unit", default="N", show_default=True, help="Unit of the force: N, kN, lbf or kgf."
)
@click.option(
    "--invert", is_flag=True, help="Tension (or the load of interest) is negative in the file."
)
@click.option(
    "--bandwidth",
    "bandwidth_hz",
    type=options.Number(q.BANDWIDTH),
    metavar="HZ",
    help="Bandwidth (-3 dB) of the instrument that measured it; default: that of [calibration].",
)
@options.setup_options
@options.out_option
@options.json_option
def command(
    file: Path,
    force_column: tuple[str, ...],
    time_column: str | None,
    time_unit: str | None,
    sample_rate_hz: float | None,
    unit: str,
    invert: bool,
    bandwidth_hz: float | None,
    out: Path | None,
    as_json: bool,
    **setup: Any,
) -> None:
    """Make a record from a CSV trace of another instrument.

    The values are kept as they are; unit and sign are kept beside them.
    """
    if (time_column is None) == (sample_rate_hz is None):
        raise click.UsageError("give either --time-column or --sample-rate")
    from tautlog.cli.output import print_json
    from tautlog.io.importer import import_csv, write_record
    from tautlog.model.calibration import Calibration

    campaign = options.here(to_drop=False)
    drop = options.setup_of(campaign, setup)
    imported = import_csv(
        file,
        force_column=force_column,
        time_column=time_column,
        sample_rate_hz=sample_rate_hz,
        time_unit=time_unit,
        unit=unit,
        invert=invert,
    )
    calibration = campaign.calibration if campaign else Calibration()
    if bandwidth_hz is not None:
        calibration = replace(calibration, bandwidth_hz=bandwidth_hz, filter_poles=0)
    path = options.record_path(out, campaign, drop.article or file.stem)
    write_record(
        path,
        imported,
        setup=drop,
        calibration=calibration,
        campaign=campaign.name if campaign else "",
    )
    samples, sample_rate_hz = imported.values.size, imported.sample_rate_hz
    if as_json:
        print_json({"record": str(path), "samples": samples, "sample_rate_hz": sample_rate_hz})
        return
    tell(f"{samples} samples at {sample_rate_hz:g} Hz from {', '.join(imported.columns)}")
    tell(f"record  {path}")
    tell(f"next: tautlog mark {shlex.quote(str(path))}")
