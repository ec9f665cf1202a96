"""What other people's programs build on: the package's face, its errors, and the shape of its JSON.

Checked on a photo of the demonstration, so with the whole measurement behind it. The shapes are the project's own contract.
"""

from __future__ import annotations

import inspect
import io
import json
import math
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from PIL import Image

import webcapture
from webcapture import synthetic
from webcapture.card.layout import LAYOUTS, PAPERS_MM
from webcapture.cli import main
from webcapture.errors import ALL_ERRORS
from webcapture.flags import REGISTRY
from webcapture.model import PhotoResult
from webcapture.report.export import schema
from webcapture.synthetic.adverse import ADVERSE
from webcapture.synthetic.scenes import demo

ROOT = Path(__file__).parent.parent

RESULT: dict[str, Any] = {
    "photo": "name.jpg",
    "card": {"layout": "sheet", "paper": "a4", "residual_mm": 0.04, "tilt_deg": 7.1, "px_per_mm": 12.8},
    "strips": [
        {
            "bay": 1,
            "corners_mm": [[0, 0], [0, 0], [0, 0], [0, 0]],
            "lanes": [
                {
                    "lane": 1,
                    "origin_mm": [51.2, 230.4],
                    "front_mm": [51.0, 140.2],
                    "run_mm": 90.2,
                    "spots": [
                        {
                            "spot": 1,
                            "position_mm": [51.1, 190.0],
                            "densest_mm": [51.1, 189.8],
                            "distance_mm": 40.4,
                            "width_mm": 5.1,
                            "rf": 0.448,
                            "u_rf": 0.0021,
                            "U_rf": 0.0042,
                            "colour": "#b04a5a",
                            "flags": [],
                        }
                    ],
                    "flags": [],
                }
            ],
            "flags": [],
        }
    ],
    "flags": [],
    "error": None,
}
"""The object that others read, as promised to them; more may stand beside, nothing may be missing."""

GEOMETRY: dict[str, Any] = {
    "layout": "sheet",
    "paper": "a4",
    "version": 1,
    "page_mm": [210.0, 297.0],
    "bays": [{"bay": 1, "x_mm": 30.0, "y_mm": 40.0, "width_mm": 150.0, "height_mm": 220.0}],
}


def missing(promised: Any, given: Any, where: str = "") -> list[str]:
    """Where what is given lacks something promised, or has it in another type."""
    if isinstance(promised, dict):
        if not isinstance(given, dict):
            return [f"{where} is {given!r}"]
        lacking = [f"{where}.{name} is missing" for name in promised if name not in given]
        inside = (missing(promised[name], given[name], f"{where}.{name}") for name in promised if name in given)
        return lacking + [words for found in inside for words in found]
    if isinstance(promised, list):
        if not isinstance(given, list):
            return [f"{where} is {given!r}"]
        inside = (missing(promised[0], one, f"{where}[]") for one in given if promised)
        return [words for found in inside for words in found]
    kinds = (int, float) if isinstance(promised, int | float) else type(promised)
    return [] if isinstance(given, kinds) else [f"{where} is {given!r}"]


@pytest.fixture(scope="module")
def photographed() -> tuple[bytes, synthetic.Truth]:
    """The demonstration's strip of one vat: the file, and what is known of it."""
    photo = synthetic.render(dict(demo())["vat-strip"])
    return photo.data, photo.truth


@pytest.fixture(scope="module")
def result(photographed: tuple[bytes, synthetic.Truth]) -> PhotoResult:
    return webcapture.measure_photo(photographed[0])


@pytest.fixture(scope="module")
def entry(result: PhotoResult) -> dict[str, Any]:
    return webcapture.as_dict(result)


class TestWhatIsShown:
    def test_every_strip_has_a_picture_of_its_place(self, result: PhotoResult) -> None:
        """The strip's four corners lie inside it, and the card around it is darker than the paper."""
        assert len(result.pictures) == len(result.strips) == 1
        (shown,), (strip,) = result.pictures, result.strips
        to_picture = np.linalg.inv(np.vstack([shown.to_card, [0, 0, 1]]))[:2]
        corners = np.array(strip.corners_mm) @ to_picture[:, :2].T + to_picture[:, 2]
        rows, cols = shown.pixels.shape[:2]
        assert (corners > 10).all()
        assert (corners < (cols - 10, rows - 10)).all()
        low, high = np.ceil(corners.min(axis=0)).astype(int), corners.max(axis=0).astype(int)
        paper = shown.pixels[low[1] : high[1], low[0] : high[0]]
        assert np.median(paper) > 1.3 * np.median(shown.pixels[:8])

    def test_the_page_is_pictured_on_request(self, photographed: tuple[bytes, synthetic.Truth]) -> None:
        assert webcapture.measure_photo(photographed[0]).page is None
        page = webcapture.measure_photo(photographed[0], with_page=True).page
        assert page is not None
        assert page.pixels.shape == (1485, 1050, 3)

    def test_a_card_without_a_strip_is_shown_whole(self) -> None:
        empty = webcapture.measure_photo(synthetic.render(ADVERSE["an empty card"](1)).data)
        assert not empty.strips
        assert empty.page is not None
        assert Image.open(io.BytesIO(webcapture.annotated_jpeg(empty))).height > 1000


