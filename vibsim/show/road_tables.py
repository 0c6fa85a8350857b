"""What a road did, on a terminal."""

from __future__ import annotations

from typing import Any

from rich.table import Table
from rich.text import Text

from vibsim.show.tables import new_table, plain_number


def road_line(road: dict[str, Any]) -> str:
    """Road and vehicle speed in a line."""
    seed = f", seed {road['road_seed']}" if "road_seed" in road else ""
    tracks = f", tracks {road['road_tracks']}" if "road_tracks" in road else ""
    return f"over {road['road']}{seed}{tracks} at {3.6 * road['vehicle_speed_m_per_s']:.4g} km/h"


def road_table(road: dict[str, Any]) -> Table:
    """Per wheel what it drove over and how hard it pressed."""
    columns = ("contact mm", "road mm rms", "force N mean", "rms", "least", "greatest", "off the road %")
    table = new_table("Wheels on the road", "wheel", *columns)
    for row in road["wheels"]:
        table.add_row(
            Text(row["name"]),
            plain_number(row["contact_length_mm"], 0),
            plain_number(row["road_rms_mm"], 2),
            *(plain_number(row[f"force_{what}_N"], 0) for what in ("mean", "rms", "least", "greatest")),
            plain_number(100.0 * row["share_off_road"], 2),
        )
    return table
