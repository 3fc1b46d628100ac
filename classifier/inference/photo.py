"""Bytes from a camera or a folder to an upright RGB photograph, within limits.

Everything that costs memory or time is refused from the header, before a pixel is decoded. JPEG is
decoded at a reduced scale (Pillow's draft), which is what makes a 12-megapixel photograph cheap;
all else must be unfolded whole first, 4 to 16 bytes a pixel, and may therefore measure less.
"""

from __future__ import annotations

import functools
import importlib
import importlib.util
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFile, UnidentifiedImageError, _imaging

from classifier.errors import PhotoTooLargeError, TallytareError, UnreadablePhotoError
from classifier.inference.jpeg_scans import count_scans
from classifier.inference.pixels import orientation, upright_rgb
from classifier.inference.sniff import ALLOWED, explain, is_heif

SHORT_SIDE_PX = 372  # a centred square of 0.7 of it fills 260 px, the largest network of ours
LONG_SIDE_PX = 8 * SHORT_SIDE_PX  # else a strip 32 pixels high would keep its millions of columns
MOST_READS = 200_000  # a PNG of 40 MB in pieces of 8 KB takes 20,000
_NEAR_ENOUGH = 0.9  # a copy of 1008 pixels will do for one of 1024, at half the cost of decoding
# Only what is read is loaded, not Pillow's forty formats. AVIF and WebP are missing from some
# builds; a JPEG of several pictures opens as JPEG.
for _name in ("Jpeg", "Png", "WebP", "Gif", "Bmp", "Tiff", "Avif"):
    importlib.import_module(f"PIL.{_name}ImagePlugin")
_READABLE = tuple(
    form for form in ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF", "AVIF") if form in Image.OPEN
)


@dataclass(frozen=True, slots=True)
class PhotoLimits:
    """What a photograph may measure: bytes, pixels by its header, and its shorter side.

    `max_unfolded_pixels` holds for pictures that can't be decoded small: PNG, WebP, progressive
    JPEG and all else but JPEG in one scan. `max_scans` holds for JPEG.
    """

    max_bytes: int = 40_000_000
    max_pixels: int = 120_000_000
    max_unfolded_pixels: int = 25_000_000
    max_scans: int = 40
    min_side_px: int = 32


@dataclass(frozen=True, slots=True, eq=False)
class Photo:
    """An upright sRGB photograph, scaled down for recognition.

    `image` is in mode RGB and without the notes of its file, with a longer side of at most
    `LONG_SIDE_PX` and, unless a larger copy was asked for, a shorter one of less than twice
    `SHORT_SIDE_PX`. `width` and `height` are those of the original, upright, in pixels.
    """

    image: Image.Image
    width: int
    height: int

    @property
    def rgb(self) -> NDArray[np.uint8]:
        """The pixels as an array (H, W, 3), read-only; a copy."""
        return np.asarray(self.image)


DEFAULT_LIMITS = PhotoLimits()
# Pillow refuses pictures of twice this size while it opens them, for all of this process; that is
# needed, since its GIF reader fills the whole canvas before anybody can look at the size. The
# limit proper is checked in `_open`. Pillow's default would already warn at 89 megapixels.
Image.MAX_IMAGE_PIXELS = DEFAULT_LIMITS.max_pixels
# In pieces of its usual 16 MiB the C library would keep a large picture after it is freed, once for
# each thread that decoded one; pieces above 32 MiB go back to the system at once.
_imaging.set_block_size(64 << 20)
_MOST_PIXELS = 2 * DEFAULT_LIMITS.max_pixels


def decode_photo(data: bytes, limits: PhotoLimits = DEFAULT_LIMITS, *, copy_side: int = 0) -> Photo:
    """Return the photograph in `data`, upright, on white where transparent, in sRGB.

    It is large enough for recognition and, if `copy_side` is given, for a `jpeg_copy` whose longer
    side has that many pixels or up to a tenth less. Of an animation the first frame is taken.

    Raises `PhotoTooLargeError` over a limit and `UnreadablePhotoError` for anything that isn't a
    whole photograph.
    """
    with _open(data, limits) as image:
        width, height = image.size
        turned = orientation(image) >= 5
        scale = max(
            SHORT_SIDE_PX / min(width, height), _NEAR_ENOUGH * copy_side / max(width, height)
        )
        upright = upright_rgb(image, scale=scale, longest=LONG_SIDE_PX)
    upright.info = {}  # Pillow would write the file's comment into each copy
    if turned:
        width, height = height, width
    return Photo(upright, width, height)


def jpeg_copy(photo: Photo, *, max_side: int = 1024, quality: int = 85) -> bytes:
    """Return a JPEG of `photo` to keep: longer side at most `max_side`, no metadata."""
    image = photo.image
    scale = max_side / max(image.size)
    if scale < 1:
        size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
        image = image.resize(size, Image.Resampling.BICUBIC, reducing_gap=2.0)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


def clean_copy(
    data: bytes, limits: PhotoLimits = DEFAULT_LIMITS, *, max_side: int = 1024, quality: int = 85
) -> bytes:
    """Return a JPEG of `data` to keep: upright sRGB, longer side at most `max_side`, no metadata.

    Raises as `decode_photo` does.
    """
    photo = decode_photo(data, limits, copy_side=max_side)
    return jpeg_copy(photo, max_side=max_side, quality=quality)


