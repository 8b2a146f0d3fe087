"""Everything that the archive holds, by words: days, cars, setups, runs, findings, files, events, help."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from urllib.parse import urlencode

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.tables import Event
from server.correlation.tables import DecisionNote
from server.days.facts import Brief, briefs_of, newest_revisions, runs_holding
from server.days.service import list_days
from server.days.setup_words import part_text
from server.days.tables import DayRevision, RevisionFile, StoredDay
from server.predictions.service import list_sets
from server.results.season_days import brief_results
from server.results.tables import FittedResult
from server.search.words import Words, excerpt
from server.testday.setting_names import as_said
from server.tufts.service import newest_facts_of_all

MOST_HITS = 20


@dataclass(frozen=True, slots=True)
class Hit:
    """Something found: its words, what stands beside it, the route, the parts of its address and what follows them."""

    words: str
    beside: str
    route: str
    parts: Mapping[str, str | int] = field(default_factory=dict)
    query: str = ""



@dataclass(frozen=True, slots=True)
class Group:
    """Hits of one kind, at most `MOST_HITS` of `number`."""

    title: str
    hits: tuple[Hit, ...]
    number: int


Unmade = Callable[[], Hit]


@dataclass(frozen=True, slots=True)
class Held:
    """The days as they stand, the latest first, and the key of each one's newest revision."""

    days: tuple[tuple[StoredDay, Brief], ...]
    revisions: Mapping[int, int]


def search(archive: Archive, session: Session, words: Words, help_texts: Mapping[str, tuple[str, str]]) -> list[Group]:
    """Groups of hits, those without any left out. help_texts: topic → title and words."""
    held = _held(archive, session)
    kinds: dict[str, Iterator[Hit | Unmade]] = {
        "Days": _days(held, words),
        "Cars": _cars(held, words),
        "Setups and their parts": _setups(held, words),
        "Runs": _runs(archive, session, held, words),
        "Photos": _photos(session, held, words),
        "Findings": _findings(session, held, words),
        "Files": _files(session, words),
        "Predictions": _predictions(session, words),
        "Decisions on predictions": _decisions(session, words),
        "Results": _results(session, words),
    }
    groups = [_group(title, hits) for title, hits in kinds.items()]
    groups += [_events(session, words), _group("Help", _help(help_texts, words))]
    return [group for group in groups if group.number]


def _group(title: str, hits: Iterable[Hit | Unmade]) -> Group:
    """The first hits, and how many there are: those that are only counted are not made."""
    shown, number = [], 0
    for number, hit in enumerate(hits, 1):
        if number <= MOST_HITS:
            shown.append(hit if isinstance(hit, Hit) else hit())
    return Group(title, tuple(shown), number)


def _held(archive: Archive, session: Session) -> Held:
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values())
    return Held(tuple((day, briefs[newest[day.id]]) for day in list_days(session)), newest)


def _date(day: StoredDay) -> str:
    return day.date.isoformat() if day.date else "no date"


def _named(day: StoredDay) -> str:
    return f"{day.name}, {_date(day)}"


def _days(held: Held, words: Words) -> Iterator[Hit]:
    for day, brief in held.days:
        if words.in_text(day.name, _date(day), day.sent_as, brief.venue, brief.notes):
            beside = ", ".join(part for part in (brief.venue, excerpt(brief.notes, words)) if part)
            yield Hit(_named(day), beside, "day", {"day_id": day.id})


def _cars(held: Held, words: Words) -> Iterator[Hit]:
    count: dict[str, int] = {}
    for _, brief in held.days:
        count[brief.car] = count.get(brief.car, 0) + 1
    for car, number in count.items():
        if car and words.in_text(car):
            yield Hit(car, f"{number} day{'' if number == 1 else 's'}", "cars")


def _setups(held: Held, words: Words) -> Iterator[Hit]:
    for day, brief in held.days:
        for setup in brief.setups:
            parts = ", ".join(as_said(name, part_text(value)) for name, value in setup.parts.items())
            parts += f", ballast {setup.ballast_kg:g} kg" if setup.ballast_kg else ""
            if _names_it(words, setup.name, f"{parts}\n{' '.join(setup.parts)}\n{setup.notes}"):
                beside = ", ".join(part for part in (parts, excerpt(setup.notes, words)) if part)
                yield Hit(f"Setup {setup.name} of {_named(day)}", beside, "car", {"day_id": day.id})


def _names_it(words: Words, name: str, text: str) -> bool:
    """A setup called A is found by its whole name, not by every word that holds an a."""
    name, text = name.casefold(), text.casefold()
    return all(word in ("setup", name) or (len(word) > 1 and (word in text or word in name)) for word in words.all)


def _predictions(session: Session, words: Words) -> Iterator[Hit]:
    for one in list_sets(session):
        if words.in_text(one.name, one.recipe, one.author, one.file_name, one.car):
            beside = ", ".join(part for part in (one.car, one.recipe, one.file_name) if part)
            yield Hit(one.name, beside, "prediction_set", {"number": one.id})


def _runs(archive: Archive, session: Session, held: Held, words: Words) -> Iterator[Unmade]:
    runs = runs_holding(archive, session, held.revisions.values(), words.all)
    for day, _ in held.days:
        for run in runs.get(held.revisions[day.id], ()):
            told = "\n".join(filter(None, (run.notes, run.remarks, run.driver and f"driver {run.driver}")))
            if told and words.in_text(told):
                yield partial(_run, day, run.number, told, words)


