"""A loss factor as a relaxation chain: what a causal model in the time domain can make of k·(1 + iη)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

POINTS = 61  # over the band; the loss of a few elements has few waves in it


@dataclass(frozen=True)
class LossChain:
    """Springs as shares of the stiffness wanted: `long_term`, and `ratios` (n) of the elements with `times` (n) s.

    `error` is the largest deviation of the loss factor in the band, as a share of it; `rise` (2) the real part of the
    stiffness at the band's ends, as a share of that wanted, which it is at the middle.
    """

    long_term: float
    ratios: np.ndarray
    times: np.ndarray
    error: float
    rise: tuple[float, float]


def chain_stiffness(frequency: np.ndarray, ratios: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Σ r·iωτ/(1 + iωτ) of Maxwell elements (n) at frequencies (...) Hz, in shares as the ratios r are."""
    turn = 2j * math.pi * np.asarray(frequency, dtype=float)[..., None] * times
    return (ratios * turn / (1.0 + turn)).sum(axis=-1)


def loss_chain(loss: float, band: tuple[float, float], elements: int) -> LossChain:
    """The chain whose loss factor is nearest a constant one over a band (Hz), least squares with springs not negative.

    The elements relax at frequencies spread evenly on a logarithmic scale from end to end of the band, none faster, so
    that the chain asks for no finer time step than the band does. With the long-term spring 1 the condition
    Im K = η·Re K is linear in the other springs (derived). A constant loss makes any causal stiffness rise with
    frequency, by about 2·atan(η)/π per factor e (Kramers and Kronig, from memory), so the stiffness wanted is met at
    the band's middle alone.
    """
    from scipy.optimize import nnls

    low, high = band
    middle = math.sqrt(low * high)
    relaxing = np.geomspace(low, high, elements) if elements > 1 else np.array([middle])
    times = 1.0 / (2.0 * math.pi * relaxing)
    frequency = np.geomspace(low, high, POINTS)
    each = np.array([chain_stiffness(frequency, np.ones(1), times[n : n + 1]) for n in range(elements)]).T
    ratios, _ = nnls(each.imag - loss * each.real, np.full(POINTS, loss))
    whole = 1.0 + chain_stiffness(frequency, ratios, times)
    long_term = 1.0 / float((1.0 + chain_stiffness(np.array(middle), ratios, times)).real)
    found = whole.imag / whole.real
    error = float(np.abs(found / loss - 1.0).max()) if loss else 0.0
    rise = (long_term * float(whole[0].real), long_term * float(whole[-1].real))
    return LossChain(long_term, ratios * long_term, times, error, rise)
