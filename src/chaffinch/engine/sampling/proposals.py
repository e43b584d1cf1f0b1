"""Where the sampler looks next: Student-t proposals, one for a plain posterior, many for a bent one.

A check that sees only a sum of sources (frames behind the machine, say) has a bent posterior: either source may carry
the loss. One ellipse covers such a shape badly; a few dozen small ones, each shaped like the draws around it, cover it
well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, gammaln, ndtri

from chaffinch.engine.sampling.sobol import sobol

FloatArray = NDArray[np.float64]

TAIL_DF: Final = 6.0
"""Degrees of freedom: heavier tails than a normal, finite variance (design §4.6)."""
COMPONENTS: Final = 48
"""Ellipses of a local mixture."""
_REACH: Final = 0.5
"""Kernel width of the draws that shape one ellipse, in sds of the whole posterior; own figure, by trial."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """An equal mixture of multivariate Student-t distributions, from which ``count`` points are drawn.

    Attributes
    ----------
    means : ndarray, shape (k, d)
    roots : ndarray, shape (k, d, d)
        Lower Cholesky roots of the scale matrices.
    count : int
        Points drawn from it: its weight among all proposals.
    """

    means: FloatArray
    roots: FloatArray
    count: int

    @staticmethod
    def single(mean: FloatArray, cov: FloatArray, count: int) -> Proposal:
        """One ellipse."""
        root = np.asarray(np.linalg.cholesky(cov), dtype=np.float64)
        return Proposal(mean[None, :], root[None], count)

    @staticmethod
    def local(points: FloatArray, weights: FloatArray, count: int) -> Proposal:
        """Many ellipses: centres resampled from weighted draws, shapes from the draws around each."""
        d = points.shape[1]
        mean = weights @ points
        whole = ((points - mean) * weights[:, None]).T @ (points - mean)
        whole += (1e-10 + 1e-6 * float(np.trace(whole)) / d) * np.eye(d)
        heavy = weights > 1e-12
        near, w = points[heavy], weights[heavy]
        ticks = (np.arange(COMPONENTS) + 0.5) / COMPONENTS
        # Sorted along the first coordinate, evenly spaced ticks spread the centres over the whole shape.
        order = np.argsort(near[:, 0])
        cumulative = np.cumsum(w[order])
        centres = near[order][np.minimum(np.searchsorted(cumulative, ticks * cumulative[-1]), near.shape[0] - 1)]
        apart = near[None, :, :] - centres[:, None, :]
        root = np.linalg.cholesky(whole)
        squared = np.square(np.linalg.solve(root, apart.reshape(-1, d).T)).sum(axis=0).reshape(apart.shape[:2])
        kernel = w * np.exp(-0.5 * squared / _REACH**2)
        kernel /= kernel.sum(axis=1, keepdims=True)
        cov = np.einsum("kn,kni,knj->kij", kernel, apart, apart) + 0.003 * whole
        return Proposal(centres, np.linalg.cholesky(cov), count)

    def points(self, *, seed: int) -> FloatArray:
        """Draw ``count`` points: a normal over the root of an independent χ²/ν, components in turn."""
        k, d = self.means.shape
        u = sobol(self.count, d + 1, seed=seed)
        chi2_over_df = gammaincinv(TAIL_DF / 2, u[:, d]) * 2 / TAIL_DF
        standard = ndtri(u[:, :d]) / np.sqrt(chi2_over_df)[:, None]
        if k == 1:
            return np.asarray(self.means[0] + standard @ self.roots[0].T)
        which = np.arange(self.count) % k
        return np.asarray(self.means[which] + np.einsum("nij,nj->ni", self.roots[which], standard))

    def log_density(self, points: FloatArray) -> FloatArray:
        """Log density of the mixture at each point."""
        k, d = self.means.shape
        constant = gammaln((TAIL_DF + d) / 2) - gammaln(TAIL_DF / 2) - 0.5 * d * np.log(TAIL_DF * np.pi) - np.log(k)
        parts = []
        for mean, root in zip(self.means, self.roots, strict=True):
            squared = np.square(np.linalg.solve(root, (points - mean).T)).sum(axis=0)
            parts.append(-0.5 * (TAIL_DF + d) * np.log1p(squared / TAIL_DF) - np.log(np.diag(root)).sum())
        result: FloatArray = constant + (parts[0] if k == 1 else logsumexp(np.stack(parts)))
        return result


def logsumexp(stacked: FloatArray) -> FloatArray:
    """Log of the sum of exponentials over the first axis (scipy.special.logsumexp is slow for this shape)."""
    top = stacked.max(axis=0)
    result: FloatArray = top + np.log(np.exp(stacked - top).sum(axis=0))
    return result
