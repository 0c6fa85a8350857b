"""The report in a real browser: it opens without a complaint, its controls act, all can read and reach everything."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.report.browser import DESK, PHONE, RATE, browser, frames, open_page, why_not
from vibsim.show.report.render import write_report
from vibsim.studies.report import gather

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(why_not()), reason=f"the report is tested in a browser: {why_not()}"),
    pytest.mark.filterwarnings("default::ResourceWarning"),  # the driver's own sockets
]
PAGES = ("run", "map", "pair", "sampled")
LEAST_CONTRAST = 4.5  # WCAG 2.2, 1.4.3, level AA

# Every text with its contrast against the nearest opaque background, below a bound; WCAG 2.2, relative luminance.
CONTRAST = """
const bound = arguments[0], poor = [];
const part = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
const numbers = (c) => (c.match(/[\\d.]+/g) || []).map(Number);
const light = (c) => 0.2126 * part(c[0]) + 0.7152 * part(c[1]) + 0.0722 * part(c[2]);
const behind = (node) => {
  for (let n = node; n; n = n.parentElement) {
    const c = numbers(getComputedStyle(n).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c;
  }
  return [255, 255, 255];
};
let count = 0;
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
for (let text = walker.nextNode(); text; text = walker.nextNode()) {
  const node = text.parentElement;
  if (!text.textContent.trim() || ["SCRIPT", "STYLE", "NOSCRIPT", "OPTION"].includes(node.tagName)) continue;
  if (!node.getClientRects().length) continue;
  const style = getComputedStyle(node);
  const a = light(numbers(node instanceof SVGElement ? style.fill : style.color)), b = light(behind(node));
  const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  count += 1;
  if (ratio < bound) poor.push([text.textContent.trim().slice(0, 40), ratio]);
}
return [count, poor];
"""
NAMELESS = """
return [...document.querySelectorAll("button, select, input, summary, a, [tabindex='0']")].filter((node) =>
  !(node.getAttribute("aria-label") || node.textContent.trim() || (node.labels && node.labels.length))
).map((node) => node.outerHTML.slice(0, 80));
"""


@pytest.fixture(scope="module")
def pages(
    run_file: Path, other_run: Path, sweep_file: Path, sampled_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    files = {"run": [run_file], "map": [sweep_file], "pair": [run_file, other_run], "sampled": [sampled_file]}
    return {name: write_report(gather(paths), folder / f"{name}.html") for name, paths in files.items()}


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator:
    with browser(tmp_path_factory.mktemp("profile")) as started:
        yield started


def shown(driver, css: str) -> list[str]:
    """The paths drawn in whatever a selector finds."""
    return driver.execute_script(
        "return [...document.querySelectorAll(arguments[0])].map((n) => n.getAttribute('d') || '')", css
    )


def text(driver, css: str) -> str:
    return driver.execute_script("return document.querySelector(arguments[0]).textContent", css)


def press(driver, css: str, *keys: str) -> None:
    """Keys, with the thing in question focused as by tabbing to it."""
    from selenium.webdriver.common.action_chains import ActionChains

    driver.execute_script("document.querySelector(arguments[0]).focus()", css)
    ActionChains(driver).send_keys(*keys).perform()
    frames(driver)


def click(driver, css: str) -> None:
    driver.execute_script("document.querySelector(arguments[0]).click()", css)
    frames(driver)


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("size", [DESK, PHONE])
def test_opens_without_a_complaint_and_fits(driver, pages, name: str, size: tuple[int, int]) -> None:
    driver.get_log("browser")
    open_page(driver, pages[name], size)
    assert driver.get_log("browser") == []
    width = driver.execute_script("return document.documentElement.scrollWidth")
    assert width <= size[0]
    past = driver.execute_script(
        "return [...document.querySelectorAll('body *')].filter((n) => !n.closest('.wide, pre, .skip, svg') &&"
        " n.getBoundingClientRect().right > innerWidth + 1).map((n) => n.outerHTML.slice(0, 80))"
    )
    assert past == []
    assert driver.execute_script("return performance.getEntriesByType('resource').length") == 0


@pytest.mark.parametrize("name", PAGES)
def test_every_text_stands_out(driver, pages, name: str) -> None:
    open_page(driver, pages[name], still=True)
    driver.execute_script("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    frames(driver)
    count, poor = driver.execute_script(CONTRAST, LEAST_CONTRAST)
    assert count > 150
    assert poor == []


@pytest.mark.parametrize("name", PAGES)
def test_everything_that_acts_has_a_name(driver, pages, name: str) -> None:
    open_page(driver, pages[name], still=True)
    assert driver.execute_script(NAMELESS) == []
    ids = driver.execute_script("return [...document.querySelectorAll('[id]')].map((n) => n.id)")
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", ["map", "sampled"])
def test_the_slider_moves_orders_forces_and_mechanism_together(driver, pages, name: str) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(driver, pages[name], still=True)
    parts = {
        "orders": "#orders .plot g[clip-path] path",
        "mount forces": "#mounts svg.drawing path",
        "mechanism": "#mechanism svg.drawing path",
        "cycle": "#cycle .plot g[clip-path] path",
        "cursor": "#along .plot g[clip-path] path",
    }
    before, place = {part: shown(driver, css) for part, css in parts.items()}, text(driver, "#place")
    press(driver, "#slider", Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert text(driver, "#place") != place
    assert driver.execute_script("return document.getElementById('slider').getAttribute('aria-valuetext')") == text(
        driver, "#place"
    )
    for part, css in parts.items():
        assert shown(driver, css) != before[part], part


def test_the_other_axis_the_map_and_the_lines_move_the_place_too(driver, pages) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(driver, pages["map"], still=True)
    place = text(driver, "#place")
    press(driver, "#map .plot", Keys.ARROW_UP)
    higher = text(driver, "#place")
    assert higher != place and higher.split(",")[0] == place.split(",")[0]
    assert (
        driver.execute_script("return document.querySelector('#others select').selectedOptions[0].text.trim()")
        in higher
    )
    press(driver, "#along .plot", Keys.ARROW_RIGHT, Keys.ENTER)
    assert text(driver, "#place").startswith("1500 rpm")


def test_a_point_that_failed_is_said_to_be_missing(driver, pages) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(driver, pages["map"], still=True)
    press(driver, "#slider", Keys.HOME)
    driver.execute_script(
        "const s = document.querySelector('#others select'); s.value = 7; s.dispatchEvent(new Event('change'))"
    )
    frames(driver)
    assert driver.execute_script("return !document.getElementById('missing').hidden")
    assert driver.get_log("browser") == []


def test_legends_hide_and_show(driver, pages) -> None:
    open_page(driver, pages["run"], still=True)
    for section, css in (("orders", "#orders .plot g[clip-path] path"), ("mounts", "#mounts svg.drawing path")):
        before = shown(driver, css)
        click(driver, f"#{section} .legend button")
        pressed = "return document.querySelector(arguments[0]).getAttribute('aria-pressed')"
        assert driver.execute_script(pressed, f"#{section} .legend button") == "false"
        hidden = shown(driver, css)
        assert hidden != before and hidden.count("") > before.count("")
        click(driver, f"#{section} .legend button")
        assert shown(driver, css) == before


def test_charts_zoom_read_and_tell_their_table(driver, pages) -> None:
    from selenium.webdriver.common.keys import Keys

    open_page(driver, pages["run"], still=True)
    ticks = "return [...document.querySelectorAll('#cycle .plot .tick')].map((n) => n.textContent).join()"
    whole = driver.execute_script(ticks)
    press(driver, "#cycle .plot", Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert "crank angle 4 °: front left 5" in text(driver, "#cycle .readout")
    press(driver, "#cycle .plot", "+", "+")
    assert driver.execute_script(ticks) != whole
    press(driver, "#cycle .plot", "0")
    assert driver.execute_script(ticks) == whole
    click(driver, "#cycle .tools summary")
    assert len(driver.execute_script("return [...document.querySelectorAll('#cycle tbody tr')].map(String)")) == 90


def test_play_and_pause(driver, pages) -> None:
    open_page(driver, pages["run"])
    rods = "#mechanism svg.drawing path"
    first = shown(driver, rods)
    frames(driver, 10)
    assert shown(driver, rods) != first
    modes = shown(driver, "#modes svg.drawing path")
    frames(driver, 10)
    assert shown(driver, "#modes svg.drawing path") != modes
    click(driver, ".controls .play")
    assert text(driver, ".controls .play") == "Play"
    at_rest = shown(driver, rods)
    frames(driver, 10)
    assert shown(driver, rods) == at_rest


def test_who_wants_less_motion_gets_none_until_asked(driver, pages) -> None:
    open_page(driver, pages["run"], still=True)
    first = shown(driver, "#mechanism svg.drawing path, #modes svg.drawing path")
    frames(driver, 10)
    assert shown(driver, "#mechanism svg.drawing path, #modes svg.drawing path") == first
    assert text(driver, ".controls .play") == "Play"
    click(driver, ".controls .play")
    frames(driver, 10)
    assert shown(driver, "#mechanism svg.drawing path, #modes svg.drawing path") != first


def test_the_keyboard_reaches_everything_and_shows_where_it_is(driver, pages) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    open_page(driver, pages["map"], still=True)
    reached = []
    for _ in range(90):
        ActionChains(driver).send_keys(Keys.TAB).perform()
        reached.append(
            driver.execute_script(
                "const n = document.activeElement, s = getComputedStyle(n);"
                "const seen = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;"
                "return [n.id || n.className || n.tagName, seen];"
            )
        )
    names = [name for name, _ in reached]
    assert names[0] == "skip"
    assert [name for name in names if name in ("slider", "play", "angle", "quantity")] == [
        *("slider", "play", "angle", "quantity")
    ]
    assert "plot" in names and "BUTTON" in names
    assert all(seen for _, seen in reached)


def test_markup_in_a_title_runs_nothing(driver, pages) -> None:
    open_page(driver, pages["pair"])
    assert driver.title.endswith("<script>alert(1)</script> & <b>trike</b>")
    assert "<script>alert(1)</script> & <b>trike</b>" in text(driver, "h1")
    assert driver.execute_script("return document.querySelectorAll('h1 *, img, header script').length") == 0
    assert text(driver, "#compare .quiet").count("4000 rpm") == 2


def test_it_prints(driver, pages) -> None:
    open_page(driver, pages["run"], still=True)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert driver.execute_script("return getComputedStyle(document.querySelector('.controls')).display") == "none"
    assert driver.execute_script("return getComputedStyle(document.querySelector('#verdict')).display") == "block"
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    pdf = base64.b64decode(printed["data"])
    assert len(pdf) > 40_000


def test_a_map_prints_whole_on_a4_without_its_controls(driver, pages) -> None:
    """A4 is 210 by 297 mm: 595 by 842 points of 1/72 inch, as the page boxes of the PDF say."""
    open_page(driver, pages["map"], still=True)
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    frames(driver)
    wide = driver.execute_script(
        "return [...document.querySelectorAll('svg')].map((n) => [n.getBoundingClientRect().right, n.closest('figure')"
        "?.getBoundingClientRect().right ?? innerWidth]).filter(([a, b]) => a > b + 1)"
    )
    shown = [
        driver.execute_script("return getComputedStyle(document.querySelector(arguments[0])).display", css)
        for css in ("#slider-field", "#parallel .limits", ".tools", "#printed-place")
    ]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    pdf = base64.b64decode(printed["data"])
    assert wide == []
    assert shown[1:] == ["none", "none", "block"]
    assert re.search(rb"/MediaBox \[0 0 59[45][.\d]* 84[12][.\d]*\]", pdf)
    assert "3816 rpm" in text(driver, "#printed-place") or " rpm, load " in text(driver, "#printed-place")


def test_the_verdict_is_on_one_screen(driver, pages) -> None:
    for name in ("run", "map", "sampled"):
        for size in ((1280, 800), PHONE):
            open_page(driver, pages[name], size, still=True)
            bottom = driver.execute_script("return document.querySelector('.cards').getBoundingClientRect().bottom")
            assert bottom <= size[1], (name, size)


def fill(driver, css: str, value: str) -> None:
    script = (
        "const n = document.querySelector(arguments[0]); n.value = arguments[1]; n.dispatchEvent(new Event('input'))"
    )
    driver.execute_script(script, css, value)
    frames(driver)


def test_limits_choose_the_best_point_and_show_moves_there(driver, pages) -> None:
    """Independent: of the sweep's points, whose levels grow with speed and load, the least within the limits is that of
    the lowest speed and load allowed."""
    open_page(driver, pages["map"], still=True)
    assert "199 of 199 points" in text(driver, "#parallel .found")  # one has failed
    fill(driver, "#parallel input[data-column='0'][data-side='least']", "4000")
    fill(driver, "#parallel input[data-column='1'][data-side='least']", "0.55")
    kept = text(driver, "#parallel .found")
    assert "45 of 199" in kept and "at 4105 rpm, load 0.6" in kept  # 9 speeds from 4105 rpm on, 5 loads
    click(driver, "#parallel td.act button")
    assert text(driver, "#place") == "4105 rpm, load 0.6"
    fill(driver, "#parallel input[data-column='0'][data-side='least']", "9999")
    assert "no point keeps them all" in text(driver, "#parallel .found")
    assert driver.get_log("browser") == []


def test_hours_of_a_day_judge_anew(driver, pages) -> None:
    """A(8) grows with the root of the hours: two hours are half of eight."""
    open_page(driver, pages["run"], still=True)
    level = "#exposure tbody td"
    eight = float(text(driver, level))
    fill(driver, "#hours", "2")
    assert float(text(driver, level)) == pytest.approx(eight / 2.0, rel=0.01)
    fill(driver, "#hours", "99")
    assert "give 0.1 to 24 hours" in text(driver, "#exposure [role=status]")
    assert driver.get_log("browser") == []


def test_every_picture_follows_the_slider_without_end(driver, pages) -> None:
    """How fast is what the benchmark says; here every one of 120 moves is drawn and none makes a complaint."""
    open_page(driver, pages["map"])
    driver.get_log("browser")
    assert len(driver.execute_async_script(RATE, 120)) == 120
    assert driver.get_log("browser") == []
