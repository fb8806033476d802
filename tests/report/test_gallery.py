from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from PIL import Image

from necrostats.report.gallery import FOLDER, draw, pictures

README = Path(__file__).parents[2] / "README.md"
MOST_BYTES = 60_000


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    return {path.name: path.read_bytes() for path in draw(tmp_path_factory.mktemp("gallery"))}


@pytest.mark.slow
def test_every_picture_is_drawn_small_and_is_a_picture(drawn):
    assert set(drawn) == {f"{name}.png" for name in pictures()}
    for name, content in drawn.items():
        assert len(content) < MOST_BYTES, name
        assert Image.open(io.BytesIO(content)).width > 600


def test_the_pictures_kept_are_those_that_are_drawn(drawn):
    assert {path.name for path in FOLDER.iterdir()} == set(drawn)
    for path in FOLDER.iterdir():
        assert path.stat().st_size < MOST_BYTES


def test_every_picture_stands_in_the_readme_with_words_for_those_who_do_not_see_it(drawn):
    shown = dict(re.findall(r"!\[([^\]]{40,})\]\(notebooks/gallery/([^)]+)\)", README.read_text(encoding="utf-8")))
    assert set(shown.values()) == set(drawn)
