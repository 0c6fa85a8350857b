"""Universal files: units (164), places of mounts, sensors and bodies (15), functions (58) by the library pyuff.

Field meanings are those of the dataset's published description, as the library carries it (source there: University of
Cincinnati, Structural Dynamics Research Lab). The format keeps abscissas to six digits and ordinates to thirteen.
"""

from __future__ import annotations

import datetime
import tempfile
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from vibsim.inputs.errors import InputError, VibsimError
from vibsim.inputs.loader import parse_case
from vibsim.results.exchange.chosen import Chosen, choose, combinations, coordinate, values_at
from vibsim.results.hdf5 import beside
from vibsim.results.labelled import Group

TIME, DENSITY, SPECTRUM, ORDER = 1, 9, 12, 27  # function types
BEYOND_THE_LIBRARY = (SPECTRUM, ORDER)
UNTYPED = 0  # function type that the library writes where it does not know the wanted one
ABSCISSAS = {"time": 17, "frequency": 18, "order": 20}
# specific data type of an ordinate by its unit: pressure, forces of mounts (reaction), lengths and what follows
ORDINATES = {"Pa": 15, "N": 9, "m": 8, "m s-1": 11, "m s-2": 12}
DIRECTIONS = {"X": 1, "Y": 2, "Z": 3}
TURNS = ("body_rotation", "mount_moment")  # about the axes, not along them
KINDS = ("body", "mount", "sensor", "cylinder", "torque")  # what nodes are numbered after
NODES_APART = 1000  # first node of a kind: 1001 for the first body, 2001 for the first mount ...
TYPE_LINE = 7  # record 6 of the dataset, after its two opening lines and five of text
USUAL = ("time", "frequency", "order")


def write_uff(results: Group, path: Path, words: list[str] | None = None) -> Path:
    """Write time, spectrum and order functions as one universal file (ASCII), by default all there are.

    Raises InputError for a variable that is not there or is no function, VibsimError without the library.
    """
    try:
        import pyuff
    except ImportError:
        raise VibsimError("universal files need the library pyuff: pip install 'vibsim[uff]'") from None
    chosen = _which(results, words)
    with beside(path) as part, tempfile.TemporaryDirectory(dir=path.parent) as folder, part.open("wb") as file:
        one = Path(folder) / "one.uff"
        writer = pyuff.UFF(str(one))
        for dataset in (*_header(results), *_functions(results, chosen)):
            kind = dataset.get("func_type", UNTYPED)
            if kind in BEYOND_THE_LIBRARY:
                dataset["func_type"] = UNTYPED
            writer.write_sets([dataset], mode="overwrite")  # alone: the library scans its whole file after each
            file.write(_typed(one.read_bytes(), kind))
    return path


def _which(results: Group, words: list[str] | None) -> list[Chosen]:
    found = [item for item in choose(results, words) if item.variable.dims and item.variable.data.dtype.kind == "f"]
    if not words:
        return [item for item in found if item.variable.dims[0] in USUAL]
    fitting = [item for item in found if len(coordinate(results, item, item.variable.dims[0]).data) > 1]
    fitting = [item for item in fitting if coordinate(results, item, item.variable.dims[0]).data.dtype.kind == "f"]
    if not fitting:
        raise InputError(
            f"--variable: got {', '.join(words)}; a universal file takes functions of time, angle, frequency or order"
        )
    return fitting


def _header(results: Group) -> Iterator[dict[str, Any]]:
    """Units, and the nodes with their places as drawn, in vehicle axes."""
    yield {
        "type": 164,
        "units_code": 1,
        "units_description": "SI: metre, newton",
        "temp_mode": 1,
        "length": 1.0,
        "force": 1.0,
        "temp": 1.0,
        "temp_offset": 0.0,
    }
    nodes = _nodes(results)
    if nodes:
        places = np.array(list(nodes.values()))
        yield {"type": 15, "node_nums": list(nodes)} | {name: places[:, n] for n, name in enumerate("xyz")}


def _nodes(results: Group) -> dict[int, tuple[float, float, float]]:
    """Places (m) of bodies' centres of mass, mounts and sensors by node number; none where the case is not kept."""
    text = str(results.attributes.get("case_text", ""))
    if not text:
        return {}
    case = parse_case(text).case
    found: dict[int, tuple[float, float, float]] = {}
    drawn = {
        "body": {body.name: body.centre_of_mass for body in case.body},
        "mount": {mount.name: mount.at for mount in case.mount},
        "sensor": {sensor.name: sensor.at for sensor in case.sensor},
    }
    for kind, places in drawn.items():
        for n, name in enumerate(results.labels(kind)):
            if name in places:
                found[_node(kind, n)] = places[name]
    return found


