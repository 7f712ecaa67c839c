"""Shipped tables against published points."""

import numpy as np
import pytest

from brimcast.shared.bands import GRID_NM
from brimcast.shared.tables import on_grid, read_table


def test_water_table_agrees_with_published_points(published):
    """published_values.yaml#absorption/water_absorption, water_absorption_minimum."""
    table = read_table("water_absorption_popefry1997.csv")
    water = on_grid(table["wavelength_nm"], table["absorption_per_m_napierian"])
    for wavelength_nm, value in published["absorption"]["water_absorption"]["value"].items():
        assert water[GRID_NM == wavelength_nm].item() == pytest.approx(value, abs=1e-9)
    minimum = published["absorption"]["water_absorption_minimum"]
    assert water.min() == pytest.approx(minimum["value"]["value"], abs=minimum["tolerance"]["value"])
    assert GRID_NM[water.argmin()] == pytest.approx(
        minimum["value"]["at_nm"], abs=minimum["tolerance"]["at_nm"]
    )


@pytest.mark.parametrize("tint", ["clear", "lowiron", "green", "bronze", "grey"])
def test_soda_lime_table_agrees_with_published_absorption(published, tint):
    """published_values.yaml#absorption/soda_lime_absorption_*, printed to two decimals."""
    table = read_table("soda_lime_k_rubin1985.csv")
    per_m = on_grid(table["wavelength_nm"], 4 * np.pi * table[f"k_{tint}"] / (table["wavelength_nm"] * 1e-9))
    for wavelength_nm, value in published["absorption"][f"soda_lime_absorption_{tint}"]["value"].items():
        assert per_m[GRID_NM == wavelength_nm].item() == pytest.approx(value, abs=0.0051)


def test_ice_table_agrees_with_published_absorption(published):
    """published_values.yaml#absorption/ice_absorption, printed to four decimals."""
    table = read_table("ice_nk_warren2008.csv")
    per_m = on_grid(table["wavelength_nm"], 4 * np.pi * table["k"] / (table["wavelength_nm"] * 1e-9))
    for wavelength_nm, value in published["absorption"]["ice_absorption"]["value"].items():
        assert per_m[GRID_NM == wavelength_nm].item() == pytest.approx(value, abs=0.000051)


def test_tables_cannot_be_changed_by_a_caller():
    column = read_table("ice_nk_warren2008.csv")["n"]
    with pytest.raises(ValueError):
        column[0] = 2.0


def test_on_grid_is_exact_for_straight_lines_and_refuses_short_tables():
    assert np.allclose(on_grid([300, 800], [3.0, 8.0]), GRID_NM / 100, rtol=1e-14)
    with pytest.raises(ValueError, match="380-700"):
        on_grid([400, 700], [1.0, 2.0])
    with pytest.raises(ValueError, match="rise"):
        on_grid([300, 800, 750], [1.0, 2.0, 3.0])


def test_on_grid_holds_the_ends_when_asked():
    held = on_grid([400, 650], [1.0, 2.0], hold_ends=True)
    assert held[0] == 1.0 and held[-1] == 2.0


def test_unknown_table_is_refused():
    with pytest.raises(FileNotFoundError):
        read_table("no_such_table.csv")
