"""Are the tiles of the map as large as their areas, within the map, and apart?"""

from __future__ import annotations

import itertools
from xml.etree import ElementTree as Xml

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.engine.estimate import Range
from chaffinch.paper.season_map import Box, Tile, season_map, thirds, treemap

areas = st.lists(st.floats(0.5, 500.0), min_size=1, max_size=60)


@given(areas)
def test_tiles_fill_the_map_in_proportion(given_areas: list[float]) -> None:
    box = Box(1.0, 1.0, 678.0, 313.0)
    tiles = treemap(given_areas, box)
    whole = box.width * box.height
    for area, tile in zip(given_areas, tiles, strict=True):
        assert tile.width * tile.height == pytest.approx(whole * area / sum(given_areas), rel=1e-6)
        assert tile.x >= box.x - 1e-6
        assert tile.y >= box.y - 1e-6
        assert tile.x + tile.width <= box.x + box.width + 1e-6
        assert tile.y + tile.height <= box.y + box.height + 1e-6
    for a, b in itertools.combinations(tiles, 2):
        wide = min(a.x + a.width, b.x + b.width) - max(a.x, b.x)
        high = min(a.y + a.height, b.y + b.height) - max(a.y, b.y)
        assert wide < 1e-6 or high < 1e-6


@given(st.lists(st.one_of(st.none(), st.floats(0.1, 1e4)), min_size=1, max_size=40))
def test_thirds_rise_with_the_loss(middles: list[float | None]) -> None:
    losses = [None if m is None else Range(0.5 * m, m, 2.0 * m) for m in middles]
    levels = thirds(losses)
    for (m, level), (other, second) in itertools.product(zip(middles, levels, strict=True), repeat=2):
        assert (level == 0) == (m is None)
        if m is not None and other is not None and m < other:
            assert level <= second
        if m == other:
            assert level == second
    if sum(m is not None for m in middles) >= 3 and len({m for m in middles if m is not None}) >= 3:
        assert {1} <= set(levels)


def test_a_map_of_sixty_fields_says_every_number() -> None:
    tiles = [Tile(str(n + 1), f"Field {n + 1}", 20.0, Range(1, 2, 3), "2") for n in range(60)]
    drawn = season_map(tiles, "kg/ha", title="t", about="a", name="m", spans=["a", "b", "c"])
    svg = Xml.fromstring(drawn.ink(680))
    texts = [text.text or "" for text in svg.iter("{http://www.w3.org/2000/svg}text")]
    assert sum(text.split()[0].rstrip("…").isdigit() for text in texts if text) >= 60
