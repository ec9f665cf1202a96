"""What the lead changes among the references: values by a form or from CSV, retiring and restoring, the window, withdrawing own runs."""

from __future__ import annotations

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.errors import UsageError
from webcapture.reference.exchange import ImportRefused, read_csv
from webcapture.reference.library import MARKS
from webcapture.store import own_runs, references
from webcapture.store.references import Kept
from webcapture.web import library, reference_form
from webcapture.web.errors import WrongField, declined
from webcapture.web.identity import now, require_lead, settings, store
from webcapture.web.language import gettext as _
from webcapture.web.language import told
from webcapture.web.lead import wrong_field
from webcapture.web.plan_form import Fields
from webcapture.web.reference_form import LABELS, LENGTHS, Typed
from webcapture.web.reference_sight import MARK_WORDS

keeping = Blueprint("keeping", __name__, url_prefix="/references")
keeping.before_request(require_lead)

FAULTS = 200
"""Faults of a file that are listed; the others are counted."""
WORDS = 600
"""Characters of a message that names substances: a file may clash with thousands."""
WINDOWS = (0.005, 0.3)


# --- one value


@keeping.route("/new", methods=["GET", "POST"])
def new() -> BaseResponse | str:
    """Add a value."""
    if request.method != "POST":
        known = {name: request.args.get(name, "")[:200] for name in ("substance", "mobile_phase", "paper")}
        return _form(Typed(reference_form.fresh(**known)), None, "")
    typed = reference_form.read(request.form)
    if typed.value is None:
        return _form(typed, None, "")
    try:
        added = library.add([typed.value], typed.note)
    except UsageError as error:
        return _form(typed, None, _words(error))
    if not added:
        return _form(typed, None, _("This very value is there already, from the same source. Nothing was added."))
    return redirect(url_for("references.substance", name=typed.value.substance), 303)


@keeping.route("/values/<entry>", methods=["GET", "POST"])
def edit(entry: str) -> BaseResponse | str:
    """Change a kept value: another version on top."""
    one = _entry_or_404(entry)
    if request.method != "POST":
        return _form(Typed(reference_form.fields_of(one.value)), one, "")
    typed = reference_form.read(request.form)
    if typed.value is None:
        return _form(typed, one, "", version=request.form.get("version", ""))
    if typed.value != one.value or not _is_newest(one):
        try:
            library.change(entry, _version(), typed.value, typed.note)
        except UsageError as error:
            return _form(typed, _entry_or_404(entry), _words(error))
    return redirect(url_for("keeping.edit", entry=entry), 303)


@keeping.post("/values/<entry>/retire")
def retire(entry: str) -> BaseResponse | str:
    """Compare with it no more."""
    return _put_aside(entry, retired=True)


@keeping.post("/values/<entry>/restore")
def restore(entry: str) -> BaseResponse | str:
    """Compare with it again."""
    return _put_aside(entry, retired=False)


def _put_aside(entry: str, *, retired: bool) -> BaseResponse | str:
    one = _entry_or_404(entry)
    note = reference_form.tidy_note(request.form.get("note", ""))
    deed = references.retire if retired else references.restore
    try:
        if one.retired is not retired:
            with store().database.writing() as session:
                deed(session, entry, _version(), now(), note)
    except UsageError as error:
        one = _entry_or_404(entry)
        return _form(Typed(reference_form.fields_of(one.value)), one, _words(error))
    return redirect(url_for("keeping.edit", entry=entry), 303)


def _is_newest(one: Kept) -> bool:
    return _version() == one.version


def _version() -> int:
    """The version that the form was made of; none has the number 0."""
    text = request.form.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


def _entry_or_404(entry: str) -> Kept:
    with store().database.reading() as session:
        return references.entry(session, entry) or abort(404)


