"""Torsional vibration against textbook examples and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibsim.engine.drivetrain import Drivetrain, Link, Part
from vibsim.engine.shaft_law import SpringLaw
from vibsim.engine.torsion import dynamic_stiffness, holzer_table, torsion_modes
from vibsim.studies.torsion_damper import Damper, den_hartog


def chain(inertias: list[float], stiffnesses: list[float], ratios: list[float] | None = None) -> Drivetrain:
    """Rotors in a row; a gear stands at the second end of a shaft whose rotors' ratios differ."""
    ratios = ratios or [1.0] * len(inertias)
    parts = tuple(Part(str(n), inertia, ratios[n], "ground") for n, inertia in enumerate(inertias))
    links = tuple(
        Link(f"{n}", n, n + 1, ratios[n] / ratios[n + 1], SpringLaw(stiffness, 0.0, 0.0))
        for n, stiffness in enumerate(stiffnesses)
    )
    return Drivetrain(parts, links, 0, 0)


# Thomson, Theory of Vibration, ch. 12 (inputs and figures reproduced, page not seen) and a problem of Rao, Mechanical
# Vibrations (inertias seen, stiffness from memory, answer derived)
@pytest.mark.parametrize(
    ("inertias", "stiffnesses", "rates", "shapes"),
    [
        (
            [5.0, 11.0, 22.0],
            [0.10e6, 0.20e6],
            [0.0, 123.666, 202.658],
            [[1.0, 1.0, 1.0], [1.0, 0.23534, -0.34494], [1.0, -1.05352, 0.29949]],
        ),
        ([10.0, 5.0, 1.0], [1e6, 1e6], [0.0, 507.501, 1114.649], None),
    ],
    ids=["Thomson", "Rao"],
)
def test_modes_of_textbook_rows_of_discs(inertias, stiffnesses, rates, shapes) -> None:
    found = torsion_modes(chain(inertias, stiffnesses))
    # the books give six figures
    assert 2.0 * math.pi * found.frequency == pytest.approx(rates, rel=1e-5, abs=1e-3)
    if shapes:
        assert found.shape / found.shape[:, :1] == pytest.approx(np.array(shapes), abs=1e-4)


@pytest.mark.parametrize("count", [2, 5, 12])
def test_free_row_of_equal_discs(count: int) -> None:
    """Closed form: ω = 2·√(k/J)·sin(nπ/2N) of N equal discs free at both ends (derived: waves on a lattice)."""
    found = torsion_modes(chain([0.3] * count, [4e4] * (count - 1)))
    wanted = 2.0 * math.sqrt(4e4 / 0.3) * np.sin(np.arange(count) * math.pi / (2 * count))
    assert 2.0 * math.pi * found.frequency == pytest.approx(wanted, rel=1e-10, abs=1e-2)


@pytest.mark.parametrize("ratio", [0.4, -2.5])
def test_two_geared_discs(ratio: float) -> None:
    """Closed form: behind a gear a disc counts with its squared ratio, ω² = k·(1/J₁ + 1/(n²·J₂)) (Thomson, ch. 12)."""
    found = torsion_modes(chain([2.0, 3.0], [5e4], [1.0, ratio]))
    wanted = math.sqrt(5e4 * (1.0 / 2.0 + 1.0 / (ratio**2 * 3.0)))
    assert 2.0 * math.pi * found.frequency[1] == pytest.approx(wanted, rel=1e-12)
    assert found.shape[0, 1] / found.shape[0, 0] == pytest.approx(ratio, rel=1e-9)


def test_holzer_table_closes() -> None:
    """Law: of a free row the inertia torques of a mode sum to nothing, and each shaft carries those before it."""
    row = chain([5.0, 11.0, 22.0], [0.10e6, 0.20e6])
    modes = torsion_modes(row)
    table = holzer_table(row, modes, 1)
    torques = [float(entry["inertia_torque_N_m"]) for entry in table]
    assert sum(torques) == pytest.approx(0.0, abs=1e-9 * abs(torques[0]))
    assert table[1]["shaft_torque_N_m"] == pytest.approx(torques[0] + torques[1], rel=1e-9)


INCH_LB = 12.0  # in per ft: inertias in lb in s², stiffness in lb in/rad


def shaft_of(diameter: float, length: float, modulus: float) -> float:
    return modulus * math.pi * diameter**4 / 32.0 / length


def test_three_rotors_of_bevan() -> None:
    """Bevan, The Theory of Machines, torsional vibrations of three rotors, as worked in Scilab's Textbook Companions
    (inputs and steps seen, page not): 2.5, 7.5 and 3 ton ft² on a shaft of 8.5 in, 9.5 and 25 ft apart; 961 a minute
    and, from its rounded 16 a second, 1784. The quadratic's coefficients have three figures."""
    inertias = [tons * 2240.0 * INCH_LB**2 / (32.2 * INCH_LB) for tons in (2.5, 7.5, 3.0)]
    row = chain(inertias, [shaft_of(8.5, INCH_LB * feet, 11.8e6) for feet in (9.5, 25.0)])
    assert 60.0 * torsion_modes(row).frequency[1:] == pytest.approx([961.0, 1784.0], rel=5e-3)


