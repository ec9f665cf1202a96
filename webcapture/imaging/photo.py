"""From a file's bytes to a picture in memory: one decode, and every hostile or broken file to its own error.

What the bytes are is judged by their beginning alone, never by a name's ending, and the size is taken from the header before
any pixel is decoded. Big JPEGs are decoded at a reduced scale. Nothing of the file but its pixels and its colour profile is
kept: place, time and owner stay behind.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO

import cv2
import numpy as np
from PIL import Image, ImageCms
from PIL import _imaging as core
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from webcapture.errors import NoCard, NotAnImage, TooLarge, Truncated, WebcaptureError
from webcapture.imaging.colour import needed_profile, transform_to_srgb
from webcapture.imaging.rounding import rounding_of
from webcapture.model import Bytes8, Photo
from webcapture.settings import DEFAULTS, PhotoSettings

# The formats' own classes instead of Image.open: nothing can pose as a third format, a phone's multi-picture JPEG (MPO)
# opens at its main picture, and Pillow's process-wide size limit with its warnings stays out of it.
_READERS: dict[str, type[ImageFile]] = {"JPEG": JpegImageFile, "PNG": PngImageFile, "WEBP": WebPImageFile}

_STILL = "Send one still photo as a JPEG, PNG or WebP file."
_AGAIN = "The file is damaged. Send it again; if it fails again, take a new photo."
_HEIC = (
    "On an iPhone or iPad choose Settings, Camera, Formats, “Most Compatible”, and take the photo again, "
    "or send it as a JPEG from the share menu. Other phones call the setting “high efficiency”: turn it off."
)
_NOT_READ: tuple[tuple[bytes, bytes, str, str | None], ...] = (
    # offset 0 | offset 4 | what it is | what to do, None for the usual
    (b"", b"ftyphei", "a HEIC photo", _HEIC),
    (b"", b"ftyphev", "a HEIC photo", _HEIC),
    (b"", b"ftypmif1", "a HEIC photo", _HEIC),
    (b"", b"ftypmsf1", "a HEIC photo", _HEIC),
    (b"", b"ftypavi", "an AVIF picture", None),
    (b"", b"ftyp", "a video", _STILL),
    (b"GIF8", b"", "a GIF picture", _STILL),
    (b"II*\0", b"", "a TIFF or raw camera file", None),
    (b"MM\0*", b"", "a TIFF or raw camera file", None),
    (b"BM", b"", "a BMP picture", None),
    (b"%PDF", b"", "a PDF document", "Send the photo itself, not a document that contains it."),
    (b"PK\x03\x04", b"", "a ZIP archive or a document", "Send the photo itself, not an archive that contains it."),
)

# Exif orientations whose rows are the upright picture's columns.
_LYING = (5, 6, 7, 8)


def read_photo(data: bytes, settings: PhotoSettings = DEFAULTS.photo) -> Photo:
    """The photo in ``data``, decoded once, at most ``settings.working_pixels`` large.

    Reads JPEG, PNG and WebP in any depth and colour model: 16 bits are cut to 8, transparency is laid over white, CMYK and grey
    go through their own profile to sRGB. An RGB profile is kept in ``Photo.icc``, not applied: apply it to what is cut out.

    Raises NotAnImage, TooLarge or Truncated for the file, and NoCard where the picture is too small for any card.
    """
    name = _format(data, settings)
    with _blaming_the_file(data, name), _READERS[name](BytesIO(data)) as image:
        width, height = image.size
        _check_header(image, data, name, settings)
        pixels = _pixels(image, settings)
        turn = _orientation(image)
        rounding = rounding_of(image)
        icc = needed_profile(_icc(image))
    if min(width, height) < settings.least_side:
        raise NoCard(
            f"The picture has only {width} × {height} pixels: no card can be recognised in it.",
            "Send the original photo, not a preview, a screenshot or a copy reduced for a message.",
        )
    size = (height, width) if turn in _LYING else (width, height)
    return Photo(_capped(pixels, settings.working_pixels), icc, size, name, turn, rounding)


# ---- before decoding


def check_size(size: int, most: int, *, all_of_it: bool = True) -> None:
    """Raise TooLarge for a file of more than ``most`` bytes; ``size`` may be what was read of one whose end is not known."""
    if size > most:
        limit = most / 1e6
        if all_of_it:
            raise TooLarge(f"The file has {size / 1e6:.0f} MB; at most {limit:.0f} MB are read.")
        raise TooLarge(f"The file has more than {limit:.0f} MB, and no more are read.")


def _format(data: bytes, settings: PhotoSettings) -> str:
    """JPEG, PNG or WEBP, by how the bytes begin."""
    if not data:
        raise NotAnImage("The file is empty.", "Send the photo again; if it fails again, take a new one.")
    check_size(len(data), settings.max_bytes)
    if data.startswith(b"\xff\xd8\xff"[: len(data)]):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"[: len(data)]):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP"[: max(0, len(data) - 8)]:
        return "WEBP"
    raise _not_read(data)


def _not_read(data: bytes) -> NotAnImage:
    for start, box, what, hint in _NOT_READ:
        if data.startswith(start) and data.startswith(box, 4):
            return NotAnImage(f"The file is {what}, which this tool does not read.", hint)
    return NotAnImage("The file is no photo: it begins like neither JPEG, PNG nor WebP, whatever its name says.")


def _check_header(image: ImageFile, data: bytes, name: str, settings: PhotoSettings) -> None:
    """Size and frames, as the header states them."""
    width, height = image.size
    kind, limit = _kind_and_limit(image, data, name, settings)
    if width * height > limit:
        raise TooLarge(
            f"The picture has {width} × {height} pixels, {width * height / 1e6:.0f} megapixels; "
            f"a {kind} may have {limit / 1e6:.0f}."
        )
    if getattr(image, "n_frames", 1) > 1:
        raise NotAnImage(f"The {name} file is an animation, and it is not clear which picture is meant.", _STILL)


def _kind_and_limit(image: ImageFile, data: bytes, name: str, settings: PhotoSettings) -> tuple[str, int]:
    if name == "WEBP":
        return "WebP picture", settings.max_pixels_webp
    if name == "PNG":
        return "PNG picture", settings.max_pixels_whole
    if not _one_scan(image, data):
        return "progressive JPEG", settings.max_pixels_whole
    return "JPEG", settings.max_pixels


def _one_scan(image: ImageFile, data: bytes) -> bool:
    """True for a JPEG whose first scan holds all components and frequencies, so that it can be decoded line by line.

    The reader stands behind that scan's header: marker, length, number of components, two bytes each, and three bytes that
    are 0, 63, 0 for a full scan (ITU-T T.81, B.2.3).
    """
    end = image.fp.tell() if image.fp else 0
    components = len(image.getbands())
    start = end - 8 - 2 * components
    return data[start : start + 2] == b"\xff\xda" and data[end - 3 : end] == b"\x00\x3f\x00"


# ---- decoding


@contextmanager
def _blaming_the_file(data: bytes, name: str) -> Iterator[None]:
    """Whatever a decoder makes of hostile bytes is the file's fault and becomes one of our errors."""
    try:
        yield
    except WebcaptureError:
        raise
    except (MemoryError, Image.DecompressionBombError) as error:
        raise TooLarge("The picture is too large to be decoded here.") from error
    except Exception as error:
        if "truncated" in str(error).lower() or not _ends_properly(data, name):
            raise Truncated(f"The {name} file ends before the picture does.") from error
        raise NotAnImage(f"The file begins like a {name} picture, but it cannot be decoded.", _AGAIN) from error


