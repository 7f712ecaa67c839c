"""What light meets inside a body: refractive index and absorption on the wavelength grid.

Every index is relative to air, every absorption Napierian (``exp(-a * length)``),
both on `GRID_NM`.
"""

from dataclasses import dataclass, field

import numpy as np

from brimcast.shared.bands import GRID_NM
from brimcast.shared.tables import on_grid

# In order of rank: where two bodies overlap, the earlier one is there.
KINDS = ("bubble", "glass", "core", "ice", "drops", "drink")

# Wavelengths in air, nm: hydrogen C and F, helium d, mean of the sodium pair D
# (ISO 7944 and spectral tables).
C_NM, D_NM, HELIUM_D_NM, F_NM = 656.2725, 589.2938, 587.5618, 486.1327

SQUARE_UM2 = (GRID_NM / 1000) ** 2


@dataclass(frozen=True, eq=False)
class Medium:
    """What light meets inside a body.

    Parameters
    ----------
    name : str
        For reports.
    kind : str
        One of `KINDS`.
    index : (321,) float
        Refractive index relative to air, on `GRID_NM`.
    absorption_per_mm : (321,) float
        Napierian absorption coefficient, 1/mm, on `GRID_NM`.
    scattering_per_mm : (321,) float
        Scattering coefficient, 1/mm, on `GRID_NM`; left out, the medium is clear.
    anisotropy : float
        Mean cosine of the angle of scattering (Henyey-Greenstein), above -1 and below 1.
    density_kg_m3 : float
        At 20 C; left out, that of soda-lime glass (from memory).

    Raises
    ------
    ValueError
        A spectrum has another shape, an index is below 1, an absorption is negative, or a number is out
        of its range.
    """

    name: str
    kind: str
    index: np.ndarray
    absorption_per_mm: np.ndarray
    scattering_per_mm: np.ndarray = field(default_factory=lambda: np.zeros(len(GRID_NM)))
    anisotropy: float = 0.0
    density_kg_m3: float = 2500.0

    def __post_init__(self):
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r} is unknown; use one of {', '.join(KINDS)}")
        if not -1 < self.anisotropy < 1:
            raise ValueError(f"anisotropy of {self.name} is {self.anisotropy:g}; it lies between -1 and 1")
        if not (np.isfinite(self.density_kg_m3) and self.density_kg_m3 > 0):
            raise ValueError(f"density of {self.name} is {self.density_kg_m3:g} kg/m3; it is more than 0")
        for name, least in (("index", 1.0), ("absorption_per_mm", 0.0), ("scattering_per_mm", 0.0)):
            spectrum = np.array(getattr(self, name), float)
            if spectrum.shape != GRID_NM.shape:
                raise ValueError(f"{name} of {self.name} needs {len(GRID_NM)} values, not {spectrum.shape}")
            if not (np.isfinite(spectrum) & (spectrum >= least)).all():
                raise ValueError(f"{name} of {self.name} must be {least:g} or more everywhere")
            spectrum.flags.writeable = False
            object.__setattr__(self, name, spectrum)

    def index_at(self, wavelength_nm):
        """Return the refractive index at wavelengths of 380-700 nm, straight lines between grid points."""
        return np.interp(wavelength_nm, GRID_NM, self.index)

    @property
    def abbe(self):
        """Abbe number (n_d - 1) / (n_F - n_C), ISO 12123; inf without dispersion."""
        spread = self.index_at(F_NM) - self.index_at(C_NM)
        return (self.index_at(HELIUM_D_NM) - 1) / spread if spread else np.inf


def plain(
    index, abbe=None, absorption_per_mm=0.0, kind="glass", name="plain", scattering_per_mm=0.0, anisotropy=0.0
):
    """Return a medium given by numbers.

    Parameters
    ----------
    index : float
        At the d line, relative to air.
    abbe : float, optional
        Abbe number; with it the index follows the two-term curve of Cauchy
        through n_d and n_F - n_C, without it all colours bend alike.
    absorption_per_mm : float
        Napierian, the same for all colours.
    kind, name : str
        As for `Medium`.
    scattering_per_mm : float
        The same for all colours.
    anisotropy : float
        As for `Medium`.

    Returns
    -------
    Medium

    Raises
    ------
    ValueError
        The Abbe number is not positive, or as for `Medium`.
    """
    if abbe is None:
        spectrum = np.full(GRID_NM.shape, float(index))
    elif abbe > 0:
        spectrum = cauchy(index, abbe)
    else:
        raise ValueError(f"an Abbe number is positive, not {abbe:g}")
    absorption, scattering = (
        np.full(GRID_NM.shape, float(each)) for each in (absorption_per_mm, scattering_per_mm)
    )
    return Medium(name, kind, spectrum, absorption, scattering, anisotropy)


def cauchy(index, abbe):
    """Return the (321,) index A + B / wavelength^2 through an n_d and an Abbe number."""
    spread = (index - 1) / abbe
    slope_um2 = spread / ((F_NM / 1000) ** -2 - (C_NM / 1000) ** -2)
    return index + slope_um2 * (1 / SQUARE_UM2 - (HELIUM_D_NM / 1000) ** -2)


def sellmeier(strengths, poles_um2):
    """Return the (321,) index n with n^2 - 1 = sum of B l^2 / (l^2 - C), l in micrometres (Sellmeier)."""
    terms = (b * SQUARE_UM2 / (SQUARE_UM2 - pole) for b, pole in zip(strengths, poles_um2, strict=True))
    return np.sqrt(1 + sum(terms))


def absorption_of(wavelength_nm, extinction):
    """Return the (321,) absorption 4 pi k / wavelength, 1/mm, for a table of extinction k."""
    return on_grid(wavelength_nm, 4 * np.pi * extinction / (wavelength_nm * 1e-6))
