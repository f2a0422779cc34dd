"""Drawings of cell and mount: the cell between its joints, anchoring in wood and in steel."""

from __future__ import annotations

import math

from figures import mount, rig
from paper import Paper


def cell() -> Paper:
    """The cell between two joints, and what an oblique pull does."""
    p = Paper("Cell between two joints", 610)
    x = 170
    p.rect(60, 54, 220, 40, "wood")
    p.rect(110, 44, 120, 10, "steel")
    p.rect(110, 94, 120, 10, "steel")
    for bolt in (130, 210):
        p.line((bolt, 36), (bolt, 112))
    p.rect(x - 10, 104, 20, 26, "steel")
    p.circle(x, 144, 18, "steel")
    p.circle(x, 144, 9, "white")
    p.rect(x - 6, 162, 12, 26, "steel")
    p.rect(x - 13, 172, 26, 9, "white")
    p.rect(x - 34, 188, 68, 66, "white")
    p.rect(x - 14, 204, 28, 34, "soft")
    p.line((x + 34, 221), (x + 70, 221), (x + 84, 250), (x + 96, 214), (x + 120, 200), kind="rope")
    p.rect(x + 114, 190, 16, 20, "dark")
    p.rect(x - 6, 254, 12, 26, "steel")
    p.rect(x - 13, 261, 26, 9, "white")
    p.rect(x - 7, 280, 14, 36, "steel")
    p.rect(x - 20, 293, 40, 10, "white")
    p.rect(x - 10, 316, 20, 22, "steel")
    p.rect(x - 15, 338, 30, 26, "white")
    p.rect(x - 8, 364, 16, 14, "steel")
    p.rect(x - 20, 378, 40, 66, "mesh")
    p.line((x, 444), (x, 560), kind="rope")
    p.line((x, 24 + 12), (x, 590), kind="axis")
    p.upright(60, 221, 298, f"{1000 * mount.ARM_M:.0f}", part=x - 36, left=True)
    p.tag("1", 40, 124, (112, 99))
    p.tag("2", 256, 136, (186, 140))
    p.tag("3", 100, 160, (157, 176))
    p.tag("4", 92, 204, (136, 208))
    p.tag("5", 300, 252, (257, 244))
    p.tag("6", 256, 310, (187, 300))
    p.tag("7", 256, 352, (184, 350))
    p.tag("8", 100, 410, (150, 412))
    # The oblique pull.
    degrees = 3.0
    p.rect(440, 96, 80, 24, "wood")
    p.rect(462, 120, 36, 66, "white")
    p.rect(474, 186, 12, 20, "steel")
    p.line((480, 206), (480, 430), kind="axis")
    drawn = math.radians(14)
    length = 210
    end = (480 + length * math.sin(drawn), 206 + length * math.cos(drawn))
    p.force((480, 206), end)
    p.force((480, 206), (480, end[1]))
    p.force((480, end[1]), end)
    p.arc(480, 206, 120, 270, 284)
    p.text(end[0] + 12, end[1] + 4, f"F = {rig.TARGET_N:.0f} N")
    p.text(470, 380, "F cos a", anchor="end")
    p.text(486, end[1] + 24, f"F sin a = {mount.side_n(degrees):.0f} N at {degrees:g} degrees")
    p.text(494, 318, "a", bold=True)
    p.text(440, 84, "held rigidly: it bends")
    p.note(
        416,
        480,
        440,
        f"At {degrees:g} degrees the cell reads {mount.cosine_error(degrees):.2f} % less, and is "
        f"bent by {mount.moment_nm(degrees):.1f} Nm. Between two joints at most "
        f"{mount.moment_rod_end():.1f} Nm pass. The angle is drawn larger.",
    )
    p.legend(640, 74, 252, ITEMS_CELL)
    p.note(416, 550, 460, "Dimensions in mm, not to scale.")
    return p


ITEMS_CELL = (
    "plate, bolted through the beam",
    "rod end: lets go of bending",
    "lock nut, against the rod end and not the cell",
    "cell",
    "cable in a free loop, clip on what does not move",
    "second rod end, turned by a quarter",
    "swivel, on the line's side",
    "article, then the line; a tether on each side of it (see there)",
)