def _run(day: StoredDay, number: int, told: str, words: Words) -> Hit:
    place = {"day_id": day.id, "number": number}
    return Hit(f"Run {number} of {_named(day)}", excerpt(told, words), "run", place)


def _photos(session: Session, held: Held, words: Words) -> Iterator[Hit]:
    """Tuft photos by part, camera view, name and notes."""
    facts = newest_facts_of_all(session)
    for day, _ in held.days:
        for photo, said in facts.get(day.id, ()):
            if not said.removed and words.in_text(said.part, said.view, photo.name, said.notes):
                beside = ", ".join(part for part in (_named(day), said.view, excerpt(said.notes, words)) if part)
                yield Hit(said.part or photo.name, beside, "photo", {"day_id": day.id, "photo_id": photo.id})


def _findings(session: Session, held: Held, words: Words) -> Iterator[Hit]:
    """Checks and stops of the newest results."""
    results = brief_results(session)
    for day, _ in held.days:
        for one in results[day.id].summary["asking"] if day.id in results else ():
            if words.in_text(one["text"], one["code"]):
                beside = _named(day) if one["run"] is None else f"{_named(day)}, run {one['run']}"
                yield Hit(f"{one['grade']}: {excerpt(one['text'], words)}", beside, *_place(day, one["run"]))


def _place(day: StoredDay, run: int | None) -> tuple[str, dict[str, str | int]]:
    if run is None:
        return "result_section", {"day_id": day.id, "section": "findings"}
    return "run", {"day_id": day.id, "number": run}


def _decisions(session: Session, words: Words) -> Iterator[Hit]:
    for note in session.scalars(select(DecisionNote).order_by(DecisionNote.id.desc())):
        about = f"{note.quantity} of {note.setup}" + (f" against {note.against}" if note.against else "")
        if words.in_text(note.text, note.who, note.stance, about, note.car):
            beside = f"{note.car}, {note.at:%Y-%m-%d}, {note.who}: {excerpt(note.text, words)}"
            query = urlencode({"car": note.car, "days": str(note.day_id)})
            yield Hit(f"{note.stance}: {about}", beside, "correlation", query=f"?{query}#decisions")


def _files(session: Session, words: Words) -> Iterator[Hit]:
    """Every file of every revision, once a day, path and content."""
    matches = words.in_columns(RevisionFile.path)
    if words.hash_start:
        matches = or_(matches, RevisionFile.sha256.startswith(words.hash_start))
    rows = (
        select(RevisionFile.path, RevisionFile.sha256, StoredDay, func.min(DayRevision.number))
        .join(DayRevision, DayRevision.id == RevisionFile.revision_id)
        .join(StoredDay, StoredDay.id == DayRevision.day_id)
        .where(matches)
        .group_by(StoredDay.id, RevisionFile.path, RevisionFile.sha256)
        .order_by(StoredDay.id.desc(), RevisionFile.path)
    )
    for path, sha256, day, revision in session.execute(rows):
        beside = f"{_named(day)}, from revision {revision}; SHA-256 {sha256}"
        yield Hit(path, beside, "day_revision", {"day_id": day.id, "number": revision})
    yield from _sent(session, words)


def _sent(session: Session, words: Words) -> Iterator[Hit]:
    """The zips that days came in."""
    if words.hash_start:
        chosen = select(StoredDay).where(StoredDay.upload_sha256.startswith(words.hash_start))
        for day in session.scalars(chosen):
            place = {"day_id": day.id, "number": 1}
            yield Hit(day.sent_as, f"{_named(day)}, as it was sent; SHA-256 {day.upload_sha256}", "day_revision", place)


def _results(session: Session, words: Words) -> Iterator[Hit]:
    if words.hash_start is None:
        return
    rows = select(FittedResult.id, FittedResult.sha256, StoredDay).join(StoredDay, StoredDay.id == FittedResult.day_id)
    for number, sha256, day in session.execute(rows.where(FittedResult.sha256.startswith(words.hash_start))):
        place = {"day_id": day.id, "result_id": number}
        yield Hit(f"Result {number} of {_named(day)}", f"SHA-256 {sha256}", "result_origin", place)


def _events(session: Session, words: Words) -> Group:
    told = words.in_columns(Event.subject, Event.kind, Event.who, Event.reason, Event.before, Event.after)
    if words.hash_start:
        told = or_(told, Event.sha256.startswith(words.hash_start))
    number = session.scalar(select(func.count(Event.id)).where(told)) or 0
    newest = select(Event).where(told).order_by(Event.id.desc()).limit(MOST_HITS)
    hits = [_event(one) for one in session.scalars(newest)] if number else []
    return Group("Events", tuple(hits), number)


def _event(one: Event) -> Hit:
    beside = ", ".join(part for part in (one.at[:10], one.who, one.reason) if part)
    return Hit(f"{one.kind.replace('-', ' ')}: {one.subject}", beside, "event", {"number": one.id})


def _help(texts: Mapping[str, tuple[str, str]], words: Words) -> Iterator[Hit]:
    for topic, (title, text) in texts.items():
        if words.in_text(title, text):
            yield Hit(title, excerpt(text, words), "help_topic", {"topic": topic})


