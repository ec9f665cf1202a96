"""Photo files for the tests: ordinary, odd, broken and hostile ones, made on the spot."""

import struct
import zlib
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from PIL import Image, PngImagePlugin

SIZE = (80, 60)
"""(width, height) of the small pictures; not square and not symmetric, so that every turn shows."""


def picture(size: tuple[int, int] = SIZE) -> Image.Image:
    """Smooth, colourful, and different in every corner."""
    corners = np.array([[[230, 40, 30], [40, 200, 60]], [[30, 60, 220], [240, 230, 90]]], np.uint8)
    return Image.fromarray(cv2.resize(corners, size, interpolation=cv2.INTER_LINEAR))


def saved(image: Image.Image, format: str = "JPEG", **options: Any) -> bytes:
    file = BytesIO()
    image.save(file, format, **options)
    return file.getvalue()


def lossless(format: str) -> dict[str, Any]:
    return {"lossless": True} if format == "WEBP" else {}


def exif(orientation: int) -> Image.Exif:
    block = Image.Exif()
    block[0x0112] = orientation
    return block


def animated(format: str) -> bytes:
    frames = [picture(), picture().rotate(180)]
    return saved(frames[0], format, save_all=True, append_images=frames[1:], duration=200)


def multi_picture() -> bytes:
    """As phones store a photo with its depth map or preview behind it."""
    return saved(picture(), "MPO", save_all=True, append_images=[picture((40, 30)).rotate(90)], quality=95)


def png16(array: np.ndarray) -> bytes:
    """16 bits a sample; colours in the order R, G, B(, A)."""
    if array.ndim == 3:
        array = cv2.cvtColor(array, cv2.COLOR_RGBA2BGRA if array.shape[2] == 4 else cv2.COLOR_RGB2BGR)
    done, file = cv2.imencode(".png", array)
    assert done
    return file.tobytes()


# ---- PNG by hand


def png_chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def png(width: int, height: int, depth: int, colour_type: int, *chunks: bytes) -> bytes:
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour_type, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + png_chunk(b"IEND", b"")


def png_bomb(side: int = 17_320) -> bytes:
    """One bit a pixel, all black: a file of some 36 kB that becomes 900 MB in RGB."""
    packer, row = zlib.compressobj(9), bytes(1 + (side + 7) // 8)
    packed = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    return png(side, side, 1, 0, png_chunk(b"IDAT", packed))


def png_with_text_bomb() -> bytes:
    """A comment of some 100 kB that becomes 100 MB."""
    comment = PngImagePlugin.PngInfo()
    comment.add_text("Comment", "a" * 100_000_000, zip=True)
    return saved(picture(), "PNG", pnginfo=comment)


# ---- JPEG and WebP by hand


def jpeg_header(width: int, height: int, in_one_scan: bool = True) -> bytes:
    """Only the header of a JPEG, up to the beginning of its first scan."""
    components = b"".join(bytes([number, 0x11, 0]) for number in (1, 2, 3))
    frame = struct.pack(">BHHB", 8, height, width, 3) + components
    scan = bytes([3, 1, 0, 2, 0, 3, 0, 0, 63, 0]) if in_one_scan else bytes([1, 1, 0, 0, 63, 0])
    table = bytes(1) + bytes([16]) * 64
    return b"\xff\xd8" + _segment(0xDB, table) + _segment(0xC0, frame) + _segment(0xDA, scan)


def _segment(marker: int, content: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(content) + 2) + content


def with_exif_bytes(jpeg: bytes, content: bytes) -> bytes:
    """``jpeg`` with those bytes where the camera's data belong."""
    return jpeg[:2] + _segment(0xE1, b"Exif\0\0" + content) + jpeg[2:]


def with_comment(jpeg: bytes, content: bytes) -> bytes:
    return jpeg[:2] + _segment(0xFE, content) + jpeg[2:]


def webp_header(width: int, height: int) -> bytes:
    """A lossy WebP whose header claims that size."""
    file = bytearray(saved(picture(), "WEBP"))
    assert file[12:16] == b"VP8 "
    file[26:30] = struct.pack("<HH", width, height)
    return bytes(file)


# ---- what is no photo at all

NO_PHOTOS: dict[str, bytes] = {
    "text": b"Rf 0.45, pink\n",
    "html": b"<!DOCTYPE html><html><script>alert(1)</script></html>",
    "html before a jpeg": b"<html>" + saved(picture()),
    "svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "zeros": bytes(5000),
    "noise": np.random.default_rng(7).bytes(5000),
    "a riff that is sound": b"RIFF\x24\0\0\0WAVEfmt " + bytes(40),
    "pdf": b"%PDF-1.7\n" + bytes(200),
    "zip": b"PK\x03\x04" + bytes(200),
    "gif": saved(picture(), "GIF"),
    "animated gif": animated("GIF"),
    "tiff": saved(picture(), "TIFF"),
    "bmp": saved(picture(), "BMP"),
    "heic": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200),
    "heif by apple": b"\0\0\0\x24ftypmif1\0\0\0\0mif1heic" + bytes(200),
    "heic sequence": b"\0\0\0\x18ftyphevc\0\0\0\0" + bytes(200),
    "avif": b"\0\0\0\x1cftypavif\0\0\0\0" + bytes(200),
    "video": b"\0\0\0\x18ftypmp42\0\0\0\0" + bytes(200),
}
