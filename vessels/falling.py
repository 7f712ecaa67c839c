"""Ice falling into a glass: what falls, the drink's level as it does, and the motion.

The motion is that of a rigid-body solver (Rapier), with friction and drag; only where it ends counts.
"""

from dataclasses import dataclass

import numpy as np

from .fill import ML
from .floating import wet, wet_ball, wet_bodies
from .ice import Piece, turn_matrix
from .meniscus import GRAVITY_M_S2
from .mesh import merged, swung
from .room import Pose

_GRAVITY_MM_S2 = 1e3 * GRAVITY_M_S2
_STEP_S = 1 / 120
# Steps between two pieces, steps at most after the last, steps at rest, and what counts as rest.
_PAUSE, _PATIENCE, _CALM = 30, 1500, 40
# Steps after the last piece from which all drag doubles, and doubles again: a heap that rocks comes to rest.
_DOUBLE, _DOUBLINGS = 150, 3
_ITERATIONS = 10
_STILL_MM_S, _STILL_RAD_S = 0.3, 0.03
# Of wet ice on glass and on ice, and the drag of drink and air, 1/s: only the way there depends on them.
_FRICTION, _DRAG_WET, _DRAG_DRY = 0.05, (3.0, 4.0), (0.6, 1.0)
# Kept free round each body; the solver lets them sink into one another by half of a thousandth of this size.
SKIN_MM, _SIZE_MM = 0.1, 10.0
_BRIM_MM = 0.01  # a surface so near to the crest runs over


class SettleError(ValueError):
    """Ice does not fit; `piece` says which, from 0, None for all of it."""

    def __init__(self, text, piece=None):
        super().__init__(text)
        self.piece = piece


@dataclass(frozen=True)
class Liquid:
    """The drink that ice falls into.

    Parameters
    ----------
    density_kg_m3 : float
    level_mm : float or None
        Height of the surface with the ice in it.
    volume_ml : float or None
        Or what was poured: the surface then rises by what the ice takes up.
    """

    density_kg_m3: float
    level_mm: float | None = None
    volume_ml: float | None = None


@dataclass(frozen=True, eq=False)
class Loose:
    """A piece that goes into the glass.

    Parameters
    ----------
    piece : Piece
    density_kg_m3 : float
    pose : Pose or None
        Held there by hand; None lets it fall and settle.
    """

    piece: Piece
    density_kg_m3: float
    pose: Pose | None = None


class Drink:
    """The liquid and its level while ice moves in it."""

    def __init__(self, liquid, room):
        self.liquid, self.room = liquid, room
        vessel = room.vessel
        if liquid.volume_ml is not None:
            heights = np.linspace(vessel.base_mm, room.crest_mm, 400)
            self.heights, self.holds = heights, np.array([vessel.capacity_ml(z) for z in heights])

    def level_mm(self, poses, loose):
        """Return the height of the surface with the ice where it is."""
        if self.liquid.volume_ml is None:
            return self.liquid.level_mm
        from scipy.optimize import brentq

        def over_ml(level_mm):
            wet_mm3 = sum(wet(one.piece, pose, level_mm) for one, pose in zip(loose, poses, strict=True))
            return np.interp(level_mm, self.heights, self.holds) - wet_mm3 / ML - self.liquid.volume_ml

        highest_mm = self.room.crest_mm - _BRIM_MM
        if over_ml(highest_mm) <= 0:
            text = f"the ice lifts {self.liquid.volume_ml:g} ml over the brim; pour less, or take less ice"
            raise SettleError(text)
        return float(brentq(over_ml, self.room.vessel.base_mm, highest_mm, xtol=1e-9))

    def follow(self, wet_mm3):
        """Return the height of the surface for a volume of ice under it, mm."""
        if self.liquid.volume_ml is None:
            return self.liquid.level_mm
        return float(np.interp(self.liquid.volume_ml + wet_mm3 / ML, self.holds, self.heights))


