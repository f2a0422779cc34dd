"""Cautions: what must be said wherever people are about to work at the rig."""

CAUTION = (
    "Falling masses and snapping lines kill. This program is not the safety device. Nobody under "
    "the sled or in line with the line; key and catch decide; local codes and the responsible "
    "person come first."
)
