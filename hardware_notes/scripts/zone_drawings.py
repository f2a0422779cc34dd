"""Drawings of what stops and holds: catch, tethers and screen, exclusion zone."""

from __future__ import annotations

import math

from figures import catch as figures_of_catch
from figures import rig, zone
from paper import Paper


def catch() -> Paper:
    """Catch and second catch, and force over stroke."""
    f = figures_of_catch
    p = Paper("Catch and second catch", 640)
    p.rect(40, 500, 380, 24, "ground")
    for x in (80, 380):
        p.rect(x - 7, 70, 14, 430, "steel")
        p.rect(x - 14, 492, 28, 8, "steel")
    p.rect(66, 130, 328, 40, "steel")
    p.rect(175, 170, 110, 20, "soft")
    p.force((230, 196), (230, 262))
    p.text(240, 258, f"{rig.rail_speed():.1f} m/s")
    p.rect(175, 330, 110, 170, "mesh")
    p.line((165, 430), (295, 430), kind="hidden")
    for x in (108, 312):
        p.rect(x, 452, 40, 48, "steel")
        p.rect(x, 436, 40, 16, "soft")
    p.upright(444, 330, 430, f"stroke {1000 * f.STROKE_M:.0f}", part=287)
    p.upright(30, 190, 330, f"{1000 * rig.RAILS_M:.0f}", part=186)
    p.tag("1", 130, 96, (120, 140))
    p.tag("2", 330, 220, (278, 184))
    p.tag("3", 220, 300, (226, 340))
    p.tag("4", 142, 390, (130, 440))
    p.tag("5", 330, 380, (286, 430))
    p.tag("6", 130, 250, (87, 280))
    p.note(16, 548, 440, "Dimensions in mm, not to scale.")
    # Force over stroke.
    left, bottom, wide, high = 560, 300, 240, 190
    p.line((left, bottom - high - 20), (left, bottom), (left + wide + 30, bottom), kind="edge")
    mean = 1000 * f.mean_force()
    full = 2.2 * mean
    scale = high / full

    def at(share: float, force: float) -> tuple[float, float]:
        return left + wide * share, bottom - force * scale

    p.line(at(0, 0), at(0.04, mean), at(1, mean), at(1, 0), kind="rope")
    p.line(at(0, 0), at(1, 2 * mean), kind="hidden")
    p.line(
        *(at(i / 24, 0.5 * math.pi * mean * math.sin(math.pi * i / 24)) for i in range(25)),
        kind="axis",
    )
    p.text(left - 8, bottom - mean * scale + 4, f"{f.mean_force():.1f}", anchor="end")
    p.text(left - 8, bottom - 2 * mean * scale + 4, f"{f.spring_peak():.1f}", anchor="end")
    p.text(left - 8, bottom - high - 26, "kN", anchor="end")
    p.text(left + wide, bottom + 20, f"{1000 * f.STROKE_M:.0f}", anchor="middle")
    p.text(left + 90, bottom + 20, "stroke", anchor="middle")
    y = p.note(
        540,
        350,
        346,
        "Thick: a block that crushes. Broken: a spring of the same stroke, twice the mean. Dots "
        "and dashes: in between, as most things are.",
    )
    y = p.note(
        540,
        y + 8,
        346,
        f"F = m g (h + s) / s: {rig.SLED_KG:g} kg from {rig.RAILS_M:g} m, {f.energy():.0f} J, "
        f"{f.mean_force():.1f} kN in the mean over {1000 * f.STROKE_M:.0f} mm; the second catch "
        f"over {f.second_stroke():.0f} mm of a pad of {1000 * f.SECOND_PAD_M:.0f} mm "
        f"{f.second_mean_force():.1f} kN, of rubber {f.second_rubber():.1f} kN at the peak. A "
        "block of force F stops another mass in s = m g h / (F - m g).",
    )
    p.legend(540, y + 14, 346, ITEMS_CATCH)
    return p


