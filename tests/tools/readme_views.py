"""README's pictures of the desk, from the views that a day in the browser leaves.

mkdir views
TAUTLOG_VIEWS=views pytest -n0 -m long -k si tests/desk/test_day_in_browser.py
python tests/tools/readme_views.py views
"""

import re
import sys
from pathlib import Path

from PIL import Image

NOTES = Path(__file__).parents[2] / "hardware_notes"
SMALL, COLOURS = (911, 512), 128
# Views that README shows in their own size.
LARGE = {"rig": "desk_rig", "drop_recording": "desk_recording", "drop_record": "desk_drop"}


def put(view):
    """Lay one view where README looks for it; return that place, or None if README has none."""
    who, what = re.fullmatch(r"(\w+?)_\d+_(\w+)", view.stem).groups()
    small = NOTES / "desk" / f"{'watcher' if who == 'phone' else what}.png"
    place = NOTES / f"{LARGE[what]}.png" if what in LARGE else small
    if not place.exists():
        return None
    picture = Image.open(view).convert("RGB")
    if place == small and who != "phone":
        picture = picture.resize(SMALL, Image.Resampling.LANCZOS)
    made = picture.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    made.save(place, optimize=True)
    return place


if __name__ == "__main__":
    for each in sorted(Path(sys.argv[1]).glob("*.png")):
        sys.stdout.write(f"{each.name} -> {put(each)}\n")
