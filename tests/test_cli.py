"""The command line as other people's scripts rely on it: outputs, exit status, plain words, nothing overwritten."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from PIL import Image

import webcapture
from tests.report.factory import StripSpec, full_tray, make_result
from webcapture.card.layout import card_layout
from webcapture.card.printing import card_pdf
from webcapture.cli import annotated_names, main
from webcapture.errors import NoCard, OutOfFocus
from webcapture.model import PhotoResult
from webcapture.report.export import schema

ROOT = Path(__file__).parent.parent


def run(*arguments: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """The command as a user types it, in a process of its own."""
    command = [sys.executable, "-m", "webcapture", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, check=False, **options)


def fake_measure(data: bytes, name: str = "") -> PhotoResult:
    """Measures by the first word of the file: what it says is what is seen."""
    if data.startswith(b"no card"):
        raise NoCard("No calibration card was found in the photo.")
    if data.startswith(b"blurred"):
        raise OutOfFocus("The picture is too blurred.")
    if data.startswith(b"fault"):
        raise ZeroDivisionError("division by zero")
    specs = full_tray() if data.startswith(b"tray") else (StripSpec(),)
    return make_result(*specs, layout="tray" if len(specs) > 1 else "sheet", photo=name)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of photos, measured by a stand-in; the folder is the current one."""
    monkeypatch.setattr(webcapture, "measure_photo", fake_measure, raising=False)
    monkeypatch.chdir(tmp_path)
    for name, content in {
        "good.jpg": b"strip", "tray.jpg": b"tray", "bare.jpg": b"no card", "soft.jpg": b"blurred", "odd.jpg": b"fault",
    }.items():  # fmt: skip
        (tmp_path / name).write_bytes(content)
    return tmp_path


