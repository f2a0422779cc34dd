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
    deep = rig.SLED_DEEP_M * px
    catch_y = sled_y + deep + rig.RAILS_M * px
    ground = catch_y + rig.CATCH_TOP_M * px
    p.rect(70, ground, 380, 20, "ground")
    # Beam on posts; rails stand on the floor and bear the latch's bridge.
    p.rect(80, 62, 360, 30, "wood")
    p.rect(88, 92, 20, ground - 92, "wood")
    p.rect(412, 92, 20, ground - 92, "wood")
    for x in (left, right):
        p.rect(x - 6, sled_y - 66, 12, ground - sled_y + 66, "steel")
        p.rect(x - 12, ground - 8, 24, 8, "steel")
    p.rect(left - 12, sled_y - 66, right - left + 24, 14, "steel")
    # Mount, cell, article.
    p.rect(232, 52, 56, 10, "steel")
    p.rect(232, 92, 56, 10, "steel")
    p.line((244, 46), (244, 108))
    p.line((276, 46), (276, 108))
    p.circle(axis, eye - 2, 8, "white")
    p.rect(axis - 13, 118, 26, 24, "steel")
    p.circle(axis, 150, 7, "white")
    p.rect(axis - 9, 158, 18, 28, "mesh")
    _raised(p, (left, right, axis), (sled_y, deep, taut, ground))
    # Catches.
    p.rect(axis - 30, catch_y, 60, ground - catch_y, "mesh")
    pads = catch_y + catch.STROKE_M * px
    for x in (left + 12, right - 34):
        p.rect(x, pads + 10, 22, ground - pads - 10, "steel")
        p.rect(x, pads, 22, 10, "soft")
    # Dimensions.
    p.upright(480, sled_y + deep, catch_y, mm(rig.RAILS_M), part=346)
    p.text(487, (sled_y + deep + catch_y) / 2 + 22, "highest")
    p.text(487, (sled_y + deep + catch_y) / 2 + 39, "latch to")
    p.text(487, (sled_y + deep + catch_y) / 2 + 56, "catch")
    p.upright(44, sled_y, taut, mm(rig.DROP_M), part=172)
    p.upright(14, sled_y + deep, ground, mm(rig.hangs()), part=172)
    p.upright(520, eye, taut, mm(rig.LINE_M), part=346)
    p.text(527, (eye + taut) / 2 + 22, "line")
    p.upright(562, eye, ground, mm(rig.mount_height()), part=446)
    p.upright(358, catch_y, pads, mm(catch.STROKE_M), part=342)
    # Tags.
    p.tag("1", 150, 44, (236, 57))
    p.tag("2", 330, 130, (273, 130))
    p.tag("3", 200, 172, (251, 172))
    p.tag("4", 210, 232, (259, 232))
    p.tag("5", 150, 312, (186, sled_y - 34))
    p.tag("6", 150, 440, (232, sled_y + 20))
    p.tag("7", 224, 262, (254, sled_y - 40))
    p.tag("8", 376, 310, (322, sled_y + 6))
    p.tag("9", 140, 560, (190, taut + 26))
    p.tag("10", 226, catch_y - 46, (245, catch_y + 12))
    p.tag("11", 146, pads + 4, (203, pads + 4))
    p.tag("12", 376, 240, (340, 200))
    p.tag("13", 376, 610, (398, 640))
    end = p.legend(622, 74, 270, ITEMS_WHOLE)
    p.note(
        622,
        end + 24,
        262,
        f"Dimensions in mm. Heights are to one scale, parts are not. Sled {rig.SLED_KG:g} kg. In a "
        f"drop to the target {rig.drop_energy():.0f} J fall {rig.DROP_M:g} m; without the line "
        f"{catch.energy():.0f} J reach the catch. Tethers, braces, hoist, screen and fence: see "
        "there.",
    )
    return p


def _raised(
    p: Paper, places: tuple[float, float, float], heights: tuple[float, float, float, float]
) -> None:
    """The raised sled on its latch, pin and cord, and the line that is held out of its way."""
    left, right, axis = places
    sled_y, deep, taut, ground = heights
    p.rect(axis - 8, sled_y - 52, 16, 46, "dark")
    p.rect(left - 12, sled_y, right - left + 24, deep, "steel")
    p.rect(axis - 44, sled_y + 5, 88, 24, "dark")
    p.rect(left - 12, taut, right - left + 24, deep, "none", "hidden")
    p.line((axis, 186), (axis, taut), kind="axis")
    half = [math.pi * i / 8 for i in range(9)]
    p.line(
        (axis, 186),
        *((axis + 9 - 9 * math.cos(a), 276 + 9 * math.sin(a)) for a in half),
        *((axis + 27 - 9 * math.cos(a), 216 - 9 * math.sin(a)) for a in half),
        (axis + 36, 306),
        (axis, sled_y),
        kind="rope",
    )
    p.rect(310, 196, 102, 7, "steel")
    p.line((axis + 27, 207), (312, 200), kind="thin")
    p.rect(right - 22, sled_y - 8, 16, 24, "white")
    p.circle(right - 14, sled_y + 4, 5, "dark")
    p.line((right - 9, sled_y + 4), (398, sled_y + 4), (398, ground - 30), kind="thin")
    p.line((398, ground - 30), (466, ground - 30), kind="thin", arrow=True)
    p.circle(398, sled_y + 10, 6, "white")
    p.circle(398, ground - 36, 6, "white")


