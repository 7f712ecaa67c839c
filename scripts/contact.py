"""The contact sheet: glasses of the library, each empty under the same lamp, with the light it throws."""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

import numpy as np

from brimcast.renders.adjust import CARD_REFLECTANCE, METERED_CARD_LEVEL
from brimcast.shared.errors import PersonError, telling_unwritable
from brimcast.vessels.library import SHAPES

from .failures import Interrupted
from .glassware import named
from .progress import Progress

COLUMNS = 6
PICTURE_PX = (320, 400)
MAP_PX = (320, 420)
# The table that the map shows, mm: left, right, toward the camera, away. The lamp stands behind on the left.
SHOWN_MM = (-90.0, 230.0, -345.0, 75.0)
CELL_MM = 1.0
# Of an empty plan: a table of 35 % as metered with a card of 18 %.
PLAIN_LEVEL = METERED_CARD_LEVEL * 0.35 / CARD_REFLECTANCE
FORM = 3  # of what is kept; another one makes old pictures void
KEPT_BYTES = 200_000_000
_GAP, _HEAD, _WORDS = 20, 110, 66
_PAPER, _INK, _QUIET = (250, 249, 246), (32, 31, 30), (104, 100, 96)

LAMP = "{diameter: 20 mm, throw: 2 m, elevation: 45 deg, azimuth: 150 deg, aim: [0 mm, 0 mm, 60 mm]}"
SET = """\
brimcast: 1
title: {name}
table: {{size: [3 m, 3 m], reflectance: 35 %}}
glasses:
  hero: {{vessel: {name}}}
lamps:
  key: {lamp}
camera:
  sensor: [24 mm, 30 mm]
  lens: 100 mm
  f_number: f/16
  distance: {distance_mm:.0f} mm
  elevation: 32 deg
  aim: [{aside_mm:.0f} mm, {before_mm:.0f} mm, {up_mm:.0f} mm]
render: {{width: {width}, quality: draft}}
"""


class Frame(NamedTuple):
    """One glass on the sheet: its name, words, picture and map, (h, w, 3) uint8."""

    name: str
    words: str
    picture: np.ndarray
    plan: np.ndarray


def make_contact(names: list[str], out: Path, device: str) -> str:
    """Write the contact sheet and return a line that says so.

    Glasses that are done are kept in the cache, so an interrupted sheet goes on.

    Parameters
    ----------
    names : list of str
        Empty: the whole library.
    out : Path
        A .png file.
    device : {'auto', 'cpu', 'gpu'}

    Raises
    ------
    PersonError
        A name is not known, or the file cannot be written.
    Interrupted
        Ctrl-C.
    """
    from brimcast.renders.images import write_png

    from .writing import check_folder

    if out.suffix.lower() != ".png":
        raise PersonError(f"--out {str(out)!r}: a contact sheet is a .png")
    check_folder(out.parent)
    names = list(dict.fromkeys(names)) or list(SHAPES)
    for name in names:
        named(name)
    frames = []
    try:
        with Progress() as progress:
            for number, name in enumerate(names):

                def report(share, text, number=number, name=name):
                    progress((number + share) / len(names), f"{name}: {text}")

                frames.append(_frame(name, device, report))
    except KeyboardInterrupt:
        done = f"{len(frames)} of {len(names)} glasses are done and kept"
        raise Interrupted(f"interrupted; {done}, run again to go on") from None
    settings = {"version": version("brimcast"), "glasses": names, "lamp": LAMP}
    with telling_unwritable(out):
        write_png(out, lay_out(frames), settings)
    return f"wrote {out}: {len(frames)} glasses"


def set_text(name: str) -> str:
    """Return the set that a glass of the library is pictured in: it fills the frame with what it throws."""
    height_mm = named(name).height_mm
    field_mm = 1.75 * height_mm + 70
    return SET.format(
        name=name,
        lamp=LAMP,
        width=PICTURE_PX[0],
        distance_mm=100 * (1 + field_mm / 30),
        aside_mm=0.12 * height_mm,
        before_mm=-0.25 * height_mm,
        up_mm=0.28 * height_mm,
    )


def _frame(name, device, report):
    """Return a glass's frame, from the cache where it is there."""
    from brimcast.renders import keep
    from brimcast.renders.caches import cache_root, edition
    from brimcast.scene import setfile
    from brimcast.scene.builder import build

    glass = named(name)
    words = f"{glass.height_mm:.0f} mm high, {glass.capacity_ml():.0f} ml"
    text = set_text(name)
    about = [FORM, edition(), text, *PICTURE_PX, *MAP_PX, *SHOWN_MM]
    digest = hashlib.sha256(repr(about).encode() + glass.section.points_mm.tobytes()).hexdigest()
    kept = keep.Unfinished(cache_root() / "contact" / digest, KEPT_BYTES)
    found = kept.load(name)
    if found is None:
        report(0.0, "building")
        found = _compute(build(setfile.parse(text, name)), device, report)
        kept.save(name, found)
    return Frame(name, words, found["picture"], found["plan"])


