"""The room's page: tiles, counts, plot, table, CSV, printing, deleting."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from itertools import product
from pathlib import Path

import cv2
import numpy as np
import pytest
from flask.testing import FlaskClient

from tests.web.room import Room
from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.card.printing import card_png_array, text_width_mm
from webcapture.report.cautions import PRACTICE, cautions_for
from webcapture.report.cells import harmless
from webcapture.report.handout import handout_pdf, station_label
from webcapture.store import corrections, practicals, stations
from webcapture.store.records import PracticalInfo

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


@pytest.fixture
def practical(room: Room) -> PracticalInfo:
    return room.practical()


@pytest.fixture
def lead(room: Room) -> FlaskClient:
    return room.lead()


def base(practical: PracticalInfo) -> str:
    return f"/lead/practicals/{practical.id}"


def fill(room: Room, practical: PracticalInfo, *rfs: float) -> dict[str, str]:
    """A station for each Rf of the saffron yellow; photo ids by station label."""
    found = {}
    for n, rf in enumerate(rfs, 1):
        station, _ = room.station(practical, f"Bench {n}")
        found[station.label] = room.measured(station, (0.2, 0.55), (rf,))
    return found


# --- page and its part


def test_counts_tiles_states_and_flags(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    first, second, _ = (room.station(practical, label)[0] for label in ("Owl", "Bench 2", "Bench 3"))
    old = room.measured(first, (0.4,), (0.6,))
    new = room.measured(first, (0.4,), (0.6,), flags=("glare", "shadow", "too-dark", "out-of-focus"))
    room.refused(second, "No card was seen.")
    room.photo(second)
    page = lead.get(base(practical)).text
    counts = re.search(r'class="counts">(.*?)</p>', page)
    assert counts is not None
    words = re.sub("<[^>]+>", "", counts[1])
    assert words == "3 stations, 4 photos: 2 measured, 1 waiting, 1 not measured"
    assert f"/photos/{new}/small.jpg" in page
    assert old not in page
    assert "A bright reflection lies on part of the card." in page
    assert "and 1 more" in page
    assert "2 photos, the newest waiting." in page
    assert "No photo yet." in page


def test_tiles_picture_is_small_and_kept_until_something_changes(
    room: Room, lead: FlaskClient, practical: PracticalInfo
) -> None:
    station, _ = room.station(practical, "Owl")
    photo = room.measured(station, (0.4,))
    address = re.compile(rf'src="({base(practical)}/photos/{photo}/small\.jpg\?[\d-]+)"')
    first = address.search(lead.get(base(practical)).text)
    assert first is not None
    answer = lead.get(first[1])
    assert "immutable" in answer.headers["Cache-Control"]
    picture = cv2.imdecode(np.frombuffer(answer.data, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    assert max(picture.shape) <= 640
    room.station(practical, "Fox")
    again = address.search(lead.get(base(practical)).text)
    assert again is not None
    assert again[1] == first[1]
    corrected(room, photo)
    other = address.search(lead.get(base(practical)).text)
    assert other is not None
    assert other[1] != first[1]
    assert lead.get(other[1]).data != answer.data
    elsewhere = room.practical("Another")
    assert lead.get(f"{base(elsewhere)}/photos/{photo}/small.jpg").status_code == 404


def test_refused_photo_says_why(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    room.refused(room.station(practical, "Owl")[0], "No card was seen.")
    assert "No card was seen. Get the card in." in lead.get(base(practical)).text


def test_part_is_sent_again_only_when_something_changed(
    room: Room, lead: FlaskClient, practical: PracticalInfo
) -> None:
    station, _ = room.station(practical, "Owl")
    photo = room.measured(station, (0.4,))
    version = re.search(r'data-version="(\w+)"', lead.get(base(practical)).text)
    assert version is not None
    tag = f'"{version[1]}"'
    changes = [
        lambda: room.photo(station),
        lambda: room.station(practical, "Fox"),
        lambda: corrected(room, photo),
        lambda: lead.post(f"{base(practical)}/code"),
        lambda: lead.post(f"{base(practical)}/joining", data={"open": "0"}),
        lambda: lead.post(f"{base(practical)}/stations/{station.id}/delete"),
    ]
    for change in changes:
        same = lead.get(f"{base(practical)}/part", headers={"If-None-Match": tag})
        assert (same.status_code, same.data) == (304, b"")
        change()
        other = lead.get(f"{base(practical)}/part", headers={"If-None-Match": tag})
        assert other.status_code == 200
        assert "<html" not in other.text
        assert other.headers["ETag"] != tag
        tag = other.headers["ETag"]


def corrected(room: Room, photo_id: str, s_mm: float = 107.0) -> None:
    """The first lane's front, by hand; the made-up origin lies at 22 mm."""
    change = {"kind": "front", "bay": 1, "lane": 1, "key": None, "s_mm": s_mm, "only": False, "label": None}
    with room.store.database.writing() as session:
        corrections.add(session, photo_id, change, "Owl", room.clock())


