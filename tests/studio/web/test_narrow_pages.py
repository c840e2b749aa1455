"""A page on a phone: what is wider than the screen scrolls in a box of its own, with what is unseen in it."""

import re
from pathlib import Path

import studio.web

SHEET = re.sub(r"/\*.*?\*/", "", (Path(studio.web.__file__).parent / "static/web/house.css").read_text(), flags=re.S)


def rule(selector):
    return "".join(body for names, body in re.findall(r"([^{}]+)\{([^{}]*)\}", SHEET) if names.strip() == selector)


def test_a_box_that_scrolls_contains_what_is_placed_apart_in_it():
    # CSS 2.2, 11.1.1: overflow does not clip what is placed absolutely, unless the box is its containing block (10.1).
    assert "position: absolute" in rule(".unseen")
    assert "overflow-x: auto" in rule(".wide")
    assert "position: relative" in rule(".wide")
