"""Names in every script and names with bad intentions: nothing is lost, nothing is obeyed."""

import io

import pikepdf
import pypdf
import pytest

from reports import fonts
from reports.lines import shortened, width, wrap
from reports.render import render_pdf
from reports.scripts import clean, in_reading_order
from tests.reports import stored
from tests.reports.conftest import text_of

HOSTILE = '<b>bold</b><img src="file:///etc/passwd"/> & "q" ]]> %s {x} \\N{x} $(ls)'


def named(name):
    return stored.facts(customer={"code": "R-1", "name": name})


@pytest.mark.parametrize(
    "name", ["Ærø Ñandú Ž", "Жук Україна", "Ωμέγα", "漢字かな交じり", "한국어", "Հայ", "ქართ", "हिन", "Việt"]
)
def test_a_name_comes_back_letter_by_letter(name, read):
    assert name in read(named(name))


def test_a_letter_that_no_font_has_is_printed_as_its_code_point(read):
    assert "U+0E01 U+1F600" in read(named("\u0e01 \U0001f600"))


def test_hebrew_is_set_from_right_to_left():
    assert in_reading_order("abc שלום def") == "abc םולש def"


def test_figures_inside_right_to_left_words_keep_their_order():
    assert in_reading_order("שלום 12 עולם") == "םלוע 12 םולש"


def test_arabic_letters_take_the_form_that_their_neighbours_ask_for():
    """The Unicode Standard, 9.2: alef joins to its right only, so beh-alef-beh is initial, final, isolated."""
    assert in_reading_order("باب") == "\ufe8f\ufe8e\ufe91"


def test_right_to_left_letters_are_all_in_the_pdf(read):
    text = read(named("שלום"))
    assert "שלום" in text or "םולש" in text


def test_markup_is_printed_and_not_obeyed(read):
    text = read(named(HOSTILE))
    assert '<b>bold</b><img src="file:///etc/passwd"/> & "q" ]]> %s {x}' in text


def test_control_and_direction_changing_letters_are_taken_out():
    assert clean("a\x00b\u202ec\u200bd\r\ne\x1b[31m") == "a bcd e [31m"


def test_hostile_text_in_every_place_still_gives_a_report():
    result = stored.result(
        setups=[stored.setup("A", 0.2405), stored.setup(HOSTILE, 0.2344)],
        runs=[stored.run(1, "A"), stored.run(2, HOSTILE)],
        comparisons=[
            stored.comparison("faster", changed=HOSTILE, changes=[{"factor": HOSTILE, "from": None, "to": [HOSTILE]}])
        ],
        warnings=[stored.warning(what=HOSTILE * 20, do="", where=f"setup {HOSTILE}")],
    )
    facts = stored.facts(result, studio={"name": HOSTILE * 5, "address": HOSTILE}, left_out={"2": HOSTILE})
    text = text_of(render_pdf(facts))
    assert text.count("bold</b>") > 20


def test_a_hostile_title_stays_a_title():
    facts = stored.facts()
    facts["session"]["title"] = ") /OpenAction << /S /JavaScript >> (" + HOSTILE
    pdf = render_pdf(facts)
    assert "/OpenAction" in pypdf.PdfReader(io.BytesIO(pdf)).metadata.title
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert "/OpenAction" not in opened.Root


def test_a_word_longer_than_the_line_is_cut_and_kept_whole():
    lines = wrap("x" * 300, 8.5, 200)
    assert "".join(lines) == "x" * 300
    assert all(width(line, 8.5) <= 200 for line in lines)


def test_han_breaks_between_letters():
    lines = wrap("漢" * 60, 8.5, 100)
    assert len(lines) > 4
    assert "".join(lines) == "漢" * 60


def test_a_line_that_must_be_short_says_that_it_was_cut():
    assert shortened("Leeward " * 30, 8.5, 120).endswith("\N{HORIZONTAL ELLIPSIS}")
    assert width(shortened("Leeward " * 30, 8.5, 120), 8.5) <= 120


def test_large_fonts_are_read_only_when_a_text_needs_them():
    fonts._font.cache_clear()
    fonts._writer.cache_clear()
    fonts.pieces("Łódź Ωμέγα", bold=True)
    assert fonts._font.cache_info().currsize == 2  # regular and bold
