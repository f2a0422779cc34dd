"""Configs of a board that are wrong, each in its own way, and what the board must name.

Read by CPython, by MicroPython and on the emulated board. Each is a change of one or
two lines of the delivered config.py; GONE takes a line away.
"""

GONE = "no such line"


def sixteen(**changes):
    """Changes that make a right config of a converter of 16 bits, and some more."""
    right = {"CONVERTER_BITS": 16, "CONVERSION_RATE_HZ": 250_000, "LEAST_SPAN": 8}
    right.update(changes)
    return right


# What must be named, and the change.
WRONG = (
    ("PIN_LAMP", {"PIN_LAMP": 12}),  # the drive's: it would be high while armed
    ("PIN_BEAT", {"PIN_BEAT": 12}),
    ("PIN_FLASH", {"PIN_FLASH": 12}),
    ("PIN_SHUNT", {"PIN_SHUNT": 12}),
    ("PIN_LED", {"PIN_LED": 12}),
    ("PIN_STRAP", {"PIN_STRAP": 12}),
    ("PIN_DRIVE", {"PIN_DRIVE": 10}),
    ("PIN_DRIVE", {"PIN_DRIVE": 11}),
    ("PIN_SHUNT", {"PIN_DRIVE": 13}),
    ("PIN_LAMP", {"PIN_DRIVE": 14}),
    ("PIN_STRAP", {"PIN_DRIVE": 22}),
    ("PIN_DRIVE", {"PIN_DRIVE": 25}),
    ("PIN_DRIVE", {"PIN_DRIVE": 26}),
    ("PIN_DRIVE", {"PIN_DRIVE": 23}),
    ("PIN_DRIVE", {"PIN_DRIVE": 24}),
    ("PIN_DRIVE", {"PIN_DRIVE": 29}),
    ("PIN_DRIVE", {"PIN_DRIVE": 30}),
    ("PIN_DRIVE", {"PIN_DRIVE": -1}),
    ("PIN_DRIVE", {"PIN_DRIVE": "12"}),
    ("PIN_DRIVE", {"PIN_DRIVE": "LED"}),
    ("PIN_DRIVE", {"PIN_DRIVE": None}),
    ("PIN_DRIVE", {"PIN_DRIVE": 12.0}),
    ("PIN_DRIVE", {"PIN_DRIVE": True}),
    ("PIN_DRIVE", {"PIN_DRIVE": (12,)}),
    ("PIN_DRIVE", {"PIN_DRIVE": GONE}),
    ("PIN_KEY", {"PIN_KEY": 10}),
    ("PIN_KEY", {"PIN_KEY": 28}),
    ("PIN_SWITCH", {"PIN_SWITCH": 26}),
    ("PIN_KEY", {"PIN_SWITCH": 11}),
    ("PIN_MOUNT_WIRE", {"PIN_MOUNT_WIRE": 15}),
    ("PIN_ARTICLE_WIRE", {"PIN_ARTICLE_WIRE": 12}),
    ("PIN_MOUNT_WIRE", {"PIN_MOUNT_WIRE": 12}),
    ("PIN_LED", {"PIN_LED": 24}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": 26}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": ()}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": (12,)}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": (29,)}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": (27, 26), "CHANNELS": ("force", "two")}),
    ("PIN_CONVERTER", {"PIN_CONVERTER": (26, 26), "CHANNELS": ("force", "two")}),
    ("CHANNELS", {"PIN_CONVERTER": (26, 27)}),
    ("CHANNELS", {"CHANNELS": ("force", "two")}),
    ("CHANNELS", {"CHANNELS": ()}),
    ("CHANNELS", {"CHANNELS": "force"}),
    ("CHANNELS", {"CHANNELS": ("excitation",)}),
    ("CHANNELS", {"CHANNELS": ("forces",)}),
    ("CHANNELS", {"CHANNELS": ("force ",)}),
    ("CHANNELS", {"PIN_CONVERTER": (26, 27), "CHANNELS": ("force", "force")}),
    ("READBACKS", {"READBACKS": [("gate", 3)]}),
    ("READBACKS", {"READBACKS": ("gate", 3)}),  # a comma was forgotten
    ("READBACKS", {"READBACKS": None}),
    ("READBACKS", {"READBACKS": (("gate",),)}),
    ("READBACKS", {"READBACKS": ((3, "gate"),)}),
    ("READBACKS", {"READBACKS": (("door", 3),)}),
    ("READBACKS", {"READBACKS": (("Gate", 3),)}),
    ("READBACKS", {"READBACKS": (("gate", 3), ("gate", 4))}),
    ("READBACKS", {"READBACKS": (("gate", 3), ("stop", 3))}),
    ("READBACKS", {"READBACKS": (("gate", 12),)}),  # the drive's
    ("READBACKS", {"READBACKS": (("gate", 11),)}),  # the key's: one wire would do for two
    ("READBACKS", {"READBACKS": (("gate", 23),)}),
    ("READBACKS", {"READBACKS": (("gate", 26),)}),
    ("READBACKS", {"READBACKS": (("gate", -1),)}),
    ("READBACKS", {"READBACKS": (("gate", True),)}),
    ("READBACKS", {"READBACKS": (("gate", "3"),)}),
    ("READBACKS", {"READBACKS": (("gate", 3.0),)}),
    (
        "READBACKS",
        {"READBACKS": (("stop", 2), ("gate", 3), ("pin", 4), ("screen", 5), ("supply", 6))},
    ),
    ("READBACKS", sixteen(READBACKS=(("gate", 20),))),  # a wire of the converter
    ("CONVERSION_RATE_HZ", {"CONVERSION_RATE_HZ": 600_000}),
    ("CONVERSION_RATE_HZ", {"CONVERSION_RATE_HZ": 0}),
    ("CONVERSION_RATE_HZ", {"CONVERSION_RATE_HZ": -1}),
    ("CONVERSION_RATE_HZ", {"CONVERSION_RATE_HZ": 333_333}),  # the real rate would be another
    ("CONVERSION_RATE_HZ", {"CONVERSION_RATE_HZ": 5e5}),
    ("REDUCTION", {"REDUCTION": 3}),
    ("REDUCTION", {"REDUCTION": 32}),  # a sum of 17 bits
    ("REDUCTION", {"REDUCTION": True}),
    ("SAMPLES_PER_BLOCK", {"SAMPLES_PER_BLOCK": 1000}),  # blocks would never fill
    ("SAMPLES_PER_BLOCK", {"SAMPLES_PER_BLOCK": 4096}),
    ("SAMPLES_PER_BLOCK", {"SAMPLES_PER_BLOCK": 64, "REDUCTION": 1}),
    ("HISTORY_BLOCKS", {"HISTORY_BLOCKS": -1}),
    ("HISTORY_BLOCKS", {"HISTORY_BLOCKS": 10}),  # fewer than are judged before arming
    ("HISTORY_BLOCKS", {"HISTORY_BLOCKS": None}),
    ("REGULATOR_MODE", {"REGULATOR_MODE": "quiet"}),
    ("REGULATOR_MODE", {"REGULATOR_MODE": 1}),
    ("REGULATOR_MODE", {"REGULATOR_MODE": GONE}),
    ("GUARD_BEFORE_S", {"GUARD_BEFORE_S": 0}),
    ("GUARD_AFTER_S", {"GUARD_AFTER_S": float("nan")}),
    ("GUARD_AFTER_S", {"GUARD_AFTER_S": float("inf")}),
    ("GUARD_AFTER_S", {"GUARD_AFTER_S": "1"}),
    ("RELEASE_PULSE_MS", {"RELEASE_PULSE_MS": 60_000}),
    ("RELEASE_PULSE_MS", {"RELEASE_PULSE_MS": 0}),
    ("RELEASE_PULSE_MS", {"RELEASE_PULSE_MS": 0.4}),
    ("RELEASE_WAIT_MS", {"RELEASE_WAIT_MS": 100}),
    ("RELEASE_CONFIRM_MS", {"RELEASE_CONFIRM_MS": 0}),
    ("RELEASE_BOUNCE_MS", {"RELEASE_BOUNCE_MS": 20}),
    ("RELEASE_BOUNCE_MS", {"RELEASE_BOUNCE_MS": GONE}),
    ("FORCE_TRIGGER", {"FORCE_TRIGGER": -300}),
    ("FLASH_MS", {"FLASH_MS": None}),
    ("FLASH_MS", {"FLASH_MS": 23}),  # as long as that of a knock may be
    ("LAPTOP_SILENCE_MS", {"LAPTOP_SILENCE_MS": 600_000}),
    ("LAPTOP_SILENCE_MS", {"LAPTOP_SILENCE_MS": "2000"}),
    ("ARMED_LONGEST_S", {"ARMED_LONGEST_S": 0}),
    ("RECORDING_LONGEST_S", {"RECORDING_LONGEST_S": 1000}),
    ("SIGNAL_LOWEST", {"SIGNAL_LOWEST": 4000}),
    ("SIGNAL_LOWEST", {"SIGNAL_LOWEST": -1}),  # nothing would ever touch that rail
    ("SIGNAL_HIGHEST", {"SIGNAL_HIGHEST": 4096}),
    ("LEVEL_LOWEST", {"LEVEL_LOWEST": 3960}),
    ("LEVEL_HIGHEST", {"LEVEL_HIGHEST": 4096}),
    ("LEAST_SPAN", {"LEAST_SPAN": 0}),  # a dead chain would do
    ("LEAST_SPAN", {"LEAST_SPAN": 200}),
    ("QUIET_SPAN", {"QUIET_SPAN": 5000}),
    ("QUIET_BLOCKS", {"QUIET_BLOCKS": 0}),
    ("QUIET_BLOCKS", {"QUIET_BLOCKS": 2000}),
    ("STATUS_INTERVAL_MS", {"STATUS_INTERVAL_MS": 0}),
    ("COPY_AFTER_S", {"COPY_AFTER_S": 900}),
    ("EVENT_FILE", {"EVENT_FILE": "main.py"}),
    ("EVENT_FILE", {"EVENT_FILE": 0}),
    ("WATCHDOG_MS", {"WATCHDOG_MS": 9000}),
    ("WATCHDOG_MS", {"WATCHDOG_MS": 100}),
    ("WATCHDOG_MS", {"WATCHDOG_MS": False}),
    ("PIN_LAPM", {"PIN_LAPM": 20}),
    ("CONVERTER_BITS", {"CONVERTER_BITS": 18}),  # would not fit a sample
    ("CONVERTER_BITS", {"CONVERTER_BITS": 24}),
    ("CONVERTER_BITS", {"CONVERTER_BITS": 14}),
    ("CONVERTER_BITS", {"CONVERTER_BITS": 16.0}),
    ("CONVERTER_BITS", {"CONVERTER_BITS": (16,)}),
    ("PIN_CONVERSION_START", sixteen(PIN_CONVERSION_START=26)),
    ("PIN_CONVERSION_START", sixteen(PIN_CONVERSION_START=12)),
    ("PIN_CONVERSION_CLOCK", sixteen(PIN_CONVERSION_CLOCK=25)),
    ("PIN_CONVERSION_CLOCK", sixteen(PIN_CONVERSION_CLOCK=19)),
    ("PIN_CONVERSION_DATA", sixteen(PIN_CONVERSION_DATA=23)),
    ("PIN_CONVERSION_DATA", sixteen(PIN_CONVERSION_DATA=10)),
    ("CONVERSION_TIME_NS", {"CONVERSION_TIME_NS": 0}),
    ("CONVERSION_TIME_NS", {"CONVERSION_TIME_NS": 2.2}),
    ("CONVERSION_RATE_HZ", {"CONVERTER_BITS": 16, "LEAST_SPAN": 8}),  # not read in time
    ("CONVERSION_RATE_HZ", sixteen(CONVERSION_RATE_HZ=240_000)),  # no whole cycles
    ("CONVERSION_RATE_HZ", sixteen(CONVERSION_RATE_HZ=50_000)),
    ("CONVERSION_RATE_HZ", sixteen(CONVERSION_RATE_HZ=625_000)),
    ("CONVERSION_RATE_HZ", sixteen(CONVERSION_TIME_NS=3000)),
    ("LEAST_SPAN", sixteen(LEAST_SPAN=2)),  # the converter's own noise would do
    ("CHANNELS", sixteen(PIN_CONVERTER=(26, 27), CHANNELS=("force", "two"))),
)
# Right all the same: none of these may be refused.
RIGHT = (
    {},
    {"PIN_LAMP": 0, "PIN_BEAT": 1},
    {"PIN_LED": 20},
    {"PIN_CONVERSION_DATA": None},  # nobody asks with 12 bits
    {"PIN_STRAP": 5},
    {"READBACKS": (("supply", 0), ("pin", 22)), "PIN_STRAP": 7},
    {"READBACKS": (("stop", 2), ("gate", 3), ("pin", 4), ("screen", 5))},
    {"READBACKS": (("gate", 20),)},  # with 12 bits no wire of a converter is there
    {
        "PIN_CONVERTER": (26, 27, 28),
        "CHANNELS": ("force left", "force right", "excitation"),
        "REDUCTION": 4,
        "SAMPLES_PER_BLOCK": 256,
        "HISTORY_BLOCKS": 80,
        "GUARD_AFTER_S": 0.3,
    },
    {"REDUCTION": 1, "GUARD_AFTER_S": 0.05},
    {"CONVERSION_RATE_HZ": 480_000},
    sixteen(),
    sixteen(CONVERSION_RATE_HZ=100_000, REDUCTION=2, CONVERSION_TIME_NS=5000),
    sixteen(CONVERSION_RATE_HZ=500_000, CONVERSION_TIME_NS=800, PIN_STRAP=0),
    {"HISTORY_BLOCKS": 5000, "GUARD_AFTER_S": 2.0, "REGULATOR_MODE": "saving"},
    {"WATCHDOG_MS": 0, "EVENT_FILE": "", "FORCE_TRIGGER": 0, "FLASH_MS": 0},
    {"GUARD_AFTER_S": 1, "RELEASE_PULSE_MS": 40},
)


class Changed:
    """A config with some lines changed; the module it is made of stays as it is."""

    def __init__(self, config, changes):
        for name in dir(config):
            if name[0] != "_":
                setattr(self, name, getattr(config, name))
        for name, value in changes.items():
            if value == GONE:
                delattr(self, name)
            else:
                setattr(self, name, value)
