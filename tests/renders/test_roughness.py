"""Rough interfaces against the closed forms of Walter et al. 2007, evaluated by quadrature."""

import numpy as np
import pytest

from brimcast.renders import engine

COUNT = 512  # numbers along each side of the unit square


@pytest.fixture(scope="module")
def tools():
    """The engine's arrays, and the two functions under test."""
    engine.start("cpu")
    from brimcast.renders.engine import mi
    from brimcast.renders.roughness import get_away, roughen

    return mi, roughen, get_away


def _slopes(tools, incoming, normal, roughness):
    """Return (n, 3) slopes that an even grid of numbers gives for one direction of light."""
    mi, roughen, _ = tools
    grid = (np.arange(COUNT) + 0.5) / COUNT
    first, second = (mi.Float(part.ravel()) for part in np.meshgrid(grid, grid))
    light, upright = mi.Vector3f(*map(float, incoming)), mi.Normal3f(*map(float, normal))
    met = roughen(light, upright, mi.Float(roughness), first, second)
    return np.array(met).reshape(3, -1).T


def _away(tools, directions, normal, roughness):
    mi, _, get_away = tools
    ways, upright = mi.Vector3f(*map(mi.Float, directions.T)), mi.Normal3f(*map(float, normal))
    return np.array(get_away(ways, upright, mi.Float(roughness)))


def _ggx(cosine, roughness):
    """Equation 33 of Walter et al."""
    squared = cosine**2
    return roughness**2 / (np.pi * squared**2 * (roughness**2 + 1 / squared - 1) ** 2)


def _smith(cosine, roughness):
    """Equation 34 of Walter et al."""
    cosine = np.abs(cosine)
    return 2 / (1 + np.sqrt(1 + roughness**2 * (1 / cosine**2 - 1)))


def _hemisphere(count=700):
    """Return directions of the upper half space, even in cosine and azimuth, and the solid angle of each."""
    cos, turn = np.meshgrid((np.arange(count) + 0.5) / count, 2 * np.pi * (np.arange(count) + 0.5) / count)
    sin = np.sqrt(1 - cos**2)
    ways = np.stack([sin * np.cos(turn), sin * np.sin(turn), cos], axis=-1).reshape(-1, 3)
    return ways, 2 * np.pi / count**2


def _fresnel(cosine, before, after):
    """Unpolarised reflectance, amplitude coefficients as in E. Hecht, Optics."""
    squared = 1 - (before / after) ** 2 * (1 - cosine**2)
    inner = np.sqrt(np.maximum(squared, 0))
    across = (before * cosine - after * inner) / (before * cosine + after * inner)
    along = (after * cosine - before * inner) / (after * cosine + before * inner)
    return np.where(squared <= 0, 1.0, (across**2 + along**2) / 2)


def _from_above(tilt_deg):
    tilt = np.radians(tilt_deg)
    return np.array([-np.sin(tilt), 0.0, -np.cos(tilt)])


@pytest.mark.parametrize("roughness", [0.05, 0.3, 1.0])
def test_slopes_under_upright_light_follow_the_closed_form(tools, roughness):
    """Equation 35 of Walter et al.: tan^2 of the slope is below t with probability t / (roughness^2 + t)."""
    slopes = _slopes(tools, (0, 0, -1), (0, 0, 1), roughness)
    tangent2 = np.sort((slopes[:, 0] ** 2 + slopes[:, 1] ** 2) / slopes[:, 2] ** 2)
    ranks = (np.arange(len(tangent2)) + 0.5) / len(tangent2)
    # The grid has COUNT lines across the distribution, so steps of 1 / COUNT.
    assert np.abs(tangent2 / (roughness**2 + tangent2) - ranks).max() < 1.5 / COUNT


@pytest.mark.parametrize("roughness", [0.2, 0.6])
@pytest.mark.parametrize("tilt_deg", [20, 60, 80])
def test_slopes_under_slanting_light_are_those_that_it_can_meet(tools, roughness, tilt_deg):
    """Means of the slope over the visible distribution G1 D (v.m) / cos, by quadrature."""
    incoming = _from_above(tilt_deg)
    slopes = _slopes(tools, incoming, (0, 0, 1), roughness)
    ways, solid = _hemisphere()
    facing = np.maximum(ways @ -incoming, 0)
    density = _smith(-incoming[2], roughness) * facing * _ggx(ways[:, 2], roughness) / -incoming[2]
    assert density.sum() * solid == pytest.approx(1, abs=3e-3)
    assert slopes.mean(axis=0) == pytest.approx(density @ ways * solid, abs=3e-3)
    assert (slopes @ -incoming).min() > -1e-6


