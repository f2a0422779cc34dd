"""Sheet: numbered pages of a PDF with searchable text, and what is drawn on them."""

from __future__ import annotations

import base64
import contextlib
import io
import logging
from collections.abc import Iterable, Sequence

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, XPos, YPos
from fpdf.fonts import FontFace, TTFFont

from tautlog.archive.photos import Thumbnail
from tautlog.display.pictures.image import fonts_folder
from tautlog.display.report.contents import Picture
from tautlog.display.report.scale import LIMIT_AT, TARGET_AT, Scale

TEXT_PT, SMALL_PT, TINY_PT, LARGE_PT, TITLE_PT = 9.0, 7.5, 6.3, 13.0, 16.0
LINE_MM, MARGIN_MM, FOOT_MM = 4.4, 15.0, 14.0
FORMATS = ("a4", "letter")
GAP_MM = 1.2  # below a table
UNREADABLE = "\ufffd"
INK, SOFT, FAINT = (27, 42, 65), (74, 90, 112), (201, 209, 218)
WASH, GOOD, BAD = (243, 245, 248), (42, 127, 98), (166, 61, 47)
Row = Sequence[str]


class Paper(FPDF):
    """Pages with title, number of the report and "page n of m" below, and its mark above.

    Parameters
    ----------
    title, number, mark : str
        What stands on every page.
    paper : str
        One of `FORMATS`.
    dry : bool
        Only find out how much room things take: no picture is drawn.
    """

    def __init__(
        self, title: str, number: str = "", mark: str = "", paper: str = "a4", *, dry: bool = False
    ) -> None:
        super().__init__(format=paper)
        # The library would warn on standard error of a missing glyph; see `plain`.
        logging.getLogger("fpdf").setLevel(logging.ERROR)
        logging.getLogger("fontTools").setLevel(logging.ERROR)
        for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold")):
            self.add_font("letters", style, str(fonts_folder() / f"{name}.ttf"))
        self.set_font("letters", size=TEXT_PT)
        letters = self.fonts["letters"]
        assert isinstance(letters, TTFFont)
        self._known = set(letters.cmap)
        self._title, self._number, self._mark = map(self.plain, (title, number, mark))
        self._dry = dry
        self.scale = 1.0  # of all text
        self.set_title(self._title)
        self.set_lang("en")
        self.set_margin(MARGIN_MM)
        self.set_text_color(*INK)
        self.set_draw_color(*FAINT)
        self.set_line_width(0.15)
        self.set_auto_page_break(True, FOOT_MM)
        self.add_page()

    def header(self) -> None:
        """The mark of rehearsals and imports."""
        if self._mark:
            self.set_y(5.5)
            self.set_font("letters", "B", SMALL_PT)
            self.set_text_color(*BAD)
            self.cell(0, 4.0, self._mark[:110], align="R")
            self.set_text_color(*INK)
            self.set_y(MARGIN_MM)

    def footer(self) -> None:
        """Title, number of the report and number of the page."""
        self.set_y(-10.0)
        self.set_font("letters", size=TINY_PT)
        page = f"page {self.page_no()} of {{nb}}"
        self.cell(0, 4.0, f"{self._title[:70]}, {self._number}, {page}", align="R")

    def plain(self, text: object) -> str:
        """Text with every character that the font lacks replaced."""
        return "".join(
            sign if sign == "\n" or ord(sign) in self._known else UNREADABLE for sign in str(text)
        )

    def close_fonts(self) -> None:
        """Close the files of the fonts; only pages that are written close them by themselves."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.close()

    @property
    def room_mm(self) -> float:
        """What is left of the page."""
        return float(self.h - self.b_margin - self.get_y())

    def heading(self, text: str, level: int = 0) -> None:
        """Write a heading; it is also in the PDF's outline."""
        size = (LARGE_PT, TEXT_PT + 1.5)[level]
        if self.will_page_break(3.0 * size * 0.5 + 6.0):
            self.add_page()
        self.ln(1.8)
        self.start_section(self.plain(text), level=level)
        self.write_lines(text, size=size, bold=True)
        if level == 0:
            self.set_draw_color(*INK)
            self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
            self.set_draw_color(*FAINT)
        self.ln(0.8)

    def label(self, text: str) -> None:
        """Write a small heading that is not in the outline."""
        self.ln(0.6)
        self.write_lines(text, size=TEXT_PT, bold=True)

    def write_lines(
        self,
        text: object,
        *,
        size: float = TEXT_PT,
        bold: bool = False,
        width: float = 0.0,
        hue: tuple[int, int, int] = INK,
    ) -> None:
        """Write a paragraph; by default over the whole width."""
        size *= self.scale
        self.set_font("letters", "B" if bold else "", size)
        self.set_text_color(*hue)
        x = XPos.LMARGIN if not width else XPos.LEFT
        line_mm = LINE_MM * size / TEXT_PT
        self.multi_cell(width, line_mm, self.plain(text), align="L", new_x=x, new_y=YPos.NEXT)
        self.set_text_color(*INK)

    def points(self, texts: Iterable[object], size: float = TEXT_PT) -> None:
        """Write a list."""
        for text in texts:
            self.write_lines(f"\N{BULLET} {text}", size=size)

    def rows(
        self, head: Row, rows: Iterable[Row], widths: Sequence[float], size: float = SMALL_PT
    ) -> None:
        """Write a table; its head is repeated on every page."""
        size *= self.scale
        self.set_font("letters", size=size)
        with self.table(
            col_widths=tuple(widths),
            line_height=LINE_MM * size / TEXT_PT,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            headings_style=FontFace(emphasis="BOLD"),
            first_row_as_headings=bool(head),
            text_align="LEFT",
            padding=0.4,
        ) as table:
            for cells in ([head] if head else []) + list(rows):
                row = table.row()
                for cell in cells:
                    row.cell(self.plain(cell))
        self.ln(GAP_MM)

    def drawing(self, picture: Picture, height_mm: float, ratio: float) -> None:
        """Draw a picture in the middle, with its caption; `ratio` is its height over its width."""
        if self.will_page_break(height_mm + 2 * LINE_MM):
            self.add_page()
        caption = self.plain(picture.caption)
        width_mm = min(height_mm / ratio, self.epw)
        top = self.get_y() + 1.0
        if not self._dry:
            left = self.l_margin + (self.epw - width_mm) / 2.0
            data = io.BytesIO(picture.svg.encode())
            self.image(data, x=left, y=top, w=width_mm, alt_text=caption)
        self.set_y(top + width_mm * ratio)
        self.write_lines(caption, size=SMALL_PT, hue=SOFT)

    def photos(self, photos: Sequence[Thumbnail], width_mm: float) -> None:
        """Show photos in rows, each with its caption."""
        across = max(int((self.epw + 3.0) / (width_mm + 3.0)), 1)
        for first in range(0, len(photos), across):
            self._row_of_photos(photos[first : first + across], width_mm)

    def _row_of_photos(self, photos: Sequence[Thumbnail], width_mm: float) -> None:
        high_mm = 0.75 * width_mm if any(photo.data for photo in photos) else 0.0
        if self.will_page_break(high_mm + 4 * LINE_MM):
            self.add_page()
        top, lowest = self.get_y() + 1.0, 0.0
        for place, photo in enumerate(photos):
            left = self.l_margin + place * (width_mm + 3.0)
            if photo.data and not self._dry:
                image = io.BytesIO(base64.b64decode(photo.data.split(",", 1)[1]))
                # Name a thumbnail even if it cannot be drawn.
                with contextlib.suppress(OSError, ValueError):
                    self.image(
                        image,
                        x=left,
                        y=top,
                        w=width_mm,
                        h=high_mm,
                        keep_aspect_ratio=True,
                        alt_text=self.plain(photo.alt),
                    )
            self.set_xy(left, top + high_mm + 0.5)
            told = f"{photo.name}: {photo.caption}"
            told = told if len(told) < 160 else f"{told[:150]} ..."
            self.write_lines(told, size=TINY_PT, width=width_mm)
            lowest = max(lowest, self.get_y())
        self.set_xy(self.l_margin, lowest)

    def bar(self, scale: Scale, left: float, width: float) -> None:
        """Draw a scale from target to limit with the interval on it, at the present height."""
        top, high = self.get_y(), 4.2
        self.set_fill_color(*WASH)
        self.rect(left, top, width, high, style="F")
        low_x, high_x = left + TARGET_AT * width, left + LIMIT_AT * width
        self.set_fill_color(225, 239, 232)
        self.rect(low_x, top, high_x - low_x, high, style="F")
        self.set_line_width(0.4)
        self.set_draw_color(*GOOD)
        self.set_dash_pattern(dash=0.9, gap=0.6)
        self.line(low_x, top, low_x, top + high)
        self.set_dash_pattern()
        self.set_draw_color(*BAD)
        for place in (high_x - 0.3, high_x + 0.4):
            self.line(place, top, place, top + high)
        self.set_draw_color(*FAINT)
        self.set_line_width(0.15)
        self._interval(scale, left, width, top + high / 2.0)
        self.set_fill_color(0)  # tables and pictures without a fill of their own take this one
        self.set_font("letters", size=TINY_PT - 0.6)
        self.set_text_color(*SOFT)
        for text, at in ((f"target {scale.target}", low_x), (f"limit {scale.limit}", high_x)):
            self.set_xy(at - 12.0, top + high + 0.1)
            self.cell(24.0, 2.6, text, align="C")
        self.set_text_color(*INK)
        self.set_xy(self.l_margin, top + high + 2.9)

    def _interval(self, scale: Scale, left: float, width: float, middle: float) -> None:
        self.set_fill_color(*INK)
        self.set_font("letters", "B", TINY_PT)
        if scale.off:
            below = scale.off == "below"
            self.set_xy(left if below else left + width - 20.0, middle - 1.6)
            text = (
                "\N{BLACK LEFT-POINTING TRIANGLE} below"
                if below
                else "above \N{BLACK RIGHT-POINTING TRIANGLE}"
            )
            self.cell(20.0, 3.2, text, align="L" if below else "R")
            return
        first, at, last = (left + share * width for share in (scale.low, scale.at, scale.high))
        self.rect(first, middle - 0.4, max(last - first, 0.2), 0.8, style="F")
        self.ellipse(at - 1.2, middle - 1.2, 2.4, 2.4, style="F")
        if scale.at_least:
            self.set_xy(left + width - 20.0, middle - 3.4)
            self.cell(20.0, 3.2, "or more \N{BLACK RIGHT-POINTING TRIANGLE}", align="R")
