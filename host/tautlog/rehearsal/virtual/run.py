"""Start the firmware in this process, on the virtual board.

Usage: run.py FIRMWARE_FOLDER RIG_PORT LINK_PORT SPEED SERIAL CHIP [NAME=VALUE ...]

NAME=VALUE changes a value of the firmware's config.py for this run; a tuple's values stand
between bars, those of a pair with a colon, as READBACKS=gate:3|pin:4.
"""

import sys


def change(changes):
    """Change values of the firmware's config.py, given as NAME=VALUE."""
    try:
        import config
    except (Exception, SystemExit):
        return  # the firmware reports what is wrong with it
    config.EVENT_FILE = ""  # by default a rehearsal leaves no file behind
    for setting in changes:
        name, value = setting.split("=")
        if isinstance(getattr(config, name, ""), tuple):
            setattr(config, name, tuple([_part(one) for one in value.split("|")]))
        elif isinstance(getattr(config, name, ""), str):
            setattr(config, name, value)
        else:
            setattr(config, name, float(value) if "." in value else int(value))


def _part(text):
    if ":" in text:
        return tuple([_part(one) for one in text.split(":")])
    return int(text) if text.isdigit() else text


def main(arguments):
    """Put the virtual board in the real one's place and run main.py."""
    firmware, rig_port, link_port, speed, serial, chip = arguments[:6]
    here = __file__.replace("\\", "/").rpartition("/")[0] or "."
    sys.path.insert(0, firmware)
    sys.path.insert(0, here)  # before the firmware's own board.py
    from bare import Setup

    Setup.rig_port = int(rig_port)
    Setup.link_port = int(link_port)
    Setup.speed = float(speed)
    Setup.serial = serial
    Setup.chip = chip
    change(arguments[6:])
    import main as firmware_main

    firmware_main.main()


main(sys.argv[1:])
