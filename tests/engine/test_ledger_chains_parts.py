"""The chains' quick ways against the plain ones: picking a point block by block, sums kept in step, small inverses."""

from __future__ import annotations

import numpy as np
import pytest

from chaffinch.engine.ledger.chains import CHAINS, Cloud, Piece, _Chains, _Seen
from chaffinch.engine.ledger.levels import Spread
from chaffinch.engine.sampling.small_inverse import determinant, inverse


def symmetric(size: int, seed: int = 3) -> np.ndarray:
    """Positive definite matrices, shape (chains, size, size)."""
    root = np.random.default_rng(seed).normal(size=(CHAINS, size, size))
    return root @ root.transpose(0, 2, 1) + 0.1 * np.eye(size)


def piece(columns: int, points: int, seed: int = 1, wild: float = 0.02) -> Piece:
    rng = np.random.default_rng(seed)
    cloud = Cloud(
        ("header", "machine", "leak")[:columns], rng.normal(3.5, 0.7, (points, columns)), rng.normal(size=points)
    )
    return Piece(cloud, np.eye(3)[:columns], tuple(range(columns)), None, wild)


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_small_inverses_and_determinants(size: int) -> None:
    given = symmetric(size)
    np.testing.assert_allclose(inverse(given), np.linalg.inv(given), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(determinant(given), np.linalg.det(given), rtol=1e-9)


class Fixed:
    """A source of chance that gives what it was given."""

    def __init__(self, given: np.ndarray) -> None:
        self.given = given

    def random(self, shape: object) -> np.ndarray:
        return self.given


@pytest.mark.parametrize("points", [1, 15, 16, 17, 512])
@pytest.mark.parametrize("columns", [1, 2, 3])
def test_a_point_is_picked_as_from_one_long_sum(points: int, columns: int) -> None:
    seen = _Seen(piece(columns, points), 0)
    centre, precision = np.full((CHAINS, columns), 3.2), symmetric(columns)
    linear = np.einsum("cij,cj->ci", precision, centre)
    u = np.random.default_rng(5).random(CHAINS)
    u[:3] = 0.0, 0.5, np.nextafter(1.0, 0.0)
    room = np.full(CHAINS * seen.places, np.nan)  # what another piece left there must not count

    picked, ln_sum = seen.pick(linear, precision, room, Fixed(u))  # type: ignore[arg-type]

    x = seen.piece.cloud.ln_loss
    ln_p = (
        np.einsum("ci,ni->cn", linear, x)
        - 0.5 * np.einsum("cij,ni,nj->cn", precision, x, x)
        + seen.piece.cloud.log_weight
    )
    sums = np.cumsum(np.exp(ln_p), axis=1)
    plain = (sums < u[:, None] * sums[:, -1:]).sum(axis=1)
    np.testing.assert_array_equal(picked, np.minimum(plain, points - 1))
    np.testing.assert_allclose(ln_sum, np.log(sums[:, -1]), rtol=1e-9)


def test_sums_kept_in_step_are_those_of_all_points() -> None:
    """Within a sweep only the part of the piece that moved is put right; here it is looked at after every piece."""
    pieces = [piece(2, 64, seed=k) for k in range(4)]
    chains = _Chains(pieces, np.full(3, 3.5), np.ones(3), [Spread(0.3, 0.3)] * 2, np.random.default_rng(1))
    plain, looked = chains._draw_points, []

    def looking(number, seen, rows, normal, right):  # type: ignore[no-untyped-def]
        now_normal, now_right = chains._normal()
        np.testing.assert_allclose(normal, now_normal, rtol=1e-12)
        np.testing.assert_allclose(right, now_right, rtol=1e-9)
        looked.append(number)
        return plain(number, seen, rows, normal, right)

    chains._draw_points = looking  # type: ignore[method-assign]
    for _ in range(3):
        chains.sweep(np.arange(CHAINS))
    assert looked == [0, 1, 2, 3] * 3
