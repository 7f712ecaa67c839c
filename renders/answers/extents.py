"""The part of the table that several maps show alike, its scale, and the bar that tells it."""

from __future__ import annotations

from dataclasses import dataclass

BARS_MM = (5, 10, 20, 50, 100, 200, 500)
# The bar takes no more of the width than this.
_BAR_SHARE = 1 / 2.5


@dataclass(frozen=True)
class Extent:
    """A rectangle of the table, mm from the datum, and its scale."""

    left: float
    right: float
    near: float
    far: float
    px_per_mm: float

    @property
    def wide(self) -> float:
        """Width, mm."""
        return self.right - self.left

    @property
    def deep(self) -> float:
        """Depth, mm."""
        return self.far - self.near

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return max(1, round(self.wide * self.px_per_mm)), max(1, round(self.deep * self.px_per_mm))

    @property
    def bar_mm(self) -> int:
        """Length that the bar of scale stands for."""
        fitting = [mm for mm in BARS_MM if mm <= self.wide * _BAR_SHARE]
        return fitting[-1] if fitting else BARS_MM[0]

    def place(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Return the pixel position (right, down) of a point on the table."""
        return (x_mm - self.left) * self.px_per_mm, (self.far - y_mm) * self.px_per_mm


def fit_extent(ends: list[float], most_px: tuple[float, float]) -> Extent:
    """Return the rectangle of these ends (left, right, near, far) as large as fits so many pixels."""
    scale = min(most_px[0] / (ends[1] - ends[0]), most_px[1] / (ends[3] - ends[2]))
    return Extent(*ends, scale)
