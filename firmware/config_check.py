"""The check of config.py, before any pin becomes an output.

A value of a wrong type, out of its range, missing or unknown, or a pin that is used
twice, could drive the release. `load` finds all of it; with any of it the board stays
without pins and says what is wrong (refusal.py).
"""

DIGITAL = "0 to 22"  # 23, 24 and 29 serve the board's supply, 26 to 28 are for the converter
LED = 25
CONVERTER = (26, 27, 28)
PINS = tuple(
    (
        "PIN_SWITCH PIN_KEY PIN_DRIVE PIN_SHUNT PIN_LAMP PIN_ARTICLE_WIRE PIN_MOUNT_WIRE "
        "PIN_FLASH PIN_BEAT PIN_STRAP PIN_LED"
    ).split()
)
# Of a 16-bit converter; with 12 bits nobody asks what they are.
THREE_WIRES = ("PIN_CONVERSION_START", "PIN_CONVERSION_CLOCK", "PIN_CONVERSION_DATA")
# Whole numbers: name, least, most.
NUMBERS = (
    ("CONVERSION_TIME_NS", 100, 5000),
    ("RELEASE_PULSE_MS", 1, 1000),  # a coil's pulse is bounded by a second (common practice)
    ("RELEASE_WAIT_MS", 1, 10000),
    ("RELEASE_CONFIRM_MS", 1, 200),
    ("RELEASE_BOUNCE_MS", 1, 50),
    ("FORCE_TRIGGER", 0, 4095),
    ("FLASH_MS", 0, 1000),
    ("LAPTOP_SILENCE_MS", 500, 5000),  # it speaks four times a second
    ("ARMED_LONGEST_S", 1, 3600),
    ("RECORDING_LONGEST_S", 1, 500),
    ("SIGNAL_LOWEST", 1, 4093),
    ("SIGNAL_HIGHEST", 2, 4094),
    ("LEVEL_LOWEST", 1, 4093),
    ("LEVEL_HIGHEST", 2, 4094),
    ("LEAST_SPAN", 1, 4093),
    ("QUIET_SPAN", 2, 4094),
    ("QUIET_BLOCKS", 4, 1000),
    ("STATUS_INTERVAL_MS", 20, 1000),
    ("COPY_AFTER_S", 1, 250),  # see ages.LONGEST_US
    ("HISTORY_BLOCKS", 0, 10000),
)
CHOICES = (
    ("REGULATOR_MODE", ("steady", "saving")),
    ("REDUCTION", (1, 2, 4, 8, 16)),
    ("SAMPLES_PER_BLOCK", (64, 128, 256, 512, 1024, 2048)),
)
OTHERS = tuple(
    (
        "PIN_CONVERTER CHANNELS CONVERSION_RATE_HZ GUARD_BEFORE_S GUARD_AFTER_S EVENT_FILE "
        "WATCHDOG_MS CONVERTER_BITS READBACKS"
    ).split()
)
NAMES = PINS + THREE_WIRES + OTHERS + tuple([one[0] for one in NUMBERS + CHOICES])
ORDERED = (  # the first below the second
    ("RELEASE_BOUNCE_MS", "RELEASE_CONFIRM_MS"),
    ("RELEASE_CONFIRM_MS", "RELEASE_WAIT_MS"),
    ("SIGNAL_LOWEST", "SIGNAL_HIGHEST"),
    ("LEVEL_LOWEST", "LEVEL_HIGHEST"),
    ("SIGNAL_LOWEST", "LEVEL_HIGHEST"),
    ("LEVEL_LOWEST", "SIGNAL_HIGHEST"),
    ("LEAST_SPAN", "QUIET_SPAN"),
)
CLOCK_HZ = 48000000  # of the chip's own converter
LEAST_SPAN_16 = 6  # see config.py
MOST_VALUES = 2048  # in a block, see wire.MAX_PAYLOAD
LEAST_CONVERSIONS = 512  # in a block: its interrupt takes some 50 us (emulated)


def load():
    """Import config.py and check it.

    Returns
    -------
    tuple
        The module, or None where it cannot be imported; a list of texts that say what
        of it is wrong, empty when all is well.
    """
    try:
        import config
    except (Exception, SystemExit) as problem:
        kind = type(problem).__name__
        return None, ["config.py cannot be read: %s: %s%s" % (kind, problem, _line_of(problem))]
    return config, find_faults(config)