def wood() -> Paper:
    """Through-bolts against screws, where they sit, pilot hole, arm."""
    p = Paper("Anchored in wood", 860)
    # Beam seen from below, with the grain to the right.
    p.text(
        16, 62, "face of the beam, grain along it; bolts M12 loaded across their axis", bold=True
    )
    p.rect(60, 110, 480, 170, "wood")
    bolts = [(160, 165), (240, 165), (160, 225), (240, 225)]
    p.rect(130, 140, 140, 110, "steel")
    for x, y in bolts:
        p.circle(x, y, 9, "white")
    p.force((130, 195), (74, 195))
    p.text(78, 186, "load")
    p.across(160, 240, 96, f"{mount.bolt_along():.0f}", part=156)
    p.across(60, 160, 96, f"{mount.bolt_end():.0f}", part=None)
    p.line((60, 104), (60, 84), kind="thin")
    p.upright(44, 165, 225, f"{mount.bolt_across():.0f}", part=150, left=True)
    p.upright(300, 225, 280, f"{mount.bolt_edge():.0f}", part=252)
    p.line((420, 262), (530, 262), kind="thin", arrow=True)
    p.text(424, 252, "grain")
    p.note(
        570,
        100,
        316,
        f"Least distances, EN 1995-1-1: to the loaded end 7 d and 80, here {mount.bolt_end():.0f}; "
        f"to the edge 4 d if loaded, {mount.bolt_edge():.0f}; along the grain 5 d, "
        f"{mount.bolt_along():.0f}; across it 4 d, {mount.bolt_across():.0f}. Loaded is the end or "
        "edge towards which the load pulls the bolts; if it may turn round, both.",
    )
    # Sections.
    p.text(16, 336, "through-bolt: held by the far side", bold=True)
    p.rect(60, 370, 190, 100, "wood")
    p.rect(90, 360, 130, 10, "steel")
    p.rect(90, 470, 130, 10, "steel")
    for x in (118, 192):
        p.rect(x - 6, 350, 12, 150, "white")
        p.rect(x - 12, 350, 24, 10, "dark")
        p.rect(x - 12, 480, 24, 10, "dark")
    p.force((155, 484), (155, 540))
    p.upright(276, 370, 470, f"{1000 * mount.BEAM_M:.0f}", part=250)
    p.text(16, 566, f"{mount.BOLT_COUNT} x {mount.bolt_pressed():.1f} kN, characteristic")
    p.text(330, 336, "screw: held by fibres around its thread", bold=True)
    p.rect(360, 370, 190, 100, "wood")
    p.rect(390, 470, 130, 10, "steel")
    for x in (418, 492):
        p.shape([(x - 5, 480), (x - 5, 404), (x, 392), (x + 5, 404), (x + 5, 480)], "white")
        for y in range(410, 466, 8):
            p.line((x - 7, y + 3), (x + 7, y), kind="thin")
        p.rect(x - 11, 480, 22, 9, "dark")
    p.force((455, 484), (455, 540))
    p.upright(576, 392, 470, f"{1000 * mount.LAG_THREAD_M:.0f}", part=550)
    p.text(330, 566, f"{mount.lag_withdrawal():.1f} kN along, {mount.lag_across():.2f} kN across,")
    p.text(330, 584, f"{mount.lag_at_45():.2f} kN at 45 degrees; allowable, each")
    # Pilot hole.
    p.text(640, 336, "two holes for a lag screw", bold=True)
    p.rect(660, 370, 150, 130, "wood")
    p.shape(
        [
            (718, 370),
            (752, 370),
            (752, 410),
            (746, 410),
            (746, 484),
            (724, 484),
            (724, 410),
            (718, 410),
        ],
        "white",
    )
    p.across(718, 752, 358, f"{1000 * mount.LAG_M:.0f}", part=None)
    p.across(724, 746, 520, f"{mount.pilot_low():.0f} to {mount.pilot_high():.0f}", part=484)
    p.text(640, 566, "shank: its own diameter;")
    p.text(640, 584, "thread: 40 to 70 % of it in spruce")
    # Arm.
    p.text(16, 636, "an arm pries: the bracket tilts about its edge", bold=True)
    p.rect(60, 660, 36, 176, "wood")
    p.rect(96, 672, 10, 160, "steel")
    p.rect(106, 746, 90, 12, "steel")
    rows = [row[1] for row in mount.BRACKET_ROWS]
    edge = 832.0
    for row in rows:
        y = edge - 900 * row
        p.rect(66, y - 3, 46, 6, "white")
    p.force((188, 758), (188, 816))
    p.text(198, 792, f"F = {rig.LIMIT_N:.0f} N")
    p.across(106, 188, 730, f"{1000 * mount.BRACKET_ARM_M:.0f}", part=None)
    p.upright(290, edge - 900 * rows[0], edge, f"{1000 * rows[0]:.0f}", part=None)
    p.line((112, edge - 900 * rows[0]), (296, edge - 900 * rows[0]), kind="thin")
    p.line((112, edge), (296, edge), kind="thin")
    p.upright(322, edge - 900 * rows[1], edge, f"{1000 * rows[1]:.0f}", part=None)
    p.line((112, edge - 900 * rows[1]), (328, edge - 900 * rows[1]), kind="thin")
    p.line((296, edge), (328, edge), kind="thin")
    p.note(
        366,
        664,
        520,
        f"Each far screw is pulled with {mount.bracket_tension():.0f} N and sheared with "
        f"{mount.bracket_shear():.0f} N: F e l / sum n l², rows at {1000 * rows[0]:.0f} and "
        f"{1000 * rows[1]:.0f}. Half as long a bracket pulls twice as hard. Eye close to the face, "
        "rows far apart, screws through the upper half of a deep beam.",
    )
    p.note(
        366,
        760,
        520,
        "Dimensions in mm, not to scale. Formulas are no structural proof: prove the real mount by "
        "a pull. Never in end grain.",
    )
    return p


