"""Ice at rest: as deep as its density says, clear of the glass and of other ice, the same every time."""

import inspect
import subprocess
import sys
from itertools import combinations
from unittest.mock import ANY

import numpy as np
import pytest
from scipy.optimize import brentq

from brimcast.vessels import ice
from brimcast.vessels.falling import Liquid, Loose, SettleError
from brimcast.vessels.floating import wet
from brimcast.vessels.ice import Piece
from brimcast.vessels.library import vessel
from brimcast.vessels.mesh import bent
from brimcast.vessels.room import Pose, Room, clash_mm3, spread_points
from brimcast.vessels.settle import settle

WATER = 998.2
ROCKS, HIGHBALL = Room(vessel("rocks")), Room(vessel("highball"))
# Positions of the solver are in single precision, and rest is a speed under 0.3 mm/s.
DRAUGHT_MM = 0.05


def loose(*pieces, material="ice"):
    return [Loose(piece, ice.DENSITY_KG_M3[material]) for piece in pieces]


def check_apart(items, settled, room):
    """Nothing passes through glass or other ice: volumes in common by manifold3d are zero."""
    glass = bent(room.vessel.glass_mesh(0.5), room.bend)
    wall = Piece(glass, glass, glass.vertices_mm, 0.0)
    for one, pose in zip(items, settled.poses, strict=True):
        assert clash_mm3(one.piece, pose, wall, Pose(np.eye(3), np.zeros(3))) < 1e-6
        assert room.clearance(spread_points(one.piece, pose)).min() > 0
    pairs = list(zip(items, settled.poses, strict=True))
    for (one, pose), (other, other_pose) in combinations(pairs, 2):
        assert clash_mm3(one.piece, pose, other.piece, other_pose) < 1e-3


@pytest.mark.parametrize("density", [WATER, 948.05, 1127.0])
def test_ball_floats_at_the_closed_forms_draught(density):
    """Cap of height h: pi h^2 (3 R - h) / 3 = 4/3 pi R^3 times the ratio of densities (Archimedes)."""
    share = ice.DENSITY_KG_M3["ice"] / density
    draught = brentq(lambda h: h**2 * (60 - h) / 3 - share * 4 / 3 * 20**3, 0, 40)
    settled = settle(loose(ice.sphere(40)), HIGHBALL, Liquid(density, level_mm=100))
    assert 100 - (settled.poses[0].place_mm[2] - 20) == pytest.approx(draught, abs=DRAUGHT_MM)
    assert settled.level_mm == 100


@pytest.mark.parametrize("make", [lambda: ice.block(20, 20, 20, 1.5), lambda: ice.cracked(25, 2, 0.5)])
def test_solid_floats_with_the_share_under_that_densities_give(make):
    piece = make()
    settled = settle(loose(piece), HIGHBALL, Liquid(WATER, level_mm=100))
    under = wet(piece, settled.poses[0], 100.0)
    # A draught off by DRAUGHT_MM over a waterline of at most the piece's cross-section.
    off = DRAUGHT_MM * np.pi * piece.reach_mm**2
    assert under == pytest.approx(piece.volume_mm3 * ice.DENSITY_KG_M3["ice"] / WATER, abs=off)


def test_acrylic_sinks_and_real_ice_floats():
    cube = ice.block(20, 20, 20, 1)
    for material, floats in (("acrylic", False), ("ice", True)):
        settled = settle(loose(cube, material=material), HIGHBALL, Liquid(WATER, level_mm=100))
        assert (settled.poses[0].place_mm[2] > 80) == floats


def test_spear_stands_where_the_drink_is_too_shallow_to_float_it():
    """110 mm of ice float 101 mm deep; 60 mm of water carry less than its weight, so it stands."""
    spear = ice.block(22, 22, 110, 1)
    settled = settle(loose(spear), HIGHBALL, Liquid(WATER, level_mm=72))
    low = (spear.mesh.vertices_mm @ settled.poses[0].turn.T + settled.poses[0].place_mm)[:, 2].min()
    assert 0 < low - HIGHBALL.vessel.base_mm < 2
    assert wet(spear, settled.poses[0], 72) < spear.volume_mm3 * 0.9167 / 0.9982


@pytest.mark.parametrize("level_mm", [None, 70.0])
def test_pieces_stack_without_passing_through_anything(level_mm):
    items = loose(*(ice.cracked(24, k, 0.5) for k in range(6)), ice.block(25, 25, 25, 2), ice.sphere(28))
    liquid = level_mm and Liquid(WATER, level_mm=level_mm)
    settled = settle(items, ROCKS, liquid or None, seed=3)
    check_apart(items, settled, ROCKS)


