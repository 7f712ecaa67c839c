"""Where a ray tells that the light of other lamp points lands, it lands: fans against rays themselves."""

from dataclasses import replace

import numpy as np
import pytest

from brimcast.renders import aim
from brimcast.renders.device import floats
from brimcast.renders.engine import mi, start
from brimcast.renders.fronts import describe_front, find_on_front, fold, lay_on_square
from brimcast.renders.launches import open_tally, tell_blockers
from brimcast.renders.photons import trace
from brimcast.renders.pilot import plan_light
from brimcast.renders.voxels import no_voxels
from brimcast.renders.world import build_world
from brimcast.scene import builder, setfile
from brimcast.scene.lamps import spread_points


@pytest.fixture(scope="module")
def lone(water_set):
    """The set under a smaller lamp of one wavelength."""
    small = water_set.replace("diameter: 40 mm", "diameter: 20 mm, colour: 550 nm")
    return builder.build(setfile.parse(small))


@pytest.fixture(scope="module")
def sent(lone):
    """Rays without reflection, and what sends them again from lamp points moved aside, mm right and up."""
    start("cpu")
    world = build_world(lone)
    plan, lamp = plan_light(lone, world, 1.0), lone.lamps[0]
    order, frame = plan.orders["key"][0], plan.aims["key"].frame
    rows = aim.draw_rows(lone, world, lamp, plan.aims["key"], order, 16, 64, [(1, 2)])

    def send(right=0.0, up=0.0):
        place = rows.place.numpy().reshape(-1, 4).copy()
        place[:, :3] += right * lamp.right + up * lamp.up
        moved = replace(rows, place=floats(place))
        tally = open_tally(world, 0, 1, 16)
        return trace(world.geometry, moved, frame, tell_blockers(world), tally, no_voxels())[0]

    return send


def follow(sent, right, up):
    """How far landings lie from where fans tell, mm, how far they moved, their light and steady share."""
    here, there = sent(), sent(right, up)
    both = here.down.numpy() & there.down.numpy() & (here.panel.numpy() == 0) & (there.panel.numpy() == 0)
    moved = np.stack([there.u.numpy() - here.u.numpy(), there.v.numpy() - here.v.numpy()])[:, both]
    by_right, by_up = (np.array(shift)[:, both] for shift in here.shifts)
    off = np.hypot(*(moved - right * by_right - up * by_up))
    return off, np.hypot(*moved), here.flux.numpy()[both], here.share.numpy()[both]


def test_landings_move_as_their_fans_tell(sent):
    """From a lamp point 0.2 mm aside: within 5 % of the move, above all where ways are steady."""
    for right, up in ((0.2, 0.0), (0.0, 0.2)):
        off, moved, light, share = follow(sent, right, up)
        near, steady = off < 0.05 * moved + 1e-4, share == 1
        assert light[near & steady].sum() > 0.96 * light[steady].sum()
        assert light[near].sum() > 0.7 * light.sum()
        assert np.median(moved) > 0.01


def test_steady_ways_stay_so_over_the_whole_front(sent):
    """As far aside as the front reaches: half a cell is allowed; single rays may still meet an edge."""
    off, moved, light, share = follow(sent, 7.0, -7.0)
    steady = share == 1
    assert 0.3 * light.sum() < light[steady].sum() < 0.9 * light.sum()
    lost, elsewhere = (light[way & (off > 0.5)].sum() / light[way].sum() for way in (steady, ~steady))
    assert lost < 0.02
    assert elsewhere > 10 * lost
    assert np.median(moved[steady]) > 0.3


def test_points_lie_as_evenly_on_the_square_as_on_the_front(lone):
    """A disc on its square and back again; counts in a grid of squares scatter no more than by chance."""
    start("cpu")
    lamp = lone.lamps[0]
    uv = np.random.default_rng(5).random((40_000, 2))
    place = spread_points(lamp, uv, np.zeros(3), 100.0).place_mm
    square = lay_on_square(lamp, place)
    counts, *_ = np.histogram2d(square.x.numpy(), square.y.numpy(), bins=10, range=[[-1, 1], [-1, 1]])
    assert counts.sum() == len(uv)
    # Chi-square of 99 degrees of freedom: below 149 in 999 of 1000 cases.
    assert ((counts - 400) ** 2 / 400).sum() < 149
    off = (place - lamp.centre_mm) @ np.stack([lamp.right, lamp.up], axis=1)
    found = find_on_front(square, describe_front(lamp))
    assert np.allclose(np.stack([side.numpy() for side in found], axis=1), off, atol=1e-4)


def test_what_passes_an_edge_is_mirrored_into_the_square():
    start("cpu")
    beside = fold(mi.Point2f([1.25, 0.5, -3.0], [-1.5, 2.0, 0.0]))
    assert np.allclose(beside, [[0.75, 0.5, 1.0], [-0.5, 0.0, 0.0]])
