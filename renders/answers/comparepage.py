"""The page of a comparison: A4 landscape, to print or to send; it reads in black and white."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ..images import settings_text
from .answer import tell
from .comparing import TRAITS
from .comparison import Comparison
from .sidebyside import Panel, Panels

PAGE_MM = (297.0, 210.0)
MARGIN_MM = 11.0
# The part of the page with pictures and tables; words stand to its right.
_SHOWN_MM = (158.0, 152.0)
# Of many options the numbers need more room.
_MANY, _NARROW_MM = 5, 136.0
_FOOT_MM = 24.0
_GAP_MM = 3.0
_TITLE_PT, _SMALLEST_PT = 15.0, 4.5
_POINT_MM = 25.4 / 72
_LEADING = 1.28


@dataclass(frozen=True)
class Line:
    """A line of text: words, heavy or not, and how far in it begins, mm; no words leave a half line free."""

    text: str
    heavy: bool = False
    inset_mm: float = 0.0


def write_page(
    path: Path, comparison: Comparison, panels: Panels, title: str, cautions: list[str], settings: dict
) -> None:
    """Write the page as a PDF with its fonts in it and no date.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    import matplotlib

    # TrueType, so that every reader finds the words.
    with matplotlib.rc_context({"pdf.fonttype": 42}):
        about = {
            "Title": title,
            "Creator": f"brimcast {settings['version']}",
            "Keywords": settings_text(settings),
            "CreationDate": None,
        }
        draw_page(comparison, panels, title, cautions).savefig(path, format="pdf", metadata=about)


