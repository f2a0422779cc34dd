"""Steps advice: whether zero and weights lie well among the steps of the converter.

A wide code hides where in it a reading lies, and a slope that is measured across one takes its
width for force. Both can be avoided by the zero of the amplifier; the peak crosses wide codes
anyway, and is corrected.
"""

from __future__ import annotations

from tautlog.model.load_path import PathCheck
from tautlog.model.steps import Steps

CLEAR_STEPS = 24.0  # from a wide code to the nearest reading: its width, noise and a drift; own
CODE = "converter-steps"


def advise_on_steps(
    steps: Steps, step_v: float, zero_v: float | None, weights_v: float
) -> list[PathCheck]:
    """Check where zero and weights lie.

    Parameters
    ----------
    steps : Steps
        What is known of the converter.
    step_v : float
        Volts of one step.
    zero_v : float or None
        Output without a load; None if it is not stated.
    weights_v : float
        What the heaviest weight of the calibration adds; 0 if it is not known.
    """
    if steps.linearity is None:
        return [PathCheck(CODE, True, f"converter: {steps.basis}")] if steps.basis else []
    if zero_v is None:
        return [PathCheck(CODE, False, "converter: state zero_v, so that its place is known")]
    low, high = sorted((zero_v / step_v, (zero_v + weights_v) / step_v))
    across = steps.between(low - CLEAR_STEPS, high + CLEAR_STEPS)
    if not across:
        return [
            PathCheck(
                CODE,
                True,
                f"converter: {_what(low, high)} clear of its wide codes",
            )
        ]
    better = _better_zero(steps, high - low)
    where = "" if better is None else f"; a zero of {better * step_v:.2f} V keeps both clear"
    names = " and ".join(str(code) for code in across)
    return [
        PathCheck(
            CODE,
            False,
            f"converter: {_what(low, high)} at or across its wide code {names}, which hides "
            f"{_hidden(steps, across[0]):.0f} steps{where}",
        )
    ]


def _what(low: float, high: float) -> str:
    if high - low < 1.0:
        return f"its zero, code {low:.0f}, lies"
    return f"zero and weights, codes {low:.0f} to {high:.0f}, lie"


def _hidden(steps: Steps, code: int) -> float:
    """Width of a code, less one."""
    assert steps.linearity is not None
    edges = steps.linearity.transitions
    return float(edges[code] - edges[code - 1]) - 1.0


def _better_zero(steps: Steps, span: float) -> float | None:
    """The lowest level above a wide code from which a span stays clear of the next, or None."""
    assert steps.linearity is not None
    codes = steps.linearity.wide_codes
    for code, after in zip(codes, (*codes[1:], 2**steps.linearity.bits), strict=True):
        if code + 2.0 * CLEAR_STEPS + span < after:
            return code + CLEAR_STEPS + 4.0
    return None