def find_faults(config):
    """Everything that is wrong with a config, one text each, naming the line."""
    faults = []
    for name in dir(config):
        if name[0] != "_" and name == name.upper() and name not in NAMES:
            faults.append("%s: nothing has that name; is it misspelt?" % name)
    for name in NAMES:
        if not hasattr(config, name):
            faults.append("%s is missing: add the line that the delivered config.py has" % name)
    if faults:
        return faults
    checks = (_find_bits, _find_pins, _find_numbers, _find_channels, _find_times, _find_file)
    for find in checks:
        find(config, faults)
    if config.CONVERTER_BITS != 16:
        _find_rate(config, faults)
    elif not faults:
        _find_three_wires(config, faults)
    if not faults:
        _find_order(config, faults)
        _find_room(config, faults)
    return faults


def _fault(config, faults, name, allowed):
    faults.append("%s = %s: must be %s" % (name, repr(getattr(config, name))[:40], allowed))


def _is_whole(value):
    return isinstance(value, int) and not isinstance(value, bool)


def _find_pins(config, faults):
    used = {}
    for name in PINS + (THREE_WIRES if config.CONVERTER_BITS == 16 else ()):
        pin = getattr(config, name)
        is_led = name == "PIN_LED"
        if not _is_whole(pin) or not (0 <= pin <= 22 or (is_led and pin == LED)):
            allowed = "a pin of %s%s" % (DIGITAL, ", or %d" % LED if is_led else "")
            _fault(config, faults, name, allowed)
        elif pin in used:
            _fault(config, faults, name, "a pin of its own, %s has that one" % used[pin])
        else:
            used[pin] = name
    _find_readbacks(config, faults, used)
    pins = config.PIN_CONVERTER
    right = isinstance(pins, tuple) and 1 <= len(pins) <= 3
    if right:
        for place, pin in enumerate(pins):
            right = right and _is_whole(pin) and pin in CONVERTER
            right = right and (not place or pin > pins[place - 1])
    if not right:
        _fault(config, faults, "PIN_CONVERTER", "one to three of 26, 27, 28, rising, as (26,)")


def _find_readbacks(config, faults, used):
    """Each a name of its own and a pin that nothing else has."""
    import wire

    if not isinstance(config.READBACKS, tuple) or len(config.READBACKS) > wire.MOST_READBACKS:
        allowed = '() or at most %d of a name and a pin, as (("gate", 3),)' % wire.MOST_READBACKS
        _fault(config, faults, "READBACKS", allowed)
        return
    names = []
    for one in config.READBACKS:
        right = isinstance(one, tuple) and len(one) == 2
        if not right or not isinstance(one[0], str) or one[0] not in wire.READBACKS:
            text = "READBACKS: %s must be a name and a pin, the name one of %s"
            faults.append(text % (repr(one)[:40], ", ".join(wire.READBACKS)))
            continue
        name, pin = one
        if name in names:
            faults.append("READBACKS: %s is there twice" % name)
        names.append(name)
        if not _is_whole(pin) or not 0 <= pin <= 22:
            text = "READBACKS: %s has %s, must be a pin of %s"
            faults.append(text % (name, repr(pin)[:40], DIGITAL))
        elif pin in used:
            text = "READBACKS: %s must have a pin of its own, %s has %d"
            faults.append(text % (name, used[pin], pin))
        else:
            used[pin] = "READBACKS " + name


def _find_bits(config, faults):
    import wire

    bits = config.CONVERTER_BITS
    if not _is_whole(bits) or bits not in wire.CONVERTER_BITS:
        allowed = "12, the chip's own converter, or 16, one on three wires; a wider one "
        _fault(config, faults, "CONVERTER_BITS", allowed + "does not fit a sample of 16 bits")


def _find_numbers(config, faults):
    for name, least, most in NUMBERS:
        value = getattr(config, name)
        if not _is_whole(value) or not least <= value <= most:
            _fault(config, faults, name, "a whole number of %d to %d" % (least, most))
    for name, choices in CHOICES:
        value = getattr(config, name)
        if isinstance(value, (bool, float)) or value not in choices:
            _fault(config, faults, name, "one of %s" % (choices,))
    value = config.WATCHDOG_MS
    if not _is_whole(value) or not (value == 0 or 1000 <= value <= 8000):
        _fault(config, faults, "WATCHDOG_MS", "0, or a whole number of 1000 to 8000")


def _find_channels(config, faults):
    """The first word of a name is its role; see the host's model/channels.py."""
    names = config.CHANNELS
    right = isinstance(names, tuple) and len(names) >= 1
    if right:
        for name in names:
            right = right and isinstance(name, str) and 1 <= len(name) <= 16
            right = right and name == name.strip()
        right = right and names[0].split(" ")[0] == "force" and len(set(names)) == len(names)
    if not right:
        allowed = '"force" or "force left" and other names, as ("force", "excitation")'
        _fault(config, faults, "CHANNELS", allowed)
    elif isinstance(config.PIN_CONVERTER, tuple) and len(names) != len(config.PIN_CONVERTER):
        _fault(config, faults, "CHANNELS", "as many as PIN_CONVERTER has pins")