def draw_page(comparison: Comparison, panels: Panels, title: str, cautions: list[str]):
    """Return the page as a matplotlib figure."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    figure = Figure(figsize=[side / 25.4 for side in PAGE_MM])
    FigureCanvasPdf(figure)
    page = _Page(figure)
    top = PAGE_MM[1] - MARGIN_MM
    page.write(MARGIN_MM, top - 5, Line(title, heavy=True), _TITLE_PT)
    page.write(MARGIN_MM, top - 10, Line(f"{comparison.about} · {comparison.exposure}"), 8)
    top -= 14
    left = _show_options(page, comparison, panels, top) + 7
    page.fill(_list_words(comparison), left, top, PAGE_MM[0] - MARGIN_MM, top - 96, 10)
    _write_numbers(page, comparison, left, top - 100, top - _SHOWN_MM[1])
    foot = [Line(f"Note: {note}.") for note in comparison.lineup.notes]
    foot += [Line(f"Caution: {caution.removeprefix('caution: ').rstrip('.')}.") for caution in cautions]
    page.fill(foot, MARGIN_MM, MARGIN_MM + _FOOT_MM - 4, PAGE_MM[0] - MARGIN_MM, MARGIN_MM, 7)
    return figure


class _Page:
    """A figure on which words and pictures are placed in mm from the lower left corner."""

    def __init__(self, figure):
        self.figure = figure

    def write(self, x_mm: float, y_mm: float, line: Line, size_pt: float, align: str = "left") -> None:
        """Write a line whose letters stand on y."""
        self.figure.text(
            (x_mm + line.inset_mm) / PAGE_MM[0],
            y_mm / PAGE_MM[1],
            # A dollar sign would begin a formula.
            line.text.replace("$", r"\$"),
            fontsize=size_pt,
            fontweight="bold" if line.heavy else "normal",
            ha=align,
            va="baseline",
        )

    def show(self, picture, left_mm: float, top_mm: float, wide_mm: float, high_mm: float) -> float:
        """Show a picture as large as fits, in a thin frame; return its scale, mm a pixel."""
        rows, columns = picture.shape[:2]
        scale = min(wide_mm / columns, high_mm / rows)
        box = (left_mm / PAGE_MM[0], (top_mm - rows * scale) / PAGE_MM[1])
        axes = self.figure.add_axes((*box, columns * scale / PAGE_MM[0], rows * scale / PAGE_MM[1]))
        axes.imshow(picture, interpolation="none", aspect="auto")
        axes.set_xticks([])
        axes.set_yticks([])
        for side in axes.spines.values():
            side.set_linewidth(0.5)
        return scale

    def bar(self, left_mm: float, y_mm: float, long_mm: float) -> None:
        """Draw a scale bar."""
        from matplotlib.lines import Line2D

        x = [left_mm / PAGE_MM[0], (left_mm + long_mm) / PAGE_MM[0]]
        y = [y_mm / PAGE_MM[1]] * 2
        self.figure.add_artist(Line2D(x, y, color="black", linewidth=1.5, solid_capstyle="butt", marker="|"))

    def fill(
        self, lines: list[Line], left_mm: float, top_mm: float, right_mm: float, low_mm: float, size_pt: float
    ) -> None:
        """Write lines from the top down, wrapped, in letters so small that all of them find room."""
        while True:
            wrapped = [part for line in lines for part in wrap(line, right_mm - left_mm, size_pt)]
            step = size_pt * _POINT_MM * _LEADING
            tall = sum(step if line.text else step / 2 for line in wrapped)
            if tall <= top_mm - low_mm or size_pt <= _SMALLEST_PT:
                break
            size_pt -= 0.25
        for line in wrapped:
            top_mm -= step if line.text else step / 2
            if line.text:
                self.write(left_mm, top_mm, line, size_pt)


def wrap(line: Line, wide_mm: float, size_pt: float) -> list[Line]:
    """Return a line as lines that are no wider."""
    parts = [""]
    for word in line.text.split():
        longer = f"{parts[-1]} {word}".strip()
        # A line that is set in goes on twice as far in.
        inset = line.inset_mm * min(len(parts), 2)
        if parts[-1] and _width_mm(longer, line.heavy, size_pt) > wide_mm - inset:
            parts.append(word)
        else:
            parts[-1] = longer
    return [Line(part, line.heavy, line.inset_mm * min(number, 2)) for number, part in enumerate(parts, 1)]


def _width_mm(text: str, heavy: bool, size_pt: float) -> float:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(size=size_pt, weight="bold" if heavy else "normal")
    return text_to_path.get_text_width_height_descent(text, font, False)[0] * _POINT_MM


def _show_options(page: _Page, comparison: Comparison, panels: Panels, top: float) -> float:
    """Show each option's picture over its table from above, and their scale; return how far right it goes."""
    count = len(panels.shown)
    rows = 2 if count >= _MANY else 1
    columns = -(-count // rows)
    pictures = [panel.picture for panel in panels.shown if panel.picture is not None]
    table = panels.shown[0].table
    # The scale bar stands below, letters above each row; pictures take half of the rest, or less if low.
    tall = (_SHOWN_MM[1] - 6) / rows
    room = tall - 6 - (2 if rows > 1 else 0)
    most = ((_SHOWN_MM[0] if rows == 1 else _NARROW_MM) - _GAP_MM * (columns - 1)) / columns
    high = max((min(most * _shape(one), (room - _GAP_MM) / 2) for one in pictures), default=0.0)
    deep = room - (high + _GAP_MM if pictures else 0.0)
    wide = max((min(most, high / _shape(one)) for one in pictures), default=0.0)
    wide = max(wide, min(most, deep / _shape(table)))
    for number, panel in enumerate(panels.shown):
        row, column = divmod(number, columns)
        left, high_at = MARGIN_MM + column * (wide + _GAP_MM), top - row * tall
        _head(page, panel, panel.letter == comparison.judgement.winner, left, high_at, wide)
        if panel.picture is not None:
            page.show(panel.picture, left, high_at - 6, wide, high)
        elif pictures:
            page.write(left, high_at - 6 - high / 2, Line("no camera, no picture"), 7)
        scale = page.show(panel.table, left, high_at - 6 - (room - deep), wide, deep)
    long = panels.extent.bar_mm * panels.extent.px_per_mm * scale
    page.bar(MARGIN_MM, top - _SHOWN_MM[1] + 2, long)
    told = f"{panels.extent.bar_mm} mm, all tables from above; the camera's side is below"
    page.write(MARGIN_MM + long + 3, top - _SHOWN_MM[1] + 1.2, Line(told), 7)
    return MARGIN_MM + columns * wide + (columns - 1) * _GAP_MM


def _head(page: _Page, panel: Panel, wins: bool, left: float, top: float, wide: float) -> None:
    """Write an option's letter and name over it, the name in two lines at most."""
    page.write(left, top - 4, Line(f"{panel.letter} wins" if wins else panel.letter, heavy=True), 12)
    space = 22 if wins else 6
    name = wrap(Line(panel.name), wide - space - 2, 6.5)
    if len(name) > 2:
        name[1] = Line(f"{name[1].text} …")
    for row, part in enumerate(name[:2]):
        page.write(left + space, top - (4 if len(name) == 1 else 2 + 2.8 * row), part, 6.5)


def _shape(picture) -> float:
    """Return a picture's height over its width."""
    return picture.shape[0] / picture.shape[1]


def _list_words(comparison: Comparison) -> list[Line]:
    first = comparison.lineup.first.letter
    lines = [Line(comparison.judgement.reason, heavy=True)]
    names = {option.letter: option.name for option in comparison.lineup.options}
    for letter in comparison.differences:
        lines += [Line(""), Line(f"{letter} against {first}: {names[letter]}", heavy=True)]
        lines += [Line(f"{text[0].upper()}{text[1:]}", inset_mm=2.0) for text in comparison.tell(letter)]
    return lines


def _list_rows(comparison: Comparison) -> list[list[str]]:
    """Return the table of numbers: the measure, then its value for each option."""
    lineup, rows = comparison.lineup, []
    for key, trait in TRAITS.items():
        if key == "colour_de00":
            found = ["", *(each[-1].number for each in comparison.differences.values())]
            cells = [_tell_cell(number, trait) if number else "" for number in found]
            rows.append([f"colour against {lineup.first.letter}, dE00", *cells])
            continue
        cells = [
            _tell_cell(lineup.values[one.letter][key], trait, one.spread.get(key)) for one in lineup.options
        ]
        rows.append([f"{trait.what}, {trait.unit}", *cells])
    clipped = [values.get("clipped_share") for values in lineup.values.values()]
    if any(clipped):
        rows.append(["picture clipped, %", *(f"{one['value']:.1f}" if one else "–" for one in clipped)])
    return rows


def _tell_cell(number: dict, trait, spread=None) -> str:
    if number["value"] is None:
        return "–"
    if isinstance(number["value"], list):
        return ", ".join(f"{value:.0f}" for value in number["value"])
    told = tell({**number, "unit": ""}, trait.digits, trait.sign)
    return told if spread is None else f"{told} ({spread:.{max(trait.digits, 1)}f})"


def _write_numbers(page: _Page, comparison: Comparison, left: float, top: float, low: float) -> None:
    rows = _list_rows(comparison)
    heads = [option.letter for option in comparison.lineup.options]
    step = min((top - low) / (len(rows) + 3), 4.6)
    names = 38.0
    wide = min((PAGE_MM[0] - MARGIN_MM - left - names) / len(heads), 36)
    longest = max(_width_mm(cell, False, 1.0) for row in rows for cell in row[1:])
    size = min(7.5, (wide - 1.5) / longest)
    for number, letter in enumerate(heads, 1):
        page.write(left + names + number * wide, top - step, Line(letter, heavy=True), 8, "right")
    for place, (what, *cells) in enumerate(rows, 2):
        page.write(left, top - place * step, Line(what), 7)
        for number, cell in enumerate(cells, 1):
            page.write(left + names + number * wide, top - place * step, Line(cell), size, "right")
    told = "± is one standard error of the computing"
    if comparison.lineup.first.spread:
        told += "; in brackets, one deviation by making and placing errors"
    page.write(left, top - (len(rows) + 2) * step, Line(told), 6)
