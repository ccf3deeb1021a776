"""A robust, smooth, monotone surface of oil pressure through scattered steady values.

It is fitted to log(pressure / speed), which changes little: a pump and bearings that leak the more
the thinner the oil give a pressure in proportion to speed, times a function of temperature alone,
until the relief valve opens. That is also what is assumed where nothing was seen.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve

from babbitt.detect.knots import locate
from babbitt.model.run import BoolArray, FloatArray

SMOOTHNESS = 0.3
"""Weight of a bend between neighbouring knots, against 1 for a second of data off by as much."""

FLATNESS = 1e-4
"""Weight of a slope: small, it only settles what neither data nor bends do."""

WRONG_WAY = 1e4
"""Weight of a slope of the wrong sign."""

MOST_SECONDS = 10.0
"""A value counts for no more than this, so that long stretches do not drown the others."""

HUBER, BIWEIGHT = 1.345, 4.685
"""Tuning constants for 95 % efficiency on normal noise (Huber 1964; Beaton and Tukey 1974)."""

LEAST_SCALE = 0.002
"""Noise is taken to be no less, as a share, so that clean data are not rejected over rounding."""

ROUNDS = 15

Matrix = sparse.csr_array


def fit_surface(
    rpm: FloatArray,
    oil_c: FloatArray,
    kpa: FloatArray,
    seconds: FloatArray,
    rpm_knots: FloatArray,
    oil_c_knots: FloatArray,
    fallback_kpa: FloatArray,
) -> FloatArray:
    """Fit a surface that never falls with engine speed and never rises with oil temperature.

    Penalised least squares, with bends and slopes of the wrong sign penalised; repeated with
    weights that first limit (Huber) and then reject (biweight) values far from the surface.

    Away from the values the surface is the least that they allow: as high as the highest seen at
    no higher speed and no lower temperature, and no higher than the fallback where there is none.

    Args:
        rpm: 1/min; shape (values,).
        oil_c: °C; shape (values,).
        kpa: above zero; shape (values,).
        seconds: how long each value was seen; shape (values,).
        rpm_knots: above zero, evenly spaced, enclosing rpm; shape (n,).
        oil_c_knots: evenly spaced, enclosing oil_c; shape (m,).
        fallback_kpa: at the speed knots, not falling; shape (n,).

    Returns:
        kPa at the knots; shape (n, m).
    """
    shape = len(rpm_knots), len(oil_c_knots)
    target = np.log(kpa / rpm)
    at_values = _interpolation(rpm, oil_c, rpm_knots, oil_c_knots)
    by_rpm, by_oil_c = _difference(shape, 0), _difference(shape, 1)
    bends = sparse.vstack(
        [_second_difference(shape, 0), _second_difference(shape, 1), _twist(shape)]
    )
    # Rows that must not be negative: how log pressure rises with speed and falls with temperature.
    slopes = sparse.vstack([by_rpm, -by_oil_c])
    smooth = SMOOTHNESS * (bends.T @ bends) + FLATNESS * (slopes.T @ slopes)
    given = np.append(np.repeat(np.diff(np.log(rpm_knots)), shape[1]), np.zeros(by_oil_c.shape[0]))

    weights = np.minimum(seconds, MOST_SECONDS)
    trust = np.ones(len(kpa))
    wrong = np.zeros(len(given))
    for turn in range(ROUNDS):
        weighted = at_values.T @ sparse.diags_array(weights * trust)
        corrected = WRONG_WAY * slopes.T @ sparse.diags_array(wrong)
        fitted = spsolve(
            (weighted @ at_values + smooth + corrected @ slopes).tocsc(),
            weighted @ target - corrected @ given,
        )
        wrong = (slopes @ fitted + given < 0.0).astype(np.float64)
        trust = _trust(at_values @ fitted - target, biweight=turn >= ROUNDS // 3)
    smooth_kpa = _monotone(rpm_knots[:, np.newaxis] * np.exp(fitted.reshape(shape)))
    touched = (at_values[trust > 0.0].sum(axis=0) > 0.0).reshape(shape)
    seen = ndimage.binary_dilation(touched, np.ones((3, 3), dtype=np.bool_))
    return _least_allowed(smooth_kpa, seen, fallback_kpa)


def _least_allowed(kpa: FloatArray, seen: BoolArray, fallback_kpa: FloatArray) -> FloatArray:
    """Replace the knots that were not seen by the least that a monotone surface allows there."""
    highest = np.maximum.accumulate(np.where(seen, kpa, -np.inf), axis=0)
    highest = np.flip(np.maximum.accumulate(np.flip(highest, 1), axis=1), 1)
    least = np.minimum(kpa, fallback_kpa[:, np.newaxis])
    filled = np.where(seen, kpa, np.where(np.isfinite(highest), highest, least))
    # The fallback may exceed what was seen at a higher speed: never expect more than that.
    lowest = np.flip(np.minimum.accumulate(np.flip(filled, 0), axis=0), 0)
    return np.minimum.accumulate(lowest, axis=1)


def _trust(error: FloatArray, *, biweight: bool) -> FloatArray:
    """Return the weight of each error of log pressure among the others, 0 to 1."""
    size = np.abs(error) / max(1.4826 * float(np.median(np.abs(error))), LEAST_SCALE)
    if biweight:
        return np.clip(1.0 - (size / BIWEIGHT) ** 2, 0.0, None) ** 2
    return HUBER / np.maximum(size, HUBER)


def _interpolation(
    x: FloatArray, y: FloatArray, x_knots: FloatArray, y_knots: FloatArray
) -> Matrix:
    """Return the matrix that interpolates knot values at the points; shape (points, knots)."""
    row, along = locate(x, x_knots)
    column, across = locate(y, y_knots)
    corner = row * len(y_knots) + column
    corners = np.column_stack(
        (corner, corner + 1, corner + len(y_knots), corner + len(y_knots) + 1)
    )
    shares = np.column_stack(
        ((1 - along) * (1 - across), (1 - along) * across, along * (1 - across), along * across)
    )
    points = np.repeat(np.arange(len(x)), 4)
    size = len(x), len(x_knots) * len(y_knots)
    return Matrix((shares.ravel().astype(np.float64), (points, corners.ravel())), shape=size)


def _difference(shape: tuple[int, int], axis: int) -> Matrix:
    """Return the matrix of differences between neighbouring knots along an axis."""
    return _along(_neighbours(shape[axis]), shape, axis)


def _second_difference(shape: tuple[int, int], axis: int) -> Matrix:
    """Return the matrix of bends at inner knots along an axis."""
    return _along(_neighbours(shape[axis] - 1) @ _neighbours(shape[axis]), shape, axis)


def _twist(shape: tuple[int, int]) -> Matrix:
    """Return the matrix of mixed differences, zero where speed and temperature act apart."""
    return Matrix(sparse.kron(_neighbours(shape[0]), _neighbours(shape[1])))


def _along(matrix: Matrix, shape: tuple[int, int], axis: int) -> Matrix:
    other = sparse.eye_array(shape[1 - axis])
    return Matrix(sparse.kron(matrix, other) if axis == 0 else sparse.kron(other, matrix))


def _neighbours(n: int) -> Matrix:
    return Matrix(sparse.diags_array([-1.0, 1.0], offsets=[0, 1], shape=(n - 1, n)))


def _monotone(values: FloatArray) -> FloatArray:
    """Take out what is left of wrong slopes: the mean of the monotone hulls above and below.

    A hull along one axis keeps the order along the other, so the second pass undoes nothing.
    """
    falling = -_hull_mean(-values, axis=1)
    return _hull_mean(falling, axis=0)


def _hull_mean(values: FloatArray, *, axis: int) -> FloatArray:
    """Return what lies midway between the highest before and the lowest after: it rises."""
    above = np.maximum.accumulate(values, axis=axis)
    below = np.flip(np.minimum.accumulate(np.flip(values, axis), axis=axis), axis)
    mean: FloatArray = (above + below) / 2.0
    return mean
