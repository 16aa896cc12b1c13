"""Photo files for tests: real ones that ship inside packages, and small ones made here."""

import io
import struct
import zlib
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image

SKIMAGE = Path(find_spec("skimage").submodule_search_locations[0]) / "data"
SKLEARN = Path(find_spec("sklearn").submodule_search_locations[0]) / "datasets" / "images"

# Name, file, mean luminance of the whole photo by 0.2126/0.7152/0.0722 on linear light
# (computed with numpy from the files of scikit-image 0.26 and scikit-learn; JPEG means depend a
# little on the decoder). All are free to use; nothing is copied into the repository.
PHOTOGRAPHS = (
    ("camera", SKIMAGE / "camera.png", 0.31329),
    ("astronaut", SKIMAGE / "astronaut.png", 0.26979),
    ("coins", SKIMAGE / "coins.png", 0.16574),
    ("china", SKLEARN / "china.jpg", 0.41075),
    ("flower", SKLEARN / "flower.jpg", 0.11006),
)
HORSE = SKIMAGE / "horse.png"  # transparent where there is no horse


def scene(width=60, height=40, channels=3):
    """Return codes (rows, columns, channels) in which no two corners look alike."""
    x = np.linspace(0, 1, width)[np.newaxis, :]
    y = np.linspace(0, 1, height)[:, np.newaxis]
    planes = [255 * (0.8 * x + 0.2 * y * y), 255 * (1 - y) * (0.4 + 0.6 * x), 120 * x * y + 60]
    planes.append(0 * x + 255 * (y > 0.5))
    chosen = planes[:channels] if channels != 2 else [planes[0], planes[3]]
    codes = np.stack([plane + 0 * x * y for plane in chosen], axis=-1)
    return np.rint(codes[..., 0] if channels == 1 else codes).astype(np.uint8)


def encoded(image, kind, **options):
    """Return `image` (Pillow's or codes) as the bytes of a file of this kind."""
    picture = image if isinstance(image, Image.Image) else Image.fromarray(image)
    file = io.BytesIO()
    picture.save(file, kind, **options)
    return file.getvalue()


def exif(orientation):
    """Return the camera's note about how it was held."""
    notes = Image.Exif()
    notes[274] = orientation
    return notes


def png_header(width, height):
    """Return a PNG that claims a size and holds next to nothing: a decompression bomb's start."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(b"\0" * 1000)), (b"IEND", b""))
    body = b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + body


def deep_tiff(codes, orientation=1):
    """Return 16-bit RGB codes as a plain TIFF file; Pillow writes none."""
    rows, columns, _ = codes.shape
    data = codes.astype("<u2").tobytes()
    bits_at = 8 + len(data)
    entries = [
        (256, 3, 1, columns), (257, 3, 1, rows), (258, 3, 3, bits_at), (259, 3, 1, 1),
        (262, 3, 1, 2), (273, 4, 1, 8), (274, 3, 1, orientation), (277, 3, 1, 3),
        (278, 3, 1, rows), (279, 4, 1, len(data)), (284, 3, 1, 1),
    ]  # fmt: skip
    directory = b"".join(
        struct.pack("<HHI", tag, kind, count)
        + (struct.pack("<HH", value, 0) if kind == 3 and count == 1 else struct.pack("<I", value))
        for tag, kind, count, value in entries
    )
    start = b"II*\0" + struct.pack("<I", bits_at + 6) + data + struct.pack("<3H", 16, 16, 16)
    return start + struct.pack("<H", len(entries)) + directory + struct.pack("<I", 0)


def linear_profile():
    """Return an ICC profile (ISO 15076-1) with sRGB's colours whose codes are linear light."""
    colours = ((0.4361, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141))
    tags = {b"wtpt": _xyz(0.9642, 1.0, 0.8249), b"desc": _description(b"linear light")}
    for letter, colour in zip(b"rgb", colours, strict=True):
        tags[bytes([letter]) + b"XYZ"] = _xyz(*colour)
        tags[bytes([letter]) + b"TRC"] = b"curv" + struct.pack(">II", 0, 0)
    table, body, place = b"", b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        padded = data + b"\0" * (-len(data) % 4)
        table += name + struct.pack(">II", place + len(body), len(data))
        body += padded
    head = struct.pack(">I4sI4s4s4s", place + len(body), b"", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28
    head += struct.pack(">3i", *(round(value * 65536) for value in (0.9642, 1.0, 0.8249)))
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def _xyz(*values):
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in values))


def _description(text):
    return b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" * 79


def png_with_profile(png, profile):
    """Return the PNG with an ICC profile put in behind its header."""
    data = b"ours\0\0" + zlib.compress(profile)
    chunk = struct.pack(">I", len(data)) + b"iCCP" + data
    chunk += struct.pack(">I", zlib.crc32(b"iCCP" + data))
    return png[:33] + chunk + png[33:]