def steel() -> Paper:
    """Distances in steel, and a tapped thread."""
    p = Paper("Anchored in steel", 470)
    p.text(16, 62, "plate of 6 mm, bolts M12 in holes of 13", bold=True)
    p.rect(60, 120, 330, 160, "steel")
    for x in (150, 270):
        for y in (165, 235):
            p.circle(x, y, 17, "white")
    p.force((60, 200), (12, 200))
    p.text(14, 190, "load")
    p.across(150, 270, 104, f"pitch {mount.hole_pitch():.1f}", part=146)
    p.across(270, 390, 104, f"end {mount.hole_end():.1f}", part=None)
    p.line((390, 114), (390, 92), kind="thin")
    p.upright(312, 235, 280, f"edge {mount.hole_end():.1f}", part=None)
    p.line((289, 235), (320, 235), kind="thin")
    p.note(
        16,
        330,
        420,
        "The end that counts is the one towards which the bolts push the plate. Least: end and "
        "edge 1.2 hole diameters, pitch 2.2 (EN 1993-1-8). With "
        f"{mount.hole_end_good():.0f} to both instead of {mount.hole_end():.1f} the plate bears "
        f"{mount.bearing_good():.0f} kN instead of {mount.bearing_least():.1f} kN (design, S235).",
    )
    p.text(540, 62, "tapped thread, M10", bold=True)
    p.rect(560, 180, 160, 130, "steel")
    p.rect(622, 180, 36, 104, "white")
    p.rect(626, 110, 28, 150, "dark")
    for y in range(188, 258, 9):
        p.line((620, y + 4), (660, y), kind="thin")
    p.rect(600, 96, 80, 20, "white")
    p.rect(612, 150, 56, 30, "white")
    p.upright(750, 180, 260, "engaged", part=722)
    p.note(
        540,
        340,
        346,
        f"The bolt of class 8.8 breaks before the thread strips with {mount.tapped_steel():.1f} of "
        f"full thread in S235, {mount.tapped_aluminium():.1f} in aluminium of 260 MPa. Better: a "
        "bolt right through, with a nut.",
    )
    p.note(
        16,
        426,
        860,
        "Dimensions in mm, not to scale. A clamp holds by friction alone: bolt through.",
    )
    return p