def _form(typed: Typed, one: Kept | None, refused: str, version: str = "") -> BaseResponse | str:
    """The form; refused because of somebody else's version, it is sent on top of that one the next time."""
    page = render_template(
        "references/value.html",
        fields=typed.fields,
        wrong=typed.wrong,
        refused=refused,
        one=one,
        version=version or (one.version if one else ""),
        history=_history(one) if one else [],
        labels=LABELS,
        lengths=LENGTHS,
        marks=MARKS,
        mark_words=MARK_WORDS,
    )
    if typed.wrong:
        return declined(wrong_field(typed.wrong), page)
    return declined(WrongField(refused), page) if refused else page


def _history(one: Kept) -> list[tuple[Kept, list[tuple[str, str, str]]]]:
    """Every version, the newest first, with what it changed."""
    with store().database.reading() as session:
        versions = references.history(session, one.entry)
    before = [None, *versions[:-1]]
    pairs = zip(versions, before, strict=True)
    return [(new, reference_form.changes(old.value, new.value) if old else []) for new, old in pairs][::-1]


# --- many values, the window, own runs


@keeping.get("/keep")
def manage() -> BaseResponse | str:
    """What there is to keep: adding, CSV, the window, what was retired."""
    return _manage()


@keeping.post("/import")
def take_csv() -> BaseResponse | str:
    """Add the values of a CSV file, all of them or none."""
    sent = request.files.get("file")
    data = sent.stream.read(settings().compare.csv_bytes + 1) if sent else b""
    if not data.strip():
        return _manage({"file": _("Choose a CSV file with something in it.")})
    try:
        values = read_csv(data, settings().compare)
        added = library.add(values, _("from a file"))
    except ImportRefused as error:
        faults = [_("Line %(line)s: %(text)s", line=one.line, text=told(one.text)[:WORDS]) for one in error.faults]
        return _manage({"file": _("Mend these lines and read the file in again.")}, faults)
    except UsageError as error:
        return _manage({"file": _words(error)})
    if not values:
        return _manage({"file": _("There is a header line and no value below it.")})
    return redirect(url_for("keeping.manage", new=added, there=len(values) - added), 303)


@keeping.post("/window")
def set_window() -> BaseResponse | str:
    """Set the lead's own window, or go back to the usual one."""
    half: float | None = None
    text = request.form.get("window", "").strip()
    if "usual" not in request.form:
        half = reference_form.number(text)
        low, high = WINDOWS
        if half is None or not low <= half <= high:
            wrong = _("Give a number from %(low)s to %(high)s, such as 0.05.", low=low, high=high)
            return _manage({"window": wrong}, typed=text)
    with store().database.writing() as session:
        references.set_window(session, half)
    return redirect(url_for("keeping.manage"), 303)


@keeping.post("/runs/<int:run_id>/withdraw")
def withdraw(run_id: int) -> BaseResponse:
    """Let an own run count no more."""
    with store().database.writing() as session:
        every = own_runs.accepted_runs(session, withdrawn=True)
        run = next((one for one in every if one.id == run_id), None)
        if run is None:
            abort(404)
        own_runs.withdraw(session, run_id, now())
    return redirect(url_for("references.substance", name=run.run.substance), 303)


def _manage(wrong: Fields | None = None, faults: list[str] | None = None, typed: str = "") -> BaseResponse | str:
    with store().database.reading() as session:
        own = references.window(session)
        retired = [one for one in references.kept(session) if one.retired]
    faults = faults or []
    page = render_template(
        "references/keep.html",
        wrong=wrong or {},
        faults=faults[:FAULTS],
        unlisted=max(len(faults) - FAULTS, 0),
        taken=_taken(),
        own=own,
        usual=settings().compare.window_rf,
        window=typed or (own or settings().compare.window_rf),
        retired=retired,
    )
    return declined(wrong_field(wrong), page) if wrong else page


def _taken() -> tuple[int, int] | None:
    """How many values of a file were new and how many there already, straight after reading it."""
    counts = [request.args.get(name, "") for name in ("new", "there")]
    if not all(count.isascii() and count.isdigit() and len(count) < 9 for count in counts):
        return None
    return int(counts[0]), int(counts[1])


def _words(error: UsageError) -> str:
    message = told(error.message)
    return f"{message if len(message) <= WORDS else message[:WORDS] + '…'} {told(error.hint)}"
