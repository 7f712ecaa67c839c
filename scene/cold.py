"""What a set says of ice, condensation and rims, made into bodies in and on a glass."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from brimcast.shared.bands import GRID_NM
from brimcast.shared.errors import PersonError
from brimcast.vessels import dew, grains, ice, imports
from brimcast.vessels.falling import Liquid, Loose, SettleError
from brimcast.vessels.finish import find_zones
from brimcast.vessels.library import Vessel
from brimcast.vessels.mesh import Mesh, combined, placed, rotated
from brimcast.vessels.room import Pose, Room
from brimcast.vessels.settle import Settled, settle
from brimcast.vessels.strewing import Skin, StrewError

from . import materials
from . import models_cold as models
from . import models_materials as stuff
from .finishes import Bubble, Dressed, finish_of
from .glassfiles import folder_of
from .media import Medium
from .setfile import SetFile, faults_at

# What the words mean; common practice. The contact angles: clean glass 14 deg, in use 20 to 50
# (published_values.yaml#ice_and_condensation/contact_angle_glass), more where it is waxed or sprayed.
LOOKS = {
    "mist": dew.Dew(6000, 0.25, 0.9, 40.0),
    "drops": dew.Dew(3000, 0.6, 3.5, 50.0),
    "heavy": dew.Dew(3000, 0.8, 5.0, 60.0, runs=8),
}
# Index and Abbe number: rock salt; sucrose crystal, the middle of its three, 1.5376 to 1.5705. CRC Handbook,
# from memory; the Abbe number of sugar is a guess.
GRAINS = {"salt": (1.5443, 42.9), "sugar": (1.56, 50.0)}
# Mean cosine of the angle by which bubbles in ice scatter; from memory, 0.8 to 0.9.
_BUBBLES_COSINE = 0.85
# A glass without a drink and with ice is cold as far as this share of its height.
_COLD_SHARE = 0.85
_MOST_PIECES = 100


class Frozen(NamedTuple):
    """Real ice."""


class Clouded(NamedTuple):
    """Ice, or acrylic, that is clouded by bubbles too small to see."""

    material: str
    scattering_per_mm: float


class Drop(NamedTuple):
    """Water that has condensed."""


class Grain(NamedTuple):
    """A grain on a rim."""

    word: str


@dataclass(frozen=True, eq=False)
class Chilled:
    """What is in and on a glass.

    Attributes
    ----------
    bodies : list of (name, Mesh, made)
        Not yet placed in the set.
    level_mm : float or None
        Fill line above the table with the ice in the drink.
    """

    bodies: list
    level_mm: float | None


@dataclass(frozen=True)
class _Request:
    """What settling depends on, told by its digest."""

    digest: str
    loose: tuple = field(compare=False)
    room: Room = field(compare=False)
    liquid: Liquid | None = field(compare=False)
    seed: int = field(compare=False)


def cold_medium(made) -> Medium | None:
    """Return the medium of ice, its cores, drops or grains, None for anything else."""
    match made:
        case Frozen():
            return materials.ice()
        case Clouded():
            clear = materials.ice() if made.material == "ice" else materials.acrylic()
            scattering = np.full(GRID_NM.shape, made.scattering_per_mm)
            return replace(
                clear, name=f"cloudy {clear.name}", kind="core",
                scattering_per_mm=scattering, anisotropy=_BUBBLES_COSINE,
            )  # fmt: skip
        case Drop():
            return replace(materials.water(), name="condensation", kind="drops")
        case Grain():
            index, abbe = GRAINS[made.word]
            return materials.plain(index, abbe, kind="drops", name=made.word)
    return None


def chill_glass(
    set_file: SetFile, name: str, vessel: Vessel, dressed: Dressed, liquid: Liquid | None, detail: float
) -> Chilled:
    """Return the ice in a glass, the level that the drink then has, and what is on its outside.

    Parameters
    ----------
    set_file, name
        The set, and the glass's name.
    vessel : Vessel
        As it was before its finish.
    dressed : Dressed
    liquid : Liquid or None
        The drink.
    detail : float
        As for the vessel's mesh.

    Raises
    ------
    PersonError
        Ice, drops or grains do not fit.
    """
    glass = set_file.glasses[name]
    for key in ("ice", "condensation", "rimmed"):
        if getattr(glass, key) and not isinstance(vessel, Vessel):
            text = "a glass from a mesh does not tell its inside from its outside; take this out"
            raise PersonError(faults_at(set_file, f"glasses.{name}.{key}", text))
    bodies, level_mm = [], liquid.level_mm if liquid else None
    if glass.ice:
        bodies, level_mm = _put_ice(set_file, name, vessel, dressed, liquid, detail)
    elif liquid and level_mm is None:
        level_mm = vessel.fill_height_for_ml(liquid.volume_ml)
    try:
        if glass.condensation:
            drops = _condense(glass, vessel, dressed, level_mm)
            bodies.append((f"{name} condensation", dressed.fit(drops), Drop()))
    except StrewError as error:
        key = f"glasses.{name}.condensation.{error.part}"
        raise PersonError(faults_at(set_file, key, str(error))) from None
    try:
        if model := glass.rimmed:
            skin = Skin(vessel.outer, (), upright=0.0)
            asked = grains.Grains(model.count, model.size_mm, model.down_mm, model.share, model.seed)
            stuck = dressed.fit(grains.grain_mesh(skin, asked))
            bodies.append((f"{name} {model.with_}", stuck, Grain(model.with_)))
    except StrewError as error:
        key = f"glasses.{name}.rimmed.{error.part}"
        raise PersonError(faults_at(set_file, key, str(error))) from None
    return Chilled(bodies, level_mm)


def _condense(glass, vessel: Vessel, dressed: Dressed, level_mm: float | None) -> Mesh:
    asked = read_dew(glass.condensation)
    zones = () if vessel.closed else tuple(find_zones(vessel, finish_of(glass, vessel)))
    high = glass.condensation.up_to_mm
    if high is None:
        high = level_mm if level_mm is not None else _COLD_SHARE * vessel.height_mm
    elif high > vessel.height_mm:
        text = f"{high:g} mm is over the rim; allowed: up to {vessel.height_mm:g} mm"
        raise StrewError("up_to", text)
    low = 0.0 if vessel.closed else vessel.base_mm
    drops = dew.strew_drops(Skin(vessel.outer, zones), asked, (low, high))
    return dew.drop_mesh(drops, asked.angle_deg, dew.depth_of(dressed.vessel, bool(zones)))


def read_dew(model: models.Condensation) -> dew.Dew:
    """Return what a set says of condensation, with what its word stands for where it is silent.

    Raises
    ------
    StrewError
        The largest drop is smaller than the smallest.
    """
    names = ("count", "smallest_mm", "largest_mm", "angle_deg", "runs")
    given = {key: getattr(model, key) for key in names if getattr(model, key) is not None}
    found = replace(LOOKS[model.look], **given, above=model.above, seed=model.seed)
    if found.smallest_mm > found.largest_mm:
        part = "smallest" if "smallest_mm" in given else "largest"
        text = f"drops from {found.smallest_mm:g} mm to {found.largest_mm:g} mm; the largest comes last"
        raise StrewError(part, text)
    return found


def _put_ice(set_file, name, vessel, dressed, liquid, detail):
    """Return the bodies of a glass's ice, and the level."""
    glass = set_file.glasses[name]
    loose, owners, cracks, cores = [], [], {}, {}
    for number, model in enumerate(glass.ice):
        try:
            for k in range(model.count):
                piece = make_ice(model, k, folder_of(set_file), detail)
                density = ice.DENSITY_KG_M3[model.material]
                if getattr(model, "cracks", None):
                    asked = model.cracks
                    given = ice.Cracks(asked.count, asked.size_mm, asked.gap_mm, _mix(model.seed, k))
                    cracks[len(loose)] = ice.crack_mesh(piece, given)
                if model_core := getattr(model, "core", None):
                    made = Clouded(model.material, model_core.scattering_per_mm)
                    cores.setdefault(made, []).append((len(loose), ice.core(piece, model_core.size)))
                loose.append(Loose(piece, density, hand_pose(model)))
                owners.append(number)
        except ice.IceError as error:
            key = f"glasses.{name}.ice.{number + 1}.{error.part}"
            raise PersonError(faults_at(set_file, key, str(error))) from None
    if len(loose) > _MOST_PIECES:
        text = f"{len(loose)} pieces of ice in one glass; allowed: up to {_MOST_PIECES}"
        raise PersonError(faults_at(set_file, f"glasses.{name}.ice", text))
    room = Room(vessel, dressed.bend)
    seed = _mix(*(model.seed for model in glass.ice))
    words = repr((glass.ice, liquid, seed)).encode()
    told = [vessel.inner.points_mm.tobytes(), dressed.bend.tobytes(), words]
    told += [one.piece.mesh.vertices_mm.tobytes() for one in loose]
    digest = hashlib.sha256(b"".join(told)).hexdigest()
    try:
        rest = _settled(_Request(digest, tuple(loose), room, liquid, seed))
    except SettleError as error:
        at = "" if error.piece is None else f".{owners[error.piece] + 1}"
        raise PersonError(faults_at(set_file, f"glasses.{name}.ice{at}", str(error))) from None
    bodies = []
    for material, made in (("ice", Frozen()), ("acrylic", stuff.GlassMaterial(kind="acrylic"))):
        chosen = [k for k, owner in enumerate(owners) if glass.ice[owner].material == material]
        if chosen:
            meshes = [_moved(loose[k].piece.mesh, rest.poses[k]) for k in chosen]
            own = f"{name} ice" if material == "ice" else f"{name} acrylic ice"
            bodies.append((own, combined(meshes), made))
    for number, (made, found) in enumerate(cores.items(), 1):
        own = f"{name} ice cores" if len(cores) == 1 else f"{name} ice cores {number}"
        bodies.append((own, combined([_moved(mesh, rest.poses[k]) for k, mesh in found]), made))
    if cracks:
        moved = [_moved(mesh, rest.poses[k]) for k, mesh in cracks.items()]
        bodies.append((f"{name} ice cracks", combined(moved), Bubble()))
    return bodies, rest.level_mm


