"""What a user may change on the board: pins, rates, times and limits.

Edit the copy on the board, not the code that reads it. Every line is checked before
any pin becomes an output (config_check.py); a wrong one keeps the board from arming.
"""

# Pins, by GPIO number. Inputs are closed to ground when all is well, so that an
# open or broken wire always reads as the cautious state.
PIN_CONVERTER = (26,)  # one to three of 26, 27, 28, in this order; idle with 16 bits
# The three wires of a 16-bit converter (CONVERTER_BITS); any pins, idle with 12 bits
PIN_CONVERSION_START = 19
PIN_CONVERSION_CLOCK = 20
PIN_CONVERSION_DATA = 21
PIN_SWITCH = 10  # release switch, closed while the sled is latched
PIN_KEY = 11  # arm key, closed = on
PIN_DRIVE = 12  # release drive, to a driver in series with the key
PIN_SHUNT = 13
PIN_LAMP = 14  # on while armed
PIN_ARTICLE_WIRE = 15
PIN_MOUNT_WIRE = 16
PIN_FLASH = 17
PIN_BEAT = 18  # square wave of 1 kHz only while armed and healthy
# Contacts of the release chain that the board is to see, none as delivered: name and pin of at
# most four, as (("stop", 2), ("gate", 3), ("pin", 4)). Names: stop, gate, pin, screen, supply.
# Each closed to ground when the drop may go on: stop not pressed, gate closed, pin OUT, screen in
# place, coil's supply there. Open, or a broken wire: the board does not arm, and leaves off when
# armed. Looked at in the main loop, not in hardware: these only withhold, and are no safety
# function. That is the chain itself.
READBACKS = ()
PIN_STRAP = 22  # closed to ground at power-up: MicroPython's prompt, no firmware
PIN_LED = 25
# Of a Pico's own supply, set by GP23: "saving", as the board is without it, or "steady". Which is
# quieter depends on the board (`tautlog converter` measures both). Others have no such pin.
REGULATOR_MODE = "saving"

# One name for each pin. The first word says what it is: "force" (several are the legs of a bridle,
# as ("force left", "force right")), "acceleration" of the sled, "excitation" of the bridges.
# Any other name is a voltage that is kept and not judged. The first is always a force.
CHANNELS = ("force",)

# Sampling
CONVERTER_BITS = 12  # 12: the chip's own; 16: one beside it, on three wires
CONVERSION_TIME_NS = 2200  # the longest of the 16-bit converter, from its data sheet
# All channels together. The chip's own: 48 MHz / 96 is the most. 16 bits: no more than
# its data sheet allows, and as long as the conversion and 1200 ns for reading it.
CONVERSION_RATE_HZ = 500_000
REDUCTION = 8  # conversions summed (16 bits: averaged) into one sample: 1, 2, 4, 8 or 16
SAMPLES_PER_BLOCK = 1024
HISTORY_BLOCKS = 0  # at most so many; 0: as many as the memory holds

# The guarded window around the release. What the memory holds beyond it is guarded, too.
GUARD_BEFORE_S = 0.05
GUARD_AFTER_S = 1.0  # at least: where the memory holds less, the board does not arm

# Release
RELEASE_PULSE_MS = 400  # longest; the drive goes low as soon as the switch opens
RELEASE_WAIT_MS = 1500  # for the switch to open, from the start of the pulse
RELEASE_CONFIRM_MS = 20  # the switch must be open this long after its first edge
# Closed again for longer than this is no bounce: it was a knock, and the next opening is
# another. Between what contacts do (closed phases of a millisecond or two, common
# practice) and the delay of a latch (about 10 ms), ahead of which a coil's spike comes.
RELEASE_BOUNCE_MS = 3
FORCE_TRIGGER = 300  # 4096ths above quiet that tell of a release without a switch; 0 = off
FLASH_MS = 50  # of the release; the flash of a knock is shorter than confirm and bounce; 0 = none

# Doubts
LAPTOP_SILENCE_MS = 2000
ARMED_LONGEST_S = 900
RECORDING_LONGEST_S = 60

# A plausible, quiet signal, in 4096ths of full scale (0.8 mV with a reference of 3.3 V; one
# step of 12 bits, 16 of 16). The laptop sends limits of the very chain, and the stricter hold.
# At or beyond these the amplifier is parked at its rail, before arming and while armed:
# outputs called rail-to-rail end some 50 to 100 mV short of the supply (common practice).
SIGNAL_LOWEST = 75
SIGNAL_HIGHEST = 3970
LEVEL_LOWEST = 100  # the mean of the quiet blocks: nearer to a rail is no zero
LEVEL_HIGHEST = 3950
# Largest minus smallest over the quiet blocks. LEAST_SPAN is in the converter's own steps:
# alone, at half a step rms, it shows 1.6 in 16 blocks of sums of 8 (12 bits), at 0.6 step
# up to 5 unreduced (16 bits: 6 at least); an amplifier that lives shows more.
LEAST_SPAN = 2
QUIET_SPAN = 200
QUIET_BLOCKS = 16  # blocks that must be quiet before arming

STATUS_INTERVAL_MS = 100

# An event that nobody fetches goes into this file, so that it survives a loss of power.
EVENT_FILE = "event.bin"
COPY_AFTER_S = 20
WATCHDOG_MS = 3000  # the board restarts when the main loop or the sampling hangs; 0 = never
