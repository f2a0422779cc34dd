"""Converters of a campaign: one file for each code-density test, the newest of a board in use.

The files lie in the campaign's folder `converters`, numbered like calibrations, and are only
added. A table holds for the board it was found on, known by its serial number, and for no other.
A file that cannot be believed is refused, not passed over: an older one might take its place.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tautlog.calibrate.code_density import CodeDensity
from tautlog.errors import CalibrationError, CampaignError
from tautlog.files.numbered import files_in_order, unread_in, write_numbered
from tautlog.files.ordinary import read_ordinary
from tautlog.files.strict_json import read_object
from tautlog.files.typed_json import built
from tautlog.model.linearity import Linearity, linearity_in
from tautlog.model.origin import board_is_rehearsed
from tautlog.model.steps import CHIP_BITS, CHIPS
from tautlog.model.timestamp import day_problem, stamp, time_problem

FOLDER = "converters"
FORMAT = "tautlog converter"
VERSION = 1
METHOD = "code density under a ramp of pulse width through R and C"
DIGITS = 0.01  # steps: of the levels in a file

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ConverterFile:
    """One file, name by name.

    Attributes
    ----------
    format, version : str, int
        Always the same.
    utc, date : str
        When it was written; ISO day of the test.
    serial, machine, chip : str
        The board.
    method : str
        How it was tested.
    ramp_pin, channel_pin, resistor_ohm : int, int, float
        Its wiring.
    ramps, ramp_s, conversion_rate_hz : int, float, float
        Number and length of ramps; conversions a second.
    linearity : str
        The table, see `Linearity.text`.
    first_code : int
        The first code that was judged.
    inl_steps, dnl_steps : str
        Integral and differential non-linearity from that code on, in steps, between spaces.
    fewest_counts, median_counts : float
        Counts of a code, all ramps together.
    ramps_u_steps, hysteresis_steps, source_u_steps, table_u_steps : float
        What the uncertainty is made of, see `CodeDensity`.
    noise_forced_steps : float or None
        Noise of one conversion while the regulator may not save power.
    remarks : str
        What else is to be known.
    """

    format: str
    version: int
    utc: str
    date: str
    serial: str
    machine: str
    chip: str
    method: str
    ramp_pin: int
    channel_pin: int
    resistor_ohm: float
    ramps: int
    ramp_s: float
    conversion_rate_hz: float
    linearity: str
    first_code: int
    inl_steps: str
    dnl_steps: str
    fewest_counts: float
    median_counts: float
    ramps_u_steps: float
    hysteresis_steps: float
    source_u_steps: float
    table_u_steps: float
    noise_forced_steps: float | None
    remarks: str

    def __post_init__(self) -> None:
        if self.format != FORMAT or self.version != VERSION:
            raise ValueError(f"{self.format!r}, version {self.version}: expected {FORMAT!r}, 1")
        wrong = day_problem(self.date) or time_problem(self.utc)
        if wrong:
            raise ValueError(wrong)
        if not self.serial.strip():
            raise ValueError("it names no board (serial)")
        if self.chip not in CHIPS or self.table.bits != CHIP_BITS:
            raise ValueError(f"{self.table.bits} bits of a {self.chip[:20]!r}: no chip of a board")
        if self.table.serial not in ("", self.serial.strip()) or self.ramps < 1:
            raise ValueError("its table is of another board, or of no ramp")
        _require_own_levels(self.table, self.first_code, self.inl_steps, self.dnl_steps)

    @property
    def table(self) -> Linearity:
        """Its table."""
        found = linearity_in(self.linearity)
        if found is None:
            raise ValueError("it holds no table (linearity)")
        return found

    @property
    def of_its_board(self) -> Linearity:
        """Its table, which names the board and the chip that it holds for."""
        return replace(self.table, serial=self.serial.strip(), chip=self.chip)

    def of_board(self, serial: str) -> bool:
        """Whether it was found on the board with this serial number."""
        return self.serial.strip().casefold() == serial.strip().casefold()


def add_converter(folder: Path, found: CodeDensity, day: str) -> Path:
    """Write the result of a test to a new file of the campaign.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    found : CodeDensity
        The result.
    day : str
        ISO day of the test.

    Raises
    ------
    CalibrationError
        If it is in doubt, or of a simulated board; then it is not kept.
    CampaignError
        If it cannot be written.
    """
    refuse_doubtful(found)
    if board_is_rehearsed(found.counts.machine, found.counts.serial):
        raise CalibrationError("a rehearsal is no test of a converter: it is not kept")
    now = datetime.now(UTC)
    return write_numbered(folder / FOLDER, asdict(as_file(found, day, now)), now)


def refuse_doubtful(found: CodeDensity) -> None:
    """Refuse to keep or use a result that is in doubt.

    Raises
    ------
    CalibrationError
        With all doubts.
    """
    if found.doubts:
        raise CalibrationError(
            f"the test is in doubt and not kept: {'; '.join(found.doubts)}. Mend it and test again"
        )


def as_file(found: CodeDensity, day: str, now: datetime | None = None) -> ConverterFile:
    """The result of a test as its file has it."""
    counts = found.counts
    fewest, median = found.counts_per_code
    return ConverterFile(
        format=FORMAT,
        version=VERSION,
        utc=stamp(now),
        date=day,
        serial=counts.serial,
        machine=counts.machine,
        chip=counts.chip,
        method=METHOD,
        ramp_pin=counts.wiring.ramp_pin,
        channel_pin=counts.wiring.channel_pin,
        resistor_ohm=counts.wiring.resistor_ohm,
        ramps=len(counts.ramps),
        ramp_s=counts.ramp_s,
        conversion_rate_hz=counts.conversion_rate_hz,
        linearity=found.linearity.text,
        first_code=int(found.codes[0]),
        inl_steps=_numbers(found.inl),
        dnl_steps=_numbers(found.dnl),
        fewest_counts=fewest,
        median_counts=median,
        ramps_u_steps=found.level_u,
        hysteresis_steps=found.hysteresis,
        source_u_steps=found.source_u,
        table_u_steps=found.table_u,
        noise_forced_steps=found.noise_forced,
        remarks="; ".join(found.remarks),
    )


def kept_converters(folder: Path) -> list[tuple[Path, ConverterFile]]:
    """All tests of a campaign, oldest first.

    Raises
    ------
    CampaignError
        If a file cannot be believed, or its name does not give its place in the order.
    """
    unread = unread_in(folder / FOLDER, FORMAT, "a converter's table")
    if unread:
        raise CampaignError("; ".join(unread))
    return [(path, read_converter(path)) for path in files_in_order(folder / FOLDER)]


def read_converter(path: Path) -> ConverterFile:
    """Read one file.

    Raises
    ------
    CampaignError
        If it cannot be believed.
    """
    try:
        return built(ConverterFile, read_object(read_ordinary(path)))
    except (OSError, ValueError) as problem:
        raise CampaignError(
            f"{path} cannot be read as a converter's table ({problem}): restore it, or remove it "
            "and test again with `tautlog converter`"
        ) from problem


def newest_converter(folder: Path, serial: str) -> Linearity | None:
    """The newest table of the board with this serial number, or None.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    serial : str
        The board's unique number, as its greeting tells it.

    Raises
    ------
    CampaignError
        If any file cannot be believed: it may be of this board.
    """
    tables = [kept.of_its_board for _, kept in kept_converters(folder) if kept.of_board(serial)]
    return tables[-1] if tables else None


def _numbers(values: FloatArray) -> str:
    return " ".join(f"{value:.2f}" for value in values + 0.0)


def _values(text: str, name: str) -> FloatArray:
    values = [float(word) for word in text.split()]
    if not all(math.isfinite(value) for value in values):
        raise ValueError(f"{name} holds what is not a number")
    return np.array(values)


def _require_own_levels(table: Linearity, first: int, inl: str, dnl: str) -> None:
    """Refuse a table that does not follow from the levels in the same file."""
    errors, widths = _values(inl, "inl_steps"), _values(dnl, "dnl_steps")
    last = first + errors.size - 1
    if errors.size < 2 or errors.size != widths.size or not 0 < first <= last < 2**table.bits:
        raise ValueError(f"{errors.size} levels and {widths.size} widths from code {first} on")
    if np.abs(np.diff(errors) - widths[:-1]).max() > 2.0 * DIGITS:
        raise ValueError("its widths do not follow from its levels")
    off = table.error_at(np.arange(first, last + 1)) - errors
    if math.sqrt(float(np.mean(off**2))) > table.u_steps + DIGITS:
        raise ValueError("its table does not follow from its own levels")
