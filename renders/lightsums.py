"""What one lamp's light adds up to, round after round; the large sums stay on the device until the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brimcast.scene.lamps import Lamp

from .deposits import lay_down
from .device import floats, opaque_float, opaque_int
from .engine import dr, mi
from .launches import ENDS, ORDERS_OF_REFLECTION, LampRows, Landings, Tally
from .uncertainty import relative_error
from .voxels import OCTANTS
from .windows import Windows

BATCHES = 16
# What is fainter than this share of the plain table need not be more exact than there: light of large lamps.
FAINT_SHARE = 0.25


@dataclass
class LampLight:
    """What one lamp's light does after it has met glassware; per unit luminance of its front without gels.

    Maps and meters, which have bands, are without gels too; what is luminous, blue or red went through them.

    Attributes
    ----------
    lamp : Lamp
    plain : float
        Luminous light on the bare table at the datum, without gels.
    maps : (16, 2, cells) float32
        Mean spectral irradiance of every cell of `windows`, 1/nm; kinds refractive, reflective.
    channels : (batches, 2, 3, ny, nx) float32
        Luminous, blue and red light in the table's fine window, batch by batch.
    meters : (batches, 16, meters) float
        Mean spectral irradiance on each meter.
    ends : (batches, ENDS, 4) float
        Luminous flux by end and by number of reflections, mm².
    sides : (batches, sides, 2) float
        Luminous flux landed on each panel side, by kind.
    absorbed : (batches, 4) float
    incident : (batches,) float
        Luminous flux that reached the glassware.
    haze : (2, 16, octants, voxels) float32
        What cloudy media send to the camera of straight and of scattered light, as laid into `voxels`, /nm.
    rounds : int
    relative_error : float
        Of the luminous map over the caustic's outline.
    rays : int
    """

    lamp: Lamp
    plain: float
    maps: np.ndarray
    channels: np.ndarray
    meters: np.ndarray
    ends: np.ndarray
    sides: np.ndarray
    absorbed: np.ndarray
    incident: np.ndarray
    haze: np.ndarray
    rounds: int
    relative_error: float
    rays: int

    @property
    def plain_seen(self) -> float:
        """Luminous light on the bare table at the datum, through the lamp's gels."""
        return self.plain * self.lamp.passed


