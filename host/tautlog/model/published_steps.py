"""Published steps: how unequal the steps of the chips' own converters were found to be.

Evaluated for this project from the public measurements of five boards of each chip by
"kitanokitsune" (https://github.com/kitanokitsune/rp2040adc_correction, read at commit 47c34f6; no
licence is stated, so that none of its files is here): a known voltage in steps of an eighth of a
code, 12 readings each. Of every board the level was taken at which the mean code passes k - 1/2,
less the best straight line from code 21 to 4074. The mean of five boards, smoothed over nine
codes, lies within 0.7 steps of the knots below, and single boards within 0.33 to 0.45 rms of it
(RP2350: 0.24 to 0.43), 1.5 at most.

Erratum RP2040-E11 (RP2040 datasheet): codes 511, 1535, 2559 and 3583 are too wide. They are 8.9 to
11.1 steps wide on these five boards. Another public measurement of one board found 8.9 steps of
differential and 7.9 of integral non-linearity, and a noise of 0.97 steps rms, 1.36 with the
regulator forced to PWM (https://pico-adc.markomo.me).
"""

WIDE_AT = (512, 1536, 2560, 3584)  # RP2040-E11: the code below each of these is too wide
WIDE_STEPS = 9.8  # mean width of these codes, of 5 x 4
WIDE_SD = 0.4  # standard deviation between boards of one such code
NOISE_STEPS = 0.97  # rms, regulator saving power
QUIET_STEPS = 0.46  # rms of the readings of one voltage, median, on the five boards
NOISE_FORCED_STEPS = 1.36  # rms, regulator forced to PWM
BOARD_SD_STEPS = 0.37  # rms of a board's levels around these knots, mean of ten boards
BOARD_U_STEPS = 0.5  # standard uncertainty of another board's level: spread, knots, 4 freedoms

# Code and level error in steps: where the code begins, above where an equal step would.
RP2040 = (
    *((21, -1.2), (115, -1.7), (140, -2.3), (291, -2.9), (371, -3.3), (396, -4.1), (511, -4.6)),
    *((512, 5.1), (627, 4.6), (644, 4.0), (716, 3.4), (818, 3.0), (972, 1.3), (1074, 0.9)),
    *((1146, 0.3), (1180, -0.5), (1331, -1.3), (1402, -2.0), (1420, -2.7), (1535, -3.4)),
    *((1536, 5.2), (1650, 4.6), (1676, 3.9), (1907, 2.3), (1932, 1.5), (2034, 0.9), (2042, 0.7)),
    *((2052, -0.8), (2162, -1.6), (2188, -2.3), (2418, -3.8), (2437, -4.4), (2492, -4.9)),
    *((2559, -5.0), (2560, 3.4), (2578, 3.7), (2674, 3.0), (2700, 2.2), (2930, 0.9), (2956, 0.2)),
    *((3186, -1.5), (3204, -2.1), (3276, -2.9), (3378, -3.2), (3442, -3.7), (3468, -4.5)),
    *((3583, -5.2), (3584, 4.2), (3589, 4.6), (3699, 3.8), (3724, 3.0), (3954, 1.4), (3980, 0.6)),
    (4074, -0.3),
)
RP2350 = (
    *((21, -2.1), (114, -1.4), (140, -1.9), (251, -1.3), (260, -0.5), (356, -0.1), (396, -0.5)),
    *((627, 0.0), (652, -0.5), (763, -0.1), (772, 0.6), (804, 0.8), (883, 1.0), (923, 0.5)),
    *((1139, 1.3), (1180, 0.8), (1275, 1.0), (1284, 1.8), (1380, 2.1), (1420, 1.5), (1525, 1.8)),
    *((1530, 1.7), (1540, -0.2), (1546, -0.3), (1651, 0.1), (1674, -0.4), (1755, -0.3)),
    *((1787, -0.2), (1797, 0.6), (1907, 0.9), (1932, 0.3), (2041, 0.6), (2052, -0.5), (2060, -0.6)),
    *((2163, -0.2), (2189, -0.8), (2299, -0.4), (2308, 0.3), (2339, 0.4), (2423, 0.6), (2444, 0.1)),
    *((2531, 0.5), (2553, 0.4), (2563, -1.3), (2572, -1.6), (2675, -1.1), (2700, -1.7)),
    *((2811, -1.3), (2820, -0.5), (2915, -0.2), (2956, -0.7), (3187, -0.3), (3212, -0.9)),
    *((3323, -0.5), (3332, 0.2), (3427, 0.5), (3468, 0.0), (3574, 0.4), (3596, -0.3), (3699, 0.1)),
    *((3740, -0.4), (3835, -0.1), (3845, 0.6), (3875, 0.7), (3956, 0.9), (3980, 0.3), (4074, 0.5)),
)
