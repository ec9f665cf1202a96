"""Mixed lanes and names through the web: the form, the result's page, JSON, CSV; and the references beside the room's plot."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from datetime import timedelta
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from tests.web.room import Room
from tests.web.test_lead import FORM
from webcapture.report.export import schema
from webcapture.settings import DEFAULTS
from webcapture.store import practicals
from webcapture.store.records import LaneRole, Method, PracticalInfo, PracticalPlan
from webcapture.web.bands import MOST, rows
from webcapture.web.compare import groups
from webcapture.web.library import library

SVG = "{http://www.w3.org/2000/svg}"
LANES = (("sample", "vat 7"), ("reference", "Marl red"), ("mixed", "vat 7 + Marl red"))
AMINO = ('"high-salt solution of Weber and Lacey 1978"', "as published, unspecified")


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


def planned(
    room: Room, *lanes: tuple[str, str], phase: str = "salt water", paper: str = "workshop paper", layout: str = "sheet"
) -> PracticalInfo:
    roles = tuple(LaneRole(n, *one) for n, one in enumerate(lanes, 1))
    plan = PracticalPlan("Dye vats", Method(phase, paper, 20.0, ""), layout, "a4", roles, "", 30)
    with room.store.database.writing() as session:
        return practicals.create(session, plan, room.clock(), timedelta(hours=12))


def base(practical: PracticalInfo) -> str:
    return f"/lead/practicals/{practical.id}"


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub("<[^>]+>", " ", page))


# --- the form


def test_a_mixed_lane_is_planned_and_shown_again(room: Room) -> None:
    lead = room.lead()
    mixed = FORM | {"layout": "sheet", "role_4": "mixed", "label_4": "Mixture M + Saffron yellow"}
    answer = lead.post("/lead/practicals/new", data=mixed)
    assert answer.status_code == 303
    assert "mixes in" not in lead.get(answer.location).text
    form = lead.get(f"{answer.location}/edit").text
    assert 'value="Mixture M + Saffron yellow"' in form
    assert re.search(r'id="role_4".*?<option value="mixed" selected', form, re.DOTALL)


@pytest.mark.parametrize("label", ["", "Mixture M", "+ Saffron yellow", "x" * 60 + " + " + "y" * 60])
def test_a_mixed_lane_that_does_not_name_both_is_refused_with_the_remedy(room: Room, label: str) -> None:
    answer = room.lead().post("/lead/practicals/new", data=FORM | {"role_4": "mixed", "label_4": label})
    assert answer.status_code == 400
    assert ("a plus sign and the reference" in answer.text) == (len(label) < 60)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"label_4": "Vat 9 + Saffron yellow"}, "no sample lane has that label"),
        ({"label_4": "Mixture M + Woad"}, "no reference lane has that name"),
        ({"label_4": "Mixture M + Saffron yellow", "layout": "tray"}, "on a tray every strip has its own front"),
    ],
)
def test_a_lane_that_is_not_on_the_sheet_is_warned_of_and_kept(room: Room, changed: dict[str, str], said: str) -> None:
    lead = room.lead()
    answer = lead.post("/lead/practicals/new", data=FORM | {"layout": "sheet", "role_4": "mixed"} | changed)
    assert answer.status_code == 303
    for page in (answer.location, f"{answer.location}/edit"):
        assert said in lead.get(page).text


# --- the result


def test_page_json_and_table_say_the_same_of_a_mixed_lane(room: Room) -> None:
    practical = planned(room, *LANES)
    station, token = room.station(practical, "Owl")
    photo = room.measured(station, (0.38,), (0.381,), (0.379,))
    page = words(room.station_client(token).get(f"/results/{photo}").text)
    assert "Evidence for Marl red, no proof. The mixed spot stays single" in page
    assert "mm apart to show as two here" in page
    entry = room.lead().get(f"/results/{photo}.json").json
    jsonschema.validate([entry], schema())
    assert entry["names"]["lanes"][2]["mixed"]["outcome"] == "stays single"
    assert [lane["role"] for lane in entry["names"]["lanes"]] == ["sample", "reference", "mixed"]
    table = spots(room, practical)
    assert [row["mixed_outcome"] for row in table] == ["", "", "stays single"]
    seen = {(lane["lane"], spot["spot"]): spot for lane in entry["names"]["lanes"] for spot in lane["spots"]}
    for row in table:
        spot = seen[int(row["lane"]), int(row["spot"])]
        assert row["names_outcome"] == spot["outcome"]
        assert row["consistent_with"].split("; ") == list(dict.fromkeys(c["substance"] for c in spot["candidates"]))
        assert row["names_evidence"] == spot["candidates"][0]["evidence"]
        assert row["nearest_ruled_out"] == spot["ruled_out"][0]["substance"]
    assert table[0]["names_evidence"] == "same sheet"


def spots(room: Room, practical: PracticalInfo) -> list[dict[str, str]]:
    text = room.lead().get(f"{base(practical)}/spots.csv").data.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_what_splits_speaks_against(room: Room) -> None:
    station, token = room.station(planned(room, *LANES), "Owl")
    photo = room.measured(station, (0.5,), (0.38,), (0.38, 0.5))
    page = words(room.station_client(token).get(f"/results/{photo}").text)
    assert "Evidence against Marl red, no proof." in page


def test_what_a_lane_leaves_open_stands_on_its_page(room: Room) -> None:
    practical = planned(room, ("sample", "Marl red + Tarn blue"), ("reference", "Marl red"))
    station, token = room.station(practical, "Owl")
    photo = room.measured(station, (0.38, 0.52), (0.38, 0.7))
    page = words(room.station_client(token).get(f"/results/{photo}").text)
    assert "At least 2 components" in page
    assert "Spot 2 agrees with no reference." in page
    assert "not seen: Tarn blue. It may still be there" in page
    assert "The lane of Marl red shows further spots" in page


def test_where_the_method_is_unclear_there_are_no_names(room: Room) -> None:
    practical = planned(room, *LANES, phase="50 % water + 40 % ethanol")
    station, _ = room.station(practical, "Owl")
    photo = room.measured(station, (0.38,), (0.38,), (0.38,))
    assert "names" not in room.lead().get(f"/results/{photo}.json").json
    assert {row["names_outcome"] + row["consistent_with"] for row in spots(room, practical)} == {""}


# --- the plot


def drawn(room: Room, practical: PracticalInfo) -> ET.Element:
    return ET.fromstring(room.lead().get(f"{base(practical)}/plot.svg").text)


def bars(svg: ET.Element, dashed: bool) -> list[tuple[float, float]]:
    """From and to, in Rf, of the bars that are drawn that way; without those of the key."""
    ends = {e.text: float(e.get("x", "")) for e in svg.findall(f"{SVG}text") if e.text in {"0.0", "1.0"}}
    foot = next(float(e.get("y", "")) for e in svg.findall(f"{SVG}text") if e.text == "0.0")
    found = [r for r in svg.findall(f"{SVG}rect") if r.get("height") == "9" and float(r.get("y", "")) < foot]
    places = [(float(r.get("x", "")), float(r.get("width", "")), r.get("stroke-dasharray")) for r in found]
    scale = ends["1.0"] - ends["0.0"]
    return [((x - ends["0.0"]) / scale, (x + w - ends["0.0"]) / scale) for x, w, dash in places if bool(dash) == dashed]


def test_own_reference_lanes_and_the_library_are_drawn_apart_and_named(room: Room) -> None:
    practical = planned(room, ("sample", "vat 7"), ("reference", "Marl red"))
    marl = [0.37, 0.38, 0.40]
    for n, rf in enumerate(marl):
        room.measured(room.station(practical, f"Bench {n}")[0], (rf, 0.81), (rf,))
    svg = drawn(room, practical)
    mean, s = np.mean(marl), np.std(marl, ddof=1)
    assert bars(svg, dashed=False) == [(pytest.approx(mean - s, abs=2e-3), pytest.approx(mean + s, abs=2e-3))]
    held = next(v for v in shelf_of(room, practical) if v.substance == "Tarn blue")
    window = DEFAULTS.compare.window_rf
    assert (pytest.approx(held.rf - window, abs=2e-3), pytest.approx(held.rf + window, abs=2e-3)) in bars(svg, True)
    texts = [e.text or "" for e in svg.findall(f"{SVG}text")]
    assert "Marl red, lane here" in texts
    assert "Tarn blue, library" in texts
    assert any(text.startswith("Filled:") for text in texts)
    assert any(text.startswith("Dashed:") for text in texts)
    page = words(room.lead().get(base(practical)).text)
    assert f"Marl red {mean:.2f}, s {s:.2f} (lanes here)" in page


def shelf_of(room: Room, practical: PracticalInfo):  # type: ignore[no-untyped-def]
    from webcapture.reference.method import method_of  # noqa: PLC0415 - only here

    with room.app.app_context():
        return library().under(method_of(practical.plan.method.mobile_phase, practical.plan.method.paper))


def test_of_twenty_amino_acids_few_are_drawn_and_the_others_counted(room: Room) -> None:
    practical = planned(room, ("sample", "Unknown"), phase=AMINO[0], paper=AMINO[1])
    room.measured(room.station(practical, "Owl")[0], (0.89,))
    svg = drawn(room, practical)
    assert len(bars(svg, dashed=True)) == MOST
    told = next(e.text or "" for e in svg.findall(f"{SVG}text") if "not drawn" in (e.text or ""))
    more = int(re.findall(r"\d+", told)[0])
    at = shelf_of(room, practical)
    spread = 2 * DEFAULTS.compare.repeat_rf
    limit = DEFAULTS.compare.e_doubtful * np.hypot(DEFAULTS.compare.window_rf, spread)
    assert MOST + more == len({v.substance for v in at if abs(v.rf - 0.89) <= limit + 1e-9})
    assert f"and {more} more, not drawn" in words(room.lead().get(base(practical)).text)


def test_every_label_stays_inside_the_drawing(room: Room) -> None:
    long = "A very long name of a substance that nobody can read"[:40]
    practical = planned(room, ("sample", "Unknown"), ("reference", long))
    for place in (0.03, 0.5, 0.97):
        assert room.measured(room.station(practical, f"Bench {place:g}")[0], (place,), (place,))
        for text in drawn(room, practical).findall(f"{SVG}text"):
            width, x = len(text.text or "") * 5.6, float(text.get("x", ""))
            left = {"start": x, "end": x - width, "middle": x - width / 2}[text.get("text-anchor", "start")]
            assert left >= 0 and left + width <= 364, text.text


def test_no_value_of_another_method_is_a_band(room: Room) -> None:
    practical = planned(room, ("sample", "vat 7"), paper="filter paper")
    room.measured(room.station(practical, "Owl")[0], (0.38, 0.81))
    assert bars(drawn(room, practical), dashed=True) == []
    unclear = planned(room, ("sample", "vat 7"), phase="50 % water + 40 % ethanol")
    room.measured(room.station(unclear, "Owl")[0], (0.38,))
    assert bars(drawn(room, unclear), dashed=True) == []


def test_nothing_compared_has_no_rows(room: Room) -> None:
    practical = planned(room, *LANES)
    with room.app.app_context():
        assert rows(groups(practical, []), practical, library(), DEFAULTS.compare) == ()
