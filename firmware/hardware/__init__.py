"""Registers, pins and inner loops: the only part that knows what chip it is.

Nothing else in the firmware imports from here but ../board.py.
"""
