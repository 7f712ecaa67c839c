"""The crop guide on a picture."""

import numpy as np
import pytest

from brimcast.renders.cropguide import mark_crop
from brimcast.scene import setfile
from brimcast.scene.builder import build


def camera_of(crop):
    view = f"camera: {{sensor: [36 mm, 24 mm]{crop}}}\nrender: {{width: 300}}"
    text = f"brimcast: 1\nlamps: {{key: {{}}}}\n{view}\n"
    return build(setfile.parse(text)).camera


@pytest.mark.parametrize(("crop", "kept"), [("square", (200, 200)), ("4:5", (160, 200)), ("2:1", (300, 150))])
@pytest.mark.parametrize("ground", [0, 255, 128])
def test_guide_leaves_the_crop_and_reads_on_any_ground(crop, kept, ground):
    picture = np.full((200, 300, 3), ground, np.uint8)
    marked = mark_crop(picture, camera_of(f", crop: '{crop}'"))
    changed = (marked != ground).any(axis=2)
    left, top = (300 - kept[0]) // 2, (200 - kept[1]) // 2
    inside = np.zeros_like(changed)
    inside[top : top + kept[1], left : left + kept[0]] = True
    assert changed.any() and not changed[inside].any()
    # The line has both a dark and a pale part.
    guide = marked[100] if kept[0] < 300 else marked[:, 150]
    assert {0, 255} <= set(guide.ravel().tolist()) | {ground}


@pytest.mark.parametrize("crop", ["", ", crop: '3:2'"])
def test_picture_without_a_crop_stays_as_it_is(crop):
    picture = np.random.default_rng(0).integers(0, 256, (200, 300, 3), np.uint8)
    assert (mark_crop(picture, camera_of(crop)) == picture).all()
