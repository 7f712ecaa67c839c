"""Flags, cards, foils and what else hangs, as lines in a view of a set."""

from __future__ import annotations

import numpy as np

from brimcast.vessels.linework import INK, PAPER, TONE, Area, Stroke
from brimcast.vessels.mesh import united

from .bodies import sheets_of, split_sheet
from .built import BuiltSet
from .captions import Label

THIN, LINE, THICK = 0.13, 0.25, 0.5
CLOTH = 236
# Tone that fills each kind of sheet, and width of its line.
SHEET_LOOKS = {
    "flag": (INK, 0.7),
    "foil": (INK, 0.4),
    "card": (PAPER, LINE),
    "diffuser": (CLOTH, LINE),
    "mirror": (TONE, THICK),
    "backdrop": (None, THICK),
}


def draw_sheets(built: BuiltSet, view) -> tuple[list, list[Label]]:
    """Draw flags and foils black, cards white, diffusers and mirrors grey, a backdrop by its edges."""
    marks, labels = [], []
    for panel in sheets_of(built):
        kind = built.sheets[panel.name]
        tone, width = SHEET_LOOKS[kind]
        for part in split_sheet(panel):
            outline = hull(view.place(part))
            if tone is not None and len(outline) > 2:
                marks.append(Area(outline, tone))
            # Parts of a bent sheet meet; only its own edges are drawn.
            if len(outline) <= 2 or hasattr(panel, "corner_mm"):
                marks.append(Stroke(np.concatenate([outline, outline[:1]]), width))
        marks += [Stroke(edge, width) for edge in _edges(view, panel)]
        whole = hull(view.place(panel.mesh.vertices_mm))
        words = panel.name if kind == "backdrop" else f"{kind} {panel.name}"
        labels.append(Label(words, whole.mean(axis=0), float(np.ptp(whole, axis=0).min()) / 2 + 1))
    return marks, labels


def _edges(view, panel) -> list[np.ndarray]:
    """Return the edges (2, 2) on paper of a bent sheet: those with no part beyond."""
    if hasattr(panel, "corner_mm"):
        return []
    places, faces = united(panel.mesh)
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    found, uses = np.unique(edges, axis=0, return_counts=True)
    lines = view.place(places[found[uses == 1]])
    return [line for line in lines if np.hypot(*(line[1] - line[0])) > 0.02]


def hull(points) -> np.ndarray:
    """Return the outline (n, 2) of what is convex round places on paper."""
    import shapely

    shape = shapely.MultiPoint(np.asarray(points)).convex_hull
    line = shape.exterior if shape.geom_type == "Polygon" else shape
    return np.asarray(line.coords)
