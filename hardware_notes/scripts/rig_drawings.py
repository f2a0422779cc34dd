"""Drawings of the rig: the whole, sled, latch and pin. Numbers come from figures."""

from __future__ import annotations

import math

from figures import catch, rig
from paper import Paper


def mm(metres: float) -> str:
    """A length as drawings have it."""
    return f"{1000 * metres:.0f}"


def whole() -> Paper:
    """Elevation of the rig; heights are to one scale, parts are not."""
    p = Paper("Rig, from the front", 850)
    px = 1.0 / 0.0075  # pixels a metre
    left, right, axis, eye = 190, 330, 260, 112
    taut = eye + rig.LINE_M * px
    sled_y = taut - rig.DROP_M * px
    deep = 34
    catch_y = sled_y + deep + rig.RAILS_M * px
    ground = catch_y + 62
    p.rect(70, ground, 380, 20, "ground")
    # Beam on posts; rails stand on the floor.
    p.rect(80, 62, 360, 30, "wood")
    p.rect(88, 92, 20, ground - 92, "wood")
    p.rect(412, 92, 20, ground - 92, "wood")
    for x in (left, right):
        p.rect(x - 6, sled_y - 60, 12, ground - sled_y + 60, "steel")
        p.rect(x - 12, ground - 8, 24, 8, "steel")
    # Mount, cell, article.
    p.rect(232, 52, 56, 10, "steel")
    p.rect(232, 92, 56, 10, "steel")
    p.line((244, 46), (244, 108))
    p.line((276, 46), (276, 108))
    p.circle(axis, eye - 2, 8, "white")
    p.rect(axis - 13, 118, 26, 24, "steel")
    p.circle(axis, 150, 7, "white")
    p.rect(axis - 9, 158, 18, 28, "mesh")
    # Raised sled on latch and pin, and where the line comes taut.
    p.rect(left - 12, sled_y, right - left + 24, deep, "steel")
    p.rect(axis - 44, sled_y + 5, 88, 24, "dark")
    p.rect(left - 12, taut, right - left + 24, deep, "none", "hidden")
    p.line((axis, 186), (axis, taut), kind="axis")
    loop = sled_y + 0.5 * rig.DROP_M * px
    half = [math.pi * i / 10 for i in range(11)]
    p.line(
        (axis, 186),
        (axis + 26, 236),
        *((axis + 11 + 15 * math.cos(a), loop + 15 * math.sin(a)) for a in half),
        (axis - 2, sled_y + 20),
        (axis, sled_y),
        kind="rope",
    )
    p.shape([(146, sled_y + 2), (180, sled_y + 2), (180, sled_y + 12), (146, sled_y + 22)], "dark")
    p.rect(338, sled_y + 12, 38, 9, "dark")
    p.rect(376, sled_y + 6, 18, 21, "white")
    # Catches.
    p.rect(axis - 30, catch_y, 60, ground - catch_y, "mesh")
    pads = catch_y + catch.STROKE_M * px
    for x in (left + 8, right - 30):
        p.rect(x, pads + 10, 22, ground - pads - 10, "steel")
        p.rect(x, pads, 22, 10, "soft")
    # Dimensions.
    p.upright(480, sled_y + deep, catch_y, mm(rig.RAILS_M), part=346)
    p.text(487, (sled_y + deep + catch_y) / 2 + 22, "highest")
    p.text(487, (sled_y + deep + catch_y) / 2 + 39, "latch to")
    p.text(487, (sled_y + deep + catch_y) / 2 + 56, "catch")
    p.upright(50, sled_y, taut, mm(rig.DROP_M), part=172, left=True)
    p.upright(520, eye, taut, mm(rig.LINE_M), part=346)
    p.text(527, (eye + taut) / 2 + 22, "line")
    p.upright(358, catch_y, pads, mm(catch.STROKE_M), part=342)
    # Tags.
    p.tag("1", 150, 44, (236, 57))
    p.tag("2", 330, 130, (273, 130))
    p.tag("3", 200, 172, (251, 172))
    p.tag("4", 330, 214, (276, 220))
    p.tag("5", 376, 262, (336, sled_y - 40))
    p.tag("6", 224, 282, (232, sled_y + 10))
    p.tag("7", 140, 282, (158, sled_y + 8))
    p.tag("8", 380, 396, (370, sled_y + 17))
    p.tag("9", 140, 560, (190, taut + 26))
    p.tag("10", 226, catch_y - 46, (245, catch_y + 12))
    p.tag("11", 146, pads + 4, (199, pads + 4))
    end = p.legend(596, 74, 296, ITEMS_WHOLE)
    p.note(
        596,
        end + 24,
        290,
        f"Dimensions in mm. Heights are to one scale, parts are not. Sled {rig.SLED_KG:g} kg. In a "
        f"drop to the target {rig.drop_energy():.0f} J fall {rig.DROP_M:g} m; without the line "
        f"{catch.energy():.0f} J reach the catch. Tethers, screen and fence: see there.",
    )
    return p


