"""A rolled rim: a round bead on top of the wall."""

import numpy as np

from .curve import corner_near, meeting, rounded
from .outline import arc, joined

_FILLET_SHARE = 0.25  # of the bead's diameter, where it runs into the wall; common practice


def bead_rim(outside, inside, top_mm, bead_mm):
    """Return both sides up to the crest of a bead, and the places where the bead starts.

    The bead is round, sits on the middle of the wall and its crest is the rim's height.

    Parameters
    ----------
    outside, inside : Outline
        Both sides of the wall, upward, beyond the rim's height.
    top_mm : float
        Height of the crest, mm.
    bead_mm : float
        Diameter of the bead, mm; more than the wall is thick.

    Raises
    ------
    ValueError
        The wall is not thinner than the bead, or the bead does not fit.
    """
    radius_mm = bead_mm / 2
    middle_mm = top_mm - radius_mm
    places = [side.place_at_height(middle_mm) for side in (outside, inside)]
    if None in places:
        raise ValueError(f"bead_mm: {bead_mm:g} mm; the wall does not reach down to the bead's middle")
    radii = [side.at(place)[0][0] for side, place in zip((outside, inside), places, strict=True)]
    across_mm = radii[0] - radii[1]
    if across_mm >= bead_mm:
        raise ValueError(f"bead_mm: {bead_mm:g} mm; it must be more than the wall there, {across_mm:.3g} mm")
    centre = np.array([sum(radii) / 2, middle_mm])
    if centre[0] <= radius_mm:
        raise ValueError(f"bead_mm: {bead_mm:g} mm; it must be under the rim's radius, {centre[0]:.3g} mm")
    halves, stops = [], []
    # From below the bead's middle, round its outer and its inner side.
    for side, place, start_deg in zip((outside, inside), places, (-135.0, 315.0), strict=True):
        below, round_ = side.cut(0, place), arc(centre, radius_mm, start_deg, 90)
        at, onward, point = meeting(below, round_)
        if at is None:
            raise ValueError(f"bead_mm: {bead_mm:g} mm; a bead of that size does not meet the wall")
        half = joined([below.cut(0, at), round_.cut(onward, round_.end)])
        corner = corner_near(half, point, 1e-4)
        try:
            halves.append(rounded(half, corner, _FILLET_SHARE * bead_mm))
        except ValueError:
            raise ValueError(f"bead_mm: {bead_mm:g} mm; it does not run smoothly into the wall") from None
        stops.append(at)
    return tuple(halves), tuple(stops)
