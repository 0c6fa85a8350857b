"""The index page of a folder of figures."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from vibsim.inputs.errors import VibsimError
from vibsim.results.hdf5 import write_results
from vibsim.show import figure_sets
from vibsim.show.figure_index import captions_of, write_index
from vibsim.show.figures import FIGURES


class Page(HTMLParser):
    """Tags with their attributes, and all text."""

    def __init__(self, text: str):
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data

    def of(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


def test_page_lists_every_picture_with_its_caption(tmp_path) -> None:
    pictures = [tmp_path / "torque.png", tmp_path / "a & b.png"]
    captions = {"torque": "Torque < net >", "a & b": 'said "so"'}
    path = write_index(tmp_path, pictures, "V3 <b>& co</b>", "steady run", captions, "careful")
    page = Page(path.read_text(encoding="utf-8"))
    assert [image["src"] for image in page.of("img")] == ["torque.png", "a & b.png"]
    for words in ("V3 <b>& co</b>", "Torque < net >", 'said "so"', "steady run", "careful"):
        assert words in page.text
    assert not page.of("b")  # a title is no markup
    assert {"name": "viewport", "content": "width=device-width, initial-scale=1"} in page.of("meta")
    places = [value for _, attributes in page.tags for key, value in attributes.items() if key in ("src", "href")]
    assert not any("//" in place for place in places)  # nothing from elsewhere
    anchors = [place[1:] for place in places if place.startswith("#")]
    assert anchors == [figure["id"] for figure in page.of("figure")]
    assert list(tmp_path.iterdir()) == [path]


def test_every_figure_has_a_caption() -> None:
    assert all(len(caption) > 10 for caption in captions_of(FIGURES).values())


DRAWN = ("contributions", "colourmap", "exposure")  # the others are drawn by other tests


def test_plot_writes_it(tmp_path, command, demo_results, monkeypatch) -> None:
    write_results(demo_results, tmp_path / "demo.h5")
    monkeypatch.setattr(figure_sets, "SETS", {name: figure_sets.SETS[name] for name in DRAWN})
    code, out, err = command("plot", tmp_path / "demo.h5")
    assert (code, err) == (0, "")
    folder = tmp_path / "demo-figures"
    assert str(folder / "index.html") in out
    page = Page((folder / "index.html").read_text(encoding="utf-8"))
    assert sorted(image["src"] for image in page.of("img")) == sorted(path.name for path in folder.glob("*.png"))
    assert "Two-seat trike, 80° V3 at cruising speed" in page.text
    assert "licensed practice" in page.text
    names = {path.stem for path in folder.glob("*.png")}
    people = {f"contributions-{name}" for name in ("seat", "floor", "handlebar")}
    assert names == {"exposure", "exposure-bands"} | people
    assert "at order 1 make 52 % of what seat feels" in " ".join(page.text.split())
    assert "left out: colourmap: results: of a steady run" in page.text and "left out: colourmap" in out


def test_a_folder_that_is_not_there(tmp_path) -> None:
    with pytest.raises(VibsimError, match="index page cannot be written"):
        write_index(tmp_path / "none", [], "title", "words", {}, "")
