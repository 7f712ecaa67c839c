"""The thirty questions, in order, and where each is answered."""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .answer import Answer
    from .study import Study


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    number : int
    text : str
        As a photographer asks it.
    told : str
        What the answer tells, with units.
    accuracy : str
        How exact an answer is useful.
    needs : str
        What the set must have; empty where any set will do.
    where : str
        Module of this package and its function, ``module.function``.
    """

    number: int
    text: str
    told: str
    accuracy: str
    needs: str
    where: str

    def answer(self, study: Study) -> Answer:
        """Return the answer for a set.

        Raises
        ------
        Lacking
            The set lacks what the question needs.
        PersonError, EngineError
        """
        module, function = self.where.split(".")
        return getattr(importlib.import_module(f"{__package__}.{module}"), function)(study)


_ROWS = (
    ("How far back must the lamp go until the bright line is narrow enough?", "throw, m", "10 %",
     "a glass or prop", "solving.answer_throw"),
    ("Where does the caustic fall, how long is it?", "outline, mm; heading, deg", "3 mm",
     "a glass or prop", "pattern.answer_place"),
    ("How bright is it over the plain lit table?", "stops", "1/3 stop",
     "a glass or prop", "pattern.answer_brightness"),
    ("Empty against filled?", "shift, mm; width, mm; stops", "3 mm, 1/3 stop",
     "a filled glass", "glasses.answer_filling"),
    ("Which of two glasses wins?", "area, cm2; peak, stops; width; ranking with confidence",
     "the right order", "brief.rival", "glasses.answer_rival"),
    ("Which angle puts the tip on this mark?", "elevation, azimuth, stand height", "1 deg, 20 mm",
     "brief.mark", "solving.answer_mark"),
    ("Which f-number for this plate?", "f in tenths", "1/3 stop",
     "a camera, and lamps with readings", "plates.answer_f_number"),
    ("Which power per head gives the ratio?", "stops below full", "0.2 stop",
     "brief.ratios", "plates.answer_power"),
    ("How wide is the shadow's edge at foot and rim?", "mm", "10 %",
     "a glass", "shadows.answer_edges"),
    ("Does the line clip, does the shadow block up?", "headroom, stops; % area", "1/3 stop",
     "a camera", "picture.answer_clipping"),
    ("Which flag, where, clears the table and keeps the glass lit?", "mm; soft edge, mm", "5 mm",
     "a glass", "shadows.answer_flag"),
    ("What does a wall of 1 to 3 mm, or a thicker base, change?", "shift, width, band", "10 %",
     "a glass", "glasses.answer_wall"),
    ("What do placing errors of 2 mm, 10 deg, 20 mm do?", "mm per mm, mm per deg", "20 %",
     "a glass", "slips.answer_slips"),
    ("How does tint or drink colour show in the caustic?", "dE00, stops", "3",
     "a coloured glass or drink", "glasses.answer_tint"),
    ("What does the back light's gel do?", "dE00, stops", "3, 0.2 stop",
     "a lamp with gels", "plates.answer_gel"),
    ("How large may a glow card be unseen, at which angle?", "mm, deg, % of the drink lit", "5 mm",
     "a camera and a glass", "picture.answer_glow_card"),
    ("Bright field: how wide is the dark edge?", "mm, pixels", "0.5 mm",
     "a camera and a glass", "picture.answer_dark_edge"),
    ("Dark field: is the rim light unbroken?", "% unbroken", "5 %",
     "a camera and a glass", "picture.answer_rim_light"),
    ("What reflects in the glass, and where?", "lamp or card, place, mm, area", "2 mm",
     "a camera and a glass", "picture.answer_reflections"),
    ("Framing: which ellipse is the rim, is the caustic inside the crop?", "ratio, mm, pixels", "1 %",
     "a camera and a glass", "camera.answer_framing"),
    ("How many focus slices from rim to caustic tip?", "count, step in mm", "10 %",
     "a camera and a glass", "camera.answer_slices"),
    ("Does diffraction widen the line?", "um, mm on the table", "10 %",
     "a camera", "camera.answer_diffraction"),
    ("How does light fall off across the table?", "stops", "0.1 stop",
     "", "plates.answer_fall_off"),
    ("What does ice leave of the caustic?", "contrast, %; spread", "20 %",
     "ice in a glass", "glasses.answer_ice"),
    ("What does mist do?", "contrast, %; pixels", "20 %",
     "a glass", "glasses.answer_mist"),
    ("How far may camera or glass move between plates?", "mm, deg", "half a pixel",
     "a camera, and brief.pixel_limit", "camera.answer_movement"),
    ("Do separate plates add to all lights on?", "% difference", "1 %",
     "two lamps", "plates.answer_sum"),
    ("Which is the slowest flash for a sharp splash?", "t0.1, s; power ceiling", "1/3 stop",
     "brief.splash_speed, and a camera", "camera.answer_splash"),
    ("Could the focus scorch?", "concentration, kW/m2, warning", "errs on the safe side",
     "a glass or prop", "hazards.answer_scorch"),
    ("Does it fit the room?", "clearance, mm", "20 mm",
     "a room", "hazards.answer_room"),
)  # fmt: skip

QUESTIONS = {number: Question(number, *row) for number, row in enumerate(_ROWS, 1)}
