"""What the camera makes of a set: framing, focus slices, diffraction, movement, splashes: 20-22, 26, 28."""

from __future__ import annotations

import math

import numpy as np

from brimcast.scene.built import Camera
from brimcast.scene.frame import crop_share, measure_lens, project
from brimcast.scene.setplan import FLASHES, MAINS
from brimcast.shared.exposure import diffraction_blur, effective_f_number, exact_f_number, marked_f_number

from .answer import Answer, Lacking, entry, tell
from .bursts import power_range, tell_time
from .moving import farthest_move, list_moves
from .pattern import outline_corners
from .study import Study
from .viewing import (
    Pixels,
    camera_of,
    ellipse_axes,
    hero_places,
    measure_margins,
    pixels_of,
    rim_of,
)

# Of a slice's depth, shared with the next one: a fifth (common practice).
OVERLAP = 0.2
STOPPED_DOWN = exact_f_number(22)
MIDDLE_NM = 550.0
# Full width at half height of the Airy pattern over wavelength × f-number: (2 J1(x) / x)² is 1/2 there.
AIRY_WIDTH = 2 * 1.616340 / math.pi
# Splashes are shot at such a t0.1 or shorter (common practice).
USUAL_SPLASH_S = 1 / 8000
SPLASH_CAUTIONS = (
    MAINS,
    FLASHES,
    "This warns; it does not certify. Local codes and licensed practice come first.",
)


def answer_framing(study: Study) -> Answer:
    """Answer which ellipse the rim is seen as, and whether the caustic lies in the frame and the crop."""
    camera, pixels, hero = camera_of(study), pixels_of(study), study.hero
    seen = project(camera, rim_of(study.built))[:, :2]
    if not np.isfinite(seen).all():
        raise Lacking(f"the rim of {hero} before the lens; the camera stands in it or past it")
    wide, high = ellipse_axes(pixels.of(seen))
    # As a rule held in the plane of focus would tell.
    mm = pixels.pitch_mm / camera.magnification
    values = {
        "rim_ratio": entry(high / wide, 0.0),
        "rim_mm": entry([wide * mm, high * mm], [0.0, 0.0], "mm"),
        "rim_pixels": entry([wide, high], [0.0, 0.0], "pixels"),
        "file_width_pixels": pixels.width,
    }
    lines = [
        f"The rim is seen as an ellipse {high / wide:.3f} as high as wide: {wide * mm:.1f} x "
        f"{high * mm:.1f} mm at the focus, {wide:.0f} x {high:.0f} pixels of {pixels.words}"
    ]
    try:
        frame = study.frame()
        corners = outline_corners(frame, study.lamp, frame.brighter(study.lamp))
    except Lacking:
        return Answer((*lines, f"{study.lamp} throws no pattern on the table that could be cropped"), values)
    places = np.concatenate([corners, np.zeros((len(corners), 1))], axis=1)
    for name, share in (("frame", (1.0, 1.0)), ("crop", crop_share(camera))):
        if share is None:
            values[name] = None
            continue
        values[name] = _frame_values(camera, places, share, pixels)
        lines.append(f"The pattern is {_tell_margins(values[name], name)}")
    return Answer(tuple(lines), values)


def _frame_values(camera: Camera, places: np.ndarray, share, pixels: Pixels) -> dict:
    if not np.isfinite(project(camera, places)).all():
        return {"inside": False, "margins": None}
    margins = measure_margins(camera, places, share, pixels)
    cells = {
        side: {"pixels": entry(count, None, "pixels"), "mm": entry(mm, None, "mm")}
        for side, (count, mm) in margins.items()
    }
    return {"inside": all(count >= 0 for count, _ in margins.values()), "margins": cells}


def _tell_margins(found: dict, name: str) -> str:
    if found["margins"] is None:
        return f"partly behind the lens, outside the {name}"

    def told(side: str) -> str:
        pixels, mm = (found["margins"][side][unit]["value"] for unit in ("pixels", "mm"))
        along = "" if mm is None else f"{abs(mm):.0f} mm on the table, "
        return f"{along}{abs(pixels):.0f} pixels"

    counts = {side: margin["pixels"]["value"] for side, margin in found["margins"].items()}
    if found["inside"]:
        nearest = min(counts, key=counts.get)
        return f"inside the {name}, nearest to its {nearest} edge: {told(nearest)}"
    cut = ", ".join(f"past its {side} edge by {told(side)}" for side in counts if counts[side] < 0)
    return f"not all inside the {name}: {cut}"


def _find_tip(study: Study) -> tuple[np.ndarray, np.ndarray]:
    """Return the tip of the asked lamp's caustic, (3,) mm, and its standard error.

    Raises
    ------
    Lacking
        There is none on the table.
    """
    tip = study.frame().caustic(study.lamp)["tip_mm"]
    if tip["value"] is None:
        raise Lacking(f"a pattern of {study.lamp} that ends on the table; this one leaves it or fades out")
    return np.array([*tip["value"], 0.0]), np.array([*(tip["standard_error"] or (0.0, 0.0)), 0.0])