ITEMS_CATCH = (
    "sled",
    "strike pad, as wide as the block",
    "catch, renewed after each stop",
    "second catch on feet of its own",
    "where the sled stops",
    "rail; nothing between sled and catch",
)


def tether() -> Paper:
    """Tethers on both sides of the article, and a screen."""
    p = Paper("Tethers and screen", 600)
    p.rect(60, 70, 300, 34, "wood")
    x = 210
    p.rect(x - 40, 104, 80, 10, "steel")
    p.circle(x, 124, 9, "white")
    p.rect(x - 15, 134, 30, 34, "steel")
    p.circle(x, 178, 9, "white")
    p.rect(x - 18, 188, 36, 50, "mesh")
    p.circle(x, 248, 9, "white")
    p.line((x, 258), (x, 500), kind="rope")
    p.rect(x - 60, 500, 120, 30, "steel")
    p.line((x - 9, 178), (150, 210), (120, 180), (110, 114), kind="rope")
    p.line((x + 9, 248), (250, 410), (276, 440), (304, 420), (318, 114), kind="rope")
    p.rect(102, 104, 16, 10, "dark")
    p.rect(310, 104, 16, 10, "dark")
    # Screen.
    p.rect(420, 120, 12, 420, "soft")
    p.rect(414, 110, 24, 12, "steel")
    p.rect(408, 540, 36, 14, "steel")
    p.rect(40, 554, 560, 20, "ground")
    p.line((40, 54), (432, 54), kind="edge")
    p.line((40, 58), (432, 58), kind="thin")
    p.circle(520, 330, 20, "white")
    p.line((520, 350), (520, 450), (490, 552))
    p.line((520, 450), (550, 552))
    p.line((490, 400), (520, 372), (560, 410))
    p.force((236, 224), (400, 300))
    p.text(254, 330, f"{rig.FITTING_KG:g} kg")
    p.text(254, 347, f"{zone.fitting_speed_peak():.0f} m/s")
    p.tag("1", 70, 226, (136, 198))
    p.tag("2", 350, 180, (316, 196))
    p.tag("3", 150, 290, (197, 232))
    p.tag("4", 470, 200, (428, 230))
    p.tag("5", 480, 500, (438, 546))
    p.tag("6", 470, 84, (400, 56))
    p.legend(624, 74, 268, ITEMS_TETHER)
    p.note(
        624,
        330,
        262,
        f"The {rig.peak_energy():.0f} J of the peak in a fitting of {rig.FITTING_KG:g} kg are "
        f"{zone.fitting_speed_peak():.0f} m/s: it would fly {zone.fitting_range():.0f} m. A "
        f"textile tether of {zone.TETHER_M:g} m takes it with {zone.tether_force():.1f} kN; a wire "
        f"would need {zone.wire_force():.0f} kN. The tether on the line's side has "
        f"{zone.LINE_TETHER_M:g} m: the sled falls on with the line, and must reach its catch "
        f"first, {zone.line_tether_least():.2f} m below.",
    )
    p.note(624, 530, 262, "Not to scale. Nobody stands where a tethered part can swing.")
    return p


ITEMS_TETHER = (
    "tether of what stays with the mount, slack in a good drop",
    "tether of what stays with the line, longer than the sled's way from taut to its catches",
    "article between them: either side may fly",
    "screen, held in a frame all round",
    "frame stands on the ground, not on the rig",
    "roof or net: parts can go up",
)


