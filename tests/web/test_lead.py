"""The lead: first passphrase, signing in, practicals, and that nobody else gets there."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.web.room import KEY, WORDS, Room
from webcapture.settings import DEFAULTS
from webcapture.store import practicals
from webcapture.web import WebConfig, create_app
from webcapture.web.greeting import Where, greeting
from webcapture.web.serving import _setup_key

BROWSER = {"Accept": "text/html"}
FORM = {
    "title": "Dyes of the market",
    "mobile_phase": "water : ethanol 4 : 1",
    "paper": "filter paper",
    "temperature_c": "21,5",
    "locating": "",
    "layout": "tray",
    "page": "letter",
    "notes": "Two drops each.",
    "keep_days": "14",
    "role_1": "sample",
    "label_1": "Mixture M",
    "role_3": "reference",
    "label_3": "Saffron yellow",
}


@pytest.fixture
def room(tmp_path: Path) -> Room:
    found = Room(tmp_path)
    found.set_passphrase()
    return found


def all_practicals(room: Room) -> list[str]:
    with room.store.database.reading() as session:
        return [one.plan.title for one in practicals.all_of_them(session)]


def files_in(folder: Path) -> list[Path]:
    """Photos and pictures on disk."""
    return [path for path in (folder / "files").rglob("*") if path.is_file()]


# --- the first passphrase


def test_first_passphrase_is_set_with_the_key_and_signs_in(tmp_path: Path) -> None:
    client = Room(tmp_path).app.test_client()
    assert b"terminal" in client.get("/lead/sign-in").data
    assert client.get(f"/lead/setup?key={KEY}").status_code == 200
    answer = client.post("/lead/setup", data={"key": KEY, "passphrase": WORDS, "again": WORDS})
    assert (answer.status_code, answer.location) == (303, "/lead")
    assert client.get("/lead", headers=BROWSER).status_code == 200


@pytest.mark.parametrize("key", ["", "another", "é", KEY[:-1]])
def test_without_the_key_there_is_no_setting_up(tmp_path: Path, key: str) -> None:
    room = Room(tmp_path)
    client = room.app.test_client()
    assert client.get("/lead/setup", query_string={"key": key}).status_code == 404
    answer = client.post("/lead/setup", data={"key": key, "passphrase": WORDS, "again": WORDS})
    assert answer.status_code == 404
    assert client.post("/lead/sign-in", data={"passphrase": WORDS}).status_code == 403


def test_key_is_good_for_one_passphrase_only(room: Room) -> None:
    client = room.app.test_client()
    words = {"key": KEY, "passphrase": "another passphrase", "again": "another passphrase"}
    answer = client.post("/lead/setup", data=words)
    assert answer.location == "/lead/sign-in"
    assert client.post("/lead/sign-in", data={"passphrase": "another passphrase"}).status_code == 403
    assert client.post("/lead/sign-in", data={"passphrase": WORDS}).status_code == 303


@pytest.mark.parametrize(
    ("words", "again", "said"),
    [
        ("x" * (DEFAULTS.room.passphrase_least - 1),) * 2 + ("At least 10 characters",),
        (WORDS, WORDS + "!", "not the same"),
    ],
)
def test_unfit_passphrases_are_declined(tmp_path: Path, words: str, again: str, said: str) -> None:
    client = Room(tmp_path).app.test_client()
    answer = client.post("/lead/setup", data={"key": KEY, "passphrase": words, "again": again})
    assert answer.status_code == 400
    assert said in answer.text
    assert words not in answer.text


def test_two_tools_have_different_keys() -> None:
    assert WebConfig().setup_key != WebConfig().setup_key
    assert len(WebConfig().setup_key) >= 16


def test_terminal_shows_the_link_until_there_is_a_passphrase(tmp_path: Path) -> None:
    config = WebConfig(data=tmp_path / "data")
    key = _setup_key(config)
    assert key == config.setup_key
    assert f"http://127.0.0.1:8000/lead/setup?key={key}" in greeting(Where("127.0.0.1", 8000, setup_key=key))
    client = create_app(config).test_client()
    client.post("/lead/setup", data={"key": key, "passphrase": WORDS, "again": WORDS})
    assert _setup_key(config) is None
    assert "setup" not in greeting(Where("127.0.0.1", 8000))
    assert _setup_key(WebConfig()) is None


# --- signing in


def sign_in(client: FlaskClient, words: str, aim: str = "") -> tuple[int, str | None]:
    answer = client.post("/lead/sign-in", data={"passphrase": words, "next": aim})
    return answer.status_code, answer.location


def test_sign_in_and_out(room: Room) -> None:
    client = room.app.test_client()
    assert sign_in(client, "wrong words here") == (403, None)
    assert sign_in(client, WORDS) == (303, "/lead")
    cookie = client.get_cookie("lead")
    assert cookie is not None
    assert client.get("/lead", headers=BROWSER).status_code == 200
    assert client.post("/lead/sign-out").location == "/lead/sign-in"
    assert client.get_cookie("lead") is None
    client.set_cookie("lead", cookie.value)  # kept by someone: it is forgotten at our side too
    assert client.get("/lead", headers=BROWSER).status_code == 302


def test_session_expires(room: Room) -> None:
    client = room.lead()
    assert client.get("/lead", headers=BROWSER).status_code == 200
    room.clock.at += timedelta(hours=DEFAULTS.room.session_hours, seconds=1)
    assert client.get("/lead", headers=BROWSER).status_code == 302


def test_guessing_is_stopped_over_all_devices(room: Room) -> None:
    for n in range(DEFAULTS.room.guesses):
        device = room.app.test_client()
        device.environ_base["REMOTE_ADDR"] = f"192.168.1.{n}"
        assert sign_in(device, "wrong")[0] == 403
    answer = room.app.test_client().post("/lead/sign-in", data={"passphrase": WORDS})
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "600"
    assert "Wait 10 minutes" in answer.text
    room.clock.at += timedelta(seconds=DEFAULTS.room.guess_window_s + 1)
    assert sign_in(room.app.test_client(), WORDS)[0] == 303


def test_sign_in_leads_back_to_the_page_that_was_asked_for(room: Room) -> None:
    practical = room.practical()
    client = room.app.test_client()
    answer = client.get(f"/lead/practicals/{practical.id}?x=1", headers=BROWSER)
    aim = re.search(r'name="next" value="([^"]*)"', client.get(answer.location).text)
    assert aim is not None
    assert sign_in(client, WORDS, aim[1]) == (303, f"/lead/practicals/{practical.id}?x=1")


@pytest.mark.parametrize(
    "aim",
    ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "/lead//x\r\nSet-Cookie: a=b",
     "/leader", "javascript:alert(1)", "/lead@elsewhere.example", "\\\\elsewhere.example", "/work"],
)  # fmt: skip
def test_sign_in_leads_nowhere_else(room: Room, aim: str) -> None:
    assert sign_in(room.app.test_client(), WORDS, aim) == (303, "/lead")


# --- nobody else


def lead_addresses(room: Room) -> list[tuple[str, str]]:
    """Every rule of the lead's side with its methods, filled with things that exist."""
    practical = room.practical()
    station, _ = room.station(practical, "Bench 9")
    fill = {"practical_id": practical.id, "station_id": station.id, "photo_id": room.measured(station, (0.4,))}
    found = []
    for rule in room.app.url_map.iter_rules():
        if rule.endpoint.split(".")[0] in {"lead", "room"} and rule.endpoint not in {"lead.setup", "lead.sign_in"}:
            with room.app.test_request_context():
                address = room.app.url_for(rule.endpoint, **{name: fill[name] for name in rule.arguments})
            found += [(method, address) for method in (rule.methods or set()) - {"OPTIONS", "HEAD"}]
    return found


