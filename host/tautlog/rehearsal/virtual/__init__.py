"""The board module of a rehearsal; it takes the place of firmware/board.py.

The files here run in the board's process, under MicroPython or CPython, and
import nothing of the laptop's program.
"""
