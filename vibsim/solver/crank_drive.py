"""What drives or holds the crank in a run: a prescribed speed, an inertia behind the load, a starter, a governor.

Each acts through one more output torque T on crank and reactor, beside the load's own law. As forces hang on the state
alone, the crank's acceleration is linear in it, φ̈ = φ̈₀ + g·T, with φ̈₀ of everything else and g that of a torque of
1 N m. Hence (derived) T = (Ω̇ − φ̈₀)/g keeps a prescribed speed Ω, and T = J·φ̈₀/(1 − g·J) is the torque J·φ̈ of an
inertia J that the output turns. Where the speed is prescribed the crank's momentum follows: it is linear in φ̇, so that
p = p₀ + (Ω − φ̇₀)/(dφ̇/dp) with φ̇₀ that of p₀ under the other momenta; velocities meet Ω exactly.
"""

from __future__ import annotations

from typing import NamedTuple

from vibsim.engine.air_path import OPENING
from vibsim.jit import apart, bare, inlined, inner
from vibsim.solver.carrier import carrier_rates, solve_mass

# states, and what is left in e: output torque beside that of the load's law, torque of the starter (N m)
CLOCK, INTEGRAL, GOVERNED = range(3)
OUTPUT, STARTER = range(2)
STATES, DRIVES = 3, 2  # how many there are of each


class Ramp(NamedTuple):
    """Crank speed (rad/s) that goes from `first` at `rate` (rad/s²) to `last` and stays; in force where `held`."""

    held: bool
    first: float
    rate: float
    last: float


class Starter(NamedTuple):
    """Torque (N m) at the crank, falling from `stall` at rest to nothing at `no_load` (rad/s of the crank), where it
    runs free; `on` while it is switched on."""

    on: bool
    stall: float
    no_load: float


class Governor(NamedTuple):
    """Holds `speed` (rad/s) by the throttle's opening or by a torque (N m): `base` and `proportional` and `integral`
    shares of the speed missing, between `least` and `most`; a torque follows in `response` s, a throttle in its own."""

    on: bool
    throttle: bool
    speed: float
    base: float
    proportional: float
    integral: float
    least: float
    most: float
    response: float


class Drive(NamedTuple):
    """`inertia` (kg m²) that the output turns; the rest see there."""

    ramp: Ramp
    inertia: float
    starter: Starter
    governor: Governor


NO_RAMP = Ramp(False, 0.0, 0.0, 0.0)
NO_STARTER = Starter(False, 0.0, 1.0)
NO_GOVERNOR = Governor(False, False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)
NO_DRIVE = Drive(NO_RAMP, 0.0, NO_STARTER, NO_GOVERNOR)


@inner
def _ramp_at(clock, ramp):
    """Speed and acceleration of a ramp after `clock` seconds."""
    speed = ramp.first + ramp.rate * clock
    if (ramp.rate > 0.0 and speed > ramp.last) or (ramp.rate < 0.0 and speed < ramp.last):
        return ramp.last, 0.0
    return speed, ramp.rate


@inlined
def crank_momentum(y, mass, at, drive, e, px, py, pz, lx, ly, lz):
    """The crank's momentum: its state, or what goes with the prescribed speed."""
    if drive is None:
        return y[y.size - 1]
    return _crank_momentum(y, mass, at, drive.ramp, e, px, py, pz, lx, ly, lz)


@apart
def _crank_momentum(y, mass, at, ramp, e, px, py, pz, lx, ly, lz):
    if not ramp.held:
        return y[y.size - 1]
    speed = _ramp_at(y[at + CLOCK], ramp)[0]
    rest = _solve(mass, e, px, py, pz, lx, ly, lz, 0.0)[6]
    return (speed - rest) / _solve(mass, e, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)[6]


@apart
def _solve(mass, e, px, py, pz, lx, ly, lz, p):
    return solve_mass(mass, e, px, py, pz, lx, ly, lz, p)


@inlined
def drive_torque(drive, e, to):
    """Output torque (N m) beside that of the load's law, less that of the starter, as `drive_rates` left them in e."""
    if drive is None:
        return 0.0
    return e[to + OUTPUT]


@inlined
def starter_torque(drive, e, to):
    """Torque (N m) of the starter on the crank, as `drive_rates` left it in e."""
    if drive is None:
        return 0.0
    return e[to + STARTER]


@inlined
def drive_rates(y, speed, model, drive, w, e, to, out):
    """Add what `drive`, which is `model.drive`, gives and takes to the rates in `out`, and its torques to e[to:]."""
    if drive is not None:
        _drive_rates(y, speed, model, drive, w, e, to, out)


@bare
def _drive_rates(y, speed, model, drive, w, e, to, out):
    at, crank = model.drive_at, y.size - 1
    out[at + CLOCK] = 1.0
    _govern(y, at, speed, drive.governor, model.air_at, out)
    starter = starting_torque(speed, drive.starter)
    out[crank] += starter
    torque = -y[at + GOVERNED]
    _take(torque, model, w, out)
    if drive.ramp.held or drive.inertia > 0.0:
        mass = model.bodies[model.carrier].mass + model.train.mass
        first = 13 * model.carrier
        rate = carrier_rates(model, w[model.carrier], e, out, first, speed, crank - 1)[6]
        off_block = -1.0 if model.reactor != model.carrier else 0.0
        gain = _solve(mass, e, 0.0, 0.0, 0.0, off_block, 0.0, 0.0, -1.0)[6]
        if drive.ramp.held:
            more = (_ramp_at(y[at + CLOCK], drive.ramp)[1] - rate) / gain
        else:
            more = drive.inertia * rate / (1.0 - gain * drive.inertia)
        _take(more, model, w, out)
        torque += more
    e[to + OUTPUT], e[to + STARTER] = torque, starter


@inner
def _take(torque, model, w, out):
    """Take an output torque (N m) from the crank, and off the block onto another body where that reacts it."""
    out[out.size - 1] -= torque
    if model.reactor == model.carrier:
        return
    c = model.carrier
    out[13 * c + 10] -= torque
    b = model.reactor
    if b >= 0:
        for k in range(3):  # the crank's direction, the first of the carrier's own axes, in that body's own
            along = w[b, k] * w[c, 0] + w[b, 3 + k] * w[c, 3] + w[b, 6 + k] * w[c, 6]
            out[13 * b + 10 + k] += torque * along


@inlined
def starting_torque(speed, starter):
    """Torque (N m) of a starter at a crank speed (rad/s); it overruns, so that it never brakes."""
    if not starter.on:
        return 0.0
    return max(starter.stall * (1.0 - speed / starter.no_load), 0.0)


@inner
def _govern(y, at, speed, governor, air_at, out):
    """Rates of the governor: the integral of the missing speed stands still where more of it would change nothing."""
    out[at + INTEGRAL], out[at + GOVERNED] = 0.0, 0.0
    if not governor.on:
        return
    missing = governor.speed - speed
    wanted = governor.base + governor.proportional * missing + governor.integral * y[at + INTEGRAL]
    if not ((wanted >= governor.most and missing > 0.0) or (wanted <= governor.least and missing < 0.0)):
        out[at + INTEGRAL] = missing
    wanted = min(max(wanted, governor.least), governor.most)
    if governor.throttle:
        out[air_at + OPENING] += (wanted - governor.base) / governor.response
    else:
        out[at + GOVERNED] = (wanted - y[at + GOVERNED]) / governor.response