class _BoundedFile(io.BytesIO):
    """A file that is read so often at most: decoders go through empty blocks one by one."""

    _reads = 0

    def read(self, size: int | None = -1, /) -> bytes:
        """Return the next bytes. Raises UnreadablePhotoError when it was read too often."""
        self._reads += 1
        if self._reads > MOST_READS:
            raise UnreadablePhotoError(
                f"the picture is cut into more than {MOST_READS:,} pieces; allowed: the few "
                "hundred of a photograph; save it as JPEG and send that"
            )
        return super().read(size)


@contextmanager
def _open(data: bytes, limits: PhotoLimits) -> Iterator[ImageFile.ImageFile]:
    """Open the header, refuse what is over a limit, and name what goes wrong in decoding."""
    _check_bytes(data, limits)
    scans = count_scans(data)
    try:
        with Image.open(_BoundedFile(data), formats=_formats(data)) as image:
            _check_size(image.size, limits)
            _check_cost(image.size, scans, limits)
            yield image
    except TallytareError:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        allowed = min(limits.max_pixels, _MOST_PIXELS)
        raise PhotoTooLargeError(
            f"the picture would unfold to more pixels than any photograph has; {_at_most(allowed)}",
            max_pixels=allowed,
        ) from error
    except Exception as error:  # decoders raise a dozen kinds of error on hostile bytes
        raise UnreadablePhotoError(_damage(data, error)) from error


def _check_bytes(data: bytes, limits: PhotoLimits) -> None:
    if not data:
        raise UnreadablePhotoError(
            f"the file is empty (0 bytes); {ALLOWED}; "
            "take the photograph again, or wait until it is copied whole"
        )
    if len(data) > limits.max_bytes:
        raise PhotoTooLargeError(
            f"the file has {len(data) / 1e6:.1f} MB; allowed: at most "
            f"{limits.max_bytes / 1e6:.1f} MB; choose a lower resolution in the camera, or save "
            "the picture smaller",
            given_bytes=len(data),
            max_bytes=limits.max_bytes,
        )


def _check_size(size: tuple[int, int], limits: PhotoLimits) -> None:
    width, height = size
    if width * height > limits.max_pixels:
        raise PhotoTooLargeError(
            f"the picture measures {width} x {height} pixels ({width * height / 1e6:.0f} "
            f"megapixels); {_at_most(limits.max_pixels)}",
            given_pixels=width * height,
            max_pixels=limits.max_pixels,
        )
    if min(size) < limits.min_side_px:
        raise UnreadablePhotoError(
            f"the picture measures only {width} x {height} pixels; allowed: "
            f"{limits.min_side_px} pixels or more on the shorter side; send the photograph "
            "itself, not its thumbnail",
            width=width,
            height=height,
        )


def _check_cost(size: tuple[int, int], scans: int, limits: PhotoLimits) -> None:
    """Refuse what would take gigabytes or minutes; a JPEG in one scan takes neither."""
    width, height = size
    if scans != 1 and width * height > limits.max_unfolded_pixels:
        kind = "progressive JPEG" if scans else "picture"
        raise PhotoTooLargeError(
            f"the {kind} measures {width} x {height} pixels ({width * height / 1e6:.0f} "
            f"megapixels); {_at_most(limits.max_unfolded_pixels)} as plain JPEG",
            given_pixels=width * height,
            max_pixels=limits.max_unfolded_pixels,
        )
    if scans > limits.max_scans:
        raise UnreadablePhotoError(
            f"the JPEG is spread over {scans} scans; allowed: at most {limits.max_scans}, cameras "
            "make 1 and editors about 10; save it as plain JPEG and send that"
        )


def _at_most(pixels: int) -> str:
    return (
        f"allowed: at most {pixels / 1e6:.0f} megapixels; choose a lower resolution in the camera, "
        "or save the picture smaller"
    )


def _damage(data: bytes, error: Exception) -> str:
    readable_heif = is_heif(data) and _heif_reader_registered()
    if isinstance(error, UnidentifiedImageError) and not readable_heif:
        return explain(data)
    if "truncated" in str(error).lower() or isinstance(error, EOFError):
        return (
            f"the photograph breaks off after {len(data):,} bytes; allowed: a whole file; "
            "send it again, or take the photograph again"
        )
    return (
        f"the photograph is damaged ({_reason(error)}); {ALLOWED}; "
        "take the photograph again, or save it as JPEG"
    )


def _reason(error: Exception) -> str:
    if isinstance(error, UnidentifiedImageError):
        return "its content is no picture"  # Pillow's words name a buffer in memory
    return str(error).strip().partition("\n")[0] or type(error).__name__


def _formats(data: bytes) -> tuple[str, ...]:
    return (*_READABLE, "HEIF") if is_heif(data) and _heif_reader_registered() else _READABLE


@functools.cache
def _heif_reader_registered() -> bool:
    """Register pillow-heif, where someone has installed it; we don't ship it."""
    if importlib.util.find_spec("pillow_heif") is None:
        return False
    importlib.import_module("pillow_heif").register_heif_opener()
    return True
