"""Own values grow here: the lead accepts reference lanes' spots of a practical as measurements of their substances, or withdraws them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from flask import Blueprint, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as BaseResponse

from webcapture.errors import UsageError
from webcapture.flags import flag
from webcapture.model import Strip
from webcapture.reference.library import INVENTED, Pooled, Run, Value, accepted, key, pooled, unfit
from webcapture.reference.method import Method
from webcapture.reference.observed import Observed, observed
from webcapture.reference.plan import REFERENCE
from webcapture.report.wording import two_decimals, with_uncertainty
from webcapture.store import own_runs as kept
from webcapture.store import photos, practicals
from webcapture.store.own_runs import AcceptedInfo, Place
from webcapture.store.records import PracticalInfo
from webcapture.web.compare import groups
from webcapture.web.conditions import method_as_written
from webcapture.web.errors import declined
from webcapture.web.findings import Findings
from webcapture.web.identity import now, require_lead, store
from webcapture.web.language import gettext as _
from webcapture.web.lead import practical_or_404
from webcapture.web.library import comparing, library_without
from webcapture.web.naming import lane_names
from webcapture.web.reference_sight import MARK_WORDS
from webcapture.web.room import compared_of

own_runs = Blueprint("own_runs", __name__, url_prefix="/lead/practicals/<practical_id>/own-runs")
own_runs.before_request(require_lead)

NEAR = 0.0005
"""Rf: less is no change of what was accepted."""
Reads = list[tuple[str, Findings]]
"""(station's label, its newest measured photo as corrected)."""


@dataclass(frozen=True, slots=True)
class Row:
    """One spot of one reference lane."""

    station: str
    substance: str
    method: Method
    place: Place
    rf: float | None
    U_rf: float | None
    doubts: tuple[str, ...]
    """What speaks for a second look, in plain words; where there is any it is not chosen beforehand."""
    refused: UsageError | None
    """Why it cannot be accepted; None where it can."""
    counts: AcceptedInfo | None
    """The accepted run of its lane that counts now, where it is of this spot."""

    @property
    def name(self) -> str:
        """Of its box in the form: its place, and what was seen there; where that changes before the form is sent, it is another box."""
        place = (self.place.photo, self.place.bay, self.place.lane, self.place.spot)
        seen = repr((self.substance, self.method, self.rf, self.U_rf))
        return ":".join((*map(str, place), hashlib.sha256(seen.encode()).hexdigest()[:12]))

    @property
    def changed(self) -> bool:
        """Whether it was corrected, named anew or put under other conditions after it had been accepted."""
        if self.counts is None:
            return False
        run = self.counts.run
        same = key(run.substance) == key(self.substance) and run.method == self.method
        return not same or self.rf is None or abs(self.rf - run.rf) > NEAR

    @property
    def shown(self) -> str:
        """Its Rf for people: ``0.31 ± 0.01``; ``""`` where there is none."""
        if self.rf is None or self.U_rf is None:
            return ""
        return with_uncertainty(self.rf, self.U_rf)

    @property
    def open(self) -> bool:
        """Whether it can be accepted now."""
        return not self.refused and (self.counts is None or self.changed)


@dataclass(frozen=True, slots=True)
class Substance:
    """One reference substance of the practical."""

    name: str
    rows: tuple[Row, ...]
    known: Pooled | None
    """All accepted runs of it under these conditions, of this practical and of others; None where there is none."""


@own_runs.get("")
def show(practical_id: str) -> str:
    """The page."""
    return _page(practical_or_404(practical_id), None)


@own_runs.post("")
def accept(practical_id: str) -> BaseResponse:
    """Accept the chosen spots, all of them or, where anything is wrong, none."""
    practical = practical_or_404(practical_id)
    try:
        with store().database.writing() as session:
            practical = practicals.find(session, practical_id) or practical  # as it is now, while nobody else writes
            method = method_as_written(practical)
            for row, substance, spot in _chosen(session, practical, request.form.getlist("spot")):
                run = accepted(spot, substance, method, row.place.sheet, practical.id)
                kept.accept(
                    session,
                    run,
                    row.U_rf,
                    row.place,
                    practical.plan.title,
                    now(),
                    _same_station(session, row.place.photo),
                )
    except UsageError as error:
        return declined(error, _page(practical, error))
    return redirect(url_for("own_runs.show", practical_id=practical_id), 303)


@own_runs.post("/withdraw")
def withdraw(practical_id: str) -> BaseResponse:
    """Let one accepted run count no more."""
    practical_or_404(practical_id)
    number = request.form.get("run", "")
    with store().database.writing() as session:
        if number in {str(one.id) for one in kept.accepted_runs(session) if one.run.practical == practical_id}:
            kept.withdraw(session, int(number), now())
    return redirect(url_for("own_runs.show", practical_id=practical_id), 303)


def _same_station(session: Session, photo_id: str) -> list[str]:
    """Ids of all photos of its station: an older one may show the same sheet."""
    found = photos.find(session, photo_id)
    return [] if found is None else [one.id for one in photos.of_station(session, found.station_id)]


def _page(practical: PracticalInfo, trouble: UsageError | None) -> str:
    try:
        method = method_as_written(practical)
    except UsageError as unclear:
        return render_template("lead/own_runs.html", practical=practical, trouble=unclear, substances=[], count=0)
    with store().database.reading() as session:
        found = _substances(session, practical, method)
        counting = kept.accepted_runs(session)
    return render_template(
        "lead/own_runs.html",
        practical=practical,
        trouble=trouble,
        substances=found,
        offered=any(row.open for one in found for row in one.rows),
        count=sum(one.run.practical == practical.id for one in counting),
        titles={one.run.practical: one.practical_title for one in counting},
    )


def _chosen(session: Session, practical: PracticalInfo, names: list[str]) -> Iterator[tuple[Row, str, Observed]]:
    """(row, substance, spot) of what was chosen; raises UsageError where it is there no more, or a lane's spot is not one."""
    if not names:
        raise UsageError(_("No spot was chosen."), _("Choose the spots to keep, then send again."))
    offered = {row.name: (row, substance, spot) for substance, row, spot in _rows(session, practical)}
    if missing := [name for name in names if name not in offered]:
        raise UsageError(
            _("%(num)s of the chosen spots have changed meanwhile.", num=len(missing)),
            _("Look at them again, then choose."),
        )
    lanes = [(row.place.photo, row.place.bay, row.place.lane) for row, *_rest in (offered[name] for name in set(names))]
    if len(set(lanes)) < len(lanes):
        raise UsageError(
            _("Two spots of one lane were chosen."),
            _("Choose the one that is the substance's own; the other belongs to something else."),
        )
    yield from (offered[name] for name in dict.fromkeys(names))


# --- what there is


def _substances(session: Session, practical: PracticalInfo, method: Method) -> list[Substance]:
    """Every reference substance of the practical, in the order of the plan."""
    rows: dict[str, list[Row]] = {}
    for name, row, _spot in _rows(session, practical):
        rows.setdefault(name, []).append(row)
    runs = [one.run for one in kept.accepted_runs(session)]
    order = [lane.label for lane in practical.plan.lanes if lane.role == REFERENCE]
    names = sorted(dict.fromkeys((*order, *rows)), key=lambda name: order.index(name) if name in order else len(order))
    return [Substance(name, tuple(rows.get(name, ())), _known(runs, name, method)) for name in names]


def _known(runs: Sequence[Run], substance: str, method: Method) -> Pooled | None:
    own = [one for one in runs if key(one.substance) == key(substance) and one.method.conditions == method.conditions]
    return pooled(own) if own else None


def _rows(session: Session, practical: PracticalInfo) -> list[tuple[str, Row, Observed]]:
    """(substance, row, spot) of every spot of every reference lane of each station's newest measured photo."""
    reads, known, method = compared_of(session, practical.id), _published(practical), method_as_written(practical)
    apart = {
        (group.label, group.outlier.photo_id, group.spot)
        for group in groups(practical, reads)
        if group.role == REFERENCE and group.outlier is not None
    }
    counting = {one.place: one for one in kept.accepted_runs(session)}
    found_rows = []
    for station, found in reads:
        for name, strip, spot, alone in _reference_spots(practical, found):
            doubts = [] if alone else [_("its lane shows more than one spot")]
            doubts += [*_unlike(spot, known.get(key(name), ())), *_apart(apart, name, found, spot)]
            doubts += [flag(code).text for code in spot.codes]
            place = Place(found.info.id, strip.bay, spot.lane, spot.spot, strip.strip)
            row = Row(station, name, method, place, spot.rf, spot.U_rf, tuple(doubts), unfit(spot), counting.get(place))
            found_rows.append((name, row, spot))
    return found_rows


def _reference_spots(practical: PracticalInfo, found: Findings) -> Iterator[tuple[str, Strip, Observed, bool]]:
    """(substance, the strip, spot, whether it is its lane's only one)."""
    for strip in found.strips:
        names, seen = lane_names(practical, found, strip), observed(strip.strip)
        for spot in seen:
            name = names[spot.lane]
            if name.role == REFERENCE and name.label:
                yield name.label, strip.strip, spot, sum(other.lane == spot.lane for other in seen) == 1


def _apart(apart: set[tuple[str, str, int]], name: str, found: Findings, spot: Observed) -> list[str]:
    return [_("apart from the other stations (Grubbs' test)")] if (name, found.info.id, spot.spot) in apart else []


def _published(practical: PracticalInfo) -> dict[str, list[Value]]:
    """What is known of each substance under these conditions besides what this practical brought; invented values are no measure."""
    found: dict[str, list[Value]] = {}
    for value in library_without(practical.id).under(method_as_written(practical)):
        if value.mark != INVENTED:
            found.setdefault(key(value.substance), []).append(value)
    return found


def _unlike(spot: Observed, known: Sequence[Value]) -> list[str]:
    """Doubts from values that lie further off than the window allows."""
    reach = comparing().window_rf
    return [
        _("far from what is known: %(rf)s (%(mark)s)", rf=two_decimals(value.rf), mark=MARK_WORDS[value.mark])
        for value in known
        if spot.rf is not None and abs(spot.rf - value.rf) > reach
    ]
