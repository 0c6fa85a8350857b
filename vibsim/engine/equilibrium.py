"""Composition of hot combustion products: least Gibbs energy of an ideal mixture at a temperature and pressure."""

from __future__ import annotations

import numpy as np

from vibsim.engine.species import GAS_CONSTANT, SPECIES, STANDARD, enthalpy, entropy
from vibsim.inputs.errors import VibsimError

PRODUCTS = ("CO2", "H2O", "CO", "H2", "O2", "OH", "H", "O", "NO", "N2", "Ar")
ELEMENTS = ("C", "H", "O", "N", "Ar")
MOST_STEPS = 300
CLOSE = 1e-10
ATOMS = np.array([[SPECIES[name].atoms.get(element, 0) for name in PRODUCTS] for element in ELEMENTS], dtype=float)


def equilibrium(elements: np.ndarray, temperature: np.ndarray, pressure: np.ndarray | float) -> np.ndarray:
    """Moles of PRODUCTS (n, 11) that atoms of ELEMENTS (5, mol) make up at temperatures (n) K and pressures (n) Pa.

    Newton's method on the Gibbs energy with element potentials in logarithms of moles (Gordon & McBride 1994, NASA
    RP-1311, section 2, from memory), all temperatures at once. Raises VibsimError when it does not close.
    """
    gibbs = np.array([enthalpy(name, temperature) - temperature * entropy(name, temperature) for name in PRODUCTS])
    potential = (gibbs / (GAS_CONSTANT * temperature) + np.log(pressure / STANDARD)).T
    present = elements > 0.0
    atoms, wanted = ATOMS[present], elements[present]
    possible = ~np.any(ATOMS[~present] > 0.0, axis=0)
    moles = np.tile(np.where(possible, float(elements.sum()) / len(PRODUCTS), 0.0), (len(temperature), 1))
    total = moles.sum(axis=1)
    for _ in range(MOST_STEPS):
        mu = np.where(possible, potential + np.log(np.maximum(moles, 1e-300) / total[:, None]), 0.0)
        change, grown = _step(atoms, wanted, moles, mu, total)
        change = np.where(possible, change, 0.0)
        largest = np.maximum(np.abs(change).max(axis=1), np.abs(grown))
        damped = np.minimum(1.0, 2.0 / np.maximum(largest, 1e-300))
        moles = moles * np.exp(damped[:, None] * change)
        total = total * np.exp(damped * grown)
        if max(float(((np.abs(change) * moles).max(axis=1) / total).max()), float(np.abs(grown).max())) < CLOSE:
            return moles
    raise VibsimError(
        f"equilibrium of combustion products at {temperature[0]:g} to {temperature[-1]:g} K did not close"
    )


def _step(
    atoms: np.ndarray, wanted: np.ndarray, moles: np.ndarray, mu: np.ndarray, total: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Changes of ln(moles) (n, 11) and ln(total) (n) from the reduced Newton equations."""
    weighted = atoms * moles[:, None, :]
    count, held = len(atoms), weighted.sum(axis=2)
    matrix = np.zeros((len(total), count + 1, count + 1))
    matrix[:, :count, :count] = weighted @ atoms.T
    matrix[:, :count, count] = matrix[:, count, :count] = held
    matrix[:, count, count] = moles.sum(axis=1) - total
    right = np.empty((len(total), count + 1))
    right[:, :count] = wanted - held + (weighted @ mu[:, :, None])[:, :, 0]
    right[:, count] = total - moles.sum(axis=1) + (moles * mu).sum(axis=1)
    found = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    return -mu + found[:, :count] @ atoms + found[:, count:], found[:, count]