class TestTheFace:
    def test_these_names_and_no_others(self) -> None:
        names = ["WebcaptureError", "__version__", "annotated_jpeg", "as_dict", "measure_photo"]
        assert webcapture.__all__ == names
        assert all(getattr(webcapture, name) is not None for name in names)

    @pytest.mark.parametrize(
        ("name", "arguments", "returns"),
        [
            ("measure_photo", {"data": "bytes"}, "PhotoResult"),
            ("as_dict", {"result": "PhotoResult"}, "Json"),
            ("annotated_jpeg", {"result": "PhotoResult"}, "bytes"),
        ],
    )
    def test_functions_need_only_what_was_promised(self, name: str, arguments: dict[str, str], returns: str) -> None:
        signature = inspect.signature(getattr(webcapture, name))
        needed = {n: p.annotation for n, p in signature.parameters.items() if p.default is p.empty}
        assert (needed, signature.return_annotation) == (arguments, returns)

    def test_a_name_that_is_not_there(self) -> None:
        with pytest.raises(AttributeError, match="measure_photos"):
            webcapture.measure_photos  # noqa: B018

    def test_importing_it_loads_no_library(self) -> None:
        program = "import sys, webcapture; print({m.split('.')[0] for m in sys.modules} - {*sys.stdlib_module_names})"
        done = subprocess.run(
            [sys.executable, "-S", "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
        )
        assert {*re.findall(r"'(\w+)'", done.stdout)} <= {"webcapture", "__main__"}

    def test_the_version_reads_as_one(self) -> None:
        assert re.fullmatch(r"\d+\.\d+\.\d+", webcapture.__version__)


class TestTheResult:
    def test_holds_all_that_was_promised(self, entry: dict[str, Any]) -> None:
        assert missing(RESULT, entry) == []

    def test_fits_its_schema(self, entry: dict[str, Any]) -> None:
        jsonschema.Draft202012Validator.check_schema(schema())
        jsonschema.Draft202012Validator(schema()).validate([entry])

    def test_is_plain_json(self, entry: dict[str, Any]) -> None:
        assert json.loads(json.dumps(entry, allow_nan=False)) == entry

    def test_the_numbers_belong_together(self, entry: dict[str, Any]) -> None:
        lane = entry["strips"][0]["lanes"][0]
        assert math.dist(lane["origin_mm"], lane["front_mm"]) == pytest.approx(lane["run_mm"], abs=0.01)
        assert len(lane["spots"]) == 4
        for spot in lane["spots"]:
            assert spot["rf"] == pytest.approx(spot["distance_mm"] / lane["run_mm"], abs=2e-4)
            assert spot["U_rf"] == pytest.approx(2 * spot["u_rf"], abs=2e-5), "k = 2"
            assert spot["hrf"] == pytest.approx(100 * spot["rf"], abs=0.01), "IUPAC Gold Book R05353"
            parts = [c["u_mm"] * c["sensitivity_per_mm"] for c in spot["budget"]]
            # JCGM 100:2008, 5.1.2: root of the sum of squares; what is printed is rounded.
            assert math.hypot(*parts) == pytest.approx(spot["u_rf"], rel=0.02)

    def test_numbers_and_places_are_those_of_the_card(
        self, entry: dict[str, Any], photographed: tuple[bytes, synthetic.Truth]
    ) -> None:
        strip = photographed[1].strips[0]
        drawn, lane = strip.lanes[0], entry["strips"][0]["lanes"][0]
        for point, true in zip(entry["strips"][0]["corners_mm"], strip.corners_mm, strict=True):
            assert math.dist(point, true) < 1.0
        for spot, truth in zip(lane["spots"], drawn.spots, strict=True):
            assert math.dist(spot["position_mm"], truth.position_mm) < 0.5
            assert truth.rf is not None and abs(spot["rf"] - truth.rf) <= 0.004, "the aim for typical photos"

    def test_the_card_is_seen_as_the_camera_saw_it(
        self, entry: dict[str, Any], photographed: tuple[bytes, synthetic.Truth]
    ) -> None:
        """In the file's own pixels, at whatever scale it was decoded."""
        truth = photographed[1]
        assert entry["card"]["px_per_mm"] == pytest.approx(truth.px_per_mm, rel=0.01)
        assert entry["card"]["tilt_deg"] == pytest.approx(truth.tilt_deg, abs=1.0)

    def test_as_a_picture(self, result: PhotoResult) -> None:
        picture = Image.open(io.BytesIO(webcapture.annotated_jpeg(result)))
        picture.load()
        assert picture.format == "JPEG" and min(picture.size) > 300

    def test_the_comparison_would_find_a_fault(self, entry: dict[str, Any]) -> None:
        spoilt = json.loads(json.dumps(entry))
        del spoilt["card"]["tilt_deg"]
        spoilt["strips"][0]["lanes"][0]["spots"][0]["rf"] = "0.45"
        assert len(missing(RESULT, spoilt)) == 2


class TestErrors:
    """Each a WebcaptureError with a code for programs and words for people."""

    @pytest.mark.parametrize(
        ("data", "code"),
        [
            (b"", "not-an-image"),
            (b"not a photo", "not-an-image"),
            (b"GIF89a" + bytes(100), "not-an-image"),
            (b"\xff\xd8\xff\xe0", "truncated"),
            ("white", "no-card"),
            ("cut", "truncated"),
        ],
    )
    def test_what_cannot_be_measured(
        self, data: bytes | str, code: str, photographed: tuple[bytes, synthetic.Truth]
    ) -> None:
        if data == "white":
            out = io.BytesIO()
            Image.new("RGB", (1600, 1200), "white").save(out, "JPEG")
            data = out.getvalue()
        elif data == "cut":
            data = photographed[0][: len(photographed[0]) // 2]
        with pytest.raises(webcapture.WebcaptureError) as refusal:
            webcapture.measure_photo(data)  # type: ignore[arg-type]
        error = refusal.value
        assert error.code == code
        assert error.message.endswith(".") and error.hint.endswith(".")
        assert str(error) == error.message

    def test_one_class_to_catch_them_all(self) -> None:
        assert all(issubclass(error, webcapture.WebcaptureError) for error in ALL_ERRORS)

    def test_codes_are_alike_in_form(self) -> None:
        codes = [*(e.code for e in ALL_ERRORS), *REGISTRY]
        assert [code for code in codes if not re.fullmatch(r"[a-z]+(-[a-z]+)*", code)] == []


class TestTheCard:
    @pytest.mark.parametrize("layout", LAYOUTS)
    @pytest.mark.parametrize("paper", PAPERS_MM)
    def test_its_geometry_is_as_promised(self, layout: str, paper: str, tmp_path: Path) -> None:
        card, file = tmp_path / "card.pdf", tmp_path / "card.json"
        arguments = ["--layout", layout, "--paper", paper, "--out", str(card), "--geometry", str(file)]
        assert main(["card", *arguments]) == 0
        geometry = json.loads(file.read_text())
        assert missing(GEOMETRY, geometry) == []
        assert (geometry["layout"], geometry["paper"]) == (layout, paper)
        assert geometry["page_mm"] == {"a4": [210.0, 297.0], "letter": [215.9, 279.4]}[paper]
        least = {"a4": 215, "letter": 200}[paper]
        wide, count = {"sheet": (145, 1), "tray": (22, 6)}[layout]
        bays = geometry["bays"]
        assert len(bays) >= count and [bay["bay"] for bay in bays] == list(range(1, len(bays) + 1))
        assert all(bay["width_mm"] >= wide and bay["height_mm"] >= least for bay in bays)


def test_the_example_of_the_readme_runs(
    photographed: tuple[bytes, synthetic.Truth],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    example = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)
    assert example
    (tmp_path / "demo-out").mkdir()
    (tmp_path / "demo-out" / "vat-strip.jpg").write_bytes(photographed[0])
    monkeypatch.chdir(tmp_path)
    exec(compile(example[1], "README.md", "exec"), {})
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 4 and all(
        re.fullmatch(r"bay 1, lane 1, spot \d: Rf 0\.\d{3} ± 0\.\d{3}", line) for line in lines
    )
    assert Image.open("annotated.jpg").format == "JPEG"


def test_a_photo_on_the_command_line(
    photographed: tuple[bytes, synthetic.Truth],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    entry: dict[str, Any],
) -> None:
    photo = tmp_path / "strip.jpg"
    photo.write_bytes(photographed[0])
    assert main(["measure", str(photo), "--json", "-", "--annotated", str(tmp_path / "pictures")]) == 0
    out, err = capsys.readouterr()
    (shown,) = json.loads(out)
    assert err == "" and missing(RESULT, shown) == []
    assert shown["photo"] == "strip.jpg" and shown["strips"] == entry["strips"]
    assert len(list((tmp_path / "pictures").iterdir())) == 1
