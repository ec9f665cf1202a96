"""Pages and JSON as a client without scripts sees them."""

from __future__ import annotations

import html
import io
import re
import threading

import jsonschema
import pytest
from flask.testing import FlaskClient

from tests.web.conftest import Bench, annotated, entry, jpeg, lane, spot
from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.card.printing import card_pdf
from webcapture.errors import ALL_ERRORS
from webcapture.flags import REGISTRY
from webcapture.report.export import schema
from webcapture.report.wording import hrf_text
from webcapture.settings import DEFAULTS, Settings, WebSettings
from webcapture.web import WebConfig, create_app
from webcapture.web.contexts import mm_text, photo_view, rf_text
from webcapture.web.errors import REQUEST_ERRORS, TROUBLES
from webcapture.web.measuring import Desk, Outcome, Shelf, Shown


def send(client: FlaskClient, address: str, *names: str, **options: object) -> object:
    return client.post(address, data={"photo": [(io.BytesIO(jpeg()), name) for name in names]}, **options)


def text_of(page: str) -> str:
    """A page's words, tags and runs of space removed."""
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)))


def test_start_page_offers_both_ways_to_a_photo(client: FlaskClient) -> None:
    page = client.get("/").text
    inputs = re.findall(r'<input [^>]*type="file"[^>]*>', page)
    assert len(inputs) == 2
    assert sum('capture="environment"' in one for one in inputs) == 1
    assert sum("multiple" in one for one in inputs) == 1
    assert all('accept="image/jpeg,image/png,image/webp"' in one for one in inputs)


def test_start_page_shows_the_usual_cautions_and_defers_to_local_rules(client: FlaskClient) -> None:
    words = text_of(client.get("/").text)
    assert "catch fire easily" in words
    assert "Your local rules and the person in charge of the laboratory decide" in words


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("paper", PAPERS_MM)
def test_every_card_can_be_downloaded(client: FlaskClient, layout: str, paper: str) -> None:
    address = f"/card/{layout}-{paper}.pdf"
    assert address in client.get("/").text
    answer = client.get(address)
    assert answer.data == card_pdf(card_layout(layout, paper))
    assert answer.content_type == "application/pdf"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="card-{layout}-{paper}.pdf"'


def test_start_page_says_how_to_print(client: FlaskClient) -> None:
    words = text_of(client.get("/").text)
    assert "at 100 %" in words
    assert "not “fit to page”" in words
    assert "its 100 mm must be 100 mm" in words