ITEMS_WHOLE = (
    "mount: through-bolts, a plate on both sides of the beam",
    "cell between two joints",
    "article under test",
    "line; its slack is a loop above the sled",
    "rails and bridge: they stand on the floor and do not touch the beam",
    "sled with captive plates",
    "latch on the bridge, behind the line, in the sled's middle",
    "pin, independent of the latch, in a bracket on the rail",
    "sled where the line comes taut",
    "catch: takes the whole fall without a line",
    "second catch on feet of its own",
    "arm; a thread that breaks at a few newtons holds the loop",
    "cord of the pin, over pulleys to the fence",
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
    p.rect(176, 164, 48, 12, "none", "hidden")
    p.circle(200, 152, 12, "white")
    p.rect(192, 162, 16, 14, "steel")
    p.line((200, 140), (200, 92), kind="rope")
    p.rect(276, 136, 24, 40, "steel")
    p.circle(288, 150, 6, "white")
    p.rect(145, 320, 110, 22, "soft")
    p.line((200, 120), (200, 420), kind="axis")
    # From the side.
    p.text(508, 60, "from the side, cut", anchor="middle")
    p.rect(500, 170, 16, 150, "steel")
    for x in (464, 482, 516, 534):
        p.rect(x, 196, 18, 98, "dark")
    for x in (456, 552):
        p.rect(x, 196, 8, 98, "steel")
    for y in (220, 270):
        p.rect(426, y - 5, 164, 10, "white")
        for x, wide in ((444, 12), (434, 10), (560, 12), (572, 10)):
            p.rect(x, y - 11, wide, 22, "steel")
    p.rect(462, 172, 38, 12, "steel")
    p.rect(516, 174, 34, 8, "steel")
    p.rect(538, 136, 12, 46, "steel")
    for y in (144, 156):
        p.line((538, y), (550, y), kind="thin")
    p.rect(504, 162, 8, 8, "steel")
    p.circle(508, 150, 12, "white")
    p.rect(488, 320, 40, 22, "soft")
    p.line((508, 110), (508, 356), kind="axis")
    # Dimensions and tags.
    p.across(60, 340, 500, "the same within 0.5", part=476)
    p.across(464, 552, 402, "plates", part=298)
    p.across(474, 508, 96, "", part=168)
    p.text(442, 100, mm(rig.LUG_BEHIND_M))
    p.tag("1", 110, 132, (150, 190))
    p.tag("2", 110, 366, (150, 290))
    p.tag("3", 404, 170, (430, 215))
    p.tag("4", 606, 176, (568, 210))
    p.tag("5", 606, 316, (557, 290))
    p.tag("6", 110, 410, (68, 300))
    p.tag("7", 150, 92, (190, 148))
    p.tag("8", 290, 390, (240, 336))
    p.tag("9", 420, 130, (466, 176))
    p.tag("10", 306, 92, (290, 146))
    p.tag("10", 590, 120, (544, 150))
    end = p.legend(640, 74, 250, ITEMS_SLED)
    p.note(
        640,
        end + 14,
        250,
        f"A plate of 2 kg pulls on its rods with {rig.plate_jerk():.0f} N at the peak. One that is "
        f"not bolted leaves the stopping sled with {rig.plate_speed():.1f} m/s.",
    )
    return p


ITEMS_SLED = (
    "frame",
    "plates, each with two holes, no open slots; as many behind the frame as in front",
    "two rods through frame and all plates",
    "nut and lock nut, a stripe of paint over both",
    "cover plate",
    "guides on both sides of the rail: the sled cannot leave it",
    "eye for the line, on the axis of the centre of mass",
    "strike pad over the middle of the catch, as wide as its block",
    "lug for the latch, flat below, behind the frame",
    "ear with the hole for the pin",
)


def latch() -> Paper:
    """Latch and pin."""
    p = Paper("Latch that holds without energy, and a pin that does not know of it", 836)
    _hook(p)
    _pin(p)
    p.legend(16, 560, 860, ITEMS_LATCH)
    return p


def _hook(p: Paper) -> None:
    """Latch from the side: the roller's line of force passes the pivot on the closed side."""
    p.text(190, 60, "latch, closed, from the side", anchor="middle")
    p.rect(40, 84, 20, 300, "steel")
    p.rect(60, 84, 190, 18, "steel")
    p.rect(218, 102, 16, 44, "steel")
    p.shape(
        [
            *((210, 126), (242, 126), (242, 160), (176, 226), (176, 324), (230, 324)),
            *((230, 354), (148, 354), (148, 214), (210, 152)),
        ],
        "dark",
    )
    p.circle(226, 140, 7, "white")
    p.rect(188, 294, 70, 24, "steel")
    p.circle(212, 331, 12, "white")
    # Sled with its eye on the axis of the centre of mass.
    p.rect(258, 286, 16, 150, "steel")
    p.rect(240, 344, 18, 78, "dark")
    p.rect(274, 344, 18, 78, "dark")
    p.circle(266, 274, 11, "white")
    p.line((266, 263), (266, 90), kind="rope")
    p.text(298, 386, "sled")
    p.line((226, 112), (226, 470), kind="axis")
    p.line((266, 436), (266, 500), kind="axis")
    p.force((212, 360), (212, 436))
    p.text(204, 412, "m g", anchor="end")
    # What opens it and what closes it.
    p.rect(64, 236, 54, 44, "white")
    p.line((72, 242), (110, 274), kind="thin")
    p.line((72, 274), (110, 242), kind="thin")
    p.rect(118, 253, 30, 10, "steel")
    p.spring(316, 76, 148)
    p.rect(60, 304, 16, 24, "steel")
    p.line((146, 376), (112, 376), kind="thin", arrow=True)
    p.text(64, 396, f"{rig.hook_way():.0f} opens")
    p.across(212, 226, 458, mm(rig.LATCH_OFFSET_M), part=440)
    p.across(212, 266, 492, mm(rig.LUG_BEHIND_M), part=458)
    p.tag("1", 176, 124, (222, 138))
    p.tag("2", 100, 350, (112, 322))
    p.tag("3", 110, 196, (158, 226))
    p.tag("4", 90, 216, (92, 246))
    p.tag("5", 200, 250, (212, 325))
    p.tag("6", 320, 316, (250, 306))


def _pin(p: Paper) -> None:
    """Pin from the side, in two planes of shear, with what pushes it in and draws it out."""
    p.text(560, 60, "independent pin, in, from the side", anchor="middle")
    p.rect(412, 84, 20, 436, "steel")
    p.rect(432, 176, 210, 18, "steel")
    for x in (500, 572):
        p.rect(x, 194, 24, 112, "steel")
    p.rect(530, 214, 36, 116, "steel")
    p.rect(476, 330, 144, 44, "steel")
    p.text(548, 357, "sled", anchor="middle")
    p.shape([(484, 248), (494, 240), (606, 240), (606, 264), (494, 264), (484, 256)], "dark")
    p.rect(596, 228, 64, 48, "none")
    p.rect(606, 249, 88, 6, "white")
    p.spring(252, 606, 660, w=34, turns=6)
    p.shape([(676, 249), (676, 212), (700, 222), (676, 232)], "dark")
    p.circle(702, 252, 8, "white")
    p.line((642, 185), (760, 185))
    p.rect(738, 185, 22, 26, "white")
    p.line((738, 211), (730, 232), kind="edge")
    p.line((710, 252), (804, 252), kind="thin")
    p.circle(804, 264, 12, "white")
    p.line((816, 264), (816, 470), kind="thin")
    p.line((816, 470), (872, 470), kind="thin", arrow=True)
    p.text(870, 492, "to the fence", anchor="end")
    p.across(566, 572, 150, f"gap {mm(rig.GAP_M)}", part=190)
    p.tag("7", 470, 300, (492, 258))
    p.tag("8", 470, 140, (470, 182))
    p.tag("9", 640, 310, (640, 264))
    p.tag("10", 690, 150, (684, 220))
    p.tag("11", 790, 170, (752, 196))
    p.tag("12", 780, 380, (816, 380))


ITEMS_LATCH = (
    "pivot, on the bridge between the rails",
    "spring that closes",
    "hook: while the roller is on the closed side of the pivot, the weight holds it shut",
    "coil, or a cord in the trials",
    "roller under the flat lug",
    "lug of the sled; the line's eye is on the axis of the centre of mass, clear of the latch",
    "pin of steel through two cheeks and the sled's ear",
    "bracket of the pin on the rail, no part shared with the latch",
    "spring that pushes the pin in: cord let go or broken, the pin goes in",
    "flag on the rod: against the tube is IN, at the switch is OUT",
    "switch S303, made by the rod only when the pin is fully OUT",
    "cord, over pulleys to the fence: drawn and hooked on it holds the pin out",
)