@pytest.mark.parametrize("name", ["coupe", "copa", "hurricane", "bottle"])
def test_ice_settles_in_glasses_that_narrow(name):
    room = Room(vessel(name))
    size = min(16.0, 1.4 * room.mouth_mm)
    items = loose(ice.sphere(size), ice.cracked(size, 1, 0.3), ice.cracked(size, 2, 0.3))
    settled = settle(
        items, room, Liquid(WATER, level_mm=room.vessel.fill_height_for_ml(0.6 * room.vessel.capacity_ml()))
    )
    check_apart(items, settled, room)


def test_leaning_oval_glass_holds_its_ice():
    bend = np.array([[1.01, 0, 0], [0, 0.99, -np.tan(np.radians(8))], [0, 0, 1]])
    room = Room(vessel("highball"), bend)
    items = loose(*(ice.block(22, 22, 22, 1.5) for _ in range(4)))
    settled = settle(items, room, Liquid(WATER, level_mm=90))
    check_apart(items, settled, room)


def test_poured_volume_rises_by_what_the_ice_takes_up():
    """Volume up to the surface = what was poured + ice under it; floating ice takes up its mass in water."""
    items = loose(*(ice.block(22, 22, 22, 1.5) for _ in range(3)))
    settled = settle(items, HIGHBALL, Liquid(WATER, volume_ml=200))
    pairs = zip(items, settled.poses, strict=True)
    wet_ml = sum(wet(one.piece, pose, settled.level_mm) for one, pose in pairs) / 1000
    assert HIGHBALL.vessel.capacity_ml(settled.level_mm) == pytest.approx(200 + wet_ml, abs=0.05)
    mass = 3 * items[0].piece.volume_mm3 * ice.DENSITY_KG_M3["ice"] / WATER / 1000
    assert wet_ml == pytest.approx(mass, rel=2e-3)


def test_hand_placed_piece_stays_and_others_lie_round_it():
    cube = ice.block(25, 25, 25, 1)
    pose = Pose(np.eye(3), np.array([0.0, 0.0, ROCKS.vessel.base_mm + 13.0]))
    items = [Loose(cube, 916.7, pose), *loose(cube, cube)]
    settled = settle(items, ROCKS)
    assert settled.poses[0] is pose
    check_apart(items, settled, ROCKS)


IMPORTS = """
from brimcast.vessels import ice
from brimcast.vessels.falling import Liquid, Loose
from brimcast.vessels.library import vessel
from brimcast.vessels.room import Room
from brimcast.vessels.settle import settle
"""


def told(seed):
    """All digits of where three pieces come to rest."""
    items = [Loose(ice.cracked(22, k, 0.5), 916.7) for k in range(3)]
    poses = settle(items, Room(vessel("rocks")), Liquid(998.2, level_mm=60), seed).poses
    return repr([(pose.turn.tolist(), pose.place_mm.tolist()) for pose in poses])


def test_same_seed_settles_alike_in_another_process():
    code = f"{IMPORTS}\n{inspect.getsource(told)}\nprint(told(1))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == told(1) != told(2)


@pytest.mark.parametrize(
    ("items", "liquid", "piece", "text"),
    [
        (loose(ice.block(9, 9, 9), ice.sphere(90)), None, 1, "90.0 mm across does not go through the mouth"),
        (loose(*[ice.block(30, 30, 30)] * 12), None, None, "too much ice for the glass: 12 pieces of 324 ml"),
        (loose(*[ice.block(30, 30, 30)] * 9), None, ANY, "pieces lie over the rim; take less"),
        (loose(ice.sphere(60)), Liquid(WATER, volume_ml=300), None, "lifts 300 ml over the brim; pour less"),
        ([Loose(ice.sphere(40), 916.7, Pose(np.eye(3), np.zeros(3)))], None, 0, "mm into the glass; move it"),
        (
            [Loose(ice.sphere(20), 916.7, Pose(np.eye(3), np.array([x, 0, 40.0]))) for x in (0, 15)],
            None,
            1,
            "stands in another piece",
        ),
    ],
)
def test_ice_that_does_not_fit(items, liquid, piece, text):
    with pytest.raises(SettleError, match=text) as caught:
        settle(items, ROCKS, liquid)
    assert caught.value.piece == piece