def measured_json(
    arguments: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> tuple[int, list[dict[str, Any]], str]:
    status = main(["measure", *arguments, "--json", "-"])
    out, err = capsys.readouterr()
    entries = json.loads(out)
    jsonschema.Draft202012Validator(schema()).validate(entries)
    return status, entries, err


class TestMeasure:
    def test_json_alone_on_standard_output(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["good.jpg"], capsys)
        assert status == 0 and err == ""
        assert [entry["photo"] for entry in entries] == ["good.jpg"]
        assert entries[0]["strips"][0]["lanes"][0]["spots"][0]["rf"] == 0.25

    def test_order_progress_and_status_of_many(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["tray.jpg", "bare.jpg", "good.jpg", "soft.jpg"], capsys)
        assert status == 1
        assert [entry["photo"] for entry in entries] == ["tray.jpg", "bare.jpg", "good.jpg", "soft.jpg"]
        codes = [entry["error"] and entry["error"]["code"] for entry in entries]
        assert codes == [None, "no-card", None, "out-of-focus"]
        assert len(entries[0]["strips"]) == 6
        lines = err.splitlines()
        assert lines[0] == "[1/4] tray.jpg: 6 strips, 18 spots"
        assert lines[1].startswith("bare.jpg: No calibration card was found") and "Lay the strip" in lines[1]
        assert lines[2] == "[3/4] good.jpg: 1 strip, 3 spots"

    def test_a_fault_costs_only_its_own_photo(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["odd.jpg", "good.jpg"], capsys)
        assert status == 1
        assert entries[0]["error"]["code"] == "unexpected" and "ZeroDivisionError" in entries[0]["error"]["message"]
        assert entries[1]["error"] is None
        assert "Traceback" not in err

    def test_what_is_no_readable_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (bench / "folder").mkdir()
        (bench / "loop.jpg").symlink_to("loop.jpg")
        status, entries, err = measured_json(["nowhere.jpg", "folder", "loop.jpg", "good.jpg"], capsys)
        assert status == 1
        assert [entry["error"] and entry["error"]["code"] for entry in entries] == ["unreadable"] * 3 + [None]
        assert "There is no file “nowhere.jpg”" in err and "folder, not a photo" in err and "Traceback" not in err

    def test_a_file_without_leave_to_read(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def refused(self: Path) -> bytes:
            raise PermissionError(13, "Permission denied", str(self))

        monkeypatch.setattr(Path, "read_bytes", refused)  # root, who may read everything, runs tests too
        status, entries, err = measured_json(["good.jpg"], capsys)
        assert status == 1 and entries[0]["error"]["code"] == "unreadable"
        assert "cannot be read (permission denied)" in err

    def test_table_for_people(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "tray.jpg", "bare.jpg"]) == 1
        out, _ = capsys.readouterr()
        rows = [line.split() for line in out.splitlines()]
        assert ["1", "1", "2", "54.3", "mm", "90.5", "mm", "0.60", "0.01", "60", "#3f6fb0"] in rows
        assert ["3", "1", "1", "22.5", "mm", "–", "–", "–", "–", "#b04a5a"] in rows, "no front, no Rf"
        assert ["4", "1", "none", "90.0", "mm", "no-spots"] in rows
        assert out.count("front-missing (bay 3): No solvent front was seen.") == 1
        assert "did-not-move (bay 2, spot 1)" in out
        assert "No calibration card was found in the photo." in out

    def test_json_into_a_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--json", "result.json"]) == 0
        assert capsys.readouterr().out == ""
        assert json.loads((bench / "result.json").read_text())[0]["photo"] == "good.jpg"

    @pytest.mark.parametrize("name", ["good.jpg", "./GOOD.jpg"])
    def test_json_never_goes_over_a_photo(self, bench: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "tray.jpg", "good.jpg", "--json", name]) == 2
        assert "over the photo" in capsys.readouterr().err
        assert (bench / "good.jpg").read_bytes() == b"strip"

    def test_relative_to_a_spot(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _, entries, _ = measured_json(["good.jpg", "--relative-to", "1.1.2"], capsys)
        spots = entries[0]["strips"][0]["lanes"][0]["spots"]
        assert [spot["r_rel"] for spot in spots] == pytest.approx([0.25 / 0.6, 1.0, 0.82 / 0.6], abs=5e-5)

    @pytest.mark.parametrize("place", ["1.1", "1.1.0", "a.b.c", "1.1.-2", ""])
    def test_relative_to_nonsense(self, bench: Path, place: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--relative-to", place]) == 2
        assert "bay.lane.spot" in capsys.readouterr().err

    def test_names_that_no_terminal_can_show(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        name = os.fsdecode(b"caf\xe9.jpg")
        (bench / name).write_bytes(b"strip")
        status, entries, _ = measured_json([name], capsys)
        assert status == 0 and entries[0]["photo"] == name


class TestAnnotatedPictures:
    def test_one_a_photo_that_was_measured(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _, entries, _ = measured_json(["good.jpg", "bare.jpg", "tray.jpg", "--annotated", "new/pictures"], capsys)
        files = sorted((bench / "new/pictures").iterdir())
        assert [file.name for file in files] == ["good-annotated.jpg", "tray-annotated.jpg"]
        assert all(Image.open(file).format == "JPEG" for file in files)
        assert [entry["annotated"] for entry in entries] == [
            "new/pictures/good-annotated.jpg", None, "new/pictures/tray-annotated.jpg",
        ]  # fmt: skip

    def test_photos_of_one_name_do_not_overwrite_each_other(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        photos = []
        for folder in ("a", "b", "B2"):
            (bench / folder).mkdir()
            for ending in ("jpg", "JPG", "png"):
                photos.append(f"{folder}/good.{ending}")
                (bench / photos[-1]).write_bytes(b"strip")
        _, entries, _ = measured_json([*photos, "--annotated", "out"], capsys)
        names = [entry["annotated"].lower() for entry in entries]
        assert len(set(names)) == len(photos) == len(list((bench / "out").iterdir()))

    def test_no_photo_is_ever_overwritten(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (bench / "good-annotated.jpg").write_bytes(b"strip, too")
        measured_json(["good.jpg", "good-annotated.jpg", "--annotated", "."], capsys)
        assert (bench / "good.jpg").read_bytes() == b"strip"
        assert (bench / "good-annotated.jpg").read_bytes() == b"strip, too"
        assert (bench / "good-2-annotated.jpg").exists()

    def test_the_same_photo_twice(self, tmp_path: Path) -> None:
        names = annotated_names([tmp_path / "x.jpg"] * 3, tmp_path)
        assert [names[n].name for n in range(3)] == ["x-annotated.jpg", "x-2-annotated.jpg", "x-3-annotated.jpg"]

    def test_a_folder_that_is_a_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--annotated", "tray.jpg"]) == 2
        assert "cannot be made" in capsys.readouterr().err
        assert (bench / "tray.jpg").read_bytes() == b"tray"


class TestCard:
    def test_pdf_png_and_geometry(self, tmp_path: Path) -> None:
        assert main(["card", "--layout", "tray", "--paper", "letter", "--out", str(tmp_path / "card.pdf")]) == 0
        assert (tmp_path / "card.pdf").read_bytes() == card_pdf(card_layout("tray", "letter"))
        picture, bays = tmp_path / "card.PNG", tmp_path / "bays.json"
        assert main(["card", "--out", str(picture), "--dpi", "72", "--geometry", str(bays)]) == 0
        assert Image.open(io.BytesIO(picture.read_bytes())).size == (595, 842)
        geometry = json.loads(bays.read_text())
        assert (geometry["layout"], geometry["paper"], geometry["version"]) == ("sheet", "a4", 1)
        assert geometry["page_mm"] == [210.0, 297.0] and geometry["bays"][0]["bay"] == 1

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            (["--out", "card.svg"], ".pdf or .png"),
            (["--out", "card"], ".pdf or .png"),
            (["--out", "card.png", "--dpi", "7"], "dpi"),
            (["--out", "card.png", "--dpi", "many"], "dpi"),
            (["--out", "card.pdf", "--layout", "wall"], "sheet"),
            (["--out", "card.pdf", "--paper", "a3"], "letter"),
            (["--out", "nowhere/card.pdf"], "no folder"),
            ([], "--out"),
        ],
    )
    def test_wrong_usage(
        self, arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:  # fmt: skip
        monkeypatch.chdir(tmp_path)
        assert main(["card", *arguments]) == 2
        out, err = capsys.readouterr()
        assert out == "" and words in err and "Traceback" not in err and len(err.splitlines()) == 1
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "arguments", [[], ["paint"], ["measure"], ["serve", "--port", "eighty"], ["measure", "--jsno"]]
)
def test_wrong_usage_is_status_2_in_plain_words(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert "--help" in err and "Traceback" not in err


def test_serve_passes_on_what_it_was_told(monkeypatch: pytest.MonkeyPatch) -> None:
    from webcapture.web import serving  # noqa: PLC0415 - the web is loaded only by the tests that need it

    told: list[object] = []
    monkeypatch.setattr(serving, "serve", lambda *arguments, lang: told.append((*arguments, lang)))
    assert main(["serve", "--host", "0.0.0.0", "--port", "8123", "--data", "kept", "--lang", "en"]) == 0
    assert main(["serve"]) == 0
    door = serving.Door
    assert told == [(door("0.0.0.0", 8123), Path("kept"), "en"), (door("127.0.0.1", 8000), Path("data"), "")]


def test_a_language_that_is_not_at_hand_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--port", "0", "--lang", "xx"]) == 2
    assert capsys.readouterr().err == "There is no language “xx”. Choose one of: en.\n"


def test_an_address_in_use_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--host", "203.0.113.7", "--port", "8123"]) == 2  # RFC 5737: nobody's address
    assert "cannot be used" in capsys.readouterr().err


def test_a_missing_library_is_named(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(sys.modules, "webcapture.card.printing", None)
    assert main(["card", "--out", "card.pdf"]) == 2
    assert "library is missing" in capsys.readouterr().err


class TestAsAProcess:
    """What only shows in a process of its own."""

    def test_help_and_card_load_no_image_libraries(self, tmp_path: Path) -> None:
        program = (
            "import sys; from webcapture.cli import main; status = main(sys.argv[1:]); "
            "print([m for m in ('cv2', 'scipy', 'flask') if m in sys.modules], status)"
        )
        for arguments in (["--help"], ["measure", "--help"], ["card", "--out", str(tmp_path / "card.png")]):
            done = subprocess.run(
                [sys.executable, "-c", program, *arguments], capture_output=True, text=True, cwd=ROOT, check=True
            )
            assert done.stdout.splitlines()[-1] == "[] 0", arguments

    def test_help_and_version(self) -> None:
        assert run("--version").stdout.strip() == f"webcapture {webcapture.__version__}"
        shown = run("--help")
        assert shown.returncode == 0
        assert all(command in shown.stdout for command in ("card", "measure", "demo", "serve"))

    def test_files_that_are_no_photos(self, tmp_path: Path) -> None:
        text = tmp_path / "notes.txt"
        text.write_text("not a photo")
        done = run("measure", text, tmp_path / "missing.jpg", tmp_path, "--json", "-")
        assert done.returncode == 1
        assert [entry["error"]["code"] for entry in json.loads(done.stdout)] == [
            "not-an-image",
            "unreadable",
            "unreadable",
        ]
        assert "Traceback" not in done.stderr and len(done.stderr.splitlines()) == 3

    def test_what_a_library_remarks_on_damaged_metadata_stays_out_of_it(self, tmp_path: Path) -> None:
        photo, damaged = tmp_path / "photo.jpg", b"MM\0*\0\0\0\x08\xff\x7f\x01\x12"
        Image.new("RGB", (900, 700), "white").save(photo, exif=b"Exif\0\0" + damaged)
        loud, plain = ["-X", "dev"], []
        heard = [
            subprocess.run(
                [sys.executable, *how, "-m", "webcapture", "measure", photo],
                capture_output=True, text=True, cwd=ROOT, timeout=120, check=False,
            ).stderr
            for how in (loud, plain)
        ]  # fmt: skip
        assert "Corrupt EXIF" in heard[0], "the library warns"
        assert "EXIF" not in heard[1] and len(heard[1].splitlines()) == 1

    def test_a_terminal_that_knows_only_ascii(self, tmp_path: Path) -> None:
        done = run("measure", tmp_path / "missing.jpg", env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
        assert done.returncode == 1 and "missing.jpg" in done.stdout and "Traceback" not in done.stderr

    def test_a_reader_that_leaves(self, tmp_path: Path) -> None:
        names = [str(tmp_path / f"{n}.jpg") for n in range(2000)]
        process = subprocess.Popen(
            [sys.executable, "-m", "webcapture", "measure", *names],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None and process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        errors = process.stderr.read()
        assert process.wait(60) == 141
        assert "Traceback" not in errors and "BrokenPipe" not in errors

    def test_ctrl_c(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "endless.jpg")  # reading it waits for ever
        process = subprocess.Popen(
            [sys.executable, "-m", "webcapture", "measure", str(tmp_path / "none.jpg"), str(tmp_path / "endless.jpg")],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None and process.stderr is not None
        process.stdout.readline()
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 130
        errors = process.stderr.read()
        assert errors.splitlines()[-1] == "Stopped." and "Traceback" not in errors


METHOD = '{"mobile_phase": "salt water", "paper": "workshop paper", "lanes": {"1": "sample: vat 7"}}'


def test_names_stand_with_the_numbers_where_a_method_is_given(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("m.json").write_text(METHOD)
    asked = ["--method", "m.json", "--references", "workshop"]
    assert main(["measure", "good.jpg", "--json", "-", *asked]) == 0
    (entry,) = json.loads(capsys.readouterr().out)
    jsonschema.validate([entry], schema())
    assert entry["names"]["library"] == 5
    assert main(["measure", "good.jpg", *asked]) == 0
    assert "Consistent with" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("method", "references", "said"),
    [
        (None, "workshop", "same mobile phase"),
        ("{}", "workshop", "mobile_phase"),
        (METHOD, "none.csv", "none.csv"),
        (METHOD, "broken.csv", ""),
    ],
)
def test_what_is_wrong_with_names_is_said_before_anything_is_measured(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    method: str | None,
    references: str,
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("broken.csv").write_text("substance;rf\nMarl red;lots\n")
    asked = ["--references", references]
    if method is not None:
        Path("m.json").write_text(method)
        asked += ["--method", "m.json"]
    assert main(["measure", "no-photo.jpg", *asked]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert "no-photo.jpg" not in told