class Fall:
    """The pieces falling in one after the other."""

    def __init__(self, loose, room, liquid, seed):
        import rapier3d

        self.rapier = rapier3d
        self.loose, self.room = loose, room
        self.generator = np.random.default_rng([*seed, 0x5E7])
        self.drink = Drink(liquid, room) if liquid else None
        self.world = rapier3d.PhysicsWorld(gravity=(0.0, 0.0, -_GRAVITY_MM_S2))
        self.world.set_num_threads(1)
        self.world.integration_parameters.dt = _STEP_S
        self.world.integration_parameters.length_unit = _SIZE_MM
        self.world.integration_parameters.num_solver_iterations = _ITERATIONS
        self.bodies = {}
        self.level_mm, self.drag, self.surfaces = None, 1.0, None
        fixed = self.world.add_body(rapier3d.RigidBody.fixed())
        for corners in room.blocks():
            self._touch(rapier3d.Collider.convex_hull(corners.astype(np.float32)), fixed)
        for number, one in enumerate(loose):
            if one.pose is not None:
                self._put(number, rapier3d.RigidBody.fixed(), one.pose)

    def run(self):
        """Return the poses at rest, and the level."""
        falling = [number for number, one in enumerate(self.loose) if one.pose is None]
        for number in falling:
            free = self.rapier.RigidBody.dynamic().can_sleep(False).ccd_enabled(True)
            free = free.linear_damping(_DRAG_DRY[0]).angular_damping(_DRAG_DRY[1])
            self._put(number, free, self._above(number))
            for _ in range(_PAUSE):
                self._step()
        calm = 0
        for step in range(_PATIENCE):
            self.drag = 2.0 ** min(step // _DOUBLE, _DOUBLINGS)
            self._step()
            calm = calm + 1 if self._is_still(falling) else 0
            if calm == _CALM:
                break
        poses = [self._pose(number) for number in range(len(self.loose))]
        level_mm = self.drink.level_mm(poses, self.loose) if self.drink else None
        return poses, level_mm

    def _touch(self, collider, body):
        self.world.add_collider(collider.friction(_FRICTION).contact_skin(SKIN_MM), body)

    def _put(self, number, builder, pose):
        one = self.loose[number]
        piece, rapier = one.piece, self.rapier
        builder = builder.translation(tuple(pose.place_mm))
        builder = builder.rotation(tuple(_turn(pose.turn).as_rotvec()))
        # A little larger than it is, so that what the solver leaves of an overlap is none.
        round_mm = piece.round_mm + SKIN_MM
        if len(piece.corners_mm) == 1:
            shape = rapier.Collider.ball(round_mm)
        else:
            shape = rapier.Collider.round_convex_hull(piece.corners_mm.astype(np.float32), round_mm)
        mass, moments, frame = _weigh(piece, one.density_kg_m3)
        properties = rapier.MassProperties(
            (0.0, 0.0, 0.0), mass, tuple(moments), tuple(_turn(frame).as_quat())
        )
        body = self.world.add_body(builder)
        self._touch(shape.mass_properties(properties), body)
        self.bodies[number] = body

    def _above(self, number):
        """Return where a piece begins to fall: over all others, somewhere over the mouth."""
        piece, room = self.loose[number].piece, self.room
        tops = [self._pose(k).place_mm[2] + self.loose[k].piece.reach_mm for k in self.bodies]
        height = max([room.crest_mm, *tops]) + piece.reach_mm + 1.0
        slack = room.mouth_mm - piece.reach_mm - 1.0
        if slack > 0:
            turn, free = turn_matrix(self.generator), slack
        else:
            # Only lengthwise does it go in: its longest axis upright.
            turn, free = _upright(piece), max(room.mouth_mm - piece.girth_mm / 2 - 0.2, 0.0) / 2
        away, around = free * np.sqrt(self.generator.random()), self.generator.uniform(0, 2 * np.pi)
        return Pose(turn, swung(away, 0.0, around) + room.bend[:, 2] * height)

    def _pose(self, number):
        from scipy.spatial.transform import Rotation

        if self.loose[number].pose is not None:
            return self.loose[number].pose
        body = self.world.rigid_bodies[self.bodies[number]]
        turn, place = body.rotation, body.translation
        matrix = Rotation.from_quat([turn.i, turn.j, turn.k, turn.w]).as_matrix()
        return Pose(matrix, np.array([place.x, place.y, place.z], dtype=float))

    def _step(self):
        if self.drink:
            if self.level_mm is None:
                there = [self.loose[number] for number in self.bodies]
                self.level_mm = self.drink.level_mm([self._pose(number) for number in self.bodies], there)
            self.level_mm = self.drink.follow(self._lift())
        self.world.step()

    def _lift(self):
        """Push all pieces up by what they displace and brake them; return that volume, mm3."""
        bodies = [self.world.rigid_bodies[handle] for handle in self.bodies.values()]
        turns = np.array([body.rotation.to_matrix() for body in bodies], dtype=float).reshape(-1, 3, 3)
        places = np.array([[*body.translation] for body in bodies], dtype=float)
        owners, vertices, faces, face_owners = self._surfaces()
        spots = np.einsum("nij,nj->ni", turns[owners], vertices) + places[owners]
        volumes, middles = wet_bodies(spots[faces], face_owners, len(bodies), self.level_mm)
        for k, (number, body) in enumerate(zip(self.bodies, bodies, strict=True)):
            piece = self.loose[number].piece
            if len(piece.corners_mm) == 1:
                volumes[k], middles[k] = wet_ball(places[k], piece.round_mm, self.level_mm)
            if self.loose[number].pose is not None:
                continue
            body.reset_forces()
            body.reset_torques()
            share = min(volumes[k] / piece.volume_mm3, 1.0)
            drags = zip(_DRAG_DRY, _DRAG_WET, strict=True)
            body.linear_damping, body.angular_damping = (
                self.drag * (dry + (wet_ - dry) * share) for dry, wet_ in drags
            )
            if volumes[k] > 0:
                force = self.drink.liquid.density_kg_m3 * 1e-6 * volumes[k] * _GRAVITY_MM_S2
                body.add_force_at_point((0.0, 0.0, float(force)), tuple(map(float, middles[k])))
        return float(volumes.sum())

    def _surfaces(self):
        """Return owner and place of each vertex about its piece, faces, and their owners."""
        if self.surfaces is None or self.surfaces[0] != len(self.bodies):
            meshes = [self.loose[number].piece.coarse for number in self.bodies]
            counts = [len(mesh.vertices_mm) for mesh in meshes]
            starts = np.cumsum([0, *counts[:-1]])
            self.surfaces = (
                len(self.bodies),
                (
                    np.repeat(np.arange(len(meshes)), counts),
                    np.concatenate([mesh.vertices_mm for mesh in meshes]),
                    np.concatenate([mesh.faces + start for mesh, start in zip(meshes, starts, strict=True)]),
                    np.repeat(np.arange(len(meshes)), [len(mesh.faces) for mesh in meshes]),
                ),
            )
        return self.surfaces[1]

    def _is_still(self, falling):
        for number in falling:
            body = self.world.rigid_bodies[self.bodies[number]]
            if _length(body.linvel) > _STILL_MM_S or _length(body.angvel) > _STILL_RAD_S:
                return False
        return True


def _length(vector):
    return (vector.x**2 + vector.y**2 + vector.z**2) ** 0.5


def _turn(matrix):
    from scipy.spatial.transform import Rotation

    return Rotation.from_matrix(matrix)


def _weigh(piece, density_kg_m3):
    """Return mass, g, principal moments, g mm2, and the (3, 3) frame they are in."""
    density = density_kg_m3 * 1e-6
    solid = merged(piece.coarse)
    solid.density = density
    moments, frame = np.linalg.eigh(solid.moment_inertia)
    if np.linalg.det(frame) < 0:
        frame[:, 0] *= -1
    return density * piece.volume_mm3, moments, frame


def _upright(piece):
    """Return the turn that stands a piece on end."""
    frame = np.roll(piece.axes, -1, axis=0)
    return frame if np.linalg.det(frame) > 0 else frame * [[-1], [1], [1]]
