"""Reading photos: right pixels from every honest file, the right error from every other."""

import subprocess
import sys
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
from PIL import Image, ImageOps

from tests.imaging import files, profiles
from tests.yardstick import yardsticks
from webcapture.errors import NoCard, NotAnImage, PhotoError, TooLarge, Truncated, WebcaptureError
from webcapture.imaging.photo import read_photo
from webcapture.model import Photo
from webcapture.settings import DEFAULTS

SMALL = replace(DEFAULTS.photo, least_side=1)


def read(data: bytes, **settings: Any) -> Photo:
    return read_photo(data, replace(SMALL, **settings))


def by_pillow(data: bytes) -> np.ndarray:
    """The outside judge of pixels: Pillow's own decoder and turn."""
    with Image.open(BytesIO(data)) as image:
        return np.asarray(ImageOps.exif_transpose(image).convert("RGB"))


def refused(data: bytes, kind: type[WebcaptureError], **settings: Any) -> WebcaptureError:
    with pytest.raises(kind) as refusal:
        read(data, **settings)
    assert type(refusal.value) is kind
    assert refusal.value.message.endswith(".")
    assert refusal.value.hint.endswith(".")
    return refusal.value


# ---- ordinary files


JPEG_KINDS: dict[str, dict[str, Any]] = {
    "as phones do": {"quality": 90},
    "no subsampling": {"subsampling": 0},
    "4:2:2": {"subsampling": 1},
    "progressive": {"progressive": True},
    "restart markers": {"restart_marker_rows": 1},
    "stored as RGB": {"keep_rgb": True},
    "poor": {"quality": 10},
}


@pytest.mark.parametrize("kind", JPEG_KINDS)
def test_a_jpeg_has_the_pixels_that_pillow_decodes(kind: str) -> None:
    data = files.saved(files.picture((83, 61)), **JPEG_KINDS[kind])
    photo = read(data)
    np.testing.assert_array_equal(photo.pixels, by_pillow(data))
    assert (photo.original_size_px, photo.format, photo.icc) == ((83, 61), "JPEG", None)
    assert photo.pixels.dtype == np.uint8
    assert photo.stored.flags.c_contiguous


@pytest.mark.parametrize("format", ["PNG", "WEBP"])
def test_lossless_formats_give_back_what_went_in(format: str) -> None:
    photo = read(files.saved(files.picture(), format, **files.lossless(format)))
    np.testing.assert_array_equal(photo.pixels, np.asarray(files.picture()))
    assert photo.format == format


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_eight_orientations(orientation: int, format: str) -> None:
    data = files.saved(files.picture(), format, exif=files.exif(orientation), **files.lossless(format))
    photo = read(data)
    np.testing.assert_array_equal(photo.pixels, by_pillow(data))
    lying = orientation >= 5
    assert photo.original_size_px == (files.SIZE[::-1] if lying else files.SIZE)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_the_corners_are_where_the_camera_saw_them(format: str) -> None:
    # Exif 2.32, tag 0112: stored with orientation n, a picture that was turned to n beforehand comes out upright.
    upright = files.picture()
    turn = {1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
            5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
            8: Image.Transpose.ROTATE_270}  # fmt: skip
    for orientation, how in turn.items():
        stored = upright if how is None else upright.transpose(how)
        options = {"quality": 98, "subsampling": 0} if format == "JPEG" else files.lossless(format)
        pixels = read(files.saved(stored, format, exif=files.exif(orientation), **options)).pixels
        assert np.abs(pixels.astype(int) - np.asarray(upright)).max() <= 6, orientation


def test_the_first_picture_of_several_is_the_photo() -> None:
    data = files.multi_picture()
    with Image.open(BytesIO(data)) as image:
        assert image.format == "MPO"
    photo = read(data)
    np.testing.assert_array_equal(photo.pixels, by_pillow(data))
    assert photo.format == "JPEG"


# ---- size


def gradient(width: int, height: int) -> Image.Image:
    return files.picture((width, height))


