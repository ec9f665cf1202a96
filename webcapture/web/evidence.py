"""The page of evidence for an unknown over several practicals, for the lead: which substances still stand, how sure, what to run next."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from flask import Blueprint, Response, abort, jsonify, render_template, request

import webcapture
from webcapture.reference.evidence import CANNOT_TELL, CONSISTENT, NOT_RUN, RULED_OUT
from webcapture.report.evidence import Json, evidence_csv, evidence_dict
from webcapture.report.wording import two_decimals
from webcapture.web.candidates import EVIDENCE
from webcapture.web.evidence_plot import plot_svg, plotted
from webcapture.web.identity import now, require_lead, store
from webcapture.web.language import gettext, ngettext
from webcapture.web.language import lazy_gettext as _
from webcapture.web.library import comparing, library, own_window
from webcapture.web.unknowns import Gathered, Unclear, gather, labels

evidence = Blueprint("evidence", __name__, url_prefix="/lead/evidence")
evidence.before_request(require_lead)

NAMED, STANDING_SHOWN, OUT_SHOWN = 6, 60, 60
"""Substances that a sentence names, and rows of the table that stand and that are ruled out; JSON and CSV hold all."""
VERDICTS = {CONSISTENT: _("consistent with it"), CANNOT_TELL: _("cannot tell"), RULED_OUT: _("ruled out")}
OUTCOMES = {"agrees": _("agrees"), "disagrees": _("disagrees"), CANNOT_TELL: _("cannot tell"), NOT_RUN: _("not run")}


@dataclass(frozen=True, slots=True)
class Sight:
    """What a page shows of an unknown."""

    gathered: Gathered
    found: Json
    left_out: frozenset[str]

    @property
    def standing(self) -> list[Json]:
        """Rows that were compared and that no run ruled out."""
        never = set(self.found["no_value"])
        return [r for r in self.found["rows"] if r["verdict"] != RULED_OUT and r["substance"] not in never]

    @property
    def ruled_out(self) -> list[Json]:
        """The others, the nearest first."""
        out = [row for row in self.found["rows"] if row["verdict"] == RULED_OUT]
        return sorted(out, key=lambda row: (row["cells"][row["ruled_out_by"]]["compared"]["e_n"], row["substance"]))


# --- pages


@evidence.get("")
def choose() -> str:
    """Every unknown of all practicals."""
    with store().database.reading() as session:
        found = labels(session)
    return render_template("evidence/choose.html", unknowns=found)


@evidence.get("/unknown")
def show() -> str:
    """The evidence for one unknown."""
    sight = _sight()
    with_runs = any(run["taken"] for run in sight.found["runs"])
    return render_template(
        "evidence/show.html",
        sight=sight,
        found=sight.found,
        label=sight.found["unknown"],
        answer=_answer(sight.found) if with_runs else "",
        spots=_usual_spots(sight.found),
        sure=_sure(sight.found) if with_runs else (),
        practicals=_practicals(sight.found),
        standing=sight.standing[:STANDING_SHOWN],
        more_standing=max(len(sight.standing) - STANDING_SHOWN, 0),
        ruled_out=sight.ruled_out[:OUT_SHOWN],
        more_out=max(len(sight.ruled_out) - OUT_SHOWN, 0),
        why={row["substance"]: _why(row, sight.found) for row in sight.ruled_out[:OUT_SHOWN]},
        plotted=bool(plotted(sight.found)),
        query={"label": sight.found["unknown"], "without": sorted(sight.left_out)},
        verdicts=VERDICTS,
        outcomes=OUTCOMES,
        kinds=EVIDENCE,
        counted=_counted,
        window_is_leads=own_window() is not None,
        window=any(_windowed(row) for row in sight.standing),
        remarks=_remarks(sight.standing),
        software=webcapture.__version__,
        moment=now(),
    )


@evidence.get("/unknown.svg")
def plot() -> Response:
    """Known values and what was seen."""
    return Response(plot_svg(_sight().found), content_type="image/svg+xml; charset=utf-8")


@evidence.get("/unknown.json")
def numbers() -> Response:
    """The same for programs."""
    sight = _sight()
    return jsonify(_complete(sight.found, sight.gathered.unclear, now()))


@evidence.get("/unknown.csv")
def lines() -> Response:
    """The table for spreadsheets."""
    sight = _sight()
    # The mark at the front tells spreadsheets that the letters are UTF-8.
    answer = Response("\ufeff" + evidence_csv(sight.found), content_type="text/csv; charset=utf-8")
    name = re.sub(r"[^A-Za-z0-9]+", "-", sight.found["unknown"]).strip("-") or "unknown"
    answer.headers["Content-Disposition"] = f'attachment; filename="evidence-{name}.csv"'
    return answer


def _sight() -> Sight:
    """What the address asks for; 404 where no practical has such a label."""
    label, left_out = request.args.get("label", ""), frozenset(request.args.getlist("without"))
    with store().database.reading() as session:
        gathered = gather(session, label, left_out)
    if not gathered.planned:
        abort(404)
    return Sight(gathered, evidence_dict(gathered.label, gathered.notes, library(), comparing()), left_out)


def _complete(found: Json, unclear: tuple[Unclear, ...], moment: datetime) -> Json:
    cannot = [
        {
            "practical_id": one.practical.id,
            "practical": one.practical.plan.title,
            "mobile_phase": one.practical.plan.method.mobile_phase,
            "message": one.message,
            "hint": one.hint,
        }
        for one in unclear
    ]
    made = {"made_at": moment.isoformat(timespec="seconds"), "software": webcapture.__version__}
    return {**made, **found, "not_compared": cannot}


# --- words


def _usual_spots(found: Json) -> int:
    """How many spots at least more than half of the runs show; 0 where there is none."""
    counts = sorted(len(run["spots"]) for run in found["runs"] if run["taken"])
    return counts[(len(counts) - 1) // 2] if counts else 0


def _answer(found: Json) -> str:
    """In one sentence what still stands."""
    consistent, open_ones = found["consistent"], found["cannot_tell"]
    if consistent:
        words = gettext(
            "%(label)s is consistent with %(names)s.", label=found["unknown"], names=_by_spot(found["rivals"])
        )
    elif open_ones:
        words = gettext("No substance of the library agrees with %(label)s so far.", label=found["unknown"])
    elif found["no_value"]:
        return gettext("No substance that could be compared with %(label)s still stands.", label=found["unknown"])
    elif found["rows"]:
        return gettext("Every substance of the library is ruled out for %(label)s.", label=found["unknown"])
    else:
        return gettext(
            "There is nothing to compare %(label)s with: the library holds no values.", label=found["unknown"]
        )
    if not open_ones:
        return words
    return f"{words} " + gettext("It cannot be told of %(names)s.", names=_named(open_ones))


def _by_spot(groups: list[list[str]]) -> str:
    """Names of each spot's candidates."""
    return str(gettext("; for another spot with ").join(map(_named, groups)))


