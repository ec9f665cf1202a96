"""The unknowns of all practicals: their labels, and the lanes in which each was run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from webcapture.errors import UsageError
from webcapture.reference.compare import SheetReference
from webcapture.reference.library import key
from webcapture.reference.method import Method
from webcapture.reference.observed import observed
from webcapture.reference.phase import UnknownRun
from webcapture.reference.plan import REFERENCE, SAMPLE
from webcapture.report.evidence import RunNote
from webcapture.store import corrections, photos, practicals, stations
from webcapture.store.records import MEASURED, PhotoInfo, PracticalInfo
from webcapture.web import findings
from webcapture.web.conditions import method_as_written
from webcapture.web.findings import Findings
from webcapture.web.naming import lane_names


@dataclass(slots=True)
class Unknown:
    """One label over all practicals."""

    label: str
    """As first written, in the newest practical."""
    practicals: dict[str, str] = field(default_factory=dict)
    """Titles by id, the newest first."""
    sheets: set[str] = field(default_factory=set)
    """Ids of measured photos, one a station, of practicals that plan for it or of which a lane was named so."""


@dataclass(frozen=True, slots=True)
class Unclear:
    """A practical whose runs cannot be compared."""

    practical: PracticalInfo
    message: str
    hint: str


@dataclass(frozen=True, slots=True)
class Gathered:
    """All runs of one unknown."""

    label: str
    notes: tuple[RunNote, ...]
    unclear: tuple[Unclear, ...]
    unplaced: tuple[tuple[PracticalInfo, int], ...]
    """Practicals of the label, and in how many of their photos no lane could be told to be it."""
    planned: int
    """Practicals that have the label in their plan or in a name given by hand."""


def labels(session: Session) -> list[Unknown]:
    """Every sample label, in the order of the newest practicals; nothing is worked out from the photos."""
    found: dict[str, Unknown] = {}
    for practical in practicals.all_of_them(session):
        newest = {one.id for one, _station in _newest(session, practical.id)}
        by_hand = _by_hand(session, newest)
        planned = [lane.label for lane in practical.plan.lanes if lane.role == SAMPLE]
        references = {key(lane.label) for lane in practical.plan.lanes if lane.role == REFERENCE}
        for label, sheets in [*((one, newest) for one in planned), *((one, {photo}) for photo, one in by_hand)]:
            if label.strip() and (key(label) not in references):
                one = found.setdefault(key(label), Unknown(label.strip()))
                one.practicals[practical.id] = practical.plan.title
                one.sheets |= sheets
    return list(found.values())


def _newest(session: Session, practical_id: str) -> list[tuple[PhotoInfo, str]]:
    """(the newest measured photo, its station's label) of each station."""
    names = {one.id: one.label for one in stations.of_practical(session, practical_id)}
    newest = {one.station_id: one for one in photos.of_practical(session, practical_id) if one.state == MEASURED}
    return [(newest[station], name) for station, name in names.items() if station in newest]


def _by_hand(session: Session, ids: Iterable[str]) -> Iterator[tuple[str, str]]:
    """(photo, label) of every lane that was named by hand."""
    for photo, changes in corrections.in_force(session, list(ids)).items():
        for one in changes:
            if one.change.get("kind") == "name" and one.change.get("label"):
                yield photo, str(one.change["label"])


# --- the runs of one


def gather(session: Session, label: str, left_out: frozenset[str]) -> Gathered:
    """The runs of an unknown over all practicals, the oldest practical first; ``left_out`` holds ids of runs and of practicals."""
    notes: list[RunNote] = []
    unclear: list[Unclear] = []
    unplaced: list[tuple[PracticalInfo, int]] = []
    planned, written = 0, label
    for practical in reversed(practicals.all_of_them(session)):
        own = _newest(session, practical.id)
        names = _names(session, practical, {one.id for one, _ in own})
        if key(label) not in names:
            continue
        planned, written = planned + 1, names[key(label)]
        try:
            method = method_as_written(practical)
        except UsageError as error:
            unclear.append(Unclear(practical, error.message, error.hint))
            continue
        seen = findings.of_photos(session, [one for one, _ in own])
        station = {one.id: name for one, name in own}
        found = [list(_notes(practical, one, station[one.info.id], method, key(label), left_out)) for one in seen]
        notes += [note for several in found for note in several]
        if missed := sum(not several for several in found):
            unplaced.append((practical, missed))
    return Gathered(written, tuple(notes), tuple(unclear), tuple(unplaced), planned)


def _names(session: Session, practical: PracticalInfo, ids: set[str]) -> Mapping[str, str]:
    """Labels of a practical's samples by their key; names given by hand last."""
    planned = [lane.label for lane in practical.plan.lanes if lane.role == SAMPLE]
    return {key(one): one.strip() for one in (*(label for _, label in _by_hand(session, ids)), *planned)}


def _notes(
    practical: PracticalInfo, found: Findings, station: str, method: Method, label: str, left_out: frozenset[str]
) -> Iterator[RunNote]:
    """A photo's lanes of that label."""
    for strip in found.strips:
        names, spots = lane_names(practical, found, strip), observed(strip.strip)
        beside = tuple(
            SheetReference(name.label, tuple(one for one in spots if one.lane == lane))
            for lane, name in names.items()
            if name.role == REFERENCE and name.label
        )
        for lane, name in names.items():
            if key(name.label) != label or name.role not in (SAMPLE, ""):
                continue
            run_id = f"{found.info.id}-{strip.strip.bay}-{lane}"
            own = tuple(one for one in spots if one.lane == lane)
            plan = practical.plan
            yield RunNote(
                run_id, practical.id, plan.title, f"{found.info.received_at:%Y-%m-%d}", station, found.info.id,
                plan.method.mobile_phase, plan.method.paper, not {run_id, practical.id} & left_out,
                UnknownRun(method, own, beside, plan.title),
            )  # fmt: skip
