"""Response-surface sets and canonical analysis against printed examples and closed forms."""

import numpy as np
import pytest

from testpour.planning.criteria import information, model_rows, quadratic_terms
from testpour.planning.surface import box_behnken, canonical, central_composite, fit_quadratic, space_filling

# Myers, Montgomery & Anderson-Cook, Response Surface Methodology, Table 7.6: time, temperature, session, yield.
YIELD = np.array([
    [80, 170, 1, 80.5], [80, 180, 1, 81.5], [90, 170, 1, 82.0], [90, 180, 1, 83.5],
    [85, 175, 1, 83.9], [85, 175, 1, 84.3], [85, 175, 1, 84.0],
    [85, 175, 2, 79.7], [85, 175, 2, 79.8], [85, 175, 2, 79.5],
    [92.07, 175, 2, 78.4], [77.93, 175, 2, 75.6], [85, 182.07, 2, 78.5], [85, 167.93, 2, 77.0],
])


def yield_fit():
    return fit_quadratic((YIELD[:, :2] - [85, 175]) / 5, YIELD[:, 3], YIELD[:, 2].astype(int))


def test_printed_fit_of_the_yield_example():
    """Printed output for these data in Lenth (2009), J. Statistical Software 32(7)."""
    table = yield_fit().table
    printed = {"1": (84.095427, 0.079631), "session 2": (-4.457530, 0.087226), "x1": (0.932541, 0.057699),
               "x2": (0.577712, 0.057699), "x1:x2": (0.125, 0.081592), "x1^2": (-1.308555, 0.060064),
               "x2^2": (-0.933442, 0.060064)}
    for name, (size, se) in printed.items():
        assert table.coefficient[name] == pytest.approx(size, abs=6e-7), name
        assert table.se[name] == pytest.approx(se, abs=6e-7), name


def test_printed_shape_of_the_yield_example():
    """Ibid.: stationary point, eigenvalues, and lack of fit against repeats pooled within sessions (4 df)."""
    fit = yield_fit()
    assert fit.canonical.point == pytest.approx([0.3722954, 0.3343802], abs=6e-8)
    assert 85 + 5 * fit.canonical.point[0] == pytest.approx(86.86148, abs=6e-6)
    assert fit.canonical.eigenvalues == pytest.approx([-0.9233027, -1.3186949], abs=6e-8)
    assert fit.lack == pytest.approx((0.5307, 0.6851), abs=6e-5)
    assert fit.canonical.kind == "maximum"
    assert "maximum" in fit.sentence() and "followed well enough" in fit.sentence()


def test_dropping_the_session_ruins_the_spread_not_the_point():
    """Same data without the session shift: residual sd 2.952 instead of .163 (computed apart)."""
    bare = fit_quadratic((YIELD[:, :2] - [85, 175]) / 5, YIELD[:, 3])
    (rss, df), (rss_s, df_s) = bare.residual, yield_fit().residual
    assert np.sqrt(rss / df) == pytest.approx(2.952, abs=6e-4)
    assert np.sqrt(rss_s / df_s) == pytest.approx(0.163, abs=6e-4)
    assert df_s == 7 and df == 8


def test_saddle_far_outside_the_data_says_so():
    """By hand: y = 5 + (x1 - 3)^2 - (x2 + 2)^2 has its saddle at (3, -2), three times as far as the cube."""
    rows = central_composite(2).rows
    fit = fit_quadratic(rows, 5 + (rows[:, 0] - 3) ** 2 - (rows[:, 1] + 2) ** 2)
    assert fit.canonical.point == pytest.approx([3, -2])
    assert fit.canonical.value == pytest.approx(5)
    assert fit.canonical.kind == "saddle"
    assert "3 times as far out as the cube reaches, so do not trust it" in fit.canonical.sentence()


