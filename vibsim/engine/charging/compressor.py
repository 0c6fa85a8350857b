"""A compressor at work: flow from speed and pressure ratio, ratio from speed and flow, speed from flow and ratio.

Beyond the map the point is carried on by stated laws and flagged, never clipped in silence:

- below the lowest and above the top speed line: similarity, with that line's coefficients (SLOW, FAST);
- pressure ratio above the surge line (SURGE): flow falls straight to nothing while the head rises by a tenth;
- beyond the last point of a line (CHOKE): head falls with the square of the flow, as through a resistance, with the
  line's own mean fall; a standing wheel is that resistance (derived).

Beyond surge efficiency is held, beyond choke the work coefficient. Work and not efficiency is what is interpolated: it
stays regular where the pressure ratio comes to 1 and efficiency loses its sense.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from vibsim.engine.charging.air import EXPONENT, HEAT_CAPACITY
from vibsim.engine.charging.compressor_map import FLOW, HEAD, SLOPE, WORK
from vibsim.jit import inner, kernel

SURGE, CHOKE, SLOW, FAST = 1, 2, 4, 8
FLAG_WORDS = {
    SURGE: "beyond the surge line",
    CHOKE: "beyond the choke line",
    SLOW: "below the lowest speed line",
    FAST: "above the top speed line",
}
EDGE = 1e-9  # relative, so that the map's own points are in it
SHUT_OFF = 0.1  # rise of head beyond surge at which flow ends
SOFT = 1e-4  # of the squared choke flow: where the resistance turns linear about no flow
LEAST_POWER_BASE = 1e-6
BISECTIONS = 60
SPEED_STEP = 0.02  # of the top line, in the search for a speed


class CompressorPoint(NamedTuple):
    """One operating point. Mass flow kg/s, total pressure `ratio`, outlet `temperature` K, `power` W into the air,
    `torque` N m on the shaft; `efficiency` isentropic; `surge_margin` = flow over that at surge at this speed − 1;
    `flags` the sum of SURGE, CHOKE, SLOW, FAST, zero inside the map."""

    mass_flow: float
    ratio: float
    temperature: float
    power: float
    torque: float
    efficiency: float
    surge_margin: float
    flags: int


def flag_words(flags: int) -> list[str]:
    """What the flags of a point say."""
    return [words for flag, words in FLAG_WORDS.items() if flags & flag]


@inner
def _blend(k, column, line, weight, compressor):
    t = compressor.table
    return (1.0 - weight) * t[line, k, column] + weight * t[line + 1, k, column]


@inner
def _cubic(k, x, column, line, weight, compressor):
    """Value and slope by x of a coefficient at x (0 to 1) between nodes k and k + 1."""
    h = compressor.shares[k + 1] - compressor.shares[k]
    left, right = _blend(k, column, line, weight, compressor), _blend(k + 1, column, line, weight, compressor)
    left1 = h * _blend(k, column + SLOPE, line, weight, compressor)
    right1 = h * _blend(k + 1, column + SLOPE, line, weight, compressor)
    rise = right - left
    c2, c3 = 3.0 * rise - 2.0 * left1 - right1, left1 + right1 - 2.0 * rise
    return left + x * (left1 + x * (c2 + x * c3)), left1 + x * (2.0 * c2 + 3.0 * x * c3)


@inner
def _place(column, target, line, weight, compressor):
    """Node k and x after it where a coefficient that rises (flow) or falls (head) along the line meets `target`."""
    sign = -1.0 if column == HEAD else 1.0
    low, high = 0, compressor.shares.size - 1
    while high - low > 1:
        middle = (low + high) // 2
        if sign * (_blend(middle, column, line, weight, compressor) - target) <= 0.0:
            low = middle
        else:
            high = middle
    a, b, x = 0.0, 1.0, 0.5
    for _ in range(BISECTIONS):  # Newton's method, held between bounds
        value, slope = _cubic(low, x, column, line, weight, compressor)
        miss = sign * (value - target)
        if miss <= 0.0:
            a = x
        else:
            b = x
        step = x - miss / (sign * slope) if slope != 0.0 else -1.0
        last, x = x, step if a <= step <= b else 0.5 * (a + b)
        if abs(x - last) < 1e-14:
            break
    return low, x


@inner
def _line(n, compressor):
    """Index of the line below, the share of the next one in the blend, and flags, at a speed over the top line's."""
    lines, last = compressor.lines, compressor.lines.size - 1
    flags = (SLOW if n < lines[0] * (1.0 - EDGE) else 0) + (FAST if n > lines[last] * (1.0 + EDGE) else 0)
    held, low = min(max(n, lines[0]), lines[last]), 0
    while low < last - 1 and held >= lines[low + 1]:
        low += 1
    return low, (held - lines[low]) / (lines[low + 1] - lines[low]), flags


