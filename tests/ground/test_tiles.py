"""Cells are read tile by tile: each tile once, each cell in the tile it lies in."""

from __future__ import annotations

import numpy as np

from reclaim.ground.point_values import TILE, tile_groups


def test_each_tile_comes_once_with_all_its_cells() -> None:
    generator = np.random.default_rng(3)
    row, column = generator.integers(0, 4 * TILE, (2, 400))
    seen = []
    for group in tile_groups(row, column):
        tiles = {(int(row[at]) // TILE, int(column[at]) // TILE) for at in group}
        assert len(tiles) == 1
        seen.append(tiles.pop())
    assert len(seen) == len(set(seen)) == 16
    assert sorted(np.concatenate(list(tile_groups(row, column)))) == list(range(400))
    assert list(tile_groups(row[:0], column[:0])) == []
