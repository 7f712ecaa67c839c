"""Words and arrows on a drawing: each label where it covers least of the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.vessels.linework import INK, PAPER, QUIET, Area, Stroke, Text

WORD_MM = 2.7
_LETTER = 0.52  # width of a letter over the height of its body, on average


@dataclass(frozen=True, eq=False)
class Label:
    """Words that belong to a place on the paper.

    Attributes
    ----------
    words : str
    at_mm : (2,) float
    clear_mm : float
        Keep so far away from the place.
    quiet : bool
    """

    words: str
    at_mm: np.ndarray
    clear_mm: float
    quiet: bool = False


def width_of(words: str, size_mm: float = WORD_MM) -> float:
    """Return about how wide words are on paper, mm."""
    return _LETTER * size_mm * len(words)


def arrow(tail, tip, width_mm: float = 0.2) -> list:
    """Return a line with a head in its first third, so that many can meet in one place."""
    tail, tip = np.asarray(tail, float), np.asarray(tip, float)
    length = float(np.linalg.norm(tip - tail))
    if length < 1e-6:
        return []
    way = (tip - tail) / length
    across = np.array([-way[1], way[0]])
    at = tail + min(0.35 * length, max(8.0, 0.2 * length)) * way
    head = np.array([at, at - 2.6 * way + 0.7 * across, at - 2.6 * way - 0.7 * across])
    return [Stroke(np.array([tail, tip]), width_mm), Area(head, INK)]


def set_labels(labels, low_mm, high_mm) -> list:
    """Return the labels as marks inside a window of the paper, apart from one another where they can be.

    Those that come first choose first.
    """
    taken: list[np.ndarray] = []
    marks = []
    for label in labels:
        best = None
        for far in (0.0, 3.0, 7.0, 12.0, 18.0):
            for turn in np.radians((0, 180, 90, 270, 45, 135, 225, 315)):
                box = _box(label, far, turn)
                cost = far + 40 * _outside(box, low_mm, high_mm)
                cost += sum(10 * _overlap(box, other) for other in taken)
                if best is None or cost < best[0] - 1e-6:
                    best = (cost, box, far)
        _, box, far = best
        taken.append(box)
        marks += _print(label, box, far)
    return marks


def _box(label: Label, far: float, turn: float) -> np.ndarray:
    """Return left, bottom, right, top of a label moved out from its place."""
    half = np.array([width_of(label.words) / 2 + 0.4, 0.62 * WORD_MM])
    way = np.array([np.cos(turn), np.sin(turn)])
    middle = np.asarray(label.at_mm) + way * (label.clear_mm + far) + np.sign(np.round(way, 6)) * half
    return np.concatenate([middle - half, middle + half])


def _outside(box, low, high) -> float:
    return float(np.maximum(low - box[:2], 0).sum() + np.maximum(box[2:] - high, 0).sum())


def _overlap(box, other) -> float:
    sides = np.minimum(box[2:], other[2:]) - np.maximum(box[:2], other[:2])
    return float(sides.prod()) if np.all(sides > 0) else 0.0


def _print(label: Label, box, far: float) -> list:
    grey = QUIET if label.quiet else INK
    middle = (box[:2] + box[2:]) / 2
    marks = []
    if far > 3:
        near = np.clip(label.at_mm, box[:2], box[2:])
        marks.append(Stroke(np.array([label.at_mm, near]), 0.1, QUIET))
    left, bottom, right, top = box
    patch = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
    return [*marks, Area(patch, PAPER), Text(tuple(middle), label.words, "middle", WORD_MM, grey)]