def test_geared_rotors_of_bevan() -> None:
    """The same, engine and propeller behind a reduction of 0.6: 1500 lb in² and 50000 lb in² on 39.5 in of 2.75 in and
    25.5 in of 3.5 in; 84.8 a second without the gears' inertia, with 54 and 850 lb in² of theirs 83.6 and 347."""
    gravity = 32.3 * INCH_LB  # as there
    near, far = shaft_of(2.75, 39.5, 12e6), shaft_of(3.5, 25.5, 12e6)
    both = 1.0 / (1.0 / near + 1.0 / (0.6**2 * far))
    plain = chain([weight / gravity for weight in (1500.0, 50000.0)], [both], [1.0, 0.6])
    weights = [weight / gravity for weight in (1500.0, 54.0, 850.0, 50000.0)]
    geared = chain(weights, [near, 1e9, far], [1.0, 1.0, 0.6, 0.6])  # teeth hardly give
    # nodes given to four figures; the length of the first shaft is what makes up the equivalent 66.5 in
    assert torsion_modes(plain).frequency[1] == pytest.approx(84.8, rel=2e-3)
    assert torsion_modes(geared).frequency[1:3] == pytest.approx([83.6, 347.0], rel=3e-3)


def test_viscous_damper_of_a_textbook() -> None:
    """Barton & Fieldhouse, Automotive Chassis Engineering, eq. 5.47 and fig. 5.17: the best untuned damper of as much
    inertia as the crank has a damping ratio of 0.288, referred to the crank's own critical damping."""
    damper = den_hartog("viscous", 2.0, 2.0, 50.0)
    assert damper.damping / (2.0 * 2.0 * 50.0) == pytest.approx(0.288, abs=1e-3)


WALL = 1e9  # kg m², a disc that stands still


def grounded(damper: Damper) -> tuple[Drivetrain, float]:
    """A disc of 1 kg m² on a spring of 1e4 N m/rad to the wall, with a damper on it, and its frequency rad/s."""
    row = chain([damper.inertia, 1.0, WALL], [1.0, 1e4])
    joint = Link("d", 0, 1, 1.0, SpringLaw(damper.stiffness, 0.0, 0.0), damper.damping, damper.loss_factor)
    return Drivetrain(row.parts, (joint, row.links[1]), 0, 0), 100.0


def peak(damper: Damper) -> float:
    """Greatest angle of the disc over the static one, under a torque at any frequency."""
    found, rate = grounded(damper)
    rates = np.linspace(0.3, 1.7, 40001) * rate
    push = np.array([0.0, 1e4, 0.0])
    answer = np.linalg.solve(dynamic_stiffness(found, rates), np.broadcast_to(push, (len(rates), 3))[..., None])
    return float(np.abs(answer[:, 1, 0]).max())


@pytest.mark.parametrize(("mu", "highest"), [(0.05, 6.40844), (0.1, 4.59022), (0.25, 3.01220)])
def test_tuned_damper_of_den_hartog(mu: float, highest: float) -> None:
    """Peaks from a 2-degree sweep, 0.1 to 0.4 % above the fixed points √(1 + 2/μ) (Den Hartog 1956; derived)."""
    damper = den_hartog("tuned", mu, 1.0, 100.0)
    # the wall moves by 1e-9, the steps of the sweep cut a smooth peak by less than 1e-6
    assert peak(damper) == pytest.approx(highest, rel=1e-5)
    assert peak(damper) == pytest.approx(math.sqrt(1.0 + 2.0 / mu), rel=5e-3)
    assert damper.stiffness == pytest.approx(mu * (100.0 / (1.0 + mu)) ** 2)


@pytest.mark.parametrize("mu", [0.1, 0.5, 1.0])
def test_viscous_damper_without_a_spring(mu: float) -> None:
    """Den Hartog 1956, sec. 3.3 (from memory): the best untuned damper's peak is at the fixed point, 1 + 2/μ."""
    assert peak(den_hartog("viscous", mu, 1.0, 100.0)) == pytest.approx(1.0 + 2.0 / mu, rel=1e-5)


def test_rubber_damper_is_held_to_what_its_rubber_can_lose() -> None:
    assert den_hartog("rubber", 0.01, 1.0, 100.0, loss_limit=0.5).loss_factor == pytest.approx(
        2.0 * math.sqrt(0.03 / 8.08), rel=1e-12
    )
    assert den_hartog("rubber", 0.25, 1.0, 100.0).loss_factor == 0.25