def _find_rate(config, faults):
    rate = config.CONVERSION_RATE_HZ
    if not _is_whole(rate) or not 1000 <= rate <= 500000 or CLOCK_HZ % rate:
        allowed = "a whole number of 1000 to 500000 that divides %d" % CLOCK_HZ
        _fault(config, faults, "CONVERSION_RATE_HZ", allowed)


def _find_three_wires(config, faults):
    from waveform import CLOCK_STEP_HZ, FASTEST_HZ, READ_NS, SLOWEST_HZ

    rate, spent_ns = config.CONVERSION_RATE_HZ, config.CONVERSION_TIME_NS + READ_NS
    most = min(FASTEST_HZ, 1000000000 // spent_ns)
    if not _is_whole(rate) or not SLOWEST_HZ <= rate <= most or CLOCK_STEP_HZ % rate:
        allowed = "a whole number of %d to %d that divides %d: a conversion and its reading take "
        text = (allowed + "%d ns") % (SLOWEST_HZ, most, CLOCK_STEP_HZ, spent_ns)
        _fault(config, faults, "CONVERSION_RATE_HZ", text)
    if len(config.CHANNELS) > 1:
        _fault(config, faults, "CHANNELS", '("force",): a converter of 16 bits has one channel')
    if config.LEAST_SPAN < LEAST_SPAN_16:
        text = "%d at least with 16 bits, whose steps are finer" % LEAST_SPAN_16
        _fault(config, faults, "LEAST_SPAN", text)


def _find_times(config, faults):
    for name, most in (("GUARD_BEFORE_S", 5), ("GUARD_AFTER_S", 30)):
        value = getattr(config, name)
        is_number = _is_whole(value) or isinstance(value, float)
        if not is_number or not 0 < value <= most:
            _fault(config, faults, name, "a number above 0, at most %d" % most)


def _find_file(config, faults):
    value = config.EVENT_FILE
    right = isinstance(value, str)
    right = right and (value == "" or (value.endswith(".bin") and 5 <= len(value) <= 100))
    if not right:
        _fault(config, faults, "EVENT_FILE", '"", or a name that ends with .bin')


def _find_order(config, faults):
    for below, above in ORDERED:
        if not getattr(config, below) < getattr(config, above):
            _fault(config, faults, below, "below %s = %s" % (above, getattr(config, above)))
    undecided_ms = config.RELEASE_CONFIRM_MS + config.RELEASE_BOUNCE_MS
    if 0 < config.FLASH_MS <= undecided_ms:
        # Or the flash of a knock could not be told from that of the release.
        allowed = "0, or above RELEASE_CONFIRM_MS + RELEASE_BOUNCE_MS = %d" % undecided_ms
        _fault(config, faults, "FLASH_MS", allowed)
    if config.RELEASE_WAIT_MS < config.RELEASE_PULSE_MS:
        _fault(config, faults, "RELEASE_WAIT_MS", "no less than RELEASE_PULSE_MS")


def _find_room(config, faults):
    values = len(config.CHANNELS) * config.SAMPLES_PER_BLOCK
    conversions = values * config.REDUCTION
    if values > MOST_VALUES:
        allowed = "%d at most, all channels together" % MOST_VALUES
        _fault(config, faults, "SAMPLES_PER_BLOCK", allowed)
    elif conversions < LEAST_CONVERSIONS:
        allowed = "%d conversions at least, all channels together" % LEAST_CONVERSIONS
        _fault(config, faults, "SAMPLES_PER_BLOCK", allowed)
    blocks = config.HISTORY_BLOCKS
    if 0 < blocks <= config.QUIET_BLOCKS:
        allowed = "0, or above QUIET_BLOCKS = %d" % config.QUIET_BLOCKS
        _fault(config, faults, "HISTORY_BLOCKS", allowed)


def _line_of(problem):
    """Where in the file, in the words of the interpreter; "" where it does not say."""
    import io
    import sys

    if not hasattr(sys, "print_exception"):
        number = getattr(problem, "lineno", None)
        return " (line %d)" % number if number and "line" not in str(problem) else ""
    said = io.StringIO()
    sys.print_exception(problem, said)
    lines = [one.strip() for one in said.getvalue().split("\n") if "line" in one]
    return " (%s)" % lines[-1] if lines else ""