@pytest.mark.parametrize("who", ["nobody", "station", "forged"])
def test_nobody_else_gets_to_the_leads_pages(room: Room, who: str) -> None:
    practical = room.practical("Another")
    _, token = room.station(practical, "Bench 1")
    client = room.station_client(token) if who == "station" else room.app.test_client()
    if who == "forged":
        client.set_cookie("lead", token)
    before = all_practicals(room)
    addresses = lead_addresses(room)
    assert len(addresses) > 18
    for method, address in addresses:
        answer = client.open(address, method=method, headers=BROWSER, data=FORM if method == "POST" else None)
        if method == "GET":
            assert (answer.status_code, (answer.location or "").split("?")[0]) == (302, "/lead/sign-in"), address
            refused = client.get(address, headers={"Accept": "application/json"})
            assert (refused.status_code, refused.json["error"]["code"]) == (403, "not-signed-in")
        else:
            assert answer.status_code == 403, address
    assert all_practicals(room) == ["Dyes of the market", *before]


def test_foreign_forms_are_refused(room: Room) -> None:
    practical = room.practical()
    answer = room.lead().post(
        f"/lead/practicals/{practical.id}/delete", headers={"Sec-Fetch-Site": "cross-site", **BROWSER}
    )
    assert answer.status_code == 403
    assert room.look(practical) is not None


def test_without_records_there_is_no_lead() -> None:
    client = create_app(WebConfig()).test_client()
    assert client.get("/lead/sign-in").status_code == 404
    assert "Join a practical" not in client.get("/").text


# --- practicals