class LightSums:
    """Sums of one lamp's light over rounds of sixteen batches.

    Parameters
    ----------
    windows : Windows
    together : int
        Batches of a launch, a divisor of sixteen.
    shapes : dict of str to tuple of int
        Of `BOOKS` and of the haze.
    kept : dict, optional
        What `arrays` told of earlier rounds.
    """

    BOOKS = ("meters", "ends", "sides", "absorbed", "incident")
    #: Rounds done, rounds after which the error is looked at next, rays.
    COUNTS = ("rounds", "until", "rays")

    def __init__(self, windows: Windows, together: int, shapes: dict, kept: dict | None = None):
        self.windows, self.together = windows, together
        self.haze_shape = shapes["haze"]
        if kept:
            self.books = {name: kept[name] for name in self.BOOKS}
            self.rounds, self.until, self.rays = (int(kept[name]) for name in self.COUNTS)
            self.error = float(kept["error"])
            self.maps = floats(kept["maps"])
            parts = np.split(kept["channels"], BATCHES // together)
            self.channels = [floats(part) for part in parts]
            self.hazes = [floats(part) for part in kept["haze"]]
        else:
            self.books = {name: np.zeros(shapes[name]) for name in self.BOOKS}
            self.rounds, self.until, self.rays, self.error = 0, 1, 0, float("nan")
            self.maps = dr.zeros(mi.Float, 32 * windows.cells)
            size = max(1, together * 6 * windows.fine.cells)
            self.channels = [dr.zeros(mi.Float, size) for _ in range(BATCHES // together)]
            self.hazes = [dr.zeros(mi.Float, max(1, int(np.prod(self.haze_shape)))) for _ in range(2)]
        dr.make_opaque(self.maps, self.channels, self.hazes)

    def lay_down(self, launch: int, landed: Landings, rows: LampRows, beside_cells: float) -> None:
        """Add a launch's landings to the maps."""
        into = self.maps, self.channels[launch]
        found = lay_down(landed, rows, self.windows.table, opaque_float(beside_cells), *into)
        self.maps, self.channels[launch] = found

    def book(self, launch: int, rows: LampRows, tally: Tally, straight: bool, areas_mm2: np.ndarray) -> None:
        """Add a launch's sums to its batches; all light sets out in launches of `straight` orders.

        Parameters
        ----------
        areas_mm2 : (meters,) float
        """
        here = slice(launch * self.together, (launch + 1) * self.together)
        books = self.books
        books["ends"][here] += tally.ends.numpy().reshape(-1, ENDS, ORDERS_OF_REFLECTION)
        books["absorbed"][here] += tally.absorbed.numpy().reshape(-1, ORDERS_OF_REFLECTION)
        books["sides"][here] += tally.panels.numpy().reshape(self.together, -1, 2)
        if straight:
            books["incident"][here] += tally.incident.numpy()
        if len(areas_mm2):
            flux = tally.meters.numpy().reshape(dr.width(rows.band), len(areas_mm2))
            np.add.at(books["meters"], (here.start + rows.batch.numpy(), rows.band.numpy()), flux / areas_mm2)
        self.rays += dr.width(rows.ray)

    def find_error(self, plain: float) -> float:
        """Error of the luminous map, both kinds together, over the caustic's outline; 0 where no light falls.

        Parameters
        ----------
        plain : float
            Light of the plain table.
        """
        fine = self.windows.fine
        if not fine.cells:
            return 0.0
        index = dr.arange(mi.UInt32, self.together * fine.cells)
        dr.make_opaque(index)
        lit = [_add_kinds(part, index, opaque_int(fine.cells)).numpy() for part in self.channels]
        lit = np.concatenate(lit).reshape(BATCHES, *fine.shape)
        lit /= self.rounds * fine.cell_mm**2
        error = relative_error(*fine.centres(), lit, plain * FAINT_SHARE)
        return 0.0 if error is None else float(error)

    def arrays(self) -> dict[str, np.ndarray]:
        """All sums, to go on from later."""
        counts = {name: np.array(getattr(self, name)) for name in self.COUNTS}
        return {
            **self.books,
            **counts,
            "error": np.array(self.error),
            "maps": self.maps.numpy(),
            "channels": np.concatenate([part.numpy() for part in self.channels]),
            "haze": np.stack([haze.numpy() for haze in self.hazes]),
        }

    def light(self, lamp: Lamp, plain: float) -> LampLight:
        """Return the means over all rounds. The sums are given up: they are large."""
        fine = self.windows.fine
        maps = self.maps.numpy().reshape(16, 2, -1)
        maps = maps / (self.windows.areas_mm2 * BATCHES * self.rounds).astype(np.float32)
        self.maps = None
        channels = np.empty((BATCHES, 2, 3, *fine.shape), np.float32)
        for launch in range(BATCHES // self.together if fine.cells else 0):
            here = slice(launch * self.together, (launch + 1) * self.together)
            channels[here] = self.channels[launch].numpy().reshape(self.together, 2, 3, *fine.shape)
            self.channels[launch] = None
        channels /= self.rounds * fine.cell_mm**2
        size = int(np.prod(self.haze_shape))
        haze = np.stack([haze.numpy()[:size] for haze in self.hazes]).reshape(2, *self.haze_shape)
        return LampLight(
            lamp=lamp,
            plain=plain,
            maps=maps,
            channels=channels,
            **{name: book / self.rounds for name, book in self.books.items()},
            haze=haze / (BATCHES * self.rounds),
            rounds=self.rounds,
            relative_error=self.error,
            rays=self.rays,
        )


def list_shapes(meters: int, sides: int, voxels: int) -> dict[str, tuple[int, ...]]:
    """Shapes of the books, and of the haze."""
    return {
        "meters": (BATCHES, 16, meters),
        "ends": (BATCHES, ENDS, ORDERS_OF_REFLECTION),
        "sides": (BATCHES, sides, 2),
        "absorbed": (BATCHES, ORDERS_OF_REFLECTION),
        "incident": (BATCHES,),
        "haze": (16, OCTANTS, voxels),
    }


@dr.freeze(warn_after=1000)
def _add_kinds(channels, index, cells):
    """Luminous light of both kinds: (batches × 2 kinds × 3 × cells) to (batches × cells)."""
    batch = index // cells
    first = batch * 6 * cells + index - batch * cells
    return dr.gather(mi.Float, channels, first) + dr.gather(mi.Float, channels, first + 3 * cells)
