"""Answers of many sets of mounts to engine orders: the complex equations of all speeds and orders side by side.

They are eliminated without exchanging rows: with damping their imaginary part is positive, for which elimination is
stable (George and Ikramov 2002, from memory); a pivot too small all the same marks its answer.
"""

from __future__ import annotations

import numpy as np

from vibsim.jit import kernel, part

LANES = 8  # equations eliminated side by side
SMALLEST_PIVOT = 1e-9  # of what stood there before elimination


@part
def _fill(first, n, slope, drag, mass, gyration, share, speed, rate, push, added, re, im, large):
    """The equations of candidate n in lanes from `first` on; beyond the last lane the last one again."""
    size, lanes, two = mass.shape[0], rate.size, slope.shape[0] > 1
    for i in range(size):
        for j in range(size):
            for b in range(LANES):
                lane = min(first + b, lanes - 1)
                r = rate[lane]
                stiff, damp = -slope[0, n, i, j], -drag[0, n, i, j]
                if two:
                    stiff += share[lane] * (-slope[1, n, i, j] - stiff)
                    damp += share[lane] * (-drag[1, n, i, j] - damp)
                re[i, j, b] = stiff - r * r * mass[i, j]
                im[i, j, b] = r * (damp + speed[lane] * gyration[i, j])
                if added.size > 0:
                    re[i, j, b] += added[n, lane, i, j].real
                    im[i, j, b] += added[n, lane, i, j].imag
        for b in range(LANES):
            lane = min(first + b, lanes - 1)
            re[i, size, b], im[i, size, b] = push[lane, i].real, push[lane, i].imag
            large[i, b] = abs(re[i, i, b]) + abs(im[i, i, b])


@kernel
def orders_many(slope, drag, mass, gyration, share, speed, rate, push, added, feel, felt, moved):
    """Displacements and what sensors feel under pushes, of every candidate.

    `slope`, `drag` (loads, candidates, square) of one or two loads; lane l is one speed and order: `share` (lanes) of
    the second load in it, `speed` and `rate` (rad/s), complex `push` (lanes, unknowns). `gyration` (square) N m s per
    rad/s of the crank, `added` (candidates, lanes, square) complex stiffness beside, or empty; `feel` (rows, unknowns).
    Into `felt` (candidates, lanes, rows) goes the acceleration, into `moved` (candidates, lanes, unknowns), unless
    empty, the displacement; NaN where elimination met a pivot of nothing.
    """
    size, lanes = mass.shape[0], rate.size
    re, im = np.zeros((size, size + 1, LANES)), np.zeros((size, size + 1, LANES))
    fr, fi, large = np.zeros(LANES), np.zeros(LANES), np.zeros((size, LANES))
    pr, pi = np.zeros(LANES), np.zeros(LANES)
    for n in range(slope.shape[1]):
        for first in range(0, lanes, LANES):
            _fill(first, n, slope, drag, mass, gyration, share, speed, rate, push, added, re, im, large)
            _eliminate(re, im, large, fr, fi, pr, pi)
            for b in range(min(LANES, lanes - first)):
                lane = first + b
                for k in range(feel.shape[0]):
                    total = 0.0j
                    for i in range(size):
                        total += feel[k, i] * complex(re[i, size, b], im[i, size, b])
                    felt[n, lane, k] = -rate[lane] * rate[lane] * total
                if moved.size > 0:
                    for i in range(size):
                        moved[n, lane, i] = complex(re[i, size, b], im[i, size, b])


@part
def _eliminate(re, im, large, fr, fi, pr, pi):
    """Solve all lanes in place: rows scaled by 1/pivot, the answers end in the last column."""
    size, lanes = re.shape[0], re.shape[2]
    for k in range(size):
        for b in range(lanes):
            square = re[k, k, b] * re[k, k, b] + im[k, k, b] * im[k, k, b]
            good = square > (SMALLEST_PIVOT * large[k, b]) ** 2
            pr[b] = re[k, k, b] / square if good else np.nan
            pi[b] = -im[k, k, b] / square if good else np.nan
        for j in range(k + 1, size + 1):
            for b in range(lanes):
                a, c = re[k, j, b], im[k, j, b]
                re[k, j, b] = a * pr[b] - c * pi[b]
                im[k, j, b] = a * pi[b] + c * pr[b]
        for i in range(k + 1, size):
            for b in range(lanes):
                fr[b], fi[b] = re[i, k, b], im[i, k, b]
            for j in range(k + 1, size + 1):
                for b in range(lanes):
                    re[i, j, b] -= fr[b] * re[k, j, b] - fi[b] * im[k, j, b]
                    im[i, j, b] -= fr[b] * im[k, j, b] + fi[b] * re[k, j, b]
    for k in range(size - 1, 0, -1):
        for i in range(k):
            for b in range(lanes):
                a, c = re[i, k, b], im[i, k, b]
                re[i, size, b] -= a * re[k, size, b] - c * im[k, size, b]
                im[i, size, b] -= a * im[k, size, b] + c * re[k, size, b]