@pytest.mark.parametrize(("enough", "factor"), [(307_201, 1), (307_200, 2), (76_800, 4), (19_200, 8), (10, 8)])
def test_a_big_jpeg_is_decoded_at_a_reduced_scale(enough: int, factor: int) -> None:
    data = files.saved(gradient(1280, 960), exif=files.exif(6))
    photo = read(data, enough_pixels=enough)
    assert photo.pixels.shape == (1280 // factor, 960 // factor, 3)
    assert photo.original_size_px == (960, 1280)
    with Image.open(BytesIO(data)) as image:
        image.draft("RGB", (1280 // factor, 960 // factor))
        np.testing.assert_array_equal(photo.pixels, np.asarray(ImageOps.exif_transpose(image)))


def test_odd_sizes_are_reduced_too() -> None:
    assert read(files.saved(gradient(1283, 961)), enough_pixels=200_000).pixels.shape == (481, 642, 3)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_the_working_picture_is_capped_and_shows_the_same(format: str) -> None:
    photo = read(files.saved(gradient(800, 600), format), working_pixels=200_000)
    height, width = photo.pixels.shape[:2]
    assert 190_000 < height * width <= 200_000
    assert width / height == pytest.approx(4 / 3, rel=0.01)
    assert photo.original_size_px == (800, 600)
    expected = np.asarray(gradient(800, 600).resize((width, height), Image.Resampling.BOX))
    assert np.abs(photo.pixels.astype(int) - expected).mean() < 3


def test_a_fine_line_fades_but_does_not_break() -> None:
    page = np.full((900, 1200, 3), 255, np.uint8)
    page[np.arange(900), 300 + np.arange(900) // 9] = 0
    photo = read(files.saved(Image.fromarray(page), "PNG"), working_pixels=400_000)
    # At 0.61 of its size a line of 1 px covers at least 0.3 of one pixel in every row.
    assert photo.pixels[..., 1].min(axis=1).max() < 255 * 0.75


def test_a_picture_too_small_for_any_card() -> None:
    with pytest.raises(NoCard, match="320 × 240 pixels") as refusal:
        read_photo(files.saved(gradient(320, 240)))
    assert "original photo" in refusal.value.hint


# ---- colour models


def near(photo: Photo, expected: Any, tolerance: int = 1) -> None:
    assert photo.pixels.dtype == np.uint8
    assert np.abs(photo.pixels.astype(int) - np.asarray(expected, int)).max() <= tolerance


def test_16_bits_are_cut_to_8() -> None:
    wide = np.asarray(files.picture()).astype(np.uint16) * 257
    near(read(files.png16(wide)), files.picture())
    near(read(files.png16(wide[..., 0])), np.repeat(wide[..., :1] // 257, 3, axis=2))
    # All of the range is used: a conversion that clips at 255 would show white.
    ramp = np.linspace(0, 65535, 80 * 60).astype(np.uint16).reshape(60, 80)
    near(read(files.png16(ramp)), np.repeat((ramp / 257)[..., None], 3, axis=2))


def test_16_bits_with_transparency() -> None:
    wide = np.dstack([np.asarray(files.picture()).astype(np.uint16) * 257, np.full((60, 80), 0x8000, np.uint16)])
    near(read(files.png16(wide)), np.asarray(files.picture()) * 0.5 + 127.5, 2)


@pytest.mark.parametrize("format", ["PNG", "WEBP"])
def test_transparency_lies_on_white(format: str) -> None:
    image = files.picture().convert("RGBA")
    image.putalpha(64)
    photo = read(files.saved(image, format, **(files.lossless(format) | {"exact": True} if format == "WEBP" else {})))
    near(photo, np.asarray(files.picture()) * (64 / 255) + 255 * (191 / 255), 2)


def test_transparent_grey_and_palette() -> None:
    grey = Image.new("LA", files.SIZE, (100, 128))
    near(read(files.saved(grey, "PNG")), np.full((60, 80, 3), 100 * 128 / 255 + 127), 1)
    palette = Image.new("P", files.SIZE, 1)
    palette.putpalette([0, 0, 0, 200, 100, 50])
    near(read(files.saved(palette, "PNG")), np.full((60, 80, 3), (200, 100, 50)), 0)
    near(read(files.saved(palette, "PNG", transparency=1)), np.full((60, 80, 3), 255), 0)
    grey_with_one_transparent_level = files.saved(Image.new("L", files.SIZE, 7), "PNG", transparency=7)
    near(read(grey_with_one_transparent_level), np.full((60, 80, 3), 255), 0)


@pytest.mark.parametrize(("mode", "format"), [("L", "JPEG"), ("L", "PNG"), ("1", "PNG"), ("P", "PNG")])
def test_few_colours(mode: str, format: str) -> None:
    image = files.picture().convert(mode)
    near(read(files.saved(image, format, **({"quality": 98} if format == "JPEG" else {}))), image.convert("RGB"), 5)


def test_cmyk_without_a_profile() -> None:
    cmyk = files.picture().convert("CMYK")
    data = files.saved(cmyk, quality=98, subsampling=0)
    near(read(data), by_pillow(data), 0)
    near(read(data), files.picture(), 8)


def test_cmyk_goes_through_its_own_profile() -> None:
    cyan = Image.new("CMYK", (64, 64), (255, 0, 0, 0))
    lab = (55.0, -37.0, -50.0)  # a printing cyan, invented for this test
    photo = read(files.saved(cyan, quality=100, icc_profile=profiles.cmyk_profile(cyan=lab)))
    assert photo.icc is None
    d50 = colour.XYZ_to_xy(profiles.D50)
    linear = colour.XYZ_to_RGB(colour.Lab_to_XYZ(lab, d50), "sRGB", d50, "Bradford")
    near(photo, 255 * colour.models.eotf_inverse_sRGB(np.clip(linear, 0, 1)) + np.zeros((64, 64, 1)), 4)


def test_grey_goes_through_its_own_profile() -> None:
    # A profile with a straight curve: half the level is half the light, which sRGB writes as 188.
    grey = Image.new("L", (64, 64), 128)
    photo = read(files.saved(grey, "PNG", icc_profile=profiles.linear_grey_profile()))
    near(photo, np.full((64, 64, 3), 255 * colour.models.eotf_inverse_sRGB(128 / 255)), 1)
    assert photo.icc is None


# ---- profiles and metadata


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_a_foreign_profile_is_kept_and_srgb_is_not(format: str) -> None:
    p3 = profiles.display_p3_profile()
    assert read(files.saved(files.picture(), format, icc_profile=p3)).icc == p3
    assert read(files.saved(files.picture(), format, icc_profile=profiles.srgb_profile())).icc is None


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("icc", [b"x" * 300, profiles.display_p3_profile()[:500], profiles.linear_grey_profile()])
def test_a_useless_profile_does_not_cost_the_photo(format: str, icc: bytes) -> None:
    photo = read(files.saved(files.picture(), format, icc_profile=icc, **files.lossless(format)))
    assert photo.icc is None
    assert photo.pixels.shape == (60, 80, 3)


@pytest.mark.parametrize(
    "exif",
    [
        b"",
        b"MM\0*",
        b"MM\0*\0\0\0\x08\xff\xff",
        b"II*\0\xff\xff\xff\xff",
        np.random.default_rng(5).bytes(300),
        b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x02\0\0\0\x02a\0\0\0\0\0\0\0",  # the orientation as text
        b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x09\0\0\0\0\0\0",  # a ninth orientation
        b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x05\0\0\0\x01\xff\xff\xff\xff\0\0\0\0",  # a fraction somewhere outside
    ],
)
def test_damaged_metadata_do_not_cost_the_photo(exif: bytes) -> None:
    data = files.saved(files.picture())
    photo = read(files.with_exif_bytes(data, exif))
    np.testing.assert_array_equal(photo.pixels, by_pillow(data))


# ---- what is no photo


@pytest.mark.parametrize("name", files.NO_PHOTOS)
def test_no_photo(name: str) -> None:
    refused(files.NO_PHOTOS[name], NotAnImage)


def test_an_empty_file_says_so() -> None:
    assert "empty" in refused(b"", NotAnImage).message


@pytest.mark.parametrize("name", ["heic", "heif by apple", "heic sequence"])
def test_heic_gets_its_remedy(name: str) -> None:
    error = refused(files.NO_PHOTOS[name], NotAnImage)
    assert "HEIC" in error.message
    assert "Most Compatible" in error.hint


@pytest.mark.parametrize(
    ("name", "word"), [("gif", "GIF"), ("pdf", "PDF"), ("tiff", "TIFF"), ("video", "video"), ("avif", "AVIF")]
)
def test_what_is_recognised_is_named(name: str, word: str) -> None:
    assert word in refused(files.NO_PHOTOS[name], NotAnImage).message


@pytest.mark.parametrize("format", ["PNG", "WEBP"])
def test_an_animation_is_not_one_photo(format: str) -> None:
    error = refused(files.animated(format), NotAnImage)
    assert "animation" in error.message
    assert "still" in error.hint


def test_polyglots_are_what_they_begin_as() -> None:
    # A ZIP archive or a script behind or inside a valid photo: the pixels are read, and nothing else of the file goes on.
    jpeg, png_ = files.saved(files.picture()), files.saved(files.picture(), "PNG")
    archive = b"PK\x03\x04" + bytes(50) + b"PK\x05\x06" + bytes(18)
    script = b"<script>alert(1)</script>"
    for data, plain in (
        (jpeg + archive, jpeg),
        (files.with_comment(jpeg, script), jpeg),
        (jpeg + script, jpeg),
        (png_ + archive, png_),
    ):
        np.testing.assert_array_equal(read(data).pixels, by_pillow(plain))


def test_a_format_inside_another_is_not_looked_for() -> None:
    # A PNG's signature in front of a JPEG, and a JPEG's in front of a PNG
    for data in (
        b"\x89PNG\r\n\x1a\n" + files.saved(files.picture()),
        b"\xff\xd8\xff" + files.saved(files.picture(), "PNG"),
    ):
        with pytest.raises(PhotoError):
            read(data)


def test_a_damaged_picture_is_told_from_a_truncated_one() -> None:
    data = bytearray(files.saved(files.picture(), "PNG"))
    at = data.index(b"IDAT") + 4
    data[at : at + 10] = b"\xff" * 10
    error = refused(bytes(data), NotAnImage)
    assert "damaged" in error.hint


# ---- what arrived incomplete


CUT: dict[str, bytes] = {
    "jpeg": files.saved(files.picture(), quality=90),
    "progressive jpeg": files.saved(files.picture(), quality=90, progressive=True),
    "jpeg with a preview": files.with_exif_bytes(
        files.saved(files.picture(), quality=90, icc_profile=profiles.srgb_profile()),
        b"MM\0*\0\0\0\x08\0\0\0\0\0\0" + files.saved(files.picture((16, 12))),
    ),
    "grey jpeg": files.saved(files.picture().convert("L")),
    "cmyk jpeg": files.saved(files.picture().convert("CMYK")),
    "png": files.saved(files.picture(), "PNG"),
    "webp": files.saved(files.picture(), "WEBP"),
    "lossless webp": files.saved(files.picture(), "WEBP", lossless=True, exif=files.exif(6)),
}


@pytest.mark.parametrize("kind", CUT)
def test_a_truncated_file_is_called_truncated_wherever_it_was_cut(kind: str) -> None:
    data = CUT[kind]
    # The last 21 bytes of this PNG are checksums and an empty chunk, the last 2 of a JPEG its end mark: without them the picture is complete,
    # and may be read.
    needed = len(data) - {"png": 21, "grey jpeg": 2}.get(kind, 0)
    first = 4 if kind.endswith("webp") else 1  # one to three letters of RIFF are no beginning of a picture yet
    for length in sorted({*range(first, 60), *range(60, needed, 7), needed - 1}):
        refused(data[:length], Truncated)


# ---- bombs


def test_a_small_file_that_would_fill_the_memory() -> None:
    data = files.png_bomb()
    assert len(data) < 60_000
    told: list[WebcaptureError] = []
    assert yardsticks(lambda: told.append(refused(data, TooLarge))) < 1, "its decode alone takes nine"
    assert "megapixels" in told[0].message


@pytest.mark.parametrize(
    "data",
    [
        files.png(100_000, 100_000, 8, 2, files.png_chunk(b"IDAT", b"\x78\x9c")),
        files.png(0x7FFFFFFF, 0x7FFFFFFF, 16, 6, files.png_chunk(b"IDAT", b"\x78\x9c")),
        files.jpeg_header(65_500, 65_500),
        files.webp_header(16_383, 16_383),
        files.webp_header(12_000, 12_000),
    ],
    ids=["png", "largest png", "jpeg", "largest webp", "webp"],
)
def test_sizes_claimed_by_a_header_alone(data: bytes) -> None:
    refused(data, TooLarge)


def test_limits_by_how_much_memory_a_format_needs() -> None:
    refused(files.jpeg_header(12_000, 9_000, in_one_scan=False), TooLarge)  # all scans stand in memory at once
    refused(files.jpeg_header(12_000, 9_000), Truncated)  # 108 megapixels are no obstacle, only their absence
    refused(files.png(8_000, 8_000, 8, 2, files.png_chunk(b"IDAT", b"\x78\x9c")), TooLarge)
    refused(files.webp_header(6_000, 6_000), TooLarge)
    progressive = files.saved(files.picture(), progressive=True)
    assert "progressive" in refused(progressive, TooLarge, max_pixels_whole=100).message
    read(files.saved(files.picture()), max_pixels_whole=100)


def test_a_png_that_promises_more_than_it_holds() -> None:
    refused(files.png(7_000, 7_000, 8, 2, files.png_chunk(b"IDAT", b"\x78\x9c\x03\x00\x00\x00\x00\x01")), Truncated)


def test_too_many_bytes() -> None:
    data = files.saved(files.picture())
    refused(data, TooLarge, max_bytes=len(data) - 1)
    read(data, max_bytes=len(data))


def test_a_bomb_in_a_comment() -> None:
    with pytest.raises(PhotoError):
        read(files.png_with_text_bomb())


# ---- anything at all


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_damage_anywhere_gives_a_picture_or_a_photo_error(format: str) -> None:
    rng = np.random.default_rng(11)
    whole = files.saved(files.picture(), format, exif=files.exif(6), icc_profile=profiles.display_p3_profile())
    outcomes = set()
    for _ in range(400):
        data = bytearray(whole)
        for at in rng.integers(0, len(data), rng.integers(1, 6)):
            data[at] = rng.integers(256)
        try:
            photo = read(bytes(data), max_pixels=10**6, max_pixels_whole=10**6, max_pixels_webp=10**6)
            assert photo.pixels.ndim == 3
            outcomes.add("photo")
        except PhotoError as error:
            outcomes.add(error.code)
    assert outcomes >= {"photo", "not-an-image"}


def test_many_threads_and_no_trace_left_in_pillow() -> None:
    good, bomb = files.saved(files.picture()), files.png_bomb(20_000)
    before = Image.MAX_IMAGE_PIXELS

    def either(number: int) -> str:
        try:
            read((good, bomb, b"?")[number % 3])
        except PhotoError as error:
            return error.code
        return "photo"

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with ThreadPoolExecutor(8) as pool:
            outcomes = list(pool.map(either, range(60)))
    assert outcomes == ["photo", "too-large", "not-an-image"] * 20
    assert before == Image.MAX_IMAGE_PIXELS


# ---- cost


# Not ru_maxrss: on Linux a process inherits its parent's peak there, through exec.
MEASURE = """
import sys, warnings
warnings.simplefilter("error")
from pathlib import Path
from webcapture.imaging.photo import read_photo
photo = read_photo(Path(sys.argv[1]).read_bytes())
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(*photo.pixels.shape[:2], status["VmHWM"].split()[0])
"""


def large(width: int, height: int) -> Image.Image:
    """Paper with a grain, so that the file has the size of a real photo."""
    grain = np.random.default_rng(3).normal(0, 5, (1000, 1000, 1)) + np.asarray(files.picture((1000, 1000)))
    tile = Image.fromarray(grain.clip(0, 255).astype(np.uint8))
    page = Image.new("RGB", (width, height))
    for x in range(0, width, 1000):
        for y in range(0, height, 1000):
            page.paste(tile, (x, y))
    return page


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads the peak where Linux keeps it")
@pytest.mark.parametrize(
    ("size", "shape", "limit_mb", "options"),
    [
        ((4000, 3000), (2000, 1500), 400, {"quality": 92, "exif": files.exif(6)}),
        ((12000, 9000), (2250, 3000), 700, {"quality": 95}),
        ((8000, 6000), (1500, 2000), 700, {"quality": 92, "progressive": True, "subsampling": 0}),
        ((4000, 3000), (3000, 4000), 400, {"format": "WEBP", "method": 0}),
        ((4000, 3000), (3000, 4000), 400, {"format": "PNG", "compress_level": 1}),
        ((8000, 6000), (3240, 4320), 700, {"format": "PNG", "compress_level": 1}),
        ((6000, 5000), (3415, 4098), 700, {"format": "WEBP", "method": 0}),
    ],
    ids=["12 MP", "108 MP", "48 MP progressive", "12 MP WebP", "12 MP PNG", "48 MP PNG", "30 MP WebP"],
)
def test_peak_memory(
    tmp_path: Path, size: tuple[int, int], shape: tuple[int, int], limit_mb: int, options: dict[str, Any]
) -> None:
    file = tmp_path / "photo"
    # A 48 MP PNG with a grain would exceed the byte limit; its memory does not depend on the grain.
    page = large(*size) if size != (8000, 6000) or options.get("format") != "PNG" else files.picture(size)
    file.write_bytes(files.saved(page, **options))
    done = subprocess.run([sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True)
    height, width, peak_kb = map(int, done.stdout.split())
    assert (height, width) == shape
    assert peak_kb / 1024 <= limit_mb, f"{peak_kb / 1024:.0f} MB"
    assert not done.stderr


@pytest.mark.slow
def test_reading_costs_barely_more_than_the_bare_decode() -> None:
    data = files.saved(large(4000, 3000), quality=92)

    def best(action: Any) -> float:
        times = []
        for _ in range(9):
            began = time.perf_counter()
            action()
            times.append(time.perf_counter() - began)
        return min(times)

    assert best(lambda: read_photo(data)) <= 1.5 * best(lambda: Image.open(BytesIO(data)).load())
