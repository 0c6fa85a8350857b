"""Ideal-gas properties of the species in an engine, and their equilibrium when hot.

Polynomials in temperature of McBride, Gordon & Reno (1993, NASA TM-4513, a work of the US government): heat capacity,
enthalpy with that of formation, entropy at 1 atm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
ATOMIC_MASS = {"C": 12.011e-3, "H": 1.008e-3, "O": 15.999e-3, "N": 14.007e-3, "Ar": 39.95e-3}  # kg/mol
JOINT = 1000.0  # K, where the two fits meet
STANDARD = 101325.0  # Pa, of the entropies
REFERENCE = 298.15  # K


@dataclass(frozen=True)
class Species:
    """Atoms of a molecule and the fits below and above 1000 K: five of cp/R, one of h/R, one of s/R."""

    atoms: dict[str, int]
    low: tuple[float, ...]
    high: tuple[float, ...]

    @property
    def molar_mass(self) -> float:
        """kg/mol."""
        return sum(ATOMIC_MASS[atom] * count for atom, count in self.atoms.items())


SPECIES = {
    "N2": Species(
        {"N": 2},
        (3.53100528, -0.000123660987, -5.02999437e-07, 2.43530612e-09, -1.40881235e-12, -1046.97628, 2.96747468),
        (2.95257626, 0.00139690057, -4.92631691e-07, 7.86010367e-11, -4.60755321e-15, -923.948645, 5.87189252),
    ),
    "O2": Species(
        {"O": 2},
        (3.78245636, -0.00299673415, 9.847302e-06, -9.68129508e-09, 3.24372836e-12, -1063.94356, 3.65767573),
        (3.66096083, 0.000656365523, -1.41149485e-07, 2.05797658e-11, -1.29913248e-15, -1215.97725, 3.41536184),
    ),
    "Ar": Species(
        {"Ar": 1},
        (2.5, 0.0, 0.0, 0.0, 0.0, -745.375, 4.37967491),
        (2.5, 0.0, 0.0, 0.0, 0.0, -745.375, 4.37967491),
    ),
    "CO2": Species(
        {"C": 1, "O": 2},
        (2.35677352, 0.00898459677, -7.12356269e-06, 2.45919022e-09, -1.43699548e-13, -48371.9697, 9.90105222),
        (4.63659493, 0.00274131991, -9.95828531e-07, 1.60373011e-10, -9.16103468e-15, -49024.9341, -1.93534855),
    ),
    "H2O": Species(
        {"H": 2, "O": 1},
        (4.19864056, -0.0020364341, 6.52040211e-06, -5.48797062e-09, 1.77197817e-12, -30293.7267, -0.849032208),
        (2.67703787, 0.00297318329, -7.7376969e-07, 9.44336689e-11, -4.26900959e-15, -29885.8938, 6.88255571),
    ),
    "CO": Species(
        {"C": 1, "O": 1},
        (3.57953347, -0.00061035368, 1.01681433e-06, 9.07005884e-10, -9.04424499e-13, -14344.086, 3.50840928),
        (3.04848583, 0.00135172818, -4.85794075e-07, 7.88536486e-11, -4.69807489e-15, -14266.1171, 6.0170979),
    ),
    "H2": Species(
        {"H": 2},
        (2.34433112, 0.00798052075, -1.9478151e-05, 2.01572094e-08, -7.37611761e-12, -917.935173, 0.683010238),
        (2.93286579, 0.000826607967, -1.46402335e-07, 1.54100359e-11, -6.88804432e-16, -813.065597, -1.02432887),
    ),
    "OH": Species(
        {"H": 1, "O": 1},
        (3.99201543, -0.00240131752, 4.61793841e-06, -3.88113333e-09, 1.3641147e-12, 3615.08056, -0.103925458),
        (2.83864607, 0.00110725586, -2.93914978e-07, 4.20524247e-11, -2.42169092e-15, 3943.95852, 5.84452662),
    ),
    "H": Species(
        {"H": 1},
        (2.5, 0.0, 0.0, 0.0, 0.0, 25473.6599, -0.446682853),
        (2.50000286, -5.65334214e-09, 3.63251723e-12, -9.1994972e-16, 7.95260746e-20, 25473.6589, -0.446698494),
    ),
    "O": Species(
        {"O": 1},
        (3.1682671, -0.00327931884, 6.64306396e-06, -6.12806624e-09, 2.11265971e-12, 29122.2592, 2.05193346),
        (2.54363697, -2.73162486e-05, -4.1902952e-09, 4.95481845e-12, -4.79553694e-16, 29226.012, 4.92229457),
    ),
    "NO": Species(
        {"N": 1, "O": 1},
        (4.21859896, -0.00463988124, 1.10443049e-05, -9.34055507e-09, 2.80554874e-12, 9845.09964, 2.28061001),
        (3.26071234, 0.00119101135, -4.29122646e-07, 6.94481463e-11, -4.03295681e-15, 9921.43132, 6.36900518),
    ),
    "ethanol": Species(
        {"C": 2, "H": 6, "O": 1},
        (4.85868178, -0.0037400674, 6.95550267e-05, -8.86541147e-08, 3.5168443e-11, -29996.1309, 4.80192294),
        (6.5628977, 0.0152034264, -5.38922247e-06, 8.62150224e-10, -5.12824683e-14, -31525.7984, -9.47557644),
    ),
    "isooctane": Species(
        {"C": 8, "H": 18},
        (0.815737338, 0.0732643959, 1.78300688e-05, -6.9358962e-08, 3.21629382e-11, -30477.2862, 24.1509994),
        (15.9899273, 0.055318479, -1.95267072e-05, 3.11779172e-09, -1.85312577e-13, -35875.7973, -60.1161414),
    ),
    "octane": Species(
        {"C": 8, "H": 18},
        (12.5244908, -0.0101018365, 0.000221991595, -2.8486242e-07, 1.12409624e-10, -29843.3034, -19.7108554),
        (22.1755407, 0.0424426161, -1.49161103e-05, 2.40376673e-09, -1.44359037e-13, -36103.0944, -88.0854457),
    ),
    "toluene": Species(
        {"C": 7, "H": 8},
        (1.611914, 0.0211188902, 8.53221453e-05, -1.32566876e-07, 5.59406109e-11, 4096.51976, 20.2973614),
        (12.939475, 0.0266921558, -9.68420108e-06, 1.5739214e-09, -9.46670482e-14, -677.035769, -46.7255302),
    ),
}


def _fits(name: str, temperature: np.ndarray) -> np.ndarray:
    species = SPECIES[name]
    return np.where(temperature < JOINT, np.array(species.low)[:, None], np.array(species.high)[:, None])


def heat_capacity(name: str, temperature: np.ndarray) -> np.ndarray:
    """Molar heat capacity at constant pressure (n), J/(mol K), at temperatures (n) K."""
    a = _fits(name, temperature)
    return GAS_CONSTANT * (
        a[0] + temperature * (a[1] + temperature * (a[2] + temperature * (a[3] + temperature * a[4])))
    )


def enthalpy(name: str, temperature: np.ndarray) -> np.ndarray:
    """Molar enthalpy with that of formation (n), J/mol, at temperatures (n) K."""
    a, t = _fits(name, temperature), temperature
    return GAS_CONSTANT * (t * (a[0] + t * (a[1] / 2 + t * (a[2] / 3 + t * (a[3] / 4 + t * a[4] / 5)))) + a[5])


def entropy(name: str, temperature: np.ndarray) -> np.ndarray:
    """Molar entropy at 1 atm (n), J/(mol K), at temperatures (n) K."""
    a, t = _fits(name, temperature), temperature
    return GAS_CONSTANT * (a[0] * np.log(t) + t * (a[1] + t * (a[2] / 2 + t * (a[3] / 3 + t * a[4] / 4))) + a[6])