ITEMS_WHOLE = (
    "mount: through-bolts, a plate on both sides of the beam",
    "cell between two joints",
    "article under test",
    "line, slack until the sled has fallen its height",
    "rails: they stand on the floor and do not touch the beam",
    "sled with captive plates",
    "latch: holds without energy",
    "pin, independent of the latch, with flag and switch",
    "sled where the line comes taut",
    "catch: takes the whole fall without a line",
    "second catch, shares no part with the first",
)


def sled() -> Paper:
    """The sled from two sides."""
    p = Paper("Sled with captive plates", 560)
    p.text(210, 60, "from the front", anchor="middle")
    for x in (60, 340):
        p.rect(x - 7, 76, 14, 400, "steel")
    p.rect(80, 170, 240, 150, "none")
    p.rect(86, 176, 228, 138, "steel")
    for x, y in ((60, 190), (60, 300), (340, 190), (340, 300)):
        way = 1 if x < 200 else -1
        p.circle(x + way * 14, y, 8, "white")
        p.circle(x - way * 14, y, 8, "white")
    p.rect(130, 196, 140, 98, "dark")
    for y in (220, 270):
        p.circle(200, y, 10, "white")
        p.circle(200, y, 5, "white")
    p.circle(200, 152, 12, "white")
    p.rect(192, 162, 16, 14, "steel")
    p.line((200, 140), (200, 92), kind="rope")
    p.rect(150, 320, 100, 22, "soft")
    p.line((200, 120), (200, 420), kind="axis")
    # From the side.
    p.text(500, 60, "from the side, cut", anchor="middle")
    p.rect(470, 170, 16, 150, "steel")
    for x in (486, 504, 522):
        p.rect(x, 196, 18, 98, "dark")
    p.rect(540, 196, 8, 98, "steel")
    for y in (220, 270):
        p.rect(446, y - 5, 126, 10, "white")
        p.rect(456, y - 11, 14, 22, "steel")
        p.rect(548, y - 11, 12, 22, "steel")
        p.rect(560, y - 11, 10, 22, "steel")
    p.rect(466, 162, 24, 8, "steel")
    p.circle(478, 150, 12, "white")
    p.rect(458, 320, 40, 22, "soft")
    # Dimensions and tags.
    p.across(60, 340, 500, "the same within 0.5", part=476)
    p.across(486, 540, 372, "plates", part=298)
    p.tag("1", 110, 132, (150, 190))
    p.tag("2", 290, 132, (258, 204))
    p.tag("3", 410, 200, (456, 215))
    p.tag("4", 606, 180, (565, 210))
    p.tag("5", 606, 300, (545, 286))
    p.tag("6", 110, 400, (68, 300))
    p.tag("7", 150, 92, (190, 148))
    p.tag("8", 290, 390, (230, 336))
    p.legend(640, 74, 250, ITEMS_SLED)
    p.note(
        640,
        366,
        250,
        f"A plate of 2 kg pulls on its rods with {rig.plate_jerk():.0f} N at the peak. One that is "
        f"not bolted leaves the stopping sled with {rig.plate_speed():.1f} m/s.",
    )
    return p


