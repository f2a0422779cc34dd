"""Start the firmware in this process, on the virtual board.

Usage: run.py FIRMWARE_FOLDER RIG_PORT LINK_PORT SPEED SERIAL [NAME=VALUE ...]

NAME=VALUE changes a value of the firmware's config.py for this run.
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
    config.EVENT_FILE = ""  # a rehearsal leaves nothing behind, unless it is asked to
    for change in arguments[5:]:
        name, value = change.split("=")
        if not hasattr(config, name):
            raise ValueError("config.py has no " + name)
        if not isinstance(getattr(config, name), str):
            value = float(value) if "." in value else int(value)
        setattr(config, name, value)
    import main as firmware_main

    firmware_main.main()


main(sys.argv[1:])
