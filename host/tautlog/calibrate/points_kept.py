"""Points kept: the points of a kept calibration, as they were read, to look at them again."""

from __future__ import annotations

from pathlib import Path

from tautlog.calibrate.calibrating import Point
from tautlog.calibrate.kept import measured_in
from tautlog.errors import CampaignError
from tautlog.files.strict_json import read_object


def points_kept(path: Path) -> tuple[list[Point], int]:
    """The points in a calibration file, and the degree of their fit.

    Raises
    ------
    CampaignError
        If it cannot be read as a calibration.
    """
    content = read_object(measured_in(path)[1])
    try:
        points = [
            Point(
                float(point["load_n"]),
                float(point["volt"]),
                int(point.get("run", 1)),
                point.get("by_meter") is True,
            )
            for point in content["points"]
        ]
        degree = int(content.get("degree", 1))
    except (AttributeError, KeyError, TypeError, ValueError) as problem:
        raise CampaignError(f"{path} holds no readable points ({problem})") from problem
    return points, degree if degree in (1, 2) else 1
