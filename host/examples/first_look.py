# %% [markdown]
# # A first look at drops
#
# Run this as a script, `python first_look.py FOLDER`, or cell by cell in a notebook. It reads the
# records of a folder, lays their pulls over each other, and works out figures that no command
# prints. Without records it looks at two simulated drops instead.

# %%
import sys
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import tautlog

FOLDER = Path(sys.argv[1]) if len(sys.argv) > 1 else Path()

# %% Read the records, or simulate.
drops = [tautlog.open(path) for path in sorted(FOLDER.glob("*.h5"))]
if not drops:
    drops = [tautlog.simulate(seed=1), tautlog.simulate(seed=2, fault="article-parts")]

# %% What each drop says. A figure that cannot be determined is None, never 0.
for drop in drops:
    marks, verdict = drop.marks, drop.verdict
    peak = "no peak" if marks.peak_force_n is None else f"{marks.peak_force_n:.0f} N"
    print(f"{drop.name}: {peak}, {verdict.load_verdict}, {verdict.trace_says}")

# %% Lay the first pulls over each other, from the onset on.
axes = None
for drop in drops:
    axes = drop.plot(axes)
axes.legend(fontsize="small", loc="center right")
axes.figure.savefig(FOLDER / "first_look.png" if len(sys.argv) > 1 else "first_look.png")
plt.close(axes.figure)

# %% How much does the class of the filter take off the peak?
for drop in drops:
    highest = {cfc: np.nanmax(drop.force(cfc)) for cfc in (60, 180, 600)}
    told = ", ".join(f"class {cfc}: {force_n:.0f} N" for cfc, force_n in highest.items())
    print(f"{drop.name}: {told}")

# %% The mean force of the first pull: impulse over the time from onset to slack.
for drop in drops:
    marks = drop.marks
    if marks.impulse_ns is not None and marks.base_duration_s:
        print(f"{drop.name}: {marks.impulse_ns / marks.base_duration_s:.0f} N on average")

# %% What would the same sled do from 10 cm higher?
setup = drops[0].setup
if setup.mass_kg and setup.height_m and drops[0].marks.line_stiffness_n_per_m:
    plan = tautlog.plan(
        mass_kg=setup.mass_kg,
        height_m=setup.height_m + 0.1,
        stiffness_n_per_m=drops[0].marks.line_stiffness_n_per_m,
        damping_ratio=drops[0].marks.damping_ratio or 0.0,
    )
    print(f"10 cm higher: {plan.prediction.peak_force_n:.0f} N are predicted")
