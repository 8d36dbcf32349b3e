"""One photograph made anew: upright, at most 2000 pixels long, without place, camera or anything else written in it."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from soakwitness.cli.options.common import WrongUse

if TYPE_CHECKING:
    from PIL import Image

LARGEST_BYTES = 50 << 20
LARGEST_PIXELS = 120_000_000  # of the file; 360 MB when it is unpacked
LONGEST_SIDE_PX = 2000
KINDS = ("JPEG", "PNG", "WEBP", "TIFF")
_QUALITY = 88


@dataclass(frozen=True)
class Photograph:
    """A picture as it is kept: a JPEG file's bytes and its size [pixels]."""

    data: bytes
    width_px: int
    height_px: int


def photograph(path: Path) -> Photograph:
    """Make the picture of a file anew.

    Raises WrongUse if it is over 50 MB, no picture of a kind known here, broken, or would unpack to too much.
    """
    from PIL import Image, UnidentifiedImageError

    size = _size(path)
    if size > LARGEST_BYTES:
        raise WrongUse(
            f"{path.name} has {size / (1 << 20):.0f} MB; a photograph may have {LARGEST_BYTES >> 20}. Save it smaller."
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is odd in a camera's file is none of the maker's business
            with Image.open(path, formats=KINDS) as read:
                _check_pixels(path, read)
                return _anew(read)
    except WrongUse:
        raise
    except Image.DecompressionBombError:
        raise WrongUse(f"{path.name} would unpack to far more than a photograph. It was not read.") from None
    except UnidentifiedImageError:
        kinds = ", ".join(KINDS[:-1]) + f" or {KINDS[-1]}"
        raise WrongUse(f"{path.name} is no picture known here. Save the photograph as {kinds}.") from None
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, OverflowError) as error:
        raise WrongUse(f"{path.name} is broken ({error}). Take the photograph once more, or send it again.") from None


def _size(path: Path) -> int:
    try:
        if not path.is_file():
            raise WrongUse(f"{path}: there is no such file.")
        return path.stat().st_size
    except OSError as error:
        raise WrongUse(f"{path} cannot be read: {error.strerror or error}.") from None


def _check_pixels(path: Path, read: Image.Image) -> None:
    """Before anything is unpacked."""
    width, height = read.size
    if width * height > LARGEST_PIXELS:
        raise WrongUse(
            f"{path.name} has {width} x {height} pixels; a photograph may have {LARGEST_PIXELS // 1_000_000} million. "
            "Save it smaller."
        )


def _anew(read: Image.Image) -> Photograph:
    from PIL import Image, ImageOps

    read.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))  # a JPEG is unpacked no larger than it is needed
    small = ImageOps.exif_transpose(read)
    small.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    small = _in_plain_colours(small)
    clean = Image.new("RGB", small.size, "white")  # a new one has no words, place or profile of the old one
    clean.paste(small, mask=small.getchannel("A") if small.mode == "RGBA" else None)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Photograph(out.getvalue(), *clean.size)


def _in_plain_colours(image: Image.Image) -> Image.Image:
    """Colours as every screen takes them, by the file's own profile where it has one that can be read."""
    from PIL import ImageCms

    clear = "A" in image.getbands() or "transparency" in image.info
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "CMYK"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
            return turned if turned is not None else image.convert("RGB")
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a profile that cannot be read changes nothing but shades
    if image.mode.startswith("I"):  # sixteen bits a pixel: the upper eight of them
        image = image.point(lambda value: value / 256).convert("L")
    return image.convert("RGBA" if clear else "RGB")
