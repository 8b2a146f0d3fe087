"""Planning and comparing in a real browser: keyboard alone, every screen, both themes, axe, paper."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.archive.archive import Archive
from server.plans.asking import asked_of, request_as_json
from server.plans.plan_job import keep_plan
from server.settings import Settings
from tests.browser.chromium import SIZES, Browser
from tests.browser.conftest import _fresh
from tests.browser.test_looks import OUTSIDE, TARGETS, TEXTS
from tests.browser.test_repairs import type_over
from tests.results.test_compare_pages import DAY, made
from tests.web.fake_fit import KINDS
from tests.web.serving import keep_made_up, served
from tests.web.test_styles import contrast

PAGES = [
    *("/plans", "/plans/{plan}", "/plans/{plan}/sheet", "/days/1/compare"),
    *("/help/plan", "/help/compare", "/help/folder", "/help/formats", "/help/archive"),
]


def keep_made_up_plan(archive: Archive, scratch: Path) -> int:
    """A plan as the work would have left it; gives its number."""
    asked = asked_of({"name": "Flap day", "baseline": "A"}, ["B", "C"], ["0.05", "0.06"], ["flap up 4°", ""])
    told = {"wanted_u95_m2": 0.05, "pairs": 4, "u95_m2": 0.046, "floor_m2": 0.01, "per_pair_m4": 0.008}
    order = [("A", 2), ("B", 4), ("A", 2), ("C", 4), ("A", 2)]
    content = {
        "asked": request_as_json(asked),
        "like": "Long apron",
        "gust_sd_mps": 0.4,
        "planning": {
            "pairs": 4,
            "baseline_pairs": 6,
            "reached": True,
            "days": 12,
            "differences": [told | {"setup": name, "closed_form_m2": 0.05} for name in "BC"],
        },
        "outings": [
            {"number": n, "setup": name, "pairs": pairs, "start_s": 32_400.0 + 2400.0 * n, "takes_s": 900.0}
            for n, (name, pairs) in enumerate(order, start=1)
        ],
        "straight": dict.fromkeys(
            ("length_m", "accelerate_m", "coast_m", "brake_m", "stop_m", "margin_m", "left_m"), 100.0
        ),
        "gusts": [{"gust_sd_mps": 0.2, "pairs": 2}, {"gust_sd_mps": 0.8, "pairs": None}],
    }
    scratch.mkdir(parents=True, exist_ok=True)
    (scratch / "plan.json").write_text(json.dumps(content), "utf-8")
    with archive.database.writing() as session:
        payload = {"scratch": str(scratch), "who": "Ada", "asked": content["asked"]}
        return int(keep_plan(archive, session, payload, {}))


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, int]]:
    folder = tmp_path_factory.mktemp("planned")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with served(app) as address:
        keep_made_up(app.state.archive, made((1.40, 1.52, 1.41)), folder / "day", "Flap day", DAY)
        yield address, keep_made_up_plan(app.state.archive, folder / "plan")


@pytest.fixture
def page(chrome: webdriver.Chrome, planned: tuple[str, int], tmp_path: Path) -> Iterator[Browser]:
    yield _fresh(chrome, planned[0], tmp_path)
    chrome.get("about:blank")


def press(page: Browser, *keys: str) -> None:
    ActionChains(page.driver).send_keys(*keys).perform()


def tab_to(page: Browser, selector: str, most: int = 80) -> None:
    for _ in range(most):
        press(page, Keys.TAB)
        if page.run("return document.activeElement.matches(arguments[0])", selector):
            return
    raise AssertionError(f"the tab key does not reach {selector}")


def test_a_plan_is_asked_for_by_keyboard_alone_and_a_refusal_keeps_what_was_typed(page: Browser) -> None:
    page.open("/plans")
    tab_to(page, "[name=setup]")
    press(page, "B", Keys.TAB, "0,05", Keys.TAB, "flap up")
    tab_to(page, "[name=length_m]")
    type_over(page, "long")
    tab_to(page, "main form .filled")
    press(page, Keys.ENTER)
    page.until(lambda: "Length of the straight must be a number, not “long”." in page.text(), "the refusal")
    assert page.one("[name=u95]").get_property("value") == "0,05"
    assert page.one("[name=turned]").get_property("value") == "flap up"
    assert page.one("[name=length_m]").get_property("value") == "long"


def test_the_sheet_is_ticked_by_keyboard(page: Browser, planned: tuple[str, int]) -> None:
    page.open(f"/plans/{planned[1]}/sheet")
    tab_to(page, ".outings input")
    press(page, Keys.SPACE, Keys.TAB, Keys.SPACE)
    assert len([box for box in page.all(".outings input") if box.is_selected()]) == 2
    assert page.complaints() == []


def test_another_baseline_and_quantity_by_keyboard(page: Browser) -> None:
    page.open("/days/1/compare")
    page.until(lambda: page.all("#plot-differences[data-drawn] .main-svg"), "the figure")
    tab_to(page, ".choice[href*='baseline=B']")
    press(page, Keys.ENTER)
    page.until(lambda: "SCx against B" in page.text(), "another baseline")
    tab_to(page, ".choice[href*='quantity=SCz']")
    press(page, Keys.ENTER)
    page.until(lambda: "SCz against B" in page.text(), "another quantity")
    assert page.complaints() == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", PAGES)
def test_pages_fit_their_screen_and_can_be_touched(
    page: Browser, planned: tuple[str, int], path: str, size: str
) -> None:
    page.size(size)
    page.open(path.format(plan=planned[1]))
    assert page.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in page.run(TARGETS) if target[2] < 48] == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_texts_can_be_read_and_axe_finds_nothing(
    page: Browser, planned: tuple[str, int], path: str, theme: str
) -> None:
    page.device_theme(theme)
    page.open(path.format(plan=planned[1]))
    texts = page.run(TEXTS)
    assert [text for text in texts if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == []
    found = Axe().run(page.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["differences", "over"])
def test_the_figures_keep_to_their_frame(page: Browser, size: str, name: str) -> None:
    page.size(size)
    page.open("/days/1/compare")
    page.run("arguments[0].scrollIntoView({block: 'center'})", page.one(f"#plot-{name}"))
    page.until(lambda: page.all(f"#plot-{name}[data-drawn] .main-svg"), "the figure")
    assert page.run(OUTSIDE) == []
    assert page.complaints() == []