def exclusion() -> Paper:
    """The zone in plan and in elevation."""
    p = Paper("Exclusion zone", 850)
    px, cx, cy = 38.0, 250.0, 290.0
    far, whip = zone.radius() * px, zone.whip() * px

    def around(r: float, degrees: float) -> tuple[float, float]:
        a = math.radians(degrees)
        return cx + r * math.cos(a), cy - r * math.sin(a)

    p.text(16, 62, "plan", bold=True)
    p.circle(cx, cy, far, "none", "zone")
    p.circle(cx, cy, whip, "none", "hidden")
    p.rect(cx - 26, cy - 12, 52, 24, "none")
    for x in (-16, 16):
        p.rect(cx + x - 4, cy - 4, 8, 8, "dark")
    gx, gy = around(far, -24)
    p.rect(gx - 11, gy - 14, 22, 28, "white")
    p.line((cx, cy), around(far, 145), kind="thin", arrow=True)
    p.line((cx, cy), around(whip, 215), kind="thin", arrow=True)
    p.text(*around(far + 8, 145), f"{zone.radius():.1f} m", anchor="end")
    p.text(
        around(whip, 215)[0] - 4, around(whip, 215)[1] + 18, f"{zone.whip():.2f} m", anchor="end"
    )
    p.rect(486, 176, 9, 110, "soft")
    for y in (206, 250):
        p.circle(530, y, 11, "white")
    p.tag("1", 320, 216, (cx + 24, cy - 10))
    p.tag("2", 96, 100, around(far, 128))
    p.tag("3", 196, 148, around(whip, 100))
    p.tag("4", 496, 400, (gx + 8, gy + 6))
    p.tag("5", 462, 130, (490, 182))
    p.tag("6", 566, 176, (540, 202))
    # Elevation, to the same scale.
    p.text(16, 560, "elevation", bold=True)
    ground = 800.0
    p.rect(16, ground, 560, 18, "ground")
    beam = ground - rig.mount_height() * px
    p.rect(cx - 60, beam - 12, 120, 12, "wood")
    under = rig.hangs()
    rails = under + rig.SLED_DEEP_M + 0.4
    for x in (-22, 22):
        p.rect(cx + x - 3, ground - rails * px, 6, rails * px, "steel")
    p.rect(cx - 28, ground - (under + rig.SLED_DEEP_M) * px, 56, rig.SLED_DEEP_M * px, "steel")
    p.line((cx, beam), (cx, ground - (under - rig.DROP_M) * px), kind="axis")
    p.rect(cx - 14, ground - rig.CATCH_TOP_M * px, 28, rig.CATCH_TOP_M * px, "mesh")
    p.upright(cx - 60, ground - under * px, ground, f"{under:.2f} m", part=cx - 28, left=True)
    p.upright(cx + 70, beam, ground, f"{rig.mount_height():.2f} m", part=cx + 60)
    roof = beam - 34
    p.line((cx - far, ground), (cx - far, roof), (cx + far, roof), (cx + far, ground), kind="zone")
    p.arc(cx, beam, whip, 206, 334, "hidden")
    p.circle(530, ground - 58, 9, "white")
    p.line((530, ground - 49), (530, ground - 22), (522, ground))
    p.line((530, ground - 22), (538, ground))
    p.rect(486, ground - 84, 9, 84, "soft")
    p.force((cx + 30, beam + 34), (cx + far - 8, beam - 4))
    p.tag("7", 110, roof - 22, (140, roof))
    p.tag("8", 380, beam + 62, (cx + 96, beam + 16))
    end = p.legend(620, 84, 272, ITEMS_ZONE)
    p.note(
        620,
        end + 20,
        262,
        f"Plan and elevation to one scale. A fitting of {rig.FITTING_KG:g} kg with all the energy "
        f"would fly {zone.fitting_range():.0f} m, "
        f"{zone.fitting_range() / zone.radius():.0f} times as far as the fence: tethers, screen "
        "and roof come first, the fence is for what they do not hold.",
    )
    return p


ITEMS_ZONE = (
    "rails and mount; above and below them nobody",
    "fence: the larger of 3 m and line length plus height of the raised sled",
    "reach of a line that holds on at one end",
    "the only gate; its switch is in the release chain",
    "screen, framed all round",
    "operator and second person, at the side",
    "roof or net",
    "what flies",
)