@pytest.mark.parametrize("roughness", [0.2, 0.6])
@pytest.mark.parametrize("tilt_deg", [5, 60])
def test_mirror_throws_back_what_the_closed_form_says(tools, roughness, tilt_deg):
    """Equation 20 of Walter et al. with F = 1, integrated over all ways off the surface; never above 1."""
    incoming = _from_above(tilt_deg)
    slopes = _slopes(tools, incoming, (0, 0, 1), roughness)
    thrown = incoming - 2 * (slopes @ incoming)[:, None] * slopes
    kept = _away(tools, thrown, (0, 0, 1), roughness)
    assert kept.max() <= 1 and kept.min() >= 0
    ways, solid = _hemisphere()
    half = ways - incoming
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    masked = _smith(-incoming[2], roughness) * _smith(ways[:, 2], roughness)
    brdf = _ggx(half[:, 2], roughness) * masked / (4 * -incoming[2] * ways[:, 2])
    assert kept.mean() == pytest.approx((brdf * ways[:, 2]).sum() * solid, abs=3e-3)


@pytest.mark.parametrize(("before", "after"), [(1.0, 1.52), (1.52, 1.0)])
@pytest.mark.parametrize("roughness", [0.2, 0.5])
def test_rough_window_lets_through_what_the_closed_form_says(tools, before, after, roughness):
    """Equation 21 of Walter et al., integrated over all ways through the surface."""
    incoming = _from_above(30)
    slopes = _slopes(tools, incoming, (0, 0, 1), roughness)
    cosine = -(slopes @ incoming)
    squared = 1 - (before / after) ** 2 * (1 - cosine**2)
    inner = np.sqrt(np.maximum(squared, 0))
    through = before / after * incoming + (before / after * cosine - inner)[:, None] * slopes
    kept = _away(tools, through, (0, 0, -1), roughness)
    passed = (np.where(squared > 0, 1 - _fresnel(cosine, before, after), 0) * kept).mean()

    ways, solid = _hemisphere()
    ways = ways * [1, 1, -1]
    half = -(before * -incoming + after * ways)
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    half *= np.sign(half[:, 2:])
    in_cos, out_cos = half @ -incoming, np.einsum("ij,ij->i", half, ways)
    met = (in_cos > 0) & (out_cos < 0)
    masked = _smith(-incoming[2], roughness) * _smith(ways[:, 2], roughness)
    spread = after**2 / (before * in_cos + after * out_cos) ** 2
    share = 1 - _fresnel(np.clip(in_cos, 1e-9, 1), before, after)
    btdf = np.abs(in_cos * out_cos / (incoming[2] * ways[:, 2])) * spread * share
    btdf *= masked * _ggx(half[:, 2], roughness)
    assert passed == pytest.approx((btdf * np.abs(ways[:, 2]))[met].sum() * solid, abs=4e-3)


def test_polished_surface_keeps_its_normal_and_all_light(tools):
    normal = np.array([0.6, -0.48, 0.64])
    slopes = _slopes(tools, -normal, normal, 0.0)
    assert np.abs(slopes - normal).max() < 1e-6
    assert (_away(tools, slopes, normal, 0.0) == 1).all()


def test_slopes_met_from_inside_lie_on_the_side_of_the_normal(tools):
    outside = _slopes(tools, (0, 0, -1), (0, 0, 1), 0.3)
    inside = _slopes(tools, (0, 0, 1), (0, 0, 1), 0.3)
    assert inside[:, 2].min() > 0
    assert np.abs(np.sort(inside[:, 2]) - np.sort(outside[:, 2])).max() < 1e-5


def test_neighbours_on_a_glass_get_neighbouring_slopes(tools):
    """Round a wall, upright and leaning, no slope jumps: rays side by side must stay so."""
    mi, roughen, _ = tools
    for lean in (-0.2, 0.0, 1e-7, 0.3):
        turn = np.linspace(0, 2 * np.pi, 2000)
        out = np.sqrt(1 - lean**2)
        normals = np.stack([out * np.cos(turn), out * np.sin(turn), np.full(len(turn), lean)])
        light = mi.Vector3f(*map(mi.Float, -normals))
        numbers = mi.Float(0.3), mi.Float(0.7)
        met = roughen(light, mi.Normal3f(*map(mi.Float, normals)), mi.Float(0.4), *numbers)
        steps = np.linalg.norm(np.diff(np.array(met), axis=1), axis=0)
        assert steps.max() < 1.01 * 2 * np.pi / 1999
