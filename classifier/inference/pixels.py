"""From an opened picture to upright sRGB pixels, no larger than they need be."""

from __future__ import annotations

import functools
import io

import numpy as np
from PIL import Image, ImageCms, ImageFile

from classifier.errors import UnreadablePhotoError
from classifier.inference.sniff import ALLOWED

_ORIENTATION_TAG = 0x0112
_TRANSPOSE = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_EIGHT_BITS = np.rint(np.arange(65536) / 257.0).astype(np.uint8)  # 257 = 65535 / 255
_PROFILE_SPACE = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}


def upright_rgb(image: ImageFile.ImageFile, *, scale: float, longest: int) -> Image.Image:
    """Return `image` upright, in RGB of sRGB, at `scale` of its size or somewhat more.

    It is never enlarged, and never as large as twice `scale` where it can be made smaller by a
    whole number, which costs next to nothing. A side over `longest` pixels is brought down to it.
    """
    profile = image.info.get("icc_profile")
    turn = _TRANSPOSE.get(orientation(image))
    scale = min(scale, longest / max(image.size), 1.0)
    wanted = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    image.draft(None, wanted)  # JPEG only: decode at 1/2, 1/4 or 1/8; no effect elsewhere
    image.load()
    small = _continuous(image)
    factor = min(small.width // wanted[0], small.height // wanted[1])
    if factor > 1:
        small = small.reduce(factor)
    if max(small.size) > longest:
        small = small.resize(wanted, Image.Resampling.BICUBIC)
    if turn is not None:
        small = small.transpose(turn)
    return _to_srgb(_on_white(small), profile)


def orientation(image: Image.Image) -> int:
    """Return how the camera was held, 1 to 8 as EXIF counts; 1 where nothing sensible is said."""
    try:
        value = image.getexif().get(_ORIENTATION_TAG, 1)
    except Exception:  # a damaged EXIF block says nothing; the pixels may still be whole
        return 1
    return value if isinstance(value, int) else 1


def _continuous(image: Image.Image) -> Image.Image:
    """Return `image` in a mode of 8-bit channels that may be averaged when it is resized."""
    if image.mode.startswith("I;16"):
        return Image.fromarray(_EIGHT_BITS[np.asarray(image)])
    if image.mode in ("I", "F"):
        raise UnreadablePhotoError(
            "the picture has 32 bits a pixel in one channel, which cameras don't make; "
            f"{ALLOWED}; save it as an 8-bit JPEG"
        )
    if "transparency" in image.info or image.mode in ("PA", "La", "RGBa"):
        return image.convert("RGBA")
    if image.mode in ("L", "LA", "RGB", "RGBA", "CMYK"):
        return image
    return image.convert("L" if image.mode == "1" else "RGB")


def _on_white(image: Image.Image) -> Image.Image:
    if image.mode not in ("LA", "RGBA"):
        return image
    coloured = image.convert("RGBA")
    white = Image.new("RGBA", coloured.size, (255, 255, 255, 255))
    return Image.alpha_composite(white, coloured).convert("RGB")


def _to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            if source.profile.xcolor_space.strip() == _PROFILE_SPACE[image.mode]:
                transform = ImageCms.buildTransform(source, _srgb(), image.mode, "RGB")
                # Not in place: the result must not carry the profile along.
                return transform.apply(image)
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a damaged profile: the plain conversion below is what viewers show too
    return image.convert("RGB")


@functools.cache
def _srgb() -> ImageCms.ImageCmsProfile:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