@inner
def _ends(line, weight, compressor):
    """Flow and head at surge, flow and head at choke, and the resistance beyond choke."""
    last = compressor.shares.size - 1
    flow_s, head_s = _blend(0, FLOW, line, weight, compressor), _blend(0, HEAD, line, weight, compressor)
    flow_c, head_c = _blend(last, FLOW, line, weight, compressor), _blend(last, HEAD, line, weight, compressor)
    return flow_s, head_s, flow_c, head_c, (head_s - head_c) / (flow_c * flow_c - flow_s * flow_s)


@inner
def _flow_and_rise(n, head, line, weight, compressor):
    """Corrected flow (kg/s), relative rise of temperature and flags at a speed n and head Π^((γ−1)/γ) − 1."""
    flow_s, head_s, flow_c, head_c, resistance = _ends(line, weight, compressor)
    n2 = n * n
    if head < head_c * n2 * (1.0 - EDGE) or (n == 0.0 and head <= 0.0):
        base = flow_c * n
        more = (head_c * n2 - head) / resistance
        flow = base + more / (math.sqrt(base * base + more + SOFT * flow_c * flow_c) + base)
        return flow, n2 * _blend(compressor.shares.size - 1, WORK, line, weight, compressor), CHOKE
    if head > head_s * n2 * (1.0 + EDGE):
        left = max(1.0 - (head - head_s * n2) / (SHUT_OFF * head_s * n2), 0.0) if n > 0.0 else 0.0
        return flow_s * n * left, head / head_s * _blend(0, WORK, line, weight, compressor), SURGE
    k, x = _place(HEAD, head / n2, line, weight, compressor)
    flow, work = _cubic(k, x, FLOW, line, weight, compressor)[0], _cubic(k, x, WORK, line, weight, compressor)[0]
    return flow * n, work * n2, 0


@inner
def _head_and_rise(n, flow, line, weight, compressor):
    """Head Π^((γ−1)/γ) − 1, relative rise of temperature and flags at a speed n and corrected flow (kg/s)."""
    flow_s, head_s, flow_c, head_c, resistance = _ends(line, weight, compressor)
    n2 = n * n
    if flow > flow_c * n * (1.0 + EDGE) or n == 0.0:
        over, base = flow - flow_c * n, flow_c * n
        half = over * base + 0.5 * over * over  # the law of `_flow_and_rise`, solved for the head
        more = half + math.sqrt(half * half + over * over * SOFT * flow_c * flow_c)
        rise = n2 * _blend(compressor.shares.size - 1, WORK, line, weight, compressor)
        return head_c * n2 - resistance * more, rise, CHOKE
    if flow < flow_s * n * (1.0 - EDGE):
        head = head_s * n2 * (1.0 + SHUT_OFF * (1.0 - flow / (flow_s * n)))
        return head, head / head_s * _blend(0, WORK, line, weight, compressor), SURGE
    k, x = _place(FLOW, flow / n, line, weight, compressor)
    head, work = _cubic(k, x, HEAD, line, weight, compressor)[0], _cubic(k, x, WORK, line, weight, compressor)[0]
    return head * n2, work * n2, 0