def _named(names: list[str]) -> str:
    """Names for a sentence, and how many more there are."""
    shown = gettext(" or ").join(names[:NAMED])
    more = len(names) - NAMED
    return (
        shown if more <= 0 else ngettext("%(names)s or %(num)s other", "%(names)s or %(num)s others", more, names=shown)
    )


def _sure(found: Json) -> tuple[str, ...]:
    """How sure that is."""
    best = max((row["agreements"] for row in found["rows"] if row["verdict"] == CONSISTENT), default=0)
    if not best:
        return (gettext("Nothing agrees yet, so there is nothing to be sure of."),)
    agreements = ngettext(
        "%(num)s independent agreement at most, of %(all)s possible with these runs.",
        "%(num)s independent agreements at most, of %(all)s possible with these runs.",
        best,
        all=found["independent"],
    )
    return agreements, _chance(found["by_chance"], found["others"])


def _chance(expected: float, others: int) -> str:
    """How many substances would agree anyway, in plain words."""
    number = f"{expected:.1f}"
    if others == 0:
        return gettext("The library holds no other substance with a value under all these conditions: that it agrees singles nothing out.")  # fmt: skip
    if expected >= 1:
        return gettext("Of the %(others)s other substances that could be compared under all these conditions about %(number)s would agree as well by chance: agreement does not single one out.", number=number, others=others)  # fmt: skip
    if expected >= 0.05:
        return gettext("Of the %(others)s other substances that could be compared under all these conditions about %(number)s would agree as well by chance, less than one; what the library does not hold is not counted.", number=number, others=others)  # fmt: skip
    return gettext("Of the %(others)s other substances that could be compared under all these conditions hardly any would agree as well by chance; what the library does not hold is not counted.", others=others)  # fmt: skip


def _why(row: Json, found: Json) -> str:
    """What ruled a substance out."""
    cell, phase = row["cells"][row["ruled_out_by"]], found["conditions"][row["ruled_out_by"]]["mobile_phase"]
    one = cell["compared"]
    return gettext(
        "%(phase)s: the nearest spot has %(quantity)s %(seen)s, known is %(known)s, E_n %(e)s.",
        phase=phase, quantity=one["quantity"], seen=two_decimals(one["seen"]), known=two_decimals(one["known"]), e=f"{one['e_n']:.1f}",
    )  # fmt: skip


def _counted(cell: Mapping[str, Any]) -> str:
    """Of several runs, how many say what; nothing for a single one."""
    if cell["agree"] + cell["disagree"] + cell["open"] < 2:
        return ""
    parts = (
        (cell["agree"], ngettext("%(num)s agrees", "%(num)s agree", cell["agree"])),
        (cell["disagree"], ngettext("%(num)s disagrees", "%(num)s disagree", cell["disagree"])),
        (cell["open"], ngettext("%(num)s cannot tell", "%(num)s cannot tell", cell["open"])),
    )
    return ", ".join(words for count, words in parts if count)


def _practicals(found: Json) -> list[tuple[Json, list[Json]]]:
    """Runs by practical: (its first run, all of them)."""
    grouped = (list(runs) for _id, runs in groupby(found["runs"], key=lambda run: run["practical_id"]))
    return [(runs[0], runs) for runs in grouped]


def _windowed(row: Json) -> bool:
    return any(cell["compared"] and cell["compared"]["window"] for cell in row["cells"])


def _remarks(rows: list[Json]) -> list[str]:
    told = [cell["compared"] for row in rows[:STANDING_SHOWN] for cell in row["cells"] if cell["compared"]]
    return list(dict.fromkeys(remark for one in told for remark in one["remarks"]))
