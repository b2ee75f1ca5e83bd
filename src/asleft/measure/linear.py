"""Weighted least squares with type-B inputs as prior rows: the core under every solver.

Knows nothing of printers. A prior is one more observation of a parameter (JCGM 100, and the
mixed-model equations); a parameter without one has a prior of infinite sd. Numpy only; QR, so
that nearly collinear columns keep their digits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class LinearFit:
    """A weighted fit of p parameters to n rows.

    `values` (p,), `covariance` (p, p) for the sigmas given as absolute ones, `residuals` (n,)
    observed less fitted, `leverage` (n,) diagonal of the hat matrix, 0 to 1.
    """

    values: Array
    covariance: Array
    residuals: Array
    leverage: Array


def least_squares(
    design: Array,
    observed: Array,
    sd: Array | float,
    prior_mean: Array | None = None,
    prior_sd: Array | None = None,
) -> LinearFit:
    """Fit `observed ≈ design · values`, rows weighted by 1/sd², priors as further rows.

    Args:
        design: (n, p). observed: (n,). sd: (n,) or one number, absolute, > 0.
        prior_mean, prior_sd: (p,), same units as the parameters; sd inf means no prior.

    Raises:
        numpy.linalg.LinAlgError: rows and priors do not determine every parameter.
    """
    n, p = design.shape
    weight = 1.0 / np.broadcast_to(np.asarray(sd, dtype=float), (n,))
    rows, target = design * weight[:, None], observed * weight
    if prior_sd is not None:
        inverse = 1.0 / prior_sd
        mean = np.zeros(p) if prior_mean is None else prior_mean
        rows = np.vstack([rows, np.diag(inverse)])
        target = np.concatenate([target, mean * inverse])
    norm = np.sqrt(np.einsum("ij,ij->j", rows, rows))
    if not np.all(norm > 0):
        raise np.linalg.LinAlgError("a parameter is not determined")
    q, r = np.linalg.qr(rows / norm)
    if np.min(np.abs(np.diag(r))) < 1e-13:
        raise np.linalg.LinAlgError("parameters are not determined separately")
    inverse_r = np.linalg.solve(r, np.eye(p)) / norm[:, None]
    values = inverse_r @ (q.T @ target)
    return LinearFit(
        values=values,
        covariance=inverse_r @ inverse_r.T,
        residuals=observed - design @ values,
        leverage=np.einsum("ij,ij->i", q[:n], q[:n]),
    )


def quick_fit(
    design: Array, observed: Array, sd: Array | float, prior_mean: Array, prior_sd: Array
) -> LinearFit:
    """`least_squares` by the normal equations: a fraction of the time, half the digits.

    For a search that fits again and again; what is reported comes from `least_squares`. The
    arguments are the same, priors must make every parameter determined.
    """
    weight = 1.0 / np.broadcast_to(np.asarray(sd, dtype=float), observed.shape)
    rows, known = design * weight[:, None], prior_sd**-2.0
    normal = rows.T @ rows + np.diag(known)
    size = np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal / size / size[:, None]) / size / size[:, None]
    values = covariance @ (rows.T @ (observed * weight) + prior_mean * known)
    return LinearFit(
        values=values,
        covariance=covariance,
        residuals=observed - design @ values,
        leverage=np.einsum("ij,ij->i", rows @ covariance, rows),
    )


def residual_sd(fit: LinearFit, sd: Array | float = 1.0) -> float:
    """Residual standard deviation of a fit without priors, in units of `sd`."""
    dof = fit.residuals.size - fit.values.size
    scaled = fit.residuals / sd
    return float(np.sqrt(scaled @ scaled / dof))
