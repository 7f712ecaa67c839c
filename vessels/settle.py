"""Ice coming to rest in a glass: it falls in, floats or sinks, and stacks."""

from dataclasses import dataclass

import numpy as np

from .falling import SKIN_MM, Drink, Fall, SettleError
from .fill import ML
from .room import Pose, clash_mm3, spread_points

_ATTEMPTS = 4
# More of a glass than this no heap of loose pieces fills; common practice.
_DENSEST = 0.8
_NEAR_MM3 = 1e-3


@dataclass(frozen=True, eq=False)
class Settled:
    """Where all came to rest.

    Parameters
    ----------
    poses : tuple of Pose
    level_mm : float or None
        Of the drink, with the ice in it; None without.
    """

    poses: tuple[Pose, ...]
    level_mm: float | None


def settle(loose, room, liquid=None, seed=1):
    """Return where pieces of ice come to rest in a glass; the same again for the same seed.

    Parameters
    ----------
    loose : list of Loose
        In the order in which they fall in.
    room : Room
    liquid : Liquid, optional
    seed : int

    Returns
    -------
    Settled

    Raises
    ------
    SettleError
        A piece does not go through the mouth, is held in the glass or in another one, or there is no room.
    """
    for number, one in enumerate(loose):
        if one.pose is None and one.piece.girth_mm > 2 * (room.mouth_mm - SKIN_MM):
            text = f"{one.piece.girth_mm:.1f} mm across does not go through the mouth"
            raise SettleError(f"{text}, {2 * room.mouth_mm:.1f} mm wide", number)
    _check_room(loose, room)
    _check_held(loose, room)
    held = all(one.pose is not None for one in loose)
    for attempt in range(_ATTEMPTS):
        if held:
            poses = [one.pose for one in loose]
            level_mm = Drink(liquid, room).level_mm(poses, loose) if liquid else None
        else:
            poses, level_mm = Fall(loose, room, liquid, [seed, attempt]).run()
        out = [number for number, pose in enumerate(poses) if pose.place_mm[2] > room.crest_mm]
        if out:
            text = f"{len(out)} of {len(loose)} pieces lie over the rim"
            raise SettleError(f"there is too much ice for the glass: {text}; take less", out[0])
        if held or not _find_clash(loose, poses, room):
            return Settled(tuple(poses), level_mm)
    raise SettleError("the ice finds no rest without touching the glass; take less, or another seed")


def _check_room(loose, room):
    ice_ml = sum(one.piece.volume_mm3 for one in loose) / ML
    room_ml = room.vessel.capacity_ml()
    if ice_ml > _DENSEST * room_ml:
        text = f"{len(loose)} pieces of {ice_ml:.0f} ml in all, and it holds {room_ml:.0f} ml"
        raise SettleError(f"there is too much ice for the glass: {text}; take less")


def _check_held(loose, room):
    held = [(number, one) for number, one in enumerate(loose) if one.pose is not None]
    for number, one in held:
        least = float(room.clearance(spread_points(one.piece, one.pose)).min())
        if least < 0:
            raise SettleError(
                f"it reaches {-least:.1f} mm into the glass; move it or make it smaller", number
            )
        for before, other in held:
            if before < number and _share(one.piece, one.pose, other.piece, other.pose) > _NEAR_MM3:
                raise SettleError("it stands in another piece that was placed by hand; move it", number)


def _share(piece, pose, other, other_pose):
    """Return the volume that two placed pieces share, mm3."""
    apart = np.linalg.norm(pose.place_mm - other_pose.place_mm)
    if apart > piece.reach_mm + other.reach_mm:
        return 0.0
    return clash_mm3(piece, pose, other, other_pose)


def _find_clash(loose, poses, room):
    """Whether a piece is in the glass or in another one."""
    for number, (one, pose) in enumerate(zip(loose, poses, strict=True)):
        if room.clearance(spread_points(one.piece, pose)).min() < 0:
            return True
        for other, other_pose in zip(loose[:number], poses[:number], strict=True):
            if _share(one.piece, pose, other.piece, other_pose) > _NEAR_MM3:
                return True
    return False
