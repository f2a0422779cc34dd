"""Linearity: where the codes of one converter begin, and what a reading means because of it.

The steps of a converter are not equally wide. The level at which code k begins is its transition
level (IEEE 1241), here in steps of full scale / 2**bits; an ideal converter rounds, so that code
k begins at k - 1/2. The error of that level is the integral non-linearity (INL) of the code, the
width of a code less one its differential non-linearity (DNL). Offset and gain are left out of the
table: a calibration of the whole chain has them.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from tautlog.model import published_steps as published

FloatArray = npt.NDArray[np.float64]

# Own choices.
MOST_KNOTS = 512
MOST_TEXT = 1 << 16  # characters of a table
LARGEST_ERROR = 64.0  # steps; a converter beyond it is broken or was not measured
LEAST_NOISE = 0.3  # steps rms: less than a step's own spread; with it a mean of codes is smooth
MOST_FALL = 1.0  # step: levels may fall by rounding only
MOST_TILT = 6.0  # steps over the whole range: the best line is out of every table
MOST_SOURCE = 200  # characters
_CODES = np.linspace(0.0, 1.0, 257)
GRID = 8  # points of the smoothed staircase in one step
MEAN_OF = 16  # conversions: a mean over many lies between the levels of such sums
WIDE = 2.0  # steps: a code from this width on leaves a reading within it unknown


@dataclass(frozen=True)
class Linearity:
    """Transition levels of one converter.

    Attributes
    ----------
    bits : int
        Resolution of one conversion, 8 to 16.
    knots : tuple of (float, float)
        Code and error of the level where it begins, in steps; straight between knots. Codes rise.
    u_steps : float
        Standard uncertainty of a level, in steps.
    noise_steps : float
        Noise of one conversion, rms, in steps.
    source : str
        Who found it, how and when.
    serial, chip : str
        Serial number of the board that it was measured on, "" if it is of no one board; its chip.

    Raises
    ------
    ValueError
        If it cannot be a converter's.
    """

    bits: int
    knots: tuple[tuple[float, float], ...]
    u_steps: float
    noise_steps: float
    source: str
    serial: str = ""
    chip: str = ""

    def __post_init__(self) -> None:
        if not 8 <= self.bits <= 16:
            raise ValueError(f"a converter of {self.bits!r} bits: 8 to 16 can be held")
        table = np.asarray(self.knots, dtype=np.float64)
        if table.ndim != 2 or table.shape[1] != 2 or not 2 <= len(table) <= MOST_KNOTS:
            raise ValueError(f"a converter's table needs 2 to {MOST_KNOTS} pairs of code and error")
        if not np.isfinite(table).all() or not (np.diff(table[:, 0]) > 0).all():
            raise ValueError("the codes of a converter's table must be numbers that rise")
        if table[0, 0] < 0 or table[-1, 0] > 2**self.bits:
            raise ValueError(f"a converter of {self.bits} bits has no code beyond its range")
        if np.abs(table[:, 1]).max() > LARGEST_ERROR:
            raise ValueError(f"an error of more than {LARGEST_ERROR:g} steps is no converter's")
        falls = np.diff(table[:, 1]) + np.diff(table[:, 0])
        if falls.min() < -MOST_FALL:
            raise ValueError("the levels of a converter's table must rise from code to code")
        tilt = abs(
            float(np.polyfit(_CODES * 2**self.bits, self.error_at(_CODES * 2**self.bits), 1)[0])
        )
        if tilt * 2**self.bits > MOST_TILT:
            raise ValueError("a converter's table has gain in it, which the calibration has, too")
        if not self.source.isprintable() or len(self.source) > MOST_SOURCE:
            raise ValueError(f"source = {self.source[:20]!r}: a line of text was expected")
        for name in ("u_steps", "noise_steps"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0.0 <= value <= LARGEST_ERROR):
                raise ValueError(f"{name} = {value!r}: 0 to {LARGEST_ERROR:g} steps can be")

    @property
    def text(self) -> str:
        """The same as one line of JSON, as files and records keep it; see `linearity_in`."""
        return json.dumps(
            {
                "bits": self.bits,
                "u_steps": self.u_steps,
                "noise_steps": self.noise_steps,
                "source": self.source,
                "serial": self.serial,
                "chip": self.chip,
                "knots": [list(knot) for knot in self.knots],
            }
        )

    @cached_property
    def transitions(self) -> FloatArray:
        """Level where each code from 1 on begins, in steps, shape (2**bits - 1,); it rises."""
        codes = np.arange(1, 2**self.bits)
        found = codes - 0.5 + self.error_at(codes)
        return np.maximum.accumulate(found)

    def error_at(self, codes: npt.ArrayLike) -> FloatArray:
        """Error of the level where codes begin, in steps."""
        table = np.asarray(self.knots, dtype=np.float64)
        places = np.asarray(codes, dtype=np.float64)
        return np.asarray(np.interp(places, table[:, 0], table[:, 1]), np.float64)

    def levels(self, reduction: int, noise_steps: float | None = None) -> FloatArray:
        """Level that a sample stands for, by its count.

        A single conversion stands for the middle of its code: any noise that is even around
        zero leaves it there. The mean of several is the staircase smoothed by the noise, and
        its inverse gives the level.

        Parameters
        ----------
        reduction : int
            Conversions that are summed into a sample.
        noise_steps : float or None
            Noise of one conversion, rms, from amplifier and converter; None: of the converter.

        Returns
        -------
        ndarray of float64, shape (reduction * (2**bits - 1) + 1,)
            Levels in steps; an ideal converter's are count / reduction.
        """
        noise = self.noise_steps if noise_steps is None else max(noise_steps, self.noise_steps)
        return _levels(self, reduction, round(max(noise, LEAST_NOISE), 1))

    def level_of_mean(self, mean_codes: npt.ArrayLike) -> FloatArray:
        """Level that a mean over many conversions stands for, in steps."""
        levels = self.levels(MEAN_OF)
        places = np.asarray(mean_codes, dtype=np.float64) * MEAN_OF
        return np.asarray(np.interp(places, np.arange(levels.size), levels), np.float64)

    def u_at(self, level: float) -> float:
        """Standard uncertainty of a level, in steps; a wide code hides where in it one is."""
        code = int(np.searchsorted(self.transitions, level))
        if not 0 < code < self.transitions.size:
            return self.u_steps
        width = float(self.transitions[code] - self.transitions[code - 1])
        hidden = (width - 1.0) / math.sqrt(12.0) if width >= WIDE else 0.0
        return math.hypot(self.u_steps, hidden)

    @property
    def wide_codes(self) -> tuple[int, ...]:
        """Codes that are at least twice too wide, without the first and the last."""
        widths = np.diff(self.transitions)
        return tuple(int(code) for code in np.flatnonzero(widths >= WIDE) + 1)


def conversion_noise(counts: npt.NDArray[np.uint16], reduction: int) -> float | None:
    """Noise of one conversion, rms in steps, from the scatter of successive samples.

    Half of the differences lie within 0.6745 of their deviation, sqrt 2 times that of a sample
    (normal distribution). The signal itself moves little from one sample to the next for most of
    a record. None of fewer than 100 samples.
    """
    if counts.size < 100:
        return None
    differences = np.abs(np.diff(counts.astype(np.int64), axis=0)).ravel()
    below = np.cumsum(np.bincount(differences)) / differences.size
    # Counts are whole: a difference of k stands for all between k - 1/2 and k + 1/2.
    edges = np.arange(below.size + 1) - 0.5
    edges[0] = 0.0
    half = float(np.interp(0.5, np.concatenate(([0.0], below)), edges))
    sample = half / (0.6745 * math.sqrt(2.0))
    return sample / math.sqrt(reduction)


@lru_cache(maxsize=16)
def _levels(linearity: Linearity, reduction: int, noise: float) -> FloatArray:
    transitions = linearity.transitions
    if reduction == 1:
        first, last = transitions[0] - 1.0, transitions[-1] + 1.0
        edges = np.concatenate(([first], transitions, [last]))
        return np.asarray(0.5 * (edges[:-1] + edges[1:]))
    beyond = LARGEST_ERROR + 8.0 * noise
    # Each point stands for the cell around it, so that an edge counts on both sides alike.
    grid = np.arange(-beyond, 2**linearity.bits + beyond, 1.0 / GRID) + 0.5 / GRID
    staircase = np.searchsorted(transitions, grid, side="right").astype(np.float64)
    half = math.ceil(6.0 * noise * GRID)
    weights = np.exp(-0.5 * (np.arange(-half, half + 1) / (noise * GRID)) ** 2)
    smooth = np.convolve(np.pad(staircase, half, mode="edge"), weights / weights.sum(), "valid")
    # A slope that is too small to matter puts a reading of one wide code into its middle.
    smooth += 1e-9 * (grid - grid[0])
    means = np.arange(reduction * (2**linearity.bits - 1) + 1) / reduction
    found = np.interp(means, smooth, grid)
    # Beyond the first and the last code nothing is known of the level.
    return np.asarray(np.clip(found, transitions[0] - 0.5, transitions[-1] + 0.5))


@lru_cache(maxsize=64)
def linearity_in(text: str) -> Linearity | None:
    """The linearity in a text as `Linearity.text` writes it; None if it is empty.

    Raises
    ------
    ValueError
        If the text holds something else.
    """
    if not text:
        return None
    try:
        stored = json.loads(text[: MOST_TEXT + 1], parse_constant=_refuse)
        knots = tuple((float(code), float(error)) for code, error in stored["knots"])
        bits = stored["bits"]
        if not isinstance(bits, int):
            raise ValueError(f"bits = {bits!r}")
        return Linearity(
            bits,
            knots,
            float(stored["u_steps"]),
            float(stored["noise_steps"]),
            str(stored["source"]),
            str(stored.get("serial", "")),
            str(stored.get("chip", "")),
        )
    except (KeyError, TypeError, OverflowError, RecursionError, json.JSONDecodeError) as problem:
        raise ValueError(f"not the table of a converter: {problem}") from None


def _refuse(word: str) -> float:
    raise ValueError(f"not the table of a converter: {word} is not a number")


@lru_cache(maxsize=4)
def published_linearity(chip: str) -> Linearity | None:
    """What is published of a chip's own converter; None if nothing is."""
    tables = {"RP2040": published.RP2040, "RP2350": published.RP2350}
    if chip not in tables:
        return None
    return Linearity(
        12,
        tuple((float(code), error) for code, error in tables[chip]),
        published.BOARD_U_STEPS,
        published.NOISE_STEPS,
        f"mean of five published {chip}; this board may differ",
        chip=chip,
    )