def _node(kind: str, index: int) -> int:
    return NODES_APART * (KINDS.index(kind) + 1) + index + 1


def _functions(results: Group, items: list[Chosen]) -> Iterator[dict[str, Any]]:
    """A dataset 58 per variable, label and axis; amplitude and phase of the same thing become one complex function."""
    paths = {item.path for item in items}
    for item in items:
        stem = item.path.removesuffix("phase")
        if stem != item.path and f"{stem}amplitude" in paths:
            continue  # in the complex function
        data, name, stem = item.variable.data, item.path, item.path.removesuffix("amplitude")
        if stem != item.path and f"{stem}phase" in paths:
            data, name = data * np.exp(1j * results[f"{stem}phase"]), stem.rstrip("_/")
        for place, labels in combinations(results, item):
            yield _function(results, item, name, values_at(data, place), place, labels)


def _function(
    results: Group, item: Chosen, name: str, data: np.ndarray, place: tuple[int, ...], labels: list[str]
) -> dict[str, Any]:
    first = item.variable.dims[0]
    along = coordinate(results, item, first)
    node, direction = _degree_of_freedom(item, place, labels)
    created = str(results.attributes.get("created", ""))
    return {
        "type": 58,
        "func_type": _function_type(item),
        "id1": _line(f"{name}[{','.join(labels)}]" if labels else name),
        "id2": _line(f"{results.attributes.get('title', '')}"),
        "id3": _line(_stamp(created)),
        "id4": _line(f"{results.attributes.get('run_kind', '')} run, case {results.attributes.get('case_name', '')}"),
        "id5": _line(item.variable.long_name),
        "rsp_node": node,
        "rsp_dir": direction,
        "ref_node": 0,
        "ref_dir": 0,
        "x": along.data,
        "data": data,
        "abscissa_spacing": int(_even(along.data)),
        "abscissa_spec_data_type": ABSCISSAS.get(first, 0),
        "abscissa_axis_lab": first[:20],
        "abscissa_axis_units_lab": along.units[:20] or "NONE",
        "ordinate_spec_data_type": _ordinate(item, direction),
        "ordinate_axis_lab": _line(item.name)[:20],
        "ordinate_axis_units_lab": item.variable.units[:20] or "NONE",
        "orddenom_spec_data_type": 0,
    }


def _degree_of_freedom(item: Chosen, place: tuple[int, ...], labels: list[str]) -> tuple[int, int]:
    """Node and direction: of a mount's X force its node and +X; of a scalar direction 0, without a node as well."""
    node, direction = 0, 0
    for dimension, index, label in zip(item.variable.dims[1:], place, labels, strict=True):
        if dimension in KINDS:
            node = _node(dimension, index)
        elif dimension == "axis":
            direction = DIRECTIONS.get(label, 0)
    turning = item.name.startswith(TURNS)
    return node, direction + 3 if direction and turning else direction


def _function_type(item: Chosen) -> int:
    first = item.variable.dims[0]
    if first == "frequency":
        return DENSITY if "density" in item.name else SPECTRUM
    return {"time": TIME, "order": ORDER}.get(first, UNTYPED)


def _ordinate(item: Chosen, direction: int) -> int:
    """Its specific data type: of the quantity itself, so that of a density none."""
    if item.variable.units == "rad" and direction > 3:
        return ORDINATES["m"]  # a turn is the displacement of directions 4 to 6
    if item.variable.units == "N m" and direction > 3:
        return ORDINATES["N"]
    return ORDINATES.get(item.variable.units, 0)


def _even(values: np.ndarray) -> bool:
    steps = np.diff(values)
    return bool(np.allclose(steps, steps[0], rtol=1e-6, atol=0.0))


def _line(text: str) -> str:
    """What a line of text may hold: 80 ASCII letters, NONE where there is nothing to say."""
    plain = unicodedata.normalize("NFKD", text.replace("°", " deg")).encode("ascii", "ignore").decode()
    return " ".join(plain.split())[:80] or "NONE"


def _stamp(created: str) -> str:
    """DD-MMM-YY HH:MM:SS as record 3 has it; empty for what is no date."""
    try:
        return datetime.datetime.fromisoformat(created).strftime("%d-%b-%y %H:%M:%S")
    except ValueError:
        return ""


def _typed(written: bytes, kind: int) -> bytes:
    """A dataset with its function type in its columns; the library writes some types only as untyped."""
    if kind not in BEYOND_THE_LIBRARY:
        return written
    lines = written.split(b"\n", TYPE_LINE + 1)
    lines[TYPE_LINE] = b"%5i" % kind + lines[TYPE_LINE][5:]
    return b"\n".join(lines)
