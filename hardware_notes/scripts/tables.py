"""Tables of the sheets, made from the netlist: parts, pins, cables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lettering import shown
from netlist import Netlist, Part
from sheets import SOURCE

SHEET = {
    "analogue": "2_analogue.md",
    "inputs": "3_inputs.md",
    "release": "4_release.md",
    "power": "5_power.md",
}


def tables(netlist: Netlist) -> dict[str, str]:
    """Markdown of each table, by its name in the sheets."""
    made = {f"parts {sheet}": parts_table(netlist.on_sheet(sheet)) for sheet in SHEET}
    # The cell's wires have a table of their own, front_end.py.
    cables = {f"cables {one}": cables_table(netlist, one) for one in SHEET if one != "analogue"}
    return made | cables | {"pins": pins_table(netlist)}


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(' '.join(cell.split()) for cell in line)} |" for line in lines)


def parts_table(parts: Sequence[Part]) -> str:
    """What to buy for one sheet; parts that are alike stand in one row."""
    alike: dict[tuple[object, ...], list[Part]] = {}
    for part in parts:
        key = (part.kind, part.value, part.tolerance, part.look_for, part.why, part.optional)
        alike.setdefault(key, []).append(part)
    return _table(
        ("parts", "what", "look for", "why"), [_parts_row(group) for group in alike.values()]
    )


def _parts_row(group: Sequence[Part]) -> tuple[str, str, str, str]:
    part = group[0]
    names = ", ".join(one.name for one in group) + (" (optional)" if part.optional else "")
    what = ", ".join(one for one in (part.kind, shown(part.value), part.tolerance) if one)
    why = part.why
    if not SOURCE.search(f"{what} {part.look_for} {why}"):
        why = f"{why} (own choice, {SHEET[part.sheet]})".strip()
    return names, what, shown(part.look_for), shown(why)


def pins_table(netlist: Netlist) -> str:
    """What each pin of the board is for."""
    rows = []
    for pin in netlist.board_pins.values():
        place = str(pin.number) if pin.number else "\N{EN DASH}"
        config = f"`{pin.config}`" if pin.config else ""
        rows.append((pin.pin, place, pin.signal, pin.connects, pin.open_reads, config))
    head = ("pin", "place", "signal", "connects to", "open wire or no power reads as", "config.py")
    return _table(head, rows)


def cables_table(netlist: Netlist, sheet: str) -> str:
    """Each wire of one sheet that leaves the box, and what is seen when it is opened or shorted."""
    rows = []
    for net in (net for net in netlist.cables() if net.sheet == sheet):
        ends = [pin for pin in net.pins if not pin.startswith("X")]
        plug = next((pin for pin in net.pins if pin[0] in "XJ"), "")
        name = f"{net.name}{' (optional)' if net.optional else ''}"
        rows.append(
            (name, f"{ends[0]}, {plug}" if plug else ends[0], net.what, net.opened, net.shorted)
        )
    return _table(("wire", "at", "carries", "opened", "shorted"), rows)