def _ends_properly(data: bytes, name: str) -> bool:
    if name == "JPEG":
        return data.find(b"\xff\xd9", _scan_start(data)) >= 0
    if name == "PNG":
        return b"IEND" in data
    return len(data) >= int.from_bytes(data[4:8], "little") + 8


def _scan_start(data: bytes) -> int:
    """Where a JPEG's pixels begin, or the end where it has none: a preview inside its header has an end of its own."""
    at = 2
    while at < len(data) and data[at + 1 : at + 2] != b"\xda":
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return at


def _pixels(image: ImageFile, settings: PhotoSettings) -> Bytes8:
    """(rows, cols, 3 or 4) RGB as stored, not yet upright; a JPEG reduced by a whole factor where it has pixels to spare."""
    if isinstance(image, JpegImageFile):
        factor = _reduction(image, settings)
        image.draft(image.mode, (image.width // factor, image.height // factor))
        if image.mode == "RGB":
            return _straight(image)
    return _in_bands(image)


def _reduction(image: ImageFile, settings: PhotoSettings) -> int:
    """The largest of 1, 2, 4 and 8 that leaves ``settings.enough_pixels``."""
    spare = image.width * image.height / settings.enough_pixels
    return next(factor for factor in (8, 4, 2, 1) if factor == 1 or factor**2 <= spare)


def _straight(image: ImageFile) -> Bytes8:
    """(rows, cols, 4), the last one padding: the ordinary colour JPEG, decoded by Pillow straight into the array.

    Pillow keeps a pixel's colours in four bytes. Lent our array as its memory, it leaves the picture there, and two copies of
    it are spared, which cost as much as the decoding.
    """
    pixels: Bytes8 = np.empty((image.height, image.width, 4), np.uint8)
    if image.tile:  # else the file ended within its header, and to load it tells so
        image.im = core.map_buffer(pixels, image.size, "raw", 0, (image.mode, 0, 1))
    image.load()
    return pixels


def _in_bands(image: Image.Image, rows: int = 128) -> Bytes8:
    """The whole picture as an RGB array, band by band: colour models need copies, and a copy of a band is small."""
    pixels = np.empty((image.height, image.width, 3), np.uint8)
    for top in range(0, image.height, rows):
        bottom = min(top + rows, image.height)
        pixels[top:bottom] = np.asarray(_rgb(image.crop((0, top, image.width, bottom))))
    return pixels


def _rgb(image: Image.Image) -> Image.Image:
    """Any colour model as 8-bit RGB."""
    if image.mode.startswith("I"):
        image = Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    if image.has_transparency_data:
        image = image.convert("RGBA")
        white = Image.new("RGB", image.size, "white")
        white.paste(image, mask=image.getchannel("A"))
        return white
    if image.mode in ("CMYK", "L") and (icc := image.info.get("icc_profile")):
        return _by_profile(image, icc)
    return image if image.mode == "RGB" else image.convert("RGB")


def _by_profile(image: Image.Image, icc: bytes) -> Image.Image:
    """A CMYK or grey picture in sRGB by its own profile, or plainly where the profile does not fit."""
    try:
        return ImageCms.applyTransform(image, transform_to_srgb(icc, image.mode)) or image.convert("RGB")
    except ImageCms.PyCMSError:
        return image.convert("RGB")


def _icc(image: ImageFile) -> bytes | None:
    icc = image.info.get("icc_profile")
    return icc if isinstance(icc, bytes) else None


# ---- after decoding


def _orientation(image: ImageFile) -> int:
    """Exif orientation 1 to 8; 1 where there is none or the metadata are damaged, which must not cost the photo."""
    try:
        value = image.getexif().get(0x0112, 1)
    except Exception:
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _capped(pixels: Bytes8, most: int) -> Bytes8:
    """Not more than ``most`` pixels, by averaging over areas, so that fine lines fade but do not break up."""
    height, width = pixels.shape[:2]
    scale = (most / (width * height)) ** 0.5
    if scale >= 1:
        return pixels
    size = (int(width * scale), int(height * scale))
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)  # type: ignore[return-value]
