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


def equilibrium(elements: np.ndarray, temperature: float, pressure: float) -> np.ndarray:
    """Moles of PRODUCTS (11) that atoms of ELEMENTS (5, mol) make up at a temperature (K) and pressure (Pa).

    Newton's method on the Gibbs energy with element potentials in logarithms of moles (Gordon & McBride 1994, NASA
    RP-1311, section 2, from memory). Raises VibsimError when it does not close.
    """
    at = np.array([temperature])
    gibbs = np.array([(enthalpy(n, at)[0] - temperature * entropy(n, at)[0]) for n in PRODUCTS])
    potential = gibbs / (GAS_CONSTANT * temperature) + np.log(pressure / STANDARD)
    present = elements > 0.0
    atoms, wanted = ATOMS[present], elements[present]
    possible = ~np.any(ATOMS[~present] > 0.0, axis=0)
    moles = np.where(possible, float(elements.sum()) / len(PRODUCTS), 0.0)
    total = moles.sum()
    for _ in range(MOST_STEPS):
        with np.errstate(divide="ignore"):
            mu = np.where(possible, potential + np.log(np.maximum(moles, 1e-300) / total), 0.0)
        change, grown = _step(atoms, wanted, moles, mu, total)
        change = np.where(possible, change, 0.0)
        damped = min(1.0, 2.0 / max(float(np.abs(change).max()), abs(grown), 1e-300))
        moles = moles * np.exp(damped * change)
        total *= np.exp(damped * grown)
        if max(float((np.abs(change) * moles).max()) / total, abs(grown)) < CLOSE:
            return moles
    raise VibsimError(f"equilibrium of combustion products at {temperature:g} K did not close")


def _step(
    atoms: np.ndarray, wanted: np.ndarray, moles: np.ndarray, mu: np.ndarray, total: float
) -> tuple[np.ndarray, float]:
    """Changes of ln(moles) and ln(total) from the reduced Newton equations."""
    weighted = atoms * moles
    count = len(atoms)
    matrix = np.zeros((count + 1, count + 1))
    matrix[:count, :count] = weighted @ atoms.T
    matrix[:count, count] = matrix[count, :count] = weighted.sum(axis=1)
    matrix[count, count] = moles.sum() - total
    right = np.append(wanted - weighted.sum(axis=1) + weighted @ mu, total - moles.sum() + moles @ mu)
    found = np.linalg.solve(matrix, right)
    return -mu + atoms.T @ found[:count] + found[count], float(found[count])
