"""An index page of a folder of figures: every picture with its caption, one file, nothing from the network."""

from __future__ import annotations

import html
import inspect
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from string import Template

from vibsim.inputs.errors import VibsimError
from vibsim.results.labelled import Group

NAME = "index.html"
PAGE = Template("""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>$title</title>
<style>
body { font-family: sans-serif; color: #222; max-width: 75rem; margin: 0 auto; padding: 1rem; line-height: 1.4; }
nav a { display: inline-block; padding: 0.3rem 0.8rem 0.3rem 0; }
figure { margin: 1.5rem 0; }
figcaption { margin-bottom: 0.4rem; }
img { width: 100%; height: auto; border: 1px solid #ddd; }
footer { color: #666; font-size: 0.85rem; }
</style>
</head>
<body>
<h1>$title</h1>
<p>$words</p>
<nav>$links</nav>
$figures
$notes
<footer>$footer</footer>
</body>
</html>
""")
FIGURE = Template("""<figure id="$name">
<figcaption><strong>$name</strong>: $caption</figcaption>
<a href="$file"><img src="$file" alt="$name: $caption" loading="lazy"></a>
</figure>""")


def captions_of(figures: Mapping[str, Callable]) -> dict[str, str]:
    """Caption of each figure by name: the first line of what its function says of itself."""
    return {name: (inspect.getdoc(function) or "").split("\n")[0] for name, function in figures.items()}


def write_index(
    folder: Path,
    pictures: list[Path],
    title: str,
    words: str,
    captions: Mapping[str, str],
    footer: str,
    notes: Sequence[str] = (),
) -> Path:
    """Write index.html of pictures in a folder, notes below them. Raises VibsimError where it cannot be written."""
    escape = html.escape
    figures = [
        FIGURE.substitute(
            name=escape(path.stem), file=escape(path.name), caption=escape(captions.get(path.stem, path.stem))
        )
        for path in pictures
    ]
    links = " ".join(f'<a href="#{escape(path.stem)}">{escape(path.stem)}</a>' for path in pictures)
    page = PAGE.substitute(
        title=escape(title),
        words=escape(words),
        links=links,
        figures="\n".join(figures),
        notes="\n".join(f"<p>{escape(note)}</p>" for note in notes),
        footer=escape(footer),
    )
    try:
        path, beside = folder / NAME, folder / f".{NAME}.part"
        beside.write_text(page, encoding="utf-8")
        return beside.replace(path)
    except OSError as error:
        raise VibsimError(f"{folder}: the index page cannot be written ({error.strerror})") from None


def run_words(results: Group) -> str:
    """What run it was, of which case, when."""
    at = results.attributes
    return f"{at['run_kind'].replace('_', ' ')} run of {at['case_name']}, {at['created']}; {at['notes']}".rstrip("; ")
