"""Salt or sugar on a rim: closed boxes that touch the lip, apart, where they were asked for."""

import numpy as np
import pytest
import shapely

from brimcast.vessels.grains import Grains, grain_mesh
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import check
from brimcast.vessels.relief import TO_CAMERA
from brimcast.vessels.strewing import Skin, StrewError

COUPE = vessel("coupe")
SKIN = Skin(COUPE.outer, upright=0.0)


def test_grains_are_boxes_partly_in_the_lip():
    mesh = check(grain_mesh(SKIN, Grains(1500, 0.6, 5)))
    assert len(mesh.faces) == 1500 * 12
    middles = mesh.vertices_mm.reshape(1500, 24, 3).mean(axis=1)
    glass = shapely.Polygon(COUPE.section.points_mm)
    away = shapely.distance(shapely.points(np.hypot(*middles[:, :2].T), middles[:, 2]), glass)
    assert away.max() < 0.3 * 0.6 + 0.01
    assert COUPE.height_mm - middles[:, 2].min() < 5.3
    # Denser toward the crest.
    depth = COUPE.height_mm - middles[:, 2]
    assert (depth < 2.5).sum() > 2 * (depth > 2.5).sum()
    # Few enough at one place to be counted: 15 at most.
    near = np.linalg.norm(middles[:, None] - middles, axis=2) < 0.6 * np.sqrt(3)
    assert near.sum(axis=1).max() <= 15


def test_half_rim_faces_the_camera():
    mesh = grain_mesh(SKIN, Grains(400, 0.6, 5, share=0.5, seed=2))
    middles = mesh.vertices_mm.reshape(400, 24, 3).mean(axis=1)
    toward = np.array([np.cos(TO_CAMERA), np.sin(TO_CAMERA)])
    assert (middles[:, :2] @ toward).min() > -1 and toward[1] == pytest.approx(-1)


def test_too_many_grains():
    with pytest.raises(StrewError, match="find no room") as caught:
        grain_mesh(SKIN, Grains(10_000, 3, 2))
    assert caught.value.part == "count"
