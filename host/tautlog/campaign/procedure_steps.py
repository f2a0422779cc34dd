"""Procedure steps: the steps by which a campaign is worked through, each with a name to cite.

The printed procedure is headed by them, and a deviation names one. The order is common practice.
"""

from __future__ import annotations

BRING_UP, CALIBRATION, PROOF, LADDER, CHECKLIST = (
    *("bring-up", "calibration", "proof", "ladder", "checklist"),
)
DROP, INSPECTION, DECISION, QUALIFICATION, REPORT = (
    *("drop", "inspection", "decision", "qualification", "report"),
)
STEPS = {
    BRING_UP: "Open and short each wire by hand",
    CALIBRATION: "Calibrate with known weights",
    PROOF: "Pull the mounts to their proof",
    LADDER: "Climb in steps of load",
    CHECKLIST: "Go through the checklist with two persons",
    DROP: "Arm and drop",
    INSPECTION: "Look at the article, line and mount",
    DECISION: "Decide on the test",
    QUALIFICATION: "State what the drops prove of the part",
    REPORT: "Write the report, and keep the chain's head elsewhere",
}
