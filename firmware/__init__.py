"""The files that run on the board.

On a board they lie side by side in the root of its file system and import each
other by plain names; on the laptop they are the package `tautlog.firmware`, of
which the laptop's program imports `wire` and nothing else.
"""