def test_other_practicals_stations_stay_out(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    other = room.practical("Another")
    station, _ = room.station(other, "Elsewhere")
    room.measured(station, (0.4,))
    assert "Elsewhere" not in lead.get(base(practical)).text
    assert "Elsewhere" not in lead.get(f"{base(practical)}/spots.csv").text
    assert lead.post(f"{base(practical)}/stations/{station.id}/delete").status_code == 404
    with room.store.database.reading() as session:
        assert stations.find(session, station.id) is not None


def test_practical_that_is_not_there(lead: FlaskClient) -> None:
    for part in ("", "/part", "/plot.svg", "/qr.svg", "/spots.csv", "/handout.pdf", "/purge"):
        assert lead.get(f"/lead/practicals/nothing{part}").status_code == 404


# --- comparison


def rows(page: str) -> dict[str, list[str]]:
    """The table's cells by spot."""
    found = re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL)
    cells = [[re.sub("<[^>]+>", "", c) for c in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)] for row in found]
    return {row[0]: row[1:] for row in cells}


def test_table_gives_mean_s_n_and_outlier(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    rfs = [0.61, 0.62, 0.60, 0.61, 0.62, 0.85]
    fill(room, practical, *rfs)
    page = lead.get(base(practical)).text
    n, mean, s, outlier = rows(page)["Saffron yellow, spot 1 (reference)"]
    assert (int(n), float(mean), float(s)) == (
        6,
        pytest.approx(np.mean(rfs), abs=6e-4),
        pytest.approx(np.std(rfs, ddof=1), abs=6e-4),
    )
    assert outlier == "Bench 6, 0.85"
    assert rows(page)["Mixture M, spot 2"][3] == "none"
    assert "Grubbs 1950; ISO 5725-2" in page


def test_corrections_count(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    station, _ = room.station(practical, "Owl")
    photo = room.measured(station, (0.45,), (0.6,))
    assert rows(lead.get(base(practical)).text)["Mixture M, spot 1"][1] == "0.450"
    corrected(room, photo)  # a run of 85 mm in the place of 90
    assert float(rows(lead.get(base(practical)).text)["Mixture M, spot 1"][1]) == pytest.approx(
        0.45 * 90 / 85, abs=2e-3
    )


def test_only_the_newest_measured_photo_of_a_station_counts(
    room: Room, lead: FlaskClient, practical: PracticalInfo
) -> None:
    station, _ = room.station(practical, "Owl")
    room.measured(station, (0.3,), (0.6,))
    room.measured(station, (0.5,), (0.6,))
    room.photo(station)
    n, mean, s, outlier = rows(lead.get(base(practical)).text)["Mixture M, spot 1"]
    assert (n, mean, s, outlier) == ("1", "0.500", "–", "none")


def test_stations_with_another_number_of_spots_are_named_not_matched(
    room: Room, lead: FlaskClient, practical: PracticalInfo
) -> None:
    for n, lane in enumerate([(0.2, 0.5), (0.2, 0.5), (0.5,)], 1):
        room.measured(room.station(practical, f"Bench {n}")[0], lane, (0.6,))
    page = lead.get(base(practical)).text
    assert rows(page)["Mixture M, spot 1"][:2] == ["2", "0.200"]
    assert "not compared, at Bench 3." in page


def test_plot_shows_every_station_where_it_belongs(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    rfs = [0.61, 0.62, 0.60, 0.61, 0.62, 0.85]
    fill(room, practical, *rfs)
    answer = lead.get(f"{base(practical)}/plot.svg")
    assert answer.content_type.startswith("image/svg+xml")
    drawn = ET.fromstring(answer.text)
    dots = drawn.findall(f"{SVG}circle")
    assert len(dots) == 18
    rings = [dot for dot in dots if dot.get("fill") == "none"]
    assert len(rings) == 1
    ends = {e.text: float(e.get("x", "")) for e in drawn.findall(f"{SVG}text") if e.text in {"0.0", "1.0"}}
    share = (float(rings[0].get("cx", "")) - ends["0.0"]) / (ends["1.0"] - ends["0.0"])
    assert share == pytest.approx(0.85, abs=0.002)
    assert "Bench 6" in [e.text for e in drawn.findall(f"{SVG}text")]
    assert "style" not in answer.text
    assert "<script" not in answer.text


def test_plot_of_nothing_is_a_drawing_too(lead: FlaskClient, practical: PracticalInfo) -> None:
    assert "No Rf yet" in lead.get(f"{base(practical)}/plot.svg").text


def test_tray_lanes_are_bays(room: Room) -> None:
    practical = room.practical(layout="tray")
    room.measured(room.station(practical, "Owl")[0], (0.4,), (0.7,), layout="tray")
    found = rows(room.lead().get(base(practical)).text)
    assert found["Mixture M, spot 1"][1] == "0.400"
    assert found["Saffron yellow, spot 1 (reference)"][1] == "0.700"


UNPLANNED = "and the practical is planned for another card."
OTHER_COUNT = "Another number of lanes was seen than the practical has: they go by their number."


@pytest.mark.parametrize(
    ("planned", "numbers", "seen", "lanes", "labels", "note"),
    [
        ("sheet", (1, 2), "sheet", 2, ["Mixture M", "Saffron yellow"], ""),
        ("sheet", (1, 3), "sheet", 2, ["Mixture M", "Saffron yellow"], ""),  # nothing in lane 2: it is not seen
        ("sheet", (1, 3), "sheet", 3, ["Mixture M", "", "Saffron yellow"], ""),
        ("sheet", (1, 2), "sheet", 1, [""], OTHER_COUNT),
        ("sheet", (1, 2), "sheet", 4, ["", "", "", ""], OTHER_COUNT),
        ("sheet", (1, 2), "tray", 2, ["", ""], UNPLANNED),
        ("tray", (1, 2), "sheet", 2, ["", ""], UNPLANNED),
        ("tray", (1, 2), "tray", 2, ["Mixture M", "Saffron yellow"], ""),
        ("tray", (2, 3), "tray", 3, ["", "Mixture M", "Saffron yellow"], ""),
        ("tray", (1, 2), "tray", 1, ["Mixture M"], ""),
        ("sheet", (), "tray", 2, ["", ""], ""),
    ],
)
def test_lanes_have_the_plans_names_only_where_the_card_fits_the_plan(
    room: Room, planned: str, numbers: tuple[int, ...], seen: str, lanes: int, labels: list[str], note: str
) -> None:
    practical = room.practical(layout=planned, numbers=numbers)
    station, token = room.station(practical, "Owl")
    photo = room.measured(station, *((0.2 + 0.1 * n,) for n in range(lanes)), layout=seen)
    lead = room.lead()
    table = list(csv.DictReader(io.StringIO(lead.get(f"{base(practical)}/spots.csv").data.decode("utf-8-sig"))))
    assert [row["label"] for row in table] == labels
    for page in (lead.get(base(practical)).text, room.station_client(token).get(f"/results/{photo}").text):
        assert [words for words in (UNPLANNED, OTHER_COUNT) if words in page] == ([note] if note else [])
    compared = rows(lead.get(base(practical)).text)
    assert len(compared) - ("Spot" in compared) == (0 if note == UNPLANNED and numbers else lanes)


def test_a_name_by_hand_counts_where_the_plan_does_not(room: Room) -> None:
    practical = room.practical(layout="tray")
    station, token = room.station(practical, "Owl")
    photo = room.measured(station, (0.4,), (0.5,))
    room.station_client(token).post(f"/results/{photo}/lanes/1-2", data={"label": "Mixture M"})
    found = rows(room.lead().get(base(practical)).text)
    assert found["Mixture M, spot 1"][1] == "0.500"
    assert not any("reference" in name for name in found)


# --- CSV


def test_csv_has_every_spot_of_every_photo(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    station, _ = room.station(practical, "Owl")
    room.measured(station, (0.2, 0.5), (0.6,))
    room.measured(station, (0.21,), ())
    answer = lead.get(f"{base(practical)}/spots.csv")
    assert "attachment" in answer.headers["Content-Disposition"]
    table = list(csv.DictReader(io.StringIO(answer.data.decode("utf-8-sig"))))
    assert [(row["lane"], row["label"], row["spot"], float(row["rf"])) for row in table] == [
        ("1", "Mixture M", "1", 0.2),
        ("1", "Mixture M", "2", 0.5),
        ("2", "Saffron yellow", "1", 0.6),
        ("1", "Mixture M", "1", 0.21),
    ]
    for row in table:
        assert float(row["rf"]) == pytest.approx(float(row["distance_mm"]) / float(row["run_mm"]), abs=2e-4)
        assert float(row["U_rf"]) == pytest.approx(2 * float(row["u_rf"]), abs=1e-4)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_csv_runs_nothing_in_a_spreadsheet(start: str) -> None:
    assert harmless(f"{start}1+1") == f"'{start}1+1"


def test_csv_guards_labels(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    room.measured(room.station(practical, '=HYPERLINK("http://x")')[0], (0.2,))
    table = list(csv.DictReader(io.StringIO(lead.get(f"{base(practical)}/spots.csv").data.decode("utf-8-sig"))))
    assert table[0]["station"] == '\'=HYPERLINK("http://x")'


# --- joining


def test_joining_is_switched_and_the_code_renewed(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    phone = room.app.test_client()
    lead.post(f"{base(practical)}/joining", data={"open": "0"})
    assert phone.get(f"/join/{practical.join_code}").status_code == 403
    lead.post(f"{base(practical)}/joining", data={"open": "1"})
    assert phone.get(f"/join/{practical.join_code}").status_code == 200
    lead.post(f"{base(practical)}/code")
    renewed = room.look(practical)
    assert renewed is not None
    assert phone.get(f"/join/{practical.join_code}").status_code == 404
    assert phone.get(f"/join/{renewed.join_code}").status_code == 200


def test_opening_an_expired_code_gives_it_time(room: Room, lead: FlaskClient, practical: PracticalInfo) -> None:
    with room.store.database.writing() as session:
        practicals.set_joining(session, practical.id, True, room.clock())
    assert room.app.test_client().get(f"/join/{practical.join_code}").status_code == 403
    lead.post(f"{base(practical)}/joining", data={"open": "1"})
    assert room.app.test_client().get(f"/join/{practical.join_code}").status_code == 200


def decoded(svg: str) -> str:
    """What a reader of codes sees in a drawing of dark lines on a light ground, as segno makes them."""
    drawn = ET.fromstring(svg)
    side, scale = int(drawn.get("width", "0")), 8
    modules = np.full((side // scale,) * 2, 255, np.uint8)
    dark = [p for p in drawn.iter(f"{SVG}path") if p.get("stroke")][-1]
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([^Mmh]*)", dark.get("d", "")):
        values = [float(v) for v in re.findall(r"-?[\d.]+", numbers)]
        if command == "h":
            modules[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return _read(modules)


def _read(modules: np.ndarray) -> str:
    """What OpenCV's reader makes of it, looked at as a phone would, in sizes and turns: one in 150 flawless codes it does not read at once."""
    for size, turn in product((8, 5, 11), range(4)):
        seen = cv2.resize(np.ascontiguousarray(np.rot90(modules, turn)), None, fx=size, fy=size, interpolation=0)
        text, _, _ = cv2.QRCodeDetector().detectAndDecode(seen)
        if text:
            return str(text)
    return ""


def token_of(lead: FlaskClient) -> str:
    cookie = lead.get_cookie("lead")
    assert cookie is not None
    return cookie.value


def test_code_leads_a_phone_to_the_address_in_the_network(lead: FlaskClient, practical: PracticalInfo) -> None:
    lead.set_cookie("lead", token_of(lead), domain="127.0.0.1")
    answer = lead.get(f"{base(practical)}/qr.svg", base_url="http://127.0.0.1:8000")
    assert answer.content_type.startswith("image/svg+xml")
    assert decoded(answer.text) == f"http://192.0.2.7:8000/join/{practical.join_code}"


def test_address_asked_for_is_taken_where_it_is_no_loopback(lead: FlaskClient, practical: PracticalInfo) -> None:
    lead.set_cookie("lead", token_of(lead), domain="198.51.100.4")
    page = lead.get(base(practical), base_url="http://198.51.100.4:81").text
    assert f"http://198.51.100.4:81/join/{practical.join_code}" in page


def test_tool_for_this_computer_only_says_so(tmp_path: Path) -> None:
    room = Room(tmp_path, host="127.0.0.1")
    practical, lead = room.practical(), room.lead()
    assert "--host 0.0.0.0" in lead.get(base(practical)).text
    assert lead.get(f"{base(practical)}/qr.svg").status_code == 404
    assert lead.get(f"{base(practical)}/handout.pdf").status_code == 200


# --- deleting


def test_deleting_a_stations_work_asks_first(
    room: Room, lead: FlaskClient, practical: PracticalInfo, tmp_path: Path
) -> None:
    photos = fill(room, practical, 0.4, 0.5)
    with room.store.database.reading() as session:
        first = stations.of_practical(session, practical.id)[0]
    address = f"{base(practical)}/stations/{first.id}/delete"
    assert "cannot be undone" in lead.get(address).text
    for page in (address, f"{base(practical)}/purge", f"{base(practical)}/delete"):
        assert lead.head(page).status_code == 200, "asking what a page is like deletes nothing"
    assert lead.get(f"/results/{photos['Bench 1']}").status_code == 200
    lead.post(address)
    assert lead.get(f"/results/{photos['Bench 1']}").status_code == 404
    assert lead.get(f"/results/{photos['Bench 2']}").status_code == 200
    assert len([path for path in (tmp_path / "files").rglob("*") if path.is_file()]) == 2


def test_purging_leaves_the_practical_only(
    room: Room, lead: FlaskClient, practical: PracticalInfo, tmp_path: Path
) -> None:
    fill(room, practical, 0.4, 0.5)
    assert "2 stations and 2 photos" in lead.get(f"{base(practical)}/purge").text
    assert "2</strong> photos" in lead.get(base(practical)).text
    lead.post(f"{base(practical)}/purge")
    assert "Nobody has joined yet" in lead.get(base(practical)).text
    assert [path for path in (tmp_path / "files").rglob("*") if path.is_file()] == []


# --- print


def boxes(pdf: bytes) -> list[tuple[float, float]]:
    """Sizes of the pages in millimetres."""
    found = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    return [(float(w) * 25.4 / 72, float(h) * 25.4 / 72) for w, h in found]


@pytest.mark.parametrize("cards", [0, 1, 3])
def test_handout_has_the_poster_and_so_many_cards(lead: FlaskClient, practical: PracticalInfo, cards: int) -> None:
    answer = lead.get(f"{base(practical)}/handout.pdf?cards={cards}")
    assert answer.content_type == "application/pdf"
    pages = boxes(answer.data)
    assert len(pages) == cards + 1
    for width, height in pages:
        assert (width, height) == (pytest.approx(210, abs=0.01), pytest.approx(297, abs=0.01))


@pytest.mark.parametrize("cards", ["61", "-1", "many", "1e3"])
def test_handout_declines_other_numbers(lead: FlaskClient, practical: PracticalInfo, cards: str) -> None:
    assert lead.get(f"{base(practical)}/handout.pdf", query_string={"cards": cards}).status_code == 400


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("paper", PAPERS_MM)
def test_stations_label_lies_where_the_card_is_white(layout: str, paper: str) -> None:
    card = card_layout(layout, paper)
    label = station_label(card, "Station 60")
    scale = 150 / 25.4
    left, height = label.x - text_width_mm(label), label.size_pt * 25.4 / 72
    rows = slice(int((label.y - 0.75 * height) * scale), int(label.y * scale))
    place = card_png_array(card, 150)[rows, int(left * scale) : int(label.x * scale)]
    assert place.size > 500
    assert place.min() == 255


def test_handout_without_an_address(lead: FlaskClient) -> None:
    assert len(boxes(handout_pdf("T" * 200, "ABCDEF", None, "tray", "letter", 1, "then"))) == 2


# --- cautions


@pytest.mark.parametrize(
    ("typed", "about"),
    [
        ("Acetone 1 : 9", "Propanone"),
        ("light petroleum : propanone", "Petroleum ether"),
        ("ETHANOL : water", "Ethanol and the like"),
        ("n-butanol", "Butan-1-ol"),
        ("butan-1-ol : acetic acid : water", "Ethanoic acid"),
        ("2 % ninhydrin spray", "Ninhydrin spray"),
        ("UV light at 254 nm", "Ultraviolet lamp"),
        ("phenol : water", "Phenol"),
        ("copper(II) and iron salts", "Metal salts"),
    ],
)
def test_cautions_of_what_is_named(typed: str, about: str) -> None:
    assert about in [one.about for one in cautions_for(typed)]


@pytest.mark.parametrize("typed", ["water", "methanol", "leading edge", "phenolphthalein in water"])
def test_cautions_are_not_given_for_likenesses(typed: str) -> None:
    found = {one.about for one in cautions_for(typed)}
    assert found - {"Methanol"} == {"Tank", "Laboratory"}


def test_every_caution_carries_its_mark() -> None:
    assert {one.source for one in cautions_for("propanone", "ninhydrin")} == {PRACTICE}
