"""Elastic modes of bodies at rest: the modal coordinates that the forces on displaced bodies hold."""

from __future__ import annotations

from vibsim.jit import apart, inlined
from vibsim.solver.motion import derivatives
from vibsim.solver.rest import relax

MOST_NEWTON, MOST_HALVINGS = 30, 8
STEP = 1e-6  # √kg m, of differences: a body of 100 kg moves by 1e-7 m
CLOSE = 1e-15  # √kg m, in a Newton step: rounding of places leaves about as much
SMALL = 1e-9  # √kg m: a step below it that does not shrink any more is rounding


@inlined
def rest_of_mounts(x, y, model, flex, w, e, out):
    """Bring the mounts' own states to rest where the bodies are, and elastic modes, where there are any, with them.

    `x` (6 per body, or modal coordinates after them) is how the bodies were moved; modes named in it move by it.
    """
    if flex is None:
        relax(y, model)
    else:
        _modes_to_rest(x, y, model, flex, w, e, out)


@apart
def _modal_forces(y, model, w, e, out):
    relax(y, model)
    derivatives(y, model, w, e, out)


@apart
def _modes_to_rest(x, y, model, flex, w, e, out):
    """Newton's method on the forces on all modes; the work array of `flex` holds matrix, forces, step and start."""
    modes, work, first = flex.modes, flex.work, 6 * model.bodies.size
    count, last = modes.size, 1.0
    if x.size > first:
        for n in range(count):
            y[modes[n].at] += x[first + n]
        relax(y, model)
        return
    _modal_forces(y, model, w, e, out)
    for _ in range(MOST_NEWTON):
        size = 0.0
        for n in range(count):
            work[n, count], work[n, count + 2] = out[modes[n].rate], y[modes[n].at]
            size = max(size, abs(work[n, count]))
        for k in range(count):
            y[modes[k].at] += STEP
            _modal_forces(y, model, w, e, out)
            for n in range(count):
                work[n, k] = (out[modes[n].rate] - work[n, count]) / STEP
            y[modes[k].at] = work[k, count + 2]
        _eliminate(work, count)
        step = 0.0
        for n in range(count):
            step = max(step, abs(work[n, count + 1]))
        factor = 1.0
        for _ in range(MOST_HALVINGS):
            left = 0.0
            for n in range(count):
                y[modes[n].at] = work[n, count + 2] + factor * work[n, count + 1]
            _modal_forces(y, model, w, e, out)
            for n in range(count):
                left = max(left, abs(out[modes[n].rate]))
            if left <= size or step < SMALL:
                break
            factor *= 0.5
        if step < CLOSE or (step < SMALL and step > 0.5 * last):
            return
        last = step


@apart
def _eliminate(work, count):
    """Solve the matrix in the first columns against minus the next one into the one after it, rows exchanged."""
    for k in range(count):
        best = k
        for i in range(k + 1, count):
            if abs(work[i, k]) > abs(work[best, k]):
                best = i
        for j in range(k, count + 1):
            work[k, j], work[best, j] = work[best, j], work[k, j]
        for i in range(k + 1, count):
            factor = work[i, k] / work[k, k]
            for j in range(k, count + 1):
                work[i, j] -= factor * work[k, j]
    for k in range(count - 1, -1, -1):
        total = -work[k, count]
        for j in range(k + 1, count):
            total -= work[k, j] * work[j, count + 1]
        work[k, count + 1] = total / work[k, k]