ITEMS_SLED = (
    "frame",
    "plates, each with two holes; no open slots",
    "two rods through frame and all plates",
    "nut and lock nut, a stripe of paint over both",
    "cover plate",
    "guides on both sides of the rail: the sled cannot leave it",
    "eye for the line, on the axis of the centre of mass",
    "strike pad over the middle of the catch",
)


def latch() -> Paper:
    """Latch and pin."""
    p = Paper("Latch that holds without energy, and a pin that does not know of it", 560)
    # Latch: the load's line passes the pivot on the closed side.
    p.text(190, 60, "latch, closed", anchor="middle")
    p.rect(50, 80, 20, 440, "steel")
    p.rect(70, 104, 168, 22, "steel")
    p.shape(
        [
            *((208, 108), (232, 108), (232, 196), (200, 216), (200, 300)),
            *((242, 300), (242, 318), (180, 318), (180, 210), (208, 192)),
        ],
        "dark",
    )
    p.circle(220, 118, 7, "white")
    p.rect(204, 276, 46, 24, "steel")
    p.rect(250, 262, 110, 54, "steel")
    p.line((220, 84), (220, 376), kind="axis")
    p.force((212, 326), (212, 384))
    p.text(230, 384, "m g, on the closed side")
    p.text(230, 401, "of the pivot")
    p.spring(290, 86, 180)
    p.rect(70, 278, 16, 24, "steel")
    p.rect(70, 206, 70, 44, "white")
    p.line((78, 212), (132, 244), kind="thin")
    p.line((78, 244), (132, 212), kind="thin")
    p.rect(140, 222, 40, 10, "steel")
    p.line((178, 198), (146, 198), kind="thin", arrow=True)
    p.text(78, 160, "opens only with")
    p.text(78, 177, "current")
    # Pin, in two planes of shear.
    p.text(530, 60, "independent pin, in", anchor="middle")
    p.rect(652, 80, 20, 440, "steel")
    p.rect(470, 176, 182, 18, "steel")
    p.rect(470, 194, 18, 110, "steel")
    p.rect(592, 194, 18, 110, "steel")
    p.rect(516, 216, 48, 112, "steel")
    p.rect(420, 328, 210, 44, "steel")
    p.rect(446, 246, 182, 14, "dark")
    p.text(305, 294, "sled", anchor="middle")
    p.text(590, 355, "sled", anchor="middle")
    p.circle(436, 253, 11, "white")
    p.line((430, 263), (418, 310), (404, 350), (410, 404), kind="thin")
    p.shape([(392, 404), (430, 404), (430, 432), (392, 432)], "white")
    p.rect(560, 420, 92, 44, "white")
    p.rect(572, 434, 46, 14, "none", "hidden")
    p.circle(634, 441, 6, "dark")
    # Tags.
    p.tag("1", 270, 104, (226, 116))
    p.tag("2", 110, 340, (130, 294))
    p.tag("3", 270, 216, (204, 250))
    p.tag("4", 160, 262, (136, 240))
    p.tag("5", 400, 200, (452, 250))
    p.tag("6", 560, 130, (560, 182))
    p.tag("7", 360, 460, (398, 426))
    p.tag("8", 600, 500, (600, 458))
    p.legend(690, 84, 204, ITEMS_LATCH)
    return p


ITEMS_LATCH = (
    "pivot, in the latch's own bracket on the rail",
    "spring that closes",
    "hook: weight holds it shut, never opens it",
    "coil",
    "pin through sled and bracket",
    "bracket of the pin, no part shared with the latch",
    "flag, seen from the fence, on a lanyard",
    "holster with switch: made when the pin is OUT and in it",
)