@inner
def _point(speed, n, line, weight, corrected, head, rise, flags, pressure, temperature, compressor):
    root = math.sqrt(temperature / compressor.reference_temperature)
    flow = corrected * pressure / compressor.reference_pressure / root
    power = flow * HEAT_CAPACITY * temperature * rise
    at_surge = _blend(0, FLOW, line, weight, compressor) * n
    return CompressorPoint(
        flow,
        max(1.0 + head, LEAST_POWER_BASE) ** (1.0 / EXPONENT),
        temperature * (1.0 + rise),
        power,
        power / speed if speed > 0.0 else 0.0,
        head / rise if rise > 0.0 else 0.0,
        corrected / at_surge - 1.0 if at_surge > 0.0 else 0.0,
        flags,
    )


@kernel
def compressor_flow(speed, ratio, pressure, temperature, compressor):
    """Operating point at rotor speed (rad/s, 0 or more) and total pressure ratio; inlet total pressure Pa and K."""
    n = speed / (compressor.reference_speed * math.sqrt(temperature / compressor.reference_temperature))
    line, weight, flags = _line(n, compressor)
    head = ratio**EXPONENT - 1.0
    corrected, rise, beyond = _flow_and_rise(n, head, line, weight, compressor)
    flags += beyond
    return _point(speed, n, line, weight, corrected, head, rise, flags, pressure, temperature, compressor)


@kernel
def compressor_ratio(speed, mass_flow, pressure, temperature, compressor):
    """Operating point at rotor speed (rad/s) and mass flow (kg/s, 0 or more); inlet total pressure Pa and K."""
    root = math.sqrt(temperature / compressor.reference_temperature)
    n = speed / (compressor.reference_speed * root)
    line, weight, flags = _line(n, compressor)
    corrected = mass_flow * root * compressor.reference_pressure / pressure
    head, rise, beyond = _head_and_rise(n, corrected, line, weight, compressor)
    flags += beyond
    return _point(speed, n, line, weight, corrected, head, rise, flags, pressure, temperature, compressor)


@kernel
def compressor_speed(mass_flow, ratio, pressure, temperature, compressor):
    """Lowest rotor speed (rad/s) that gives a mass flow (kg/s) at a total pressure ratio of 1 or more; inlet Pa and K.

    Flow rises with speed but near the choke line of the top speeds, where it may fall a little, so the way there is in
    small steps. What lies beyond the map shows in the flags of the point at that speed.
    """
    low, high = 0.0, SPEED_STEP * compressor.reference_speed
    while compressor_flow(high, ratio, pressure, temperature, compressor).mass_flow < mass_flow:
        low, high = high, high + max(SPEED_STEP * compressor.reference_speed, SPEED_STEP * high)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        if compressor_flow(middle, ratio, pressure, temperature, compressor).mass_flow < mass_flow:
            low = middle
        else:
            high = middle
    return high


@kernel
def map_line(speed, shares, compressor, out):
    """Fill `out` (k, 3) with corrected flow (kg/s), pressure ratio and efficiency at shares (k) of the way from surge
    to choke, at a corrected speed (rad/s)."""
    n = speed / compressor.reference_speed
    line, weight, _ = _line(n, compressor)
    for i in range(shares.size):
        k = 0
        while k < compressor.shares.size - 2 and shares[i] >= compressor.shares[k + 1]:
            k += 1
        x = (shares[i] - compressor.shares[k]) / (compressor.shares[k + 1] - compressor.shares[k])
        head = _cubic(k, x, HEAD, line, weight, compressor)[0]
        out[i, 0] = n * _cubic(k, x, FLOW, line, weight, compressor)[0]
        out[i, 1] = (1.0 + head * n * n) ** (1.0 / EXPONENT)
        out[i, 2] = head / _cubic(k, x, WORK, line, weight, compressor)[0]
