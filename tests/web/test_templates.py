"""Templates: each gets exactly what its page holds, and none carries script or style of its own."""

from __future__ import annotations

import dataclasses
import re

import pytest
from jinja2 import meta, nodes

from server.accounts.own_pages import AccountPage
from server.accounts.pages import InvitedPage, SignInPage
from server.accounts.people_pages import PeoplePage
from server.app import ErrorPage
from server.cars.pages import CarFormPage, CarPage, CarsPage
from server.correlation.pages import CorrelationPage
from server.correlation.taps_pages import TapsPage
from server.correlation.verdict_pages import VerdictPage
from server.correlation.worth_pages import WorthPage
from server.days.adding_pages import AddingPage
from server.days.day_course_pages import CourseTablePage
from server.days.day_form_pages import DayFormPage
from server.days.day_pages import DayPage
from server.days.pages import AddPage, JobPage
from server.days.release_pages import ReleasePage
from server.days.season_pages import SeasonPage, SeasonTablePage
from server.help.pages import HelpIndexPage, HelpPage
from server.help.topics import TOPICS
from server.history.pages import HistoryPage, WorkPage
from server.history.trail_pages import EventPage, OriginPage, RevisionPage
from server.history.verify_pages import VerifiedPage
from server.locations import web_folder
from server.packing.pages import PackPage
from server.plans.pages import PlanPage, PlansPage, SheetPage
from server.predictions.import_pages import AddPredictionsPage, PredictionTablePage, PreviewPage
from server.predictions.pages import MatchingPage, PredictionSetPage, PredictionsPage
from server.results.again_pages import AgainPage, SeasonAgainPage
from server.results.compare_days_pages import CompareDaysPage
from server.results.compare_pages import ComparePage
from server.results.long_pages import RefitPage, StudyPage
from server.results.pages import SECTIONS, OldResultPage, ResultPage, TablePage
from server.results.sign_off_pages import SignOffPage
from server.runs.pages import RunPage
from server.search.pages import SearchPage
from server.templating import Page, make_environment
from server.tufts.burst_pages import BurstPage
from server.tufts.day_tufts_pages import AddingPhotosPage, TuftsPage
from server.tufts.photo_pages import PhotoPage
from server.tufts.picture_pages import OriginalPage
from server.tufts.station_pages import StationsPage

TEMPLATES = web_folder() / "templates"
FRAME = {"theme", "here", "help_name", "path_for", "version", "who", "who_typed", "me", "live", "news"}
PAGES: list[type[Page]] = [HistoryPage, WorkPage]
PAGES += [SeasonPage, SeasonTablePage, AddPage, JobPage, ResultPage]
PAGES += [TablePage, HelpIndexPage, HelpPage, ErrorPage]
PAGES += [DayPage, DayFormPage, CourseTablePage, AddingPage]
PAGES += [RunPage, CarPage, CarFormPage, CarsPage, OldResultPage]


PAGES += [StudyPage, RefitPage, VerifiedPage, ComparePage, CompareDaysPage]
PAGES += [PlansPage, PlanPage, SheetPage, SignInPage, InvitedPage, AccountPage, PeoplePage]
PAGES += [PredictionsPage, PredictionSetPage, MatchingPage, AddPredictionsPage, PredictionTablePage, PreviewPage]
PAGES += [BurstPage, TuftsPage, PhotoPage, AddingPhotosPage, OriginalPage, StationsPage]
PAGES += [CorrelationPage, VerdictPage, WorthPage, TapsPage]
PAGES += [ReleasePage, SignOffPage, AgainPage, SeasonAgainPage, PackPage]
PAGES += [EventPage, OriginPage, RevisionPage, SearchPage]


def trees(name: str, seen: set[str]) -> list[nodes.Template]:
    """A template, parsed, and all it includes or extends."""
    if name in seen:
        return []
    seen.add(name)
    source = (TEMPLATES / name).read_text()
    tree = make_environment().parse(source)
    found = [tree]
    for other in meta.find_referenced_templates(tree):
        folders = re.findall(r'include "([\w/]+/)" ~', source)
        inner = (
            [other] if other else [str(f.relative_to(TEMPLATES)) for o in folders for f in (TEMPLATES / o).iterdir()]
        )
        for one in inner:
            found += trees(one, seen)
    return found


def bound_names(tree: nodes.Template) -> set[str]:
    """Names that a template gives itself: loops, sets, macros, imports."""
    names = {node.name for node in tree.find_all(nodes.Macro)}
    names |= {node.name for node in tree.find_all(nodes.Name) if node.ctx in ("store", "param")}
    imports = [name for node in tree.find_all(nodes.FromImport) for name in node.names]
    return names | {name if isinstance(name, str) else name[1] for name in imports}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_template_takes_only_what_its_page_holds(page: type[Page]) -> None:
    parsed = trees(page.template, set())
    wanted = set().union(*(meta.find_undeclared_variables(tree) for tree in parsed))
    bound = set().union(*(bound_names(tree) for tree in parsed))
    assert wanted - bound - {field.name for field in dataclasses.fields(page)} - FRAME == set()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_page_holds_nothing_that_its_template_leaves(page: type[Page]) -> None:
    wanted = set().union(*(meta.find_undeclared_variables(tree) for tree in trees(page.template, set())))
    if page in (SignInPage, InvitedPage):  # in no frame: what it is made of is not open to who has not signed in
        wanted.add("crumbs")
    assert {field.name for field in dataclasses.fields(page)} - wanted == set()


def test_every_page_of_the_product_is_tested() -> None:
    assert {page.__name__ for page in Page.__subclasses__()} == {page.__name__ for page in PAGES}


@pytest.mark.parametrize("file", sorted(TEMPLATES.rglob("*.html")), ids=lambda file: file.name)
def test_no_script_or_style_inside_a_page(file) -> None:  # type: ignore[no-untyped-def]
    text = file.read_text()
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"\son[a-z]+\s*=", text)
    assert "<style" not in text
    assert re.findall(r"<script(?![^>]*\ssrc=)", text) == []
    assert "javascript:" not in text


def test_every_topic_and_section_has_its_words() -> None:
    assert {file.stem for file in (TEMPLATES / "help/topics").iterdir()} == set(TOPICS)
    parts = {file.stem for file in (TEMPLATES / "results/parts").iterdir()}
    assert parts == {*SECTIONS, "estimates"}
    assert {file.stem for file in (TEMPLATES / "results/summaries").iterdir()} == set(SECTIONS) - {"findings"}
