"""How do checks hang together when they see several sources at once, or differ in what they share?

Gibbs sampling (Geman and Geman 1984; from memory) for a linear model on top of evidence: each check carries a cloud of
points, weighted by their likelihood, in ln(loss) of the sources it sees; its true point is a row of the model times θ
plus a deviation N(0, τ²):

* a point of each cloud given θ and τ: picked with the weight times the normal density;
* θ given the points and τ: normal, with the normal prior;
* τ given the points and θ: on a grid of ln τ.

Where θ is short, a point is picked with θ integrated out instead: a check that hardly saw one of its sources would else
creep along it in steps of τ. Many chains run side by side, each from points of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.ledger.levels import Spread
from chaffinch.engine.ledger.shared import DRAWS
from chaffinch.engine.sampling.small_inverse import determinant, inverse
from chaffinch.engine.sources import Joint
from chaffinch.errors import InputError

FloatArray = NDArray[np.float64]

CHAINS: Final = 128
KEPT: Final = DRAWS // CHAINS
BURN: Final = 24
"""Sweeps thrown away."""
THIN: Final = 2
"""Sweeps between rows kept."""
CLOUD_POINTS: Final = 512
GRID_POINTS: Final = 160
SHORT: Final = 4
"""Length of θ up to which it is integrated out of the picking of points: one small inverse for each piece."""
_NEGLIGIBLE: Final = 25.0
"""Log-likelihood below the best from which a check cannot have that loss (e^-25)."""
_BLOCK: Final = 16
"""Points whose weights are summed before they are looked at one by one; own figure."""
_ONES: Final[FloatArray] = np.ones(_BLOCK)
_EACH: Final = np.arange(CHAINS)
_SPREAD_Z: Final[FloatArray] = np.linspace(-3.5, 3.5, 57)


@dataclass(frozen=True, slots=True)
class Cloud:
    """What a check says of several sources together: points with the likelihood they carry.

    Attributes
    ----------
    sources : tuple of str
        One per column.
    ln_loss : ndarray, shape (n, len(sources))
        Points as caught, without the errors common to all catches [ln kg/ha].
    log_weight : ndarray, shape (n,)
        Log of the likelihood mass each point stands for, up to a constant.
    cell : float
        Width over which a point is spread evenly [1], for points of a grid.
    """

    sources: tuple[str, ...]
    ln_loss: FloatArray
    log_weight: FloatArray
    cell: float = 0.0


def cloud_of_joint(joint: Joint, priors: Mapping[str, Prior], *, leak_with_machine: bool = False) -> Cloud:
    """The likelihood in a check's joint posterior: its draws, with the prior they were drawn under divided out.

    Parameters
    ----------
    joint : Joint
        From :func:`chaffinch.engine.sources.locate`.
    priors : mapping of str to Prior
        Those that were given to it.
    leak_with_machine : bool
        True: a leak caught apart is put back to its machine, as checks without a leak catch see it. The sum is then
        taken to have had the machine's prior; the leak's median is a twentieth of it.
    """
    # Points of equal weight at evenly spaced levels of the sum, which is what most catches see best.
    order = np.argsort(joint.caught_kg_ha.sum(axis=1))
    cumulative = np.cumsum(joint.weights[order])
    at = np.searchsorted(cumulative, (np.arange(CLOUD_POINTS) + 0.5) / CLOUD_POINTS * cumulative[-1])
    loss = joint.caught_kg_ha[order[np.minimum(at, cumulative.size - 1)]]
    sources = joint.sources
    if leak_with_machine and {"machine", "leak"} <= set(sources):
        loss = loss.copy()
        loss[:, sources.index("machine")] += loss[:, sources.index("leak")]
        loss = np.delete(loss, sources.index("leak"), axis=1)
        sources = tuple(s for s in sources if s != "leak")
    ln_loss = np.log(loss)
    median = np.log([priors[s].median_kg_ha for s in sources])
    sd = np.array([priors[s].sd_log for s in sources])
    return Cloud(sources, ln_loss, 0.5 * np.square((ln_loss - median) / sd).sum(axis=1))


def cloud_of_evidence(source: str, seen: Evidence) -> Cloud:
    """Evidence of one source as a cloud: its grid, thinned to some hundred points that are spread over their cells."""
    possible = np.flatnonzero(seen.log_likelihood > -_NEGLIGIBLE)
    stride = 1 + (possible[-1] - possible[0]) // GRID_POINTS
    at = slice(possible[0], possible[-1] + 1, stride)
    return Cloud((source,), LN_LOSS[at][:, None], seen.log_likelihood[at], float(stride * (LN_LOSS[1] - LN_LOSS[0])))


@dataclass(frozen=True, slots=True)
class Piece:
    """A cloud and where its columns stand in the model.

    Attributes
    ----------
    cloud : Cloud
    rows : ndarray, shape (columns, d)
        Row of the linear model for each column.
    spread : tuple of int
        Which τ each column deviates by.
    shift : ndarray of shape (DRAWS, columns), or None
        Added to the points, row by row: shared errors that only some checks have.
    wild_share : float
        Probability, before all is seen, that the piece says nothing and its loss could be anything on the grid [1].
    """

    cloud: Cloud
    rows: FloatArray
    spread: tuple[int, ...]
    shift: FloatArray | None = None
    wild_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Walk:
    """Draws of equal weight, ``DRAWS`` rows.

    Attributes
    ----------
    theta : ndarray, shape (DRAWS, d)
    spread : ndarray, shape (DRAWS, number of τ)
    points : list of ndarray, shape (DRAWS, columns)
        One per piece, shift included.
    wild : tuple of float
        Probability that each piece is wild [1].
    """

    theta: FloatArray
    spread: FloatArray
    points: list[FloatArray]
    wild: tuple[float, ...]


def walk(
    pieces: Sequence[Piece], mean: FloatArray, sd: FloatArray, spreads: Sequence[Spread], *, rng: np.random.Generator
) -> Walk:
    """Draw θ, the τ and the true points of all pieces.

    Parameters
    ----------
    pieces : sequence of Piece
        At least one.
    mean, sd : ndarray, shape (d,)
        Independent normal prior of θ.
    spreads : sequence of Spread
        Belief about each τ.
    rng : numpy Generator
        Source of chance.
    """
    if not pieces:
        raise InputError("checks", 0, "there is nothing to learn from", "give at least one")
    chain = _Chains(pieces, mean, sd, [s.checked() for s in spreads], rng)
    theta, spread = np.empty((DRAWS, mean.size)), np.empty((DRAWS, len(spreads)))
    points = [np.empty((DRAWS, len(piece.spread))) for piece in pieces]
    wild = np.zeros((KEPT, len(pieces)))
    for _ in range(BURN):
        chain.sweep(rng.integers(DRAWS, size=CHAINS))
    for kept in range(KEPT):
        rows = np.arange(kept * CHAINS, (kept + 1) * CHAINS)
        for _ in range(THIN):
            chain.sweep(rows)
        theta[rows], spread[rows], wild[kept] = chain.theta, chain.tau, chain.wild
        for whole, now in zip(points, chain.points, strict=True):
            whole[rows] = now
    return Walk(theta, spread, points, tuple(wild.mean(axis=0).tolist()))


class _Seen:
    """A piece as the sweeps use it: what stays the same from one sweep to the next, worked out once."""

    def __init__(self, piece: Piece, first: int) -> None:
        self.piece = piece
        self.columns = len(piece.spread)
        self.at = slice(first, first + self.columns)
        self.spread = list(piece.spread)
        x = piece.cloud.ln_loss
        # −(x − centre)' P (x − centre)/2 is linear in x and in the products of its columns; the weight comes along.
        self.upper = np.triu_indices(self.columns)
        twice = np.where(self.upper[0] == self.upper[1], -0.5, -1.0)
        products = x[:, self.upper[0]] * x[:, self.upper[1]] * twice
        self.features = np.ascontiguousarray(np.concatenate([x, products, piece.cloud.log_weight[:, None]], axis=1).T)
        self.coefficients = np.ones((CHAINS, self.features.shape[0]))
        # Points in blocks: the sum of a block is looked at before its points are, which spares most of the sums.
        self.points = x.shape[0]
        self.places = -(-self.points // _BLOCK) * _BLOCK
        self.outer = (piece.rows[:, :, None] * piece.rows[:, None, :]).reshape(self.columns, -1)

    def pick(
        self, linear: FloatArray, precision: FloatArray, room: FloatArray, rng: np.random.Generator
    ) -> tuple[NDArray[np.intp], FloatArray]:
        """One point per chain, by weight times normal density, and the log of the sum over all of them.

        ``room`` is where it is worked out, one place for all pieces, which stays in the processor's own memory.
        """
        whole = room[: CHAINS * self.places].reshape(CHAINS, self.places)
        whole[:, self.points :] = 0.0
        p, columns = whole[:, : self.points], self.columns
        self.coefficients[:, :columns] = linear
        self.coefficients[:, columns:-1] = precision[:, self.upper[0], self.upper[1]]
        np.matmul(self.coefficients, self.features, out=p)
        highest = p.max(axis=1)
        p -= highest[:, None]
        np.exp(p, out=p)
        by_block = whole.reshape(CHAINS, -1, _BLOCK)
        sums = np.cumsum(by_block @ _ONES, axis=1)
        goal = rng.random(CHAINS) * sums[:, -1]
        block = np.minimum((sums < goal[:, None]).sum(axis=1), sums.shape[1] - 1)
        before = np.where(block > 0, sums[_EACH, block - 1], 0.0)
        within = np.cumsum(by_block[_EACH, block], axis=1)
        place = np.minimum((within < (goal - before)[:, None]).sum(axis=1), _BLOCK - 1)
        picked = np.minimum(block * _BLOCK + place, self.points - 1)
        return picked, highest + np.log(sums[:, -1])


class _Chains:
    """State of all chains."""

    def __init__(
        self,
        pieces: Sequence[Piece],
        mean: FloatArray,
        sd: FloatArray,
        spreads: Sequence[Spread],
        rng: np.random.Generator,
    ) -> None:
        self.mean, self.sd, self.rng = mean, sd, rng
        self.ln_nodes = [math.log(s.median) + s.sd_log * _SPREAD_Z for s in spreads]
        self.rows = np.concatenate([piece.rows for piece in pieces])
        self.outer = (self.rows[:, :, None] * self.rows[:, None, :]).reshape(self.rows.shape[0], -1)
        self.which = np.concatenate([piece.spread for piece in pieces])
        self.theta = np.tile(mean, (CHAINS, 1))
        self.tau = np.tile([s.median for s in spreads], (CHAINS, 1))
        self.wild = np.zeros(len(pieces))
        firsts = np.cumsum([0, *(len(piece.spread) for piece in pieces)])
        self.pieces = [_Seen(piece, int(first)) for piece, first in zip(pieces, firsts[:-1], strict=True)]
        # Each chain starts with every piece at a likely point of its own, as if it were the only one.
        self.stacked = np.empty((CHAINS, self.which.size))
        self.room = np.empty(CHAINS * max(seen.places for seen in self.pieces))
        for seen, piece in zip(self.pieces, pieces, strict=True):
            variance = np.square(piece.rows) @ np.square(sd) + np.square(self.tau[0, seen.spread])
            z2 = np.square(piece.cloud.ln_loss - piece.rows @ mean) / variance
            weight = piece.cloud.log_weight - 0.5 * z2.sum(axis=1)
            weight = np.exp(weight - weight.max())
            self.stacked[:, seen.at] = piece.cloud.ln_loss[rng.choice(weight.size, CHAINS, p=weight / weight.sum())]
        self._draw_theta()

    @property
    def points(self) -> list[FloatArray]:
        """The points of each piece."""
        return [self.stacked[:, seen.at] for seen in self.pieces]

    def sweep(self, rows: NDArray[np.intp]) -> None:
        """One round over points, θ and τ; ``rows`` says which rows of the shared errors the chains hold."""
        normal, right = self._normal()
        for number, seen in enumerate(self.pieces):
            before = self.stacked[:, seen.at].copy()
            self.stacked[:, seen.at] = self._draw_points(number, seen, rows, normal, right)
            # τ stands still while points are picked: of the sums over all pieces only this one's part has moved.
            moved = (self.stacked[:, seen.at] - before) / np.square(self.tau[:, seen.spread])
            right += moved @ seen.piece.rows
        # θ before τ: after points were picked without θ, the old θ does not belong to them any more.
        self._draw_theta()
        self._draw_spread()

    def _draw_points(
        self, number: int, seen: _Seen, rows: NDArray[np.intp], normal: FloatArray, right: FloatArray
    ) -> FloatArray:
        piece = seen.piece
        shift = np.zeros((CHAINS, seen.columns)) if piece.shift is None else piece.shift[rows]
        own = 1.0 / np.square(self.tau[:, seen.spread])
        if self.mean.size <= SHORT:
            centre, precision = self._without(seen, own, normal, right)
        else:
            centre, precision = self.theta @ piece.rows.T, own[:, :, None] * np.eye(seen.columns)
        linear = np.matmul(precision, (centre - shift)[:, :, None])[:, :, 0]
        picked, ln_sum = seen.pick(linear, precision, self.room, self.rng)
        spread_out = piece.cloud.cell * (self.rng.random((CHAINS, 1)) - 0.5)
        found = np.asarray(piece.cloud.ln_loss[picked] + spread_out + shift)
        if piece.wild_share == 0.0:
            return found
        ln_fits = ln_sum - 0.5 * ((centre - shift) * linear).sum(axis=1)
        p_wild = _p_wild(piece, ln_fits, precision)
        self.wild[number] = p_wild.mean()
        noise = self.rng.standard_normal((CHAINS, seen.columns, 1))
        wild = self.rng.random(CHAINS) < p_wild
        if wild.any():
            root = np.linalg.cholesky(precision[wild]).transpose(0, 2, 1)
            found[wild] = centre[wild] + np.linalg.solve(root, noise[wild])[:, :, 0]
        return found

    def _without(
        self, seen: _Seen, own: FloatArray, normal: FloatArray, right: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Where one piece is expected from all others, θ integrated out: centre (chains, columns) and precision."""
        rows = seen.piece.rows
        normal_of_others = normal - (own @ seen.outer).reshape(normal.shape)
        right_of_others = right - (own * self.stacked[:, seen.at]) @ rows
        cov = inverse(normal_of_others)
        centre = np.matmul(cov, right_of_others[:, :, None])[:, :, 0] @ rows.T
        variance = rows @ cov @ rows.T
        variance[:, range(seen.columns), range(seen.columns)] += 1.0 / own
        return centre, inverse(variance)

    def _normal(self) -> tuple[FloatArray, FloatArray]:
        """Precision matrix of θ and its right-hand side from the prior and all points."""
        precision = 1.0 / np.square(self.tau[:, self.which])
        normal = (precision @ self.outer).reshape(CHAINS, self.mean.size, self.mean.size)
        normal += np.diag(1.0 / np.square(self.sd))
        return normal, (precision * self.stacked) @ self.rows + self.mean / np.square(self.sd)

    def _draw_spread(self) -> None:
        apart = np.square(self.stacked - self.theta @ self.rows.T)
        for g, ln_nodes in enumerate(self.ln_nodes):
            mine = self.which == g
            squares = apart[:, mine].sum(axis=1)
            log_p = (
                -int(mine.sum()) * ln_nodes
                - 0.5 * squares[:, None] * np.exp(-2.0 * ln_nodes)
                - 0.5 * np.square(_SPREAD_Z)
            )
            p = np.exp(log_p - log_p.max(axis=1, keepdims=True))
            cumulative = np.cumsum(p, axis=1)
            picked = (cumulative < (self.rng.random(CHAINS) * cumulative[:, -1])[:, None]).sum(axis=1)
            width = ln_nodes[1] - ln_nodes[0]
            nodes = ln_nodes[np.minimum(picked, ln_nodes.size - 1)]
            self.tau[:, g] = np.exp(nodes + width * (self.rng.random(CHAINS) - 0.5))

    def _draw_theta(self) -> None:
        normal, right = self._normal()
        root = np.linalg.cholesky(normal)
        centre = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        noise = self.rng.standard_normal(centre.shape)
        self.theta[:] = centre + np.linalg.solve(root.transpose(0, 2, 1), noise[:, :, None])[:, :, 0]


def _p_wild(piece: Piece, ln_fits: FloatArray, precision: FloatArray) -> FloatArray:
    """Probability that a piece is wild, per chain: it could be anywhere on the grid, against where it is expected.

    ``ln_fits`` is the log of the sum over the points of weight · exp(−(x − centre)' P (x − centre)/2).
    """
    columns = len(piece.spread)
    ln_det = np.log(determinant(precision))
    ln_normal = math.log1p(-piece.wild_share) + ln_fits + 0.5 * ln_det - 0.5 * columns * math.log(2.0 * math.pi)
    highest = piece.cloud.log_weight.max()
    whole = highest + math.log(np.exp(piece.cloud.log_weight - highest).sum())
    ln_wild = math.log(piece.wild_share) + whole - columns * math.log(float(LN_LOSS[-1] - LN_LOSS[0]))
    result: FloatArray = 1.0 / (1.0 + np.exp(np.minimum(ln_normal - ln_wild, 700.0)))
    return result