def answer_slices(study: Study) -> Answer:
    """Answer how many focus slices it takes from the rim to the caustic's tip."""
    camera, hero = camera_of(study), study.hero
    if camera.tilt_deg:
        raise Lacking(f"a lens without tilt, for slices of {hero} go along its axis", "camera.tilt=0 deg")
    tip, error = _find_tip(study)
    depths = project(camera, np.concatenate([rim_of(study.built), [tip]]))[:, 2]
    lens = measure_lens(camera)
    # The tip alone is not known exactly.
    counts = depths[-1] in (depths.min(), depths.max())
    reach = entry(float(np.ptp(depths)), float(np.abs(error) @ np.abs(camera.forward)) * counts, "mm")
    count, step_mm = count_slices(reach["value"], lens.depth_mm)
    values = {
        "depth_mm": reach,
        "slice_mm": entry(lens.depth_mm, 0.0, "mm"),
        "count": entry(count, 0 if reach["standard_error"] == 0 else None),
        "step_mm": entry(step_mm, 0.0, "mm"),
        "travel_mm": entry((count - 1) * step_mm, 0.0, "mm"),
        "circle_of_confusion_mm": entry(lens.blur_mm, 0.0, "mm"),
        "effective_f_number": entry(lens.effective_f_number, 0.0),
    }
    sharp = f"each sharp over {lens.depth_mm:.1f} mm at {_mark(camera.f_number)}"
    if count == 1:
        first = f"One frame holds rim and tip: {tell(reach)} deep, {sharp}"
    else:
        first = f"{count} slices, {step_mm:.1f} mm apart on the rail, rim to tip: {tell(reach)} deep, {sharp}"
    counted = f"Sharp is a blur up to {lens.blur_mm * 1000:.0f} µm on the sensor, its diagonal over 1500"
    shared = "slices share a fifth (both common practice); the camera moves, the focus stays"
    return Answer((first, f"{counted}; {shared}"), values)


def count_slices(reach_mm: float, slice_mm: float) -> tuple[int, float]:
    """Return how many slices cover a depth, and the step from one to the next; 0 where one is enough."""
    if reach_mm <= slice_mm:
        return 1, 0.0
    step_mm = slice_mm * (1 - OVERLAP)
    return 1 + math.ceil((reach_mm - slice_mm) / step_mm - 1e-9), step_mm


def answer_diffraction(study: Study) -> Answer:
    """Answer how much diffraction widens the bright line, at the camera's f-number and at f/22."""
    camera = camera_of(study)
    try:
        line = study.frame().caustic(study.lamp)["line_width_mm"]["value"]
    except Lacking:
        line = None
    # Seen at a slant, a line that runs across the frame looks narrower; its blur does not.
    slant = abs(float(camera.forward[2]))
    values, lines = {"line_width_mm": entry(line, None, "mm")}, []
    for name, f_number in (("camera", camera.f_number), ("f_22", STOPPED_DOWN)):
        found = spread_line(line, f_number, camera.magnification, slant)
        values[name] = {"f_number": marked_f_number(f_number), **found}
        disc, table = found["airy_um"]["value"], found["airy_table_mm"]["value"]
        told = (
            f"At {_mark(f_number)} a point becomes {disc:.1f} µm on the sensor, {table:.3f} mm at the focus"
        )
        if line:
            least, most = (found[key]["value"] for key in ("widening_percent", "widening_slant_percent"))
            told += f"; the line of {line:.1f} mm is seen {least:.2g} % wider"
            if most is not None:
                told += f", {most:.2g} % where it runs across the frame"
        lines.append(told)
    if not line:
        lines.append(f"{study.lamp} draws no line on the table whose width could be told")
    return Answer(tuple(lines), values)


def spread_line(line_mm: float | None, f_number: float, magnification: float, slant: float) -> dict:
    """Return what diffraction at an f-number does to a line of a width on the table.

    Parameters
    ----------
    line_mm : float or None
        Full width at half height.
    f_number, magnification : float
    slant : float
        Sine of the angle at which the camera looks down on the table.

    Returns
    -------
    dict
        `airy_um` on the sensor, `airy_table_mm`; `widened_mm` and `widening_percent` of a line that runs
        toward the camera; `widening_slant_percent` of one that runs across, None where it looks level.
    """
    disc_mm = float(diffraction_blur(f_number, magnification, MIDDLE_NM))
    effective = effective_f_number(f_number, magnification)
    half_mm = AIRY_WIDTH * MIDDLE_NM * 1e-6 * effective / magnification
    found = {
        "airy_um": entry(1000 * disc_mm, 0.0, "um"),
        "airy_table_mm": entry(disc_mm / magnification, 0.0, "mm"),
        "widened_mm": entry(None, None, "mm"),
        "widening_percent": entry(None, None, "%"),
        "widening_slant_percent": entry(None, None, "%"),
    }
    if line_mm:
        found["widened_mm"] = entry(math.hypot(line_mm, half_mm), None, "mm")
        found["widening_percent"] = entry(100 * (math.hypot(1, half_mm / line_mm) - 1), None, "%")
        if slant > 0:
            across = 100 * (math.hypot(1, half_mm / (line_mm * slant)) - 1)
            found["widening_slant_percent"] = entry(across, None, "%")
    return found


