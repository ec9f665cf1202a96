"""The pages of references, for everyone: values with their sources, what conditions tell apart, and this laboratory's own runs.

Nothing of stations is shown. What the lead changes is :mod:`webcapture.web.keeping`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from flask import Blueprint, Response, abort, current_app, render_template, request

from webcapture.reference.exchange import COLUMNS, write_csv
from webcapture.reference.library import MARKS, Pooled, Value, key, pooled
from webcapture.reference.match import alike_under
from webcapture.report.cautions import cautions_for
from webcapture.store import own_runs, references
from webcapture.store import photos as photo_records
from webcapture.store.own_runs import AcceptedInfo
from webcapture.store.references import Kept
from webcapture.web.conditions import conditions_name
from webcapture.web.identity import is_lead, store
from webcapture.web.language import gettext as _
from webcapture.web.library import comparing, library
from webcapture.web.reference_plot import Row, runs_svg, values_svg
from webcapture.web.reference_sight import (
    MARK_WORDS,
    Asked,
    asked_for,
    conditions_there,
    lines_by_conditions,
    lines_by_name,
    listed,
    rows_of,
)

reading = Blueprint("references", __name__, url_prefix="/references")

GROUPS, NAMES = 12, 24
"""Groups that are not told apart, and names in one, that are listed; the others are counted."""
PRACTICALS = 20
"""Of the chart of own runs, the newest."""


# --- the list


@reading.get("")
def show() -> str:
    """Every value, or those asked for."""
    asked, known, compare = Asked.read(request.args), library(), comparing()
    there = conditions_there(known)
    page = listed(known, asked)
    shelf = there.get(asked.under)
    return render_template(
        "references/list.html",
        asked=asked,
        page=page,
        rows=rows_of(page.values, kept_by_identity()),
        there=there,
        marks=MARKS,
        mark_words=MARK_WORDS,
        alike=[] if shelf is None else _shortened(alike_under(shelf.values[0].method, known, compare)),
        window=compare.window_rf,
        cautions=cautions_for(asked.under) if shelf else (),
    )


def _shortened(groups: Sequence[tuple[str, ...]]) -> list[str]:
    """Names of each group in one line; long ones end with how many more there are."""
    lines = [", ".join(group[:NAMES]) + _more(len(group) - NAMES) for group in groups[:GROUPS]]
    return [*lines, _("%(n)s more groups", n=len(groups) - GROUPS)] if len(groups) > GROUPS else lines


def _more(n: int) -> str:
    return _(" and %(n)s more", n=n) if n > 0 else ""


@reading.get("/chart.svg")
def chart() -> Response:
    """The page's values along Rf."""
    return _svg(values_svg(lines_by_name(listed(library(), Asked.read(request.args)).values, comparing())))


@reading.get("/references.csv")
def table() -> Response:
    """All values asked for."""
    return _csv(write_csv(asked_for(library(), Asked.read(request.args))), "references.csv")


@reading.get("/template.csv")
def template() -> Response:
    """A header line to fill in below."""
    return _csv(",".join(COLUMNS) + "\r\n", "references-template.csv")


def _svg(drawn: str) -> Response:
    return Response(drawn, content_type="image/svg+xml; charset=utf-8")


