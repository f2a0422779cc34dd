"""Start the firmware in this process, on the virtual board.

Usage: run.py FIRMWARE_FOLDER RIG_PORT LINK_PORT SPEED SERIAL [NAME=NUMBER ...]

NAME=NUMBER changes a value of the firmware's config.py for this run.
"""

import sys


def main(arguments):
    """Put the virtual board in the real one's place and run main.py."""
    firmware, rig_port, link_port, speed, serial = arguments[:5]
    here = __file__.replace("\\", "/").rpartition("/")[0] or "."
    sys.path.insert(0, firmware)
    sys.path.insert(0, here)  # before the firmware's own board.py
    import config

    config.RIG_PORT = int(rig_port)
    config.LINK_PORT = int(link_port)
    config.SPEED = float(speed)
    config.SERIAL = serial
    for change in arguments[5:]:
        name, number = change.split("=")
        if not hasattr(config, name):
            raise ValueError("config.py has no " + name)
        setattr(config, name, float(number) if "." in number else int(number))
    import main as firmware_main

    firmware_main.main()


main(sys.argv[1:])