def test_canonical_by_hand():
    """y = 3 - (x1 - 0.5)^2 - 2 (x2 + 0.25)^2: a maximum of 3 at (0.5, -0.25)."""
    found = canonical(3 - 0.25 - 0.125, [1.0, -1.0], [[-1, 0], [0, -2]])
    assert found.point == pytest.approx([0.5, -0.25])
    assert found.value == pytest.approx(3)
    assert found.eigenvalues == pytest.approx([-1, -2])
    assert canonical(0, [0, 0], [[1, 0], [0, 2]]).kind == "minimum"
    with pytest.raises(ValueError, match="flat along one direction"):
        canonical(0, [1, 1], [[1, 0], [0, 0]])


@pytest.mark.parametrize("k, alpha", [(2, 1.414214), (3, 1.681793), (4, 2.0), (5, 2.378414)])
def test_rotatable_star(k, alpha):
    """Closed form (cube pours)^(1/4); and the variance is the same all round."""
    composite = central_composite(k)
    assert composite.alpha == pytest.approx(alpha, abs=6e-7)
    rng = np.random.default_rng(0)
    around = rng.normal(size=(50, k))
    around /= np.linalg.norm(around, axis=1)[:, None]
    terms = quadratic_terms(k)
    inverse = np.linalg.inv(information(model_rows(composite.rows, terms)))
    where = model_rows(around, terms)
    assert np.ptp(np.einsum("ij,jk,ik->i", where, inverse, where)) < 1e-10


def test_star_as_an_orthogonal_session():
    """Closed form 1.632993 for three factors, 4 + 2 centre pours; session means of every term then agree."""
    composite = central_composite(3, "blocks", centres=(4, 2))
    assert composite.alpha == pytest.approx(1.632993, abs=6e-7)
    rows = model_rows(composite.rows, quadratic_terms(3))
    assert rows[composite.part == 0].mean(0) == pytest.approx(rows[composite.part == 1].mean(0))


def test_composites_with_fractions_and_faces():
    assert np.abs(central_composite(3, "face").rows).max() == 1
    assert central_composite(5, base=4).rows.shape == (16 + 4 + 10 + 2, 5)
    with pytest.raises(ValueError, match="use base=4"):
        central_composite(5, base=3)
    with pytest.raises(ValueError, match="'rotatable', 'face', 'blocks'"):
        central_composite(3, "far")


@pytest.mark.parametrize("k, pours", [(3, 12), (4, 24), (5, 40), (6, 48), (7, 56)])
def test_sets_without_corners(k, pours):
    """Box & Behnken (1960): sizes without centres (from memory); balance of every main effect and square."""
    rows = box_behnken(k, centres=0)
    assert rows.shape == (pours, k) and len(np.unique(rows, axis=0)) == pours
    assert np.ptp((rows**2).sum(0)) == 0
    cross = rows.T @ rows
    assert np.array_equal(cross, np.diag(np.diag(cross)))
    assert (np.abs(rows).sum(1) == (2 if k < 6 else 3)).all()
    design = model_rows(box_behnken(k), quadratic_terms(k))
    assert np.linalg.matrix_rank(design) == design.shape[1]
    with pytest.raises(ValueError, match="3 to 7 factors"):
        box_behnken(2)


def test_space_filling_is_even_inside_and_repeatable():
    rows = space_filling(3, 10)
    for column in rows.T:
        assert sorted(np.floor((column + 1) * 5).astype(int)) == list(range(10))     # one in each tenth
    half = space_filling(3, 12, lambda x: x.sum(1) < 0, seed=4)
    assert half.shape == (12, 3) and (half.sum(1) < 0).all()
    assert np.array_equal(half, space_filling(3, 12, lambda x: x.sum(1) < 0, seed=4))
    with pytest.raises(ValueError, match="loosen the limits"):
        space_filling(2, 5, lambda x: x[:, 0] > 2)


def test_fit_refuses_too_few_pours_and_says_when_unchecked():
    rows = central_composite(2, "face", centres=(1, 0)).rows
    with pytest.raises(ValueError, match="do not settle 6 coefficients"):
        fit_quadratic(rows[:6], np.arange(6.0))
    fit = fit_quadratic(rows, (rows**2).sum(1) + 0.1 * rows[:, 0] ** 3 * rows[:, 1] ** 2)
    assert fit.lack is None and "unchecked" in fit.sentence()
