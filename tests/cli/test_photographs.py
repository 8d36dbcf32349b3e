"""Photographs are made anew: upright, small, without place and words; what is none is refused in one sentence."""

from __future__ import annotations

import resource
from pathlib import Path

import pytest
from PIL import Image, ImageCms

from soakwitness.cli.options.common import WrongUse
from soakwitness.cli.photographs.reencoding import LARGEST_BYTES, LONGEST_SIDE_PX, photograph
from tests.photographs import WORDS, bomb, opened, with_a_place


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_no_place_and_no_words_stay_in_it(tmp_path: Path, kind: str) -> None:
    source = with_a_place(tmp_path / "edge.bin", kind=kind)
    with Image.open(source) as before:
        assert before.getexif().get_ifd(0x8825) or kind == "TIFF"
    made = photograph(source)
    assert WORDS not in made.data
    assert b"Exif" not in made.data
    kept = opened(made.data)
    assert kept.format == "JPEG"
    assert not kept.getexif()
    assert set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert kept.size == (made.width_px, made.height_px) == (640, 400)


def test_one_that_lies_on_its_side_is_set_upright(tmp_path: Path) -> None:
    """Orientation 6 is shown turned by a quarter to the right (EXIF 2.32, tag Orientation): its left end is on top."""
    made = photograph(with_a_place(tmp_path / "a.jpg", turned=6))
    kept = opened(made.data)
    assert kept.size == (400, 640)
    red, blue = kept.getpixel((200, 20)), kept.getpixel((200, 620))
    assert red[0] > 150 > red[2]
    assert blue[2] > 150 > blue[0]


def test_a_large_one_is_2000_pixels_long(tmp_path: Path) -> None:
    made = photograph(with_a_place(tmp_path / "a.jpg", size=(6000, 4500)))
    assert (made.width_px, made.height_px) == (LONGEST_SIDE_PX, 1500)
    assert len(made.data) < 1 << 20


@pytest.mark.parametrize("mode", ["L", "1", "P", "LA", "RGBA", "CMYK", "I;16", "I"])
def test_every_kind_of_pixels_is_taken(tmp_path: Path, mode: str) -> None:
    path = tmp_path / ("a.tif" if mode in ("CMYK", "I") else "a.png")
    Image.new(mode, (40, 30)).save(path)
    assert opened(photograph(path).data).mode == "RGB"


def test_what_is_clear_is_paper_and_not_black(tmp_path: Path) -> None:
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(tmp_path / "a.png")
    assert opened(photograph(tmp_path / "a.png").data).getpixel((5, 5)) == (255, 255, 255)


def test_colours_of_a_profile_are_turned_into_plain_ones(tmp_path: Path) -> None:
    """A profile that says sRGB changes nothing, one that cannot be read neither; both are left out."""
    own = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for number, profile in enumerate((own, b"no profile")):
        path = tmp_path / f"{number}.png"
        Image.new("RGB", (40, 30), (200, 120, 40)).save(path, icc_profile=profile)
        kept = opened(photograph(path).data)
        assert "icc_profile" not in kept.info
        assert all(abs(a - b) <= 3 for a, b in zip(kept.getpixel((5, 5)), (200, 120, 40), strict=True))


def test_over_50_mb_is_not_even_opened(tmp_path: Path) -> None:
    path = with_a_place(tmp_path / "a.jpg")
    with path.open("r+b") as file:
        file.truncate(LARGEST_BYTES + 1)
    with pytest.raises(WrongUse, match=r"a\.jpg has 50 MB; a photograph may have 50"):
        photograph(path)


def test_one_that_would_unpack_to_gigabytes_is_refused_before_it_does(tmp_path: Path) -> None:
    path = bomb(tmp_path / "a.png")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(WrongUse, match="would unpack|may have 120 million"):
        photograph(path)
    with pytest.raises(WrongUse, match="11000 x 11000 pixels; a photograph may have 120 million"):
        photograph(bomb(tmp_path / "b.png", 11_000))
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000  # [KiB]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "is no picture known here"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "is no picture known here"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "is no picture known here"),
        (b"GIF89a" + bytes(40), "Save the photograph as JPEG, PNG, WEBP or TIFF"),
        (b"\xff\xd8\xff\xe0" + bytes(300), "is no picture known here|is broken"),
    ],
    ids=["empty", "svg", "postscript", "gif", "no jpeg"],
)
def test_what_is_no_photograph_is_refused(tmp_path: Path, data: bytes, says: str) -> None:
    (tmp_path / "a.jpg").write_bytes(data)
    with pytest.raises(WrongUse, match=says):
        photograph(tmp_path / "a.jpg")


def test_every_cut_off_one_is_refused_or_whole(tmp_path: Path) -> None:
    whole = with_a_place(tmp_path / "a.jpg", size=(300, 200)).read_bytes()
    for end in range(0, len(whole) - 2, 97):
        (tmp_path / "b.jpg").write_bytes(whole[:end])
        with pytest.raises(WrongUse):
            photograph(tmp_path / "b.jpg")


def test_a_folder_or_nothing_is_told(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.jpg"):
        with pytest.raises(WrongUse, match="there is no such file"):
            photograph(path)
