"""The candidates nothing else beats in everything at once, kept while a long list goes by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BLOCK = 128  # beaters looked at together
ELITE = 48  # of the front, that see off most of what is new
FINE = 0.05  # of a cell: closer than this is as good in one objective


@dataclass(frozen=True)
class Front:
    """Kept candidates: `values` (k, objectives), less is better; `key` (k) the number of each in the whole list."""

    values: np.ndarray
    key: np.ndarray

    def at(self, chosen: np.ndarray) -> Front:
        return Front(self.values[chosen], self.key[chosen])


def empty_front(objectives: int) -> Front:
    return Front(np.zeros((0, objectives)), np.zeros(0, dtype=np.int64))


def cells_of(values: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Whole numbers of the cells (objectives, k) that values (k, objectives) fall into, rounding kept out of their
    edges."""
    return np.floor(values / size + 1e-6).astype(np.int32).T.copy()


def joined(front: Front, values: np.ndarray, key: np.ndarray, size: np.ndarray) -> Front:
    """The front of what was kept and new values (k, objectives) with their numbers (k).

    Near-equal candidates are merged as ε-dominance does (Laumanns, Thiele, Deb and Zitzler 2002, from memory): values
    fall into cells of `size`, a cell beaten by another cell goes, and of each cell left one stays, the first by its
    values and then by its number. So nothing kept is beaten by anything seen, nothing seen is better than all kept by
    more than a cell, and neither depends on how the list was cut.
    """
    new = Front(np.round(values, 9), key)
    known = cells_of(front.values, size)
    if len(front.key):
        elite = known[:, :: max(1, known.shape[1] // ELITE)]
        new = new.at(~beaten(cells_of(new.values, size), elite))
    new = _unbeaten(new, size)
    new = new.at(~beaten(cells_of(new.values, size), known))
    old = front.at(~beaten(known, cells_of(new.values, size)))
    return _one_per_cell(Front(np.concatenate([old.values, new.values]), np.concatenate([old.key, new.key])), size)


def best_at_each(front: Front, values: np.ndarray, key: np.ndarray, size: np.ndarray) -> Front:
    """For each objective the best of what was kept (objectives, in their order, or none) and of new values (k).

    Equal within FINE of a cell counts as equal; of equal ones the one with the least sum of all in cells stays, then
    the first. So each is unbeaten, and none depends on how the list was cut.
    """
    values, key = np.concatenate([front.values, np.round(values, 9)]), np.concatenate([front.key, key])
    steps, total = cells_of(values, FINE * size), np.round((values / size).sum(axis=1), 6)
    chosen = []
    for row in steps:
        level = np.flatnonzero(row == row.min())
        level = level[total[level] == total[level].min()]
        chosen.append(level[np.argmin(key[level])])
    return Front(values, key).at(np.array(chosen))


def together(front: Front, champions: Front) -> Front:
    """Both, each candidate once."""
    key, index = np.unique(np.concatenate([front.key, champions.key]), return_index=True)
    return Front(np.concatenate([front.values, champions.values])[index], key)


def beaten(cells: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Which cells (objectives, n) some other of `by` (objectives, m) is no worse than in anything and not equal to."""
    found = np.zeros(cells.shape[1], dtype=bool)
    total, by_total = cells.sum(axis=0), by.sum(axis=0)
    for start in range(0, by.shape[1], BLOCK):
        block = by[:, start : start + BLOCK, None]
        better = by_total[start : start + BLOCK, None] < total
        for objective in range(len(cells)):
            better &= block[objective] <= cells[objective]
        found |= better.any(axis=0)
    return found


def _unbeaten(front: Front, size: np.ndarray) -> Front:
    """Those that no other of them beats: from the least sum of cells on, each sees off what it beats."""
    front = _one_per_cell(front, size)
    cells = cells_of(front.values, size)
    alive, kept = np.argsort(cells.sum(axis=0), kind="stable"), []
    cells = cells[:, alive]
    while len(alive):
        kept.append(alive[0])
        better = cells[0] < cells[0, 0]
        for objective in cells[1:]:
            better |= objective < objective[0]
        alive, cells = alive[better], cells[:, better]
    return front.at(np.array(kept, dtype=int))


def _one_per_cell(front: Front, size: np.ndarray) -> Front:
    """The first of each cell, by its values and then by its number."""
    cells = cells_of(front.values, size)
    order = np.lexsort((front.key, *front.values.T[::-1], *cells))
    sorted_cells = cells[:, order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (sorted_cells[:, 1:] != sorted_cells[:, :-1]).any(axis=0)
    return front.at(order[first])