def _mark(f_number: float) -> str:
    return f"f/{marked_f_number(f_number):g}"


def answer_movement(study: Study) -> Answer:
    """Answer how far camera or glass may move between plates."""
    camera, limit = camera_of(study), study.brief.pixel_limit
    if limit is None:
        raise Lacking("how many pixels may differ", "brief.pixel_limit=0.5")
    pixels = pixels_of(study)
    hero, axis = hero_places(study.built)
    try:
        tip = _find_tip(study)[0][None]
    except Lacking:
        tip = np.zeros((0, 3))
    if not np.isfinite(project(camera, np.concatenate([hero, tip]))).all():
        raise Lacking("the hero before the lens; the camera stands in it or past it")
    values = {
        thing: {
            key: entry(farthest_move(shift_of, limit), 0.0, key.rpartition("_")[2])
            for key, shift_of in moves.items()
        }
        for thing, moves in list_moves(camera, pixels, hero, axis, tip).items()
    }
    sideways = limit * pixels.pitch_mm / camera.magnification
    lines = [f"{thing.capitalize()}: {_tell_moves(found)}" for thing, found in values.items()]
    lines.append(
        f"Each by itself, for {limit:g} pixels of {pixels.words}: {sideways:.2g} mm sideways at the focus"
    )
    seen = "rim, foot and the pattern's tip" if len(tip) else "rim and foot, as no tip lies on the table"
    seen = seen if study.built.feet else "the hero"
    lines.append(f"Watched: {seen}; turning a glass moves what its wall bears")
    values |= {"sideways_at_focus_mm": entry(sideways, 0.0, "mm"), "pixel_limit": limit}
    return Answer(tuple(lines), values | {"file_width_pixels": pixels.width})


def _tell_moves(found: dict) -> str:
    words = {
        "x_mm": "mm left or right",
        "y_mm": "mm nearer or farther",
        "z_mm": "mm up or down",
        "turn_deg": "deg of turn",
    }
    told = {key: number["value"] for key, number in found.items()}
    return ", ".join(f"{'any' if far is None else f'{far:.2g}'} {words[key]}" for key, far in told.items())


def answer_splash(study: Study) -> Answer:
    """Answer which flash is the slowest that freezes a splash, and at which powers the head is that fast."""
    camera, speed, limit = camera_of(study), study.brief.splash_speed_m_s, study.brief.pixel_limit
    if speed is None:
        raise Lacking("how fast the splash flies", "brief.splash_speed=3 m/s")
    sharp_mm = measure_lens(camera).blur_mm
    blurs = {"sharp": (sharp_mm, f"the {sharp_mm * 1000:.0f} µm on the sensor that still pass as sharp")}
    if limit is not None:
        pixels = pixels_of(study)
        blurs = {"limit": (limit * pixels.pitch_mm, f"{limit:g} pixels of {pixels.words}"), **blurs}
    values, lines = {}, []
    for name, (blur_mm, words) in blurs.items():
        found, told = _freeze(study, blur_mm / camera.magnification)
        values[name] = found
        lines.append(f"{told[0]}, {words}")
        lines += told[1:]
    values = {**next(iter(values.values())), **values}
    slowest_s = values["t01_s"]["value"]
    usual = "shorter" if slowest_s < USUAL_SPLASH_S else "no shorter"
    lines.append(f"{tell_time(slowest_s)} is {usual} than the usual 1/8000 s (common practice)")
    lines.append("Go by t0.1: what is printed as t0.5 is about a third of it")
    if not study.brief.flash:
        lines.append("Give the head's t0.1 at two powers or more as brief.flash, and the power is told too")
    return Answer(tuple(lines), values, SPLASH_CAUTIONS)


def _freeze(study: Study, smear_mm: float) -> tuple[dict, list[str]]:
    """Return numbers and lines for a splash that may smear so much, at its own place."""
    speed, flash = study.brief.splash_speed_m_s, study.brief.flash
    # 1 m/s is 1000 mm/s.
    slowest_s = smear_mm / (1000 * speed)
    lines = [f"t0.1 of {tell_time(slowest_s)} or shorter: a splash at {speed:g} m/s smears {smear_mm:.2g} mm"]
    found = power_range(flash, slowest_s) if flash else None
    values = {
        "t01_s": entry(slowest_s, 0.0, "s"),
        "smear_mm": entry(smear_mm, 0.0, "mm"),
        "power_ceiling_stops": entry(found and found.ceiling, None, "stops"),
        "power_floor_stops": entry(found and found.floor, None, "stops"),
    }
    return values, lines + ([found.words] if found else [])
