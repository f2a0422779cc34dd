"""Converters: chips as they may be bought, each with its own steps, and what a test finds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tautlog.model.linearity import Linearity, published_linearity
from tautlog.model.published_steps import BOARD_SD_STEPS, WIDE_AT, WIDE_SD

BEND_CODES = 128  # the published tables bend about this often
FOUND_U_STEPS = 0.25  # what a code-density test leaves unknown of a level; see `tautlog converter`
WHERE = "table of a code-density test, rehearsed"


def some_converter(chip: str, seed: int) -> Linearity:
    """A converter of one chip, as different from the published mean as boards were found to be.

    Parameters
    ----------
    chip : str
        "RP2040" or "RP2350".
    seed : int
        Which of them.
    """
    mean = published_linearity(chip)
    if mean is None:
        raise ValueError(f"`chip` must be RP2040 or RP2350, was {chip!r}")
    random = np.random.default_rng([seed, 40])
    at = np.arange(0, 2**mean.bits + 1, BEND_CODES)
    own = random.normal(0.0, BOARD_SD_STEPS, at.size)
    codes = np.union1d([code for code, _ in mean.knots], at)
    errors = mean.error_at(codes) + np.interp(codes, at, own)
    if chip == "RP2040":
        # Each wide code has a width of its own; what it takes, the codes around it lack.
        for place, more in zip(WIDE_AT, random.normal(0.0, WIDE_SD, len(WIDE_AT)), strict=True):
            ramp = np.clip(1.0 - np.abs(codes - place + 0.5) / (4 * BEND_CODES), 0.0, 1.0)
            errors += 0.5 * more * ramp * np.where(codes < place, -1.0, 1.0)
    knots = tuple(zip(codes.tolist(), errors.tolist(), strict=True))
    return replace(mean, knots=knots, source=f"one {chip}, drawn at random")


def as_found(true: Linearity, seed: int, u_steps: float = FOUND_U_STEPS) -> Linearity:
    """What a code-density test finds of a converter: its table, off by its uncertainty."""
    random = np.random.default_rng([seed, 41])
    knots = tuple((code, error + float(random.normal(0.0, u_steps))) for code, error in true.knots)
    return replace(true, knots=knots, u_steps=u_steps, source=WHERE)