def _csv(text: str, name: str) -> Response:
    # The mark at the front tells spreadsheets that the letters are UTF-8.
    answer = Response("\ufeff" + text, content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@dataclass(frozen=True, slots=True)
class Entries:
    """What the lead keeps, as it was read last."""

    mark: tuple[int, int, int]
    """Of the records, see :func:`webcapture.store.references.mark`."""
    by_identity: dict[object, Kept]


def kept_by_identity() -> dict[object, Kept]:
    """The kept values that are not retired, for the lead; for everybody else none."""
    if not is_lead():
        return {}
    with store().database.reading() as session:
        mark = references.mark(session)
        known: Entries | None = current_app.extensions.get("reference_entries")
        if known is not None and known.mark == mark:
            return known.by_identity
        found: dict[object, Kept] = {one.value.identity: one for one in references.kept(session) if not one.retired}
    current_app.extensions["reference_entries"] = Entries(mark, found)
    return found


# --- one substance


@dataclass(frozen=True, slots=True)
class OwnRuns:
    """Own runs of a substance under one mobile phase and paper."""

    conditions: str
    summary: Pooled | None
    """Of those that count; None where none does."""
    titles: dict[str, str]
    """Of practicals, by id."""
    runs: tuple[AcceptedInfo, ...]
    """In the order in which they were accepted."""


@reading.get("/substance")
def substance() -> str:
    """One substance over all mobile phases, with its own runs."""
    name = request.args.get("name", "")
    values = _values_of(name)
    own = _own_runs(name, withdrawn=is_lead())
    if not values and not own:
        abort(404)
    photos = [one.place.photo for group in own for one in group.runs] if is_lead() else []
    return render_template(
        "references/substance.html",
        name=values[0].substance if values else own[0].runs[-1].run.substance,
        rows=rows_of(values, kept_by_identity()),
        own=own,
        photos=_photos_there(photos),
    )


@reading.get("/substance/chart.svg")
def substance_chart() -> Response:
    """One substance over all mobile phases."""
    values = _values_of(request.args.get("name", ""))
    return _svg(values_svg(lines_by_conditions(values, comparing()))) if values else abort(404)


@reading.get("/substance/runs.svg")
def runs_chart() -> Response:
    """Own runs of one substance under one mobile phase and paper, practical by practical."""
    found = _own_runs(request.args.get("name", ""))
    group = next((one for one in found if one.conditions == request.args.get("under", "")), None)
    if group is None or group.summary is None:
        abort(404)
    rows = [
        Row(title, runs[-1].accepted_at.strftime("%Y-%m-%d"), tuple(one.run.rf for one in runs))
        for title, runs in by_practical(group)
    ]
    return _svg(runs_svg(rows[-PRACTICALS:], group.summary.mean, group.summary.sd_new))


def by_practical(group: OwnRuns) -> list[tuple[str, list[AcceptedInfo]]]:
    """The runs that count, by title and with the practicals in the order of their newest run."""
    counted = [one for one in group.runs if one.withdrawn_at is None]
    found: dict[str, list[AcceptedInfo]] = {}
    for one in counted:
        found.setdefault(one.run.practical, []).append(one)
    ordered = sorted(found.values(), key=lambda runs: runs[-1].accepted_at)
    return [(group.titles[runs[-1].run.practical], runs) for runs in ordered]


def _values_of(name: str) -> list[Value]:
    wanted = key(name)
    found = [value for value in library().values if key(value.substance) == wanted]
    return sorted(found, key=lambda value: (conditions_name(value.method), value.rf))


def _own_runs(name: str, *, withdrawn: bool = False) -> list[OwnRuns]:
    wanted = key(name)
    with store().database.reading() as session:
        every = own_runs.accepted_runs(session, withdrawn=withdrawn)
    mine = [one for one in every if key(one.run.substance) == wanted]
    mine.sort(key=lambda one: conditions_name(one.run.method))
    return [_group(name, tuple(runs)) for name, runs in groupby(mine, lambda one: conditions_name(one.run.method))]


def _group(name: str, runs: tuple[AcceptedInfo, ...]) -> OwnRuns:
    counted = [one.run for one in runs if one.withdrawn_at is None]
    titles = {one.run.practical: one.practical_title for one in runs}
    return OwnRuns(name, pooled(counted) if counted else None, titles, runs)


def _photos_there(ids: Iterable[str]) -> set[str]:
    """Those whose results can still be opened."""
    with store().database.reading() as session:
        return {one for one in set(ids) if photo_records.find(session, one) is not None}
