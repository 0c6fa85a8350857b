"""What a run's terminal says of the driveline."""

from vibsim.show.speed_tables import output_table


def _rows(*places):
    numbers = {"mean_N_m": 1.0, "least_N_m": 0.0, "greatest_N_m": 2.0, "negative_share": 0.0, "reversals_per_s": 0.0}
    return [{"place": place, "path": path} | numbers for place in places for path in ("soft", "stiff")]


def test_output_table_shows_crank_and_wheels_in_the_end_gears_alone():
    gears = [f"{where}, gear {n}" for n in (1, 2, 3) for where in ("gearbox", "wheels")]
    shown = list(output_table(_rows("crank", *gears)).columns[0].cells)
    assert shown == ["crank", "wheels, gear 1", "wheels, gear 3"]


def test_output_table_of_one_gear_or_none():
    assert list(output_table(_rows("crank")).columns[0].cells) == ["crank"]
    one = _rows("crank", "gearbox, gear 1", "wheels, gear 1")
    assert list(output_table(one).columns[0].cells) == ["crank", "wheels, gear 1"]