@lru_cache(maxsize=8)
def _settled(request: _Request) -> Settled:
    return settle(list(request.loose), request.room, request.liquid, request.seed)


def make_ice(model: models.Ice, number: int, folder, detail: float = 1.0) -> ice.Piece:
    """Return one piece of ice of a set, the `number`-th of its kind, from 0.

    Raises
    ------
    IceError
        Its measures do not fit together.
    PersonError
        Its file cannot be used.
    """
    match model:
        case models.IceCube():
            piece = ice.block(model.side_mm, model.side_mm, model.side_mm, model.edge_mm, detail)
        case models.IceSpear():
            piece = ice.block(model.side_mm, model.side_mm, model.length_mm, model.edge_mm, detail)
        case models.IceSphere():
            piece = ice.sphere(model.diameter_mm, detail)
        case models.IceCracked():
            piece = ice.cracked(model.size_mm, _mix(model.seed, number), model.edge_mm, detail)
        case models.IceMesh():
            path = folder / model.file
            if not path.is_file():
                raise ice.IceError("file", f"there is no file {model.file!r} in {folder.resolve()}")
            ask = imports.Import(model.unit, None, None, imports.SHARP_DEG, model.repair)
            piece = ice.imported(imports.import_mesh(path, ask).mesh)
    return ice.roughened(piece, model.roughness)


def hand_pose(model) -> Pose | None:
    """Return where a model with `at`, `tilt` and `turn` is placed by hand, None without `at`."""
    if model.at_mm is None:
        return None
    tilt, turn = np.radians([model.tilt_deg, -model.turn_deg])
    cos, sin = np.cos(tilt), np.sin(tilt)
    lifted = np.array([[1, 0, 0], [0, cos, -sin], [0, sin, cos]])
    cos, sin = np.cos(turn), np.sin(turn)
    return Pose(np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]]) @ lifted, np.array(model.at_mm))


def _moved(mesh: Mesh, pose: Pose) -> Mesh:
    return placed(rotated(mesh, pose.turn), pose.place_mm)


def _mix(*numbers: int) -> int:
    """Return one seed of several numbers."""
    return int(np.random.SeedSequence(numbers).generate_state(1)[0])