def _compute(built, device, report):
    from brimcast.renders import job, output
    from brimcast.renders.adjust import develop, display
    from brimcast.renders.report import meter_bands

    outcome = job.run(built, quality="draft", device=device, progress=report, resume=False)
    exposed = output.expose(outcome, meter_bands(outcome).mean(axis=1))
    lamp = built.lamps[0]
    bands = {lamp.name: outcome.picture.bands[0] * np.float32(lamp.luminance)}
    picture = display(develop(bands, exposed.exposure, white=exposed.white))
    return {"picture": picture, "plan": display(_see_from_above(outcome, exposed))}


def _see_from_above(outcome, exposed):
    """Return the table's light over `SHOWN_MM`, developed, (h, w, 3)."""
    from brimcast.renders.output import plan_table

    left, right, near, far = SHOWN_MM
    width, height = MAP_PX
    # Beyond the window round what is thrown there are only the lamp's own light and shadows.
    straight = _direct_light(outcome, CELL_MM)[::-1]
    fine = 3
    x = left + (np.arange(width * fine) + 0.5) * (right - left) / (width * fine)
    y = far - (np.arange(height * fine) + 0.5) * (far - near) / (height * fine)
    columns, rows = ((x - left) / CELL_MM).astype(int), ((far - y) / CELL_MM).astype(int)
    plan = plan_table(outcome, exposed)
    plain_level = plan.plain_level if plan else PLAIN_LEVEL
    seen = np.repeat((plain_level * straight / outcome.lights[0].plain)[rows][:, columns, None], 3, axis=2)
    if plan:
        columns = np.floor((x - plan.x_mm[0]) / plan.cell_mm + 0.5).astype(int)
        rows = np.floor((y - plan.y_mm[0]) / plan.cell_mm + 0.5).astype(int)
        within = (columns >= 0) & (columns < len(plan.x_mm)), (rows >= 0) & (rows < len(plan.y_mm))
        seen[np.ix_(within[1], within[0])] = plan.light[np.ix_(rows[within[1]], columns[within[0]])]
    return seen.reshape(height, fine, width, fine, 3).mean(axis=(1, 3))


def _direct_light(outcome, cell_mm):
    """Return the lamp's direct light on the table over `SHOWN_MM`, (ny, nx), E/L in sr."""
    from brimcast.renders.direct import map_direct
    from brimcast.renders.lights import set_lamps
    from brimcast.renders.windows import Window
    from brimcast.renders.world import build_world

    built = outcome.built
    left, right, near, far = SHOWN_MM
    corner_mm = built.panels[0].corner_mm
    shape = round((far - near) / cell_mm), round((right - left) / cell_mm)
    window = Window(0, (left - corner_mm[0], near - corner_mm[1]), cell_mm, shape)
    world = build_world(built)
    return map_direct(built, world, set_lamps(built, world), window)[0]


def lay_out(frames: list[Frame]) -> np.ndarray:
    """Return the sheet, (h, w, 3) uint8: pictures above, the table from above below, at one scale."""
    from PIL import Image, ImageDraw, ImageFont

    columns = min(COLUMNS, len(frames))
    rows = -(-len(frames) // COLUMNS)
    wide, high = PICTURE_PX[0] + _GAP, PICTURE_PX[1] + MAP_PX[1] + _WORDS + _GAP
    size = (max(columns * wide + _GAP, 3 * wide + _GAP), _HEAD + rows * high + _GAP)
    sheet = Image.new("RGB", size, _PAPER)
    pen = ImageDraw.Draw(sheet)
    large, plain, small = (ImageFont.load_default(points) for points in (34, 24, 17))
    pen.text((_GAP, 24), "Empty glasses and what they throw", font=large, fill=_INK)
    about = (
        "One lamp: 20 mm across, 2 m away, 45° high, behind on the left. Pictures fill the frame; "
        "tables from above at one scale."
    )
    pen.text((_GAP, 70), about, font=small, fill=_QUIET)
    scale = MAP_PX[0] / (SHOWN_MM[1] - SHOWN_MM[0])
    for number, frame in enumerate(frames):
        x, y = _GAP + number % COLUMNS * wide, _HEAD + number // COLUMNS * high
        pen.text((x, y + 4), frame.name, font=plain, fill=_INK)
        pen.text((x, y + 36), frame.words, font=small, fill=_QUIET)
        sheet.paste(Image.fromarray(frame.picture), (x, y + _WORDS))
        below = y + _WORDS + PICTURE_PX[1] + 2
        sheet.paste(Image.fromarray(frame.plan), (x, below))
        _mark_plan(pen, frame.name, x, below, scale, small)
    return np.asarray(sheet)


def _mark_plan(pen, name, left, top, scale, font):
    """Draw where the foot stands, and a bar of 50 mm."""
    radius = named(name).foot_radius_mm * scale
    x, y = left - SHOWN_MM[0] * scale, top + SHOWN_MM[3] * scale
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), outline=_PAPER, width=1)
    right, low = left + MAP_PX[0] - 12, top + 14
    pen.rectangle((right - 50 * scale, low, right, low + 3), fill=_PAPER)
    pen.text((right, low + 8), "50 mm", font=font, fill=_PAPER, anchor="ra")