@pytest.mark.parametrize("address", ["/card/sheet-a3.pdf", "/card/box-a4.pdf", "/card/sheet-a4.png", "/nothing"])
def test_unknown_addresses_say_so_and_what_to_do(client: FlaskClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 404
    assert TROUBLES[404].message in answer.text
    assert TROUBLES[404].hint in answer.text


def test_result_page_shows_numbers_flags_and_advice(client: FlaskClient) -> None:
    words = text_of(send(client, "/measure", "strip 1.jpg").text)
    for shown in ("strip 1.jpg", "4 spots on 1 strip", "0.45 ± 0.01", "0.97 ± 0.04", "#2f7fa0", "40.4", "5.1"):
        assert shown in words
    for code in ("glare", "front-slanted", "faint", "near-front"):
        assert REGISTRY[code].text in words
        assert REGISTRY[code].advice in words
    assert "Spot 1.2, spot 2.2: This spot is faint." in words


def test_result_page_links_the_annotated_picture(client: FlaskClient) -> None:
    page = send(client, "/measure", "strip 1.jpg").text
    link = re.search(r'<a href="(/pictures/[^"]+)"', page)
    assert link
    answer = client.get(link[1])
    assert answer.data == annotated()
    assert answer.content_type == "image/jpeg"


def test_results_of_several_photos_stand_in_the_order_given(client: FlaskClient) -> None:
    page = send(client, "/measure", "b.jpg", "no-card.jpg", "a.jpg").text
    assert re.findall(r"<article[^>]*>\s*<h2>(.+?)</h2>", page) == ["b.jpg", "no-card.jpg", "a.jpg"]


def test_no_front_shows_no_rf(client: FlaskClient) -> None:
    page = send(client, "/measure", "no-front.jpg").text
    row = re.search(r"<tbody>(.*?)</tbody>", page, re.S)
    assert row
    assert "–" in row[1]
    assert "not known" in row[1]
    assert "±" not in row[1]
    assert "40.4" in row[1]
    assert REGISTRY["front-missing"].advice in page


@pytest.mark.parametrize("error", ALL_ERRORS)
def test_every_error_shows_what_was_seen_and_what_to_do(client: FlaskClient, error: type) -> None:
    page = html.unescape(send(client, "/measure", f"{error.code}.jpg").text)
    assert f"Seen: {error.code}." in page
    assert f'data-code="{error.code}"' in page
    assert "/pictures/" not in page
    if error.default_hint:
        assert error.default_hint in page


def test_part_is_the_article_alone(client: FlaskClient) -> None:
    part = send(client, "/measure", "strip.jpg", headers={"X-Part": "result"}).text
    assert part.count("<article") == 1
    assert "<html" not in part
    assert 'data-summary="strip.jpg: 4 spots on 1 strip."' in part


def test_empty_form_says_to_choose_a_photo(client: FlaskClient) -> None:
    for answer in (client.post("/measure"), client.post("/measure", data={"photo": (io.BytesIO(b""), "")})):
        assert answer.status_code == 400
        assert "No photo was chosen." in answer.text
        assert "Take a photo or choose one" in answer.text


def test_empty_file_is_given_to_the_measurement(client: FlaskClient, bench: Bench) -> None:
    client.post("/measure", data={"photo": (io.BytesIO(b""), "empty.jpg")})
    assert bench.seen == [("empty.jpg", 0)]


def test_reload_of_a_result_leads_to_the_start(client: FlaskClient) -> None:
    answer = client.get("/measure")
    assert answer.status_code == 303
    assert client.get("/measure", follow_redirects=True).request.path == "/"


def test_examples_are_offered_shown_and_measured(client: FlaskClient, bench: Bench) -> None:
    page = client.get("/").text
    assert "Leaf dyes" in page
    assert "notes" not in page
    assert client.get("/examples/leaf-dyes.jpg").data == jpeg()
    small = client.get("/examples/leaf-dyes.jpg/small.jpg")
    assert small.content_type == "image/jpeg"
    assert 0 < len(small.data) < len(jpeg())
    assert "4 spots" in client.post("/measure", data={"example": "leaf-dyes.jpg"}).text
    assert bench.seen == [("leaf-dyes.jpg", len(jpeg()))]


def test_without_examples_none_are_offered(bench: Bench) -> None:
    assert "example" not in create_app(WebConfig(measure=bench)).test_client().get("/").text.lower()


def test_json_is_the_contract_with_a_link_to_the_picture(client: FlaskClient) -> None:
    answer = send(client, "/api/measure", "one.jpg", "too-dark.jpg")
    assert answer.status_code == 200
    first, second = answer.json
    assert client.get(first.pop("picture")).data == annotated()
    assert second.pop("picture") is None
    lane_1 = lane(1, spot(1, 0.2781, 0.0019), spot(2, 0.448, 0.0021, "#2f7fa0", "faint"))
    assert first["strips"][0]["lanes"][0] == lane_1
    assert second["error"]["code"] == "too-dark"
    assert second["strips"] == []


def test_json_of_a_refused_photo_fits_the_shipped_schema(client: FlaskClient) -> None:
    found = send(client, "/api/measure", "no-card.jpg").json
    assert found[0].pop("picture") is None
    jsonschema.validate(found, schema())


@pytest.mark.parametrize(
    ("method", "address", "options", "status", "code"),
    [
        ("GET", "/api/measure", {}, 405, "method-not-allowed"),
        ("GET", "/api/nothing", {}, 404, "not-found"),
        ("POST", "/api/measure", {"data": b"\xff\xd8", "content_type": "image/jpeg"}, 415, "unsupported-type"),
        ("POST", "/api/measure", {"json": {"photo": "x"}}, 415, "unsupported-type"),
        ("POST", "/api/measure", {"data": {"other": "x"}, "content_type": "multipart/form-data"}, 400, "no-photo"),
        ("POST", "/api/measure", {"data": b"rubbish", "content_type": "multipart/form-data; boundary=x"}, 400, None),
        ("POST", "/api/measure", {"data": b"rubbish", "content_type": "multipart/form-data"}, 400, None),
        ("DELETE", "/", {"headers": {"Accept": "application/json"}}, 405, "method-not-allowed"),
    ],
)
def test_programs_get_code_message_and_hint(
    client: FlaskClient, method: str, address: str, options: dict[str, object], status: int, code: str | None
) -> None:
    answer = client.open(address, method=method, **options)
    assert answer.status_code == status
    assert set(answer.json["error"]) == {"code", "message", "hint"}
    assert all(answer.json["error"].values())
    if code:
        assert answer.json["error"]["code"] == code


def test_wrong_method_names_the_right_ones(client: FlaskClient) -> None:
    assert "POST" in client.get("/api/measure").headers["Allow"]


def test_every_code_of_a_request_is_unlike_the_others() -> None:
    codes = [t.code for t in TROUBLES.values()] + [e.code for e in REQUEST_ERRORS]
    assert len(codes) == len(set(codes))


def test_static_address_changes_with_the_content_and_may_be_kept(client: FlaskClient) -> None:
    page = client.get("/").text
    found = re.findall(r'"(/static/(\w{16})/[^"]+)"', page)
    assert {address.rsplit(".", 1)[1] for address, _ in found} == {"css", "js", "svg"}
    for address, version in found:
        answer = client.get(address)
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == f"public, max-age={DEFAULTS.web.static_age_s}, immutable"
        assert client.get(address.replace(version, "0" * 16)).status_code == 404


def test_scripts_find_the_neighbours_they_import(client: FlaskClient) -> None:
    main = re.search(r'src="(/static/\w+/js/)main\.js"', client.get("/").text)
    assert main
    imports = re.findall(r'from "\./([^"]+)"', client.get(main[1] + "main.js").text)
    assert imports
    assert all(client.get(main[1] + name).content_type.startswith("text/javascript") for name in imports)


@pytest.mark.parametrize(
    ("rf", "expanded", "shown"),
    [
        (0.448, 0.0042, "0.45 ± 0.01"),
        (0.5, 0.01, "0.50 ± 0.01"),
        (0.5, 0.0101, "0.50 ± 0.02"),
        (1.0, 0.1, "1.00 ± 0.10"),
    ],
)
def test_rounding_never_claims_more_than_was_measured(rf: float, expanded: float, shown: str) -> None:
    """JCGM 100:2008, 7.2.6: an uncertainty may be rounded up rather than to the nearest digit."""
    assert rf_text(rf, expanded) == shown


def test_numbers_for_people() -> None:
    assert (hrf_text(0.448), hrf_text(None)) == ("45", "")
    assert (mm_text(40.44), mm_text(None)) == ("40.4", "")


def test_single_lane_needs_no_lane_number() -> None:
    view = photo_view(
        Shown(entry("one.jpg", lane(1, spot(1, 0.3, 0.002), spot(2, 0.5, 0.002, "#2f7fa0", "tailing"))), None)
    )
    assert [row.label for row in view.groups[0].rows] == ["1", "2"]
    assert view.strip_notes[0].places == ("spot 2",)


def test_several_strips_share_a_table_and_say_their_bay() -> None:
    two = entry("two.jpg", lane(1, spot(1, 0.3, 0.002)), strip_flags=("strip-bent",))
    second = entry("", lane(1, spot(1, 0.5, 0.002, "#2f7fa0", "tailing")), lane(2, flags=("no-spots",)))["strips"][0]
    two["strips"].append({**second, "bay": 4})
    view = photo_view(Shown(two, None))
    assert [(group.title, [row.label for row in group.rows]) for group in view.groups] == [
        ("Bay 1", ["1"]),
        ("Bay 4", ["1.1"]),
    ]
    assert [note.places for note in view.strip_notes] == [("bay 1",), ("bay 4 lane 2",), ("bay 4 spot 1.1",)]
    assert view.summary == "2 spots on 2 strips."


def test_shelf_keeps_the_last_pictures_only() -> None:
    shelf = Shelf(most=2, most_bytes=100)
    tokens = [shelf.put(bytes([n]) * 10) for n in range(3)]
    assert [shelf.get(token) for token in tokens] == [None, b"\x01" * 10, b"\x02" * 10]
    large = shelf.put(b"x" * 95)
    assert shelf.get(tokens[2]) is None
    assert shelf.get(large) == b"x" * 95


def test_so_many_photos_are_measured_at_once_and_no_more() -> None:
    limit, most, running, lock = 2, 0, 0, threading.Lock()

    def slow(data: bytes, name: str) -> Outcome:
        nonlocal most, running
        with lock:
            running += 1
            most = max(most, running)
        threading.Event().wait(0.02)
        with lock:
            running -= 1
        return Outcome(entry(name), None)

    desk = Desk(slow, WebSettings(measuring_at_once=limit))
    threads = [threading.Thread(target=desk.take, args=(io.BytesIO(b"x"), "x.jpg")) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == limit


def test_who_waits_too_long_is_told(bench: Bench) -> None:
    bench.hold = threading.Event()
    web = WebSettings(measuring_at_once=1, wait_s=0.05)
    app = create_app(WebConfig(Settings(web=web), measure=bench))
    first = threading.Thread(target=lambda: send(app.test_client(), "/measure", "first.jpg"))
    first.start()
    while not bench.seen:
        threading.Event().wait(0.005)
    answer = send(app.test_client(), "/api/measure", "second.jpg")
    bench.hold.set()
    first.join()
    assert answer.status_code == 503
    assert answer.json["error"]["code"] == "busy"
    assert "Retry-After" in answer.headers
    assert send(app.test_client(), "/api/measure", "third.jpg").status_code == 200