def test_set_up_a_practical(room: Room) -> None:
    client = room.lead()
    answer = client.post("/lead/practicals/new", data=FORM)
    assert answer.status_code == 303
    with room.store.database.reading() as session:
        made = practicals.find(session, answer.location.rsplit("/", 1)[1])
    assert made is not None
    plan = made.plan
    assert (plan.title, plan.layout, plan.page, plan.keep_days) == ("Dyes of the market", "tray", "letter", 14)
    assert plan.method.temperature_c == 21.5
    assert [(lane.lane, lane.role, lane.label) for lane in plan.lanes] == [
        (1, "sample", "Mixture M"),
        (3, "reference", "Saffron yellow"),
    ]
    assert made.joinable(room.clock())


def test_defaults_need_only_a_mobile_phase(room: Room) -> None:
    client = room.lead()
    page = client.get("/lead/practicals/new").text
    fields = dict(re.findall(r'<input id="(\w+)"[^>]* value="([^"]*)"', page)) | {"layout": "sheet", "page": "a4"}
    fields["role_1"] = "sample"
    assert client.post("/lead/practicals/new", data=fields).status_code == 400
    assert client.post("/lead/practicals/new", data={**fields, "mobile_phase": "water"}).status_code == 303


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("title", "  ", "Give the practical a title"),
        ("title", "x" * 81, "Too long"),
        ("mobile_phase", "", "what the mobile phase is made of"),
        ("paper", "", "which paper"),
        ("temperature_c", "warm", "number of degrees"),
        ("temperature_c", "nan", "number of degrees"),
        ("temperature_c", "400", "number of degrees"),
        ("layout", "round", "Choose one of the list"),
        ("page", "a3", "Choose one of the list"),
        ("keep_days", "0", "whole number of days"),
        ("keep_days", "1.5", "whole number of days"),
        ("keep_days", "inf", "whole number of days"),
        ("role_1", "bait", "Choose one of the list"),
        ("label_1", "", "Name the sample"),
        ("label_3", "", "Name the reference"),
        ("label_2", "Stray", "Choose sample, reference or mixed spot"),
    ],
)
def test_wrong_fields_are_told_beside_them_and_nothing_typed_is_lost(
    room: Room, field: str, value: str, said: str
) -> None:
    answer = room.lead().post("/lead/practicals/new", data={**FORM, field: value})
    assert answer.status_code == 400
    where = "role_2" if field == "label_2" else field
    message = re.search(rf'id="{where}-wrong">(.*?)</p>', answer.text, re.DOTALL)
    assert message is not None
    assert said in message[1]
    for name, typed in FORM.items():
        if name != field and name not in {"layout", "page"} and not name.startswith("role"):
            assert typed in answer.text, name
    assert all_practicals(room) == []


def test_edit_keeps_code_and_stations(room: Room) -> None:
    client, practical = room.lead(), room.practical()
    page = client.get(f"/lead/practicals/{practical.id}/edit").text
    assert 'value="Saffron yellow"' in page
    assert 'value="21"' in page
    client.post(f"/lead/practicals/{practical.id}/edit", data={**FORM, "title": "Renamed"})
    changed = room.look(practical)
    assert changed is not None
    assert (changed.plan.title, changed.join_code) == ("Renamed", practical.join_code)


def test_list_shows_the_newest_first_and_copies(room: Room) -> None:
    client = room.lead()
    first, _ = room.practical("The older one"), room.practical("The newer one")
    page = client.get("/lead").text
    assert page.index("The newer one") < page.index("The older one")
    copy = client.get(f"/lead/practicals/new?copy={first.id}").text
    assert "The older one (copy)" in copy
    assert 'value="Mixture M"' in copy
    assert len(all_practicals(room)) == 2


def test_delete_asks_first(room: Room, tmp_path: Path) -> None:
    client, practical = room.lead(), room.practical()
    photo = room.measured(room.station(practical, "Bench 1")[0], (0.4,))
    assert "cannot be undone" in client.get(f"/lead/practicals/{practical.id}/delete").text
    assert room.look(practical) is not None
    assert len(files_in(tmp_path)) == 2
    client.post(f"/lead/practicals/{practical.id}/delete")
    assert room.look(practical) is None
    assert client.get(f"/results/{photo}").status_code == 404
    assert files_in(tmp_path) == []


def test_titles_are_shown_as_text(room: Room) -> None:
    client = room.lead()
    room.practical("<script>alert(1)</script>")
    page = client.get("/lead").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_cautions_follow_what_is_chosen(room: Room) -> None:
    client = room.lead()
    typed = {**FORM, "mobile_phase": "Butan-1-ol : ethanoic acid : water 12 : 3 : 5", "locating": "ninhydrin"}
    page = client.post("/lead/practicals/new", data={**typed, "show": "1", "title": ""}).text
    for about in ("Butan-1-ol", "Ethanoic acid", "Ninhydrin spray", "Tank"):
        assert f"<strong>{about}.</strong>" in page
    assert "<strong>Propanone.</strong>" not in page
    assert "local risk assessment" in page
    assert 'value="ninhydrin"' in page
    assert all_practicals(room) == []
