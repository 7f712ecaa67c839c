"""Lines, areas and words on paper, in millimetres: written as SVG, or drawn as pixels.

Places are mm from the paper's lower left corner, y up. Greys only, so that it reads in black and white.
"""

from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

INK, QUIET, TONE, PAPER = 30, 110, 205, 255
_OVER = 3  # pixels each way that become one
_MM_PER_INCH = 25.4


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line through points.

    Parameters
    ----------
    points_mm : (n, 2) float
    width_mm : float
    grey : int
        0 black to 255 white.
    dash_mm : tuple of float
        Lengths of dashes and gaps in turn, mm; empty: unbroken.
    """

    points_mm: np.ndarray
    width_mm: float = 0.18
    grey: int = INK
    dash_mm: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Area:
    """A filled polygon; its points (n, 2) are mm."""

    points_mm: np.ndarray
    grey: int = TONE


@dataclass(frozen=True)
class Text:
    """A line of words.

    Parameters
    ----------
    at_mm : (float, float)
        Where its middle line starts, stands or ends, by `anchor`.
    words : str
    anchor : {'start', 'middle', 'end'}
    size_mm : float
        Height of the letters' body.
    grey : int
    upward : bool
        Reads from below upward.
    """

    at_mm: tuple[float, float]
    words: str
    anchor: str = "start"
    size_mm: float = 3.2
    grey: int = INK
    upward: bool = False


@dataclass(frozen=True, eq=False)
class Paper:
    """What is on a sheet of paper, the first below the others.

    Parameters
    ----------
    size_mm : (float, float)
        Width and height.
    marks : tuple of Stroke, Area, Text
    """

    size_mm: tuple[float, float]
    marks: tuple


def circle(centre_mm, radius_mm, start_deg=0.0, stop_deg=360.0):
    """Return points (n, 2) on a circle, from one angle to another, mm."""
    angles = np.radians(np.linspace(start_deg, stop_deg, 49))
    return np.asarray(centre_mm) + radius_mm * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def svg_text(paper, title, about=""):
    """Return the paper as SVG 1.1 that prints at its size.

    Parameters
    ----------
    paper : Paper
    title : str
    about : str
        Goes into ``<desc>``.
    """
    width, height = paper.size_mm
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(about)}</desc>",
        f'<rect width="{width:g}" height="{height:g}" fill="{_colour(PAPER)}"/>',
        '<g font-family="Helvetica, Arial, sans-serif" stroke-linejoin="round">',
        *(_svg_mark(mark, height) for mark in paper.marks),
        "</g>",
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def pixels(paper, dpi=200):
    """Return the paper as (h, w) uint8, 0 black."""
    from PIL import Image, ImageDraw, ImageFont

    scale = _OVER * dpi / _MM_PER_INCH
    width, height = (int(np.ceil(side * dpi / _MM_PER_INCH)) * _OVER for side in paper.size_mm)
    image = Image.new("L", (width, height), PAPER)
    pen = ImageDraw.Draw(image)
    fonts = {mark.size_mm: None for mark in paper.marks if isinstance(mark, Text)}
    fonts = {size: ImageFont.load_default(size * scale) for size in fonts}
    for mark in paper.marks:
        if isinstance(mark, Text):
            _set_words(image, mark, fonts[mark.size_mm], scale)
            continue
        places = np.asarray(mark.points_mm, dtype=float) * [scale, -scale] + [0, height]
        if isinstance(mark, Area):
            pen.polygon([tuple(place) for place in places], fill=mark.grey)
        else:
            for part in _dashed(places, [length * scale for length in mark.dash_mm]):
                ends = [tuple(place) for place in part]
                pen.line(ends, fill=mark.grey, width=max(round(mark.width_mm * scale), 1), joint="curve")
    return np.asarray(image.reduce(_OVER))


def write_png(path, paper, dpi=200, about=""):
    """Write the paper as a PNG that prints at its size; `about` goes into its description."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    chunks = PngInfo()
    chunks.add_itxt("Description", about)
    Image.fromarray(pixels(paper, dpi)).save(path, format="PNG", dpi=(dpi, dpi), pnginfo=chunks)


def _svg_mark(mark, height):
    if isinstance(mark, Text):
        x, y = mark.at_mm[0], height - mark.at_mm[1]
        turn = f' transform="rotate(-90 {x:.3f} {y:.3f})"' if mark.upward else ""
        # A third of the body under its middle line is where letters stand.
        return (
            f'<text x="{x:.3f}" y="{y:.3f}" dy="{0.34 * mark.size_mm:.3f}" font-size="{mark.size_mm:g}" '
            f'text-anchor="{mark.anchor}" fill="{_colour(mark.grey)}"{turn}>{escape(mark.words)}</text>'
        )
    points = " ".join(f"{x:.3f},{height - y:.3f}" for x, y in np.asarray(mark.points_mm, dtype=float))
    if isinstance(mark, Area):
        return f'<polygon points="{points}" fill="{_colour(mark.grey)}"/>'
    dash = f' stroke-dasharray="{" ".join(f"{length:g}" for length in mark.dash_mm)}"' if mark.dash_mm else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{_colour(mark.grey)}" '
        f'stroke-width="{mark.width_mm:g}"{dash}/>'
    )


def _colour(grey):
    return f"#{grey:02x}{grey:02x}{grey:02x}"


def _set_words(image, text, font, scale):
    from PIL import Image, ImageDraw

    anchor = {"start": "l", "middle": "m", "end": "r"}[text.anchor] + "m"
    x, y = text.at_mm[0] * scale, image.height - text.at_mm[1] * scale
    if not text.upward:
        ImageDraw.Draw(image).text((x, y), text.words, font=font, anchor=anchor, fill=text.grey)
        return
    # Set level on a slip of its own, then turned.
    long, tall = int(font.getlength(text.words)) + 4, int(1.6 * text.size_mm * scale)
    slip = Image.new("L", (long, tall), 0)
    ImageDraw.Draw(slip).text((long / 2, tall / 2), text.words, font=font, anchor="mm", fill=255)
    start = {"start": y, "middle": y + long / 2, "end": y + long}[text.anchor]
    corner = (int(x - tall / 2), int(start - long))
    turned = slip.rotate(90, expand=True)
    image.paste(Image.new("L", turned.size, text.grey), corner, turned)


def _dashed(points, lengths):
    """Return the parts (n, 2) of a line that dashes leave."""
    if not lengths:
        return [points]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    parts, start, k = [], 0.0, 0
    while start < along[-1]:
        stop = min(start + lengths[k % len(lengths)], along[-1])
        if k % 2 == 0:
            inner = along[(along > start) & (along < stop)]
            places = np.concatenate([[start], inner, [stop]])
            parts.append(np.stack([np.interp(places, along, side) for side in points.T], axis=1))
        start, k = stop, k + 1
    return parts
