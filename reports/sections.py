"""What a report says and in which order: frozen facts to pages of shapes.

Facts only: no database, no clock, no estimator. How a strip flows is `layout.py`'s matter, a sentence `wording.py`'s.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports import wording
from reports.changes import change_table, items_kept
from reports.conditions import conditions, entered, instruments
from reports.earlier_tests import TITLE, earlier_tests
from reports.figures import runs_figure
from reports.layout import (
    LEFT,
    PAGE_HEIGHT,
    SMALL,
    WIDTH,
    Sheet,
    Strip,
    beside,
    figure_strip,
    pairs,
    paragraph,
    stacked,
    table,
)
from reports.lines import shortened
from reports.numerals import difference, interval, plain
from reports.shapes import Line, Polygon, Shape, Text
from reports.wording import SQUARE_METRES

Facts = Mapping[str, Any]
FIGURE_HEIGHTS = (168.0, 140.0, 116.0)
"""Tried in this order, in points."""


def lay_out(facts: Facts) -> Sheet:
    """All pages of a report: on one page if a lower figure makes it fit, else at its ease on several."""
    tries = [_pages(facts, figure_height=height) for height in FIGURE_HEIGHTS]
    return next((sheet for sheet in tries if len(sheet.pages) == 1), tries[0])


def _pages(facts: Facts, *, figure_height: float) -> Sheet:
    sheet = Sheet()
    _title(sheet, facts)
    _answer(sheet, facts)
    _before_and_after(sheet, facts)
    _runs(sheet, facts, figure_height)
    _how(sheet, facts)
    _warnings(sheet, facts)
    _equipment(sheet, facts)
    _certainty(sheet, facts)
    _cautions(sheet)
    sheet.place([_end_mark(facts)])
    for i, page in enumerate(sheet.pages):
        page.shapes += _frame(facts, page_number=i + 1, pages=len(sheet.pages))
    return sheet


def document_title(facts: Facts) -> str:
    """The one title: on the first page and in the file's own facts."""
    about = facts["session"]["title"] or " and ".join(s["label"] for s in facts["setups"][:2])
    return f"Report {facts['report']['number']}: {about}, {facts['session']['date']}"


def _frame(facts: Facts, *, page_number: int, pages: int) -> list[Shape]:
    """Head and foot of a page."""
    number = f"Report {facts['report']['number']}"
    right, foot = LEFT + WIDTH, PAGE_HEIGHT - 24.0
    studio = shortened(facts["studio"]["name"], 8.5, WIDTH - 110, bold=True)
    return [
        Text(LEFT, 36, studio, "ink", 8.5, bold=True),
        Text(right, 36, number, "ink", 8.5, anchor="end", bold=True),
        Line(LEFT, 41, right, 41, "rule"),
        Line(LEFT, foot - 9.5, right, foot - 9.5, "grid"),
        Text(LEFT, foot, wording.ITEMS_ONLY, "soft", SMALL),
        Text(right, foot, f"{number}, page {page_number} of {pages}", "soft", SMALL, anchor="end"),
    ]


def _title(sheet: Sheet, facts: Facts) -> None:
    report, customer, session = facts["report"], facts["customer"], facts["session"]
    title = session["title"] or "Test of " + " and ".join(s["label"] for s in facts["setups"][:2])
    sheet.bookmark(document_title(facts))
    sheet.place(paragraph(title, WIDTH, size=15, bold=True, after=0))
    rider = f"{customer['name']} ({customer['code']})" if customer["name"] else f"rider {customer['code']}"
    issued = f"issued {report['issued_local']}" + (f" by {report['issued_by']}" if report["issued_by"] else "")
    sheet.place(paragraph(f"Before and after, for {rider}. Tested {session['date']}, {issued}.", WIDTH, role="soft"))
    if facts["studio"]["address"]:
        sheet.place(paragraph(facts["studio"]["address"], WIDTH, size=SMALL, role="soft", after=0))


def _answer(sheet: Sheet, facts: Facts) -> None:
    result = facts["result"]
    comparisons = result["comparisons"]
    size = 11.0 if len(comparisons) == 1 else 9.2
    strips: list[Strip] = []
    for comparison in comparisons:
        strips += paragraph(wording.answer(result, comparison), WIDTH, size=size, bold=True, after=2)
        following = wording.what_next(result, comparison)
        strips += paragraph(following, WIDTH, after=2) if following else []
    if not comparisons:
        strips += paragraph(wording.NOTHING_COMPARED, WIDTH, size=size, bold=True)
    sheet.section(_answer_title(comparisons), strips)
    if any(c["ridden_delta_m2"] is not None for c in comparisons):
        sheet.space(2)
        sheet.place([_tiles(comparisons[0])] if len(comparisons) == 1 else _answer_table(comparisons))
    sheet.place(_rolling(comparisons))


def _answer_title(comparisons: Sequence[Mapping[str, Any]]) -> str:
    if len(comparisons) != 1:
        return "The answer"
    word = wording.headline(comparisons[0])
    return word if comparisons[0]["verdict"] == "invalid" else f"The answer: {word.lower()}"


def _tiles(comparison: Mapping[str, Any]) -> Strip:
    """The three figures of one comparison, large, with their intervals."""
    kind = f"{wording.resistance(comparison)}; minus is less"
    tiles = [
        (f"{difference(comparison['ridden_delta_m2'], 'm2')} {SQUARE_METRES}", comparison["ridden_ci95_m2"], "m2", kind)
    ]
    tiles += [
        (f"{difference(w['delta_w'], 'W')} W", w["ci95_w"], "W", f"at {plain(w['speed_kmh'])} km/h")
        for w in comparison["watts"][:1]
    ]
    tiles += [
        (f"{difference(t['delta_s'], 's')} s", t["ci95_s"], "s", f"over {wording.ride(t)}")
        for t in comparison["time"][:1]
    ]
    gap = 8.0
    room = (WIDTH - gap * (len(tiles) - 1)) / len(tiles)
    made = [(i * (room + gap), _tile(tile, room)) for i, tile in enumerate(tiles)]
    return beside(made, below=3)


def _tile(tile: tuple[str, Sequence[float] | None, str, str], room: float) -> Strip:
    number, ends, unit, what = tile
    sure = f"95 % interval {interval(ends, unit)}" if ends else "no interval: too few runs"
    inner = stacked(
        [
            *paragraph(number, room - 16, size=14, bold=True, after=0),
            *paragraph(what, room - 16, size=SMALL + 0.4, role="soft", after=0),
            *paragraph(sure, room - 16, size=SMALL + 0.4, after=0),
        ]
    )
    height = inner.height + 9
    ground = Polygon(((0, 0), (room, 0), (room, height), (0, height)), "wash")
    text = beside([(8, inner)], above=4)
    return Strip(height, (ground, *text.shapes))


def _answer_table(comparisons: Sequence[Mapping[str, Any]]) -> list[Strip]:
    """Several comparisons as rows; signs: changed minus reference."""
    first = comparisons[0]
    head = ["Setup", "Verdict", f"Drag area, {SQUARE_METRES}"]
    head += [f"W at {plain(w['speed_kmh'])} km/h" for w in first["watts"][:1]]
    head += [f"s over {wording.ride(t)}" for t in first["time"][:1]]
    rows = []
    for c in comparisons:
        cells = [f"{c['changed']} against {c['reference']}", wording.headline(c)]
        cells.append(_with_interval(c["ridden_delta_m2"], wording.deciding_interval(c, several=True), "m2"))
        cells += [_with_interval(w["delta_w"], w["ci95_w"], "W") for w in c["watts"][:1]]
        cells += [_with_interval(t["delta_s"], t["ci95_s"], "s") for t in c["time"][:1]]
        rows.append(cells)
    share = [0.16, 0.14, 0.27, 0.2, 0.23][: len(head)]
    strips = table(head, rows, [WIDTH * s / sum(share) for s in share])
    strips.append(Strip(2, ()))
    return [*strips, *paragraph(wording.SEVERAL_INTERVALS, WIDTH, size=SMALL, role="soft")]


def _with_interval(value: float | None, ends: Sequence[float] | None, unit: str) -> str:
    return difference(value, unit) + (f" ({interval(ends, unit)})" if ends else "")


def _rolling(comparisons: Sequence[Mapping[str, Any]]) -> list[Strip]:
    """Where tyres or pressures changed: drag and rolling told apart as far as the session can."""
    lines = [wording.rolling_sentence(c) for c in comparisons if c["delta_crr"] is not None]
    return [strip for line in lines for strip in paragraph(line, WIDTH, after=1)]


def _before_and_after(sheet: Sheet, facts: Facts) -> None:
    kept = paragraph(items_kept(facts), WIDTH, size=SMALL, role="soft", after=0)
    sheet.section("What changed", [*change_table(facts), *kept])


def _runs(sheet: Sheet, facts: Facts, height: float) -> None:
    if all(run["cda_m2"] is None for run in facts["result"]["runs"]):
        sheet.section("Every run", paragraph(wording.NO_RUN_USABLE, WIDTH, after=0))
        return
    figure = figure_strip(runs_figure(facts["result"], width=WIDTH, height=height))
    caption = paragraph(wording.RUNS_CAPTION, WIDTH, size=SMALL, role="soft", after=0)
    sheet.section("Every run", [stacked([figure, *caption])])


def _how(sheet: Sheet, facts: Facts) -> None:
    """Conditions and method side by side, fingerprints below."""
    first = 0.53 * WIDTH
    second = WIDTH - first - 14
    result, analysis = facts["result"], facts["analysis"]
    method = [
        ("Method", wording.METHODS.get(result["engine"]["method"], result["engine"]["method"])),
        ("Version", f"engine {result['engine']['version']}, analysis {analysis['number']}, wording {facts['wording']}"),
        *entered(facts),
        *instruments(facts),
    ]
    left = [*paragraph("Conditions", first, size=9.6, bold=True), *pairs(conditions(facts), first)]
    right = [*paragraph("How it was worked out", second, size=9.6, bold=True), *pairs(method, second)]
    sheet.space(6)
    sheet.bookmark("Conditions and method")
    sheet.columns(left, right, second=first + 14)
    sheet.space(3)
    prints = f"Fingerprints (SHA-256): inputs {analysis['inputs_sha256']}, result {analysis['result_sha256']}"
    prints += "; each recording's in facts.json, attached to this file."
    sheet.place(paragraph(prints, WIDTH, size=6.4, role="soft", after=0))


def _warnings(sheet: Sheet, facts: Facts) -> None:
    warnings = sorted(facts["result"]["warnings"], key=lambda w: ("invalid", "caution", "note").index(w["level"]))
    if not warnings:
        sheet.section("What to know about this result", paragraph(wording.NO_WARNINGS, WIDTH, after=0))
        return
    strips = [
        beside(
            [
                (0, stacked(paragraph(wording.LEVEL_WORDS[w["level"]], 44, bold=True, size=SMALL + 0.4, after=0))),
                (46, stacked(paragraph(wording.warning_sentence(w), WIDTH - 46, size=SMALL + 0.4, after=1))),
            ]
        )
        for w in warnings
    ]
    sheet.section("What to know about this result", strips)


def _equipment(sheet: Sheet, facts: Facts) -> None:
    strips = earlier_tests(facts)
    if strips:
        sheet.section(TITLE, strips)


def _certainty(sheet: Sheet, facts: Facts) -> None:
    result = facts["result"]
    said = [
        *(wording.uncertainty(comparison) for comparison in result["comparisons"]),
        wording.heaviest(result),
        wording.decision_rule(result),
        wording.CONVENTION,
        wording.ROUNDED,
        wording.NO_ACCREDITATION,
    ]
    text = " ".join(sentence for sentence in said if sentence)
    sheet.section("How sure, and what the words mean", paragraph(text, WIDTH, size=SMALL, after=0))


def _cautions(sheet: Sheet) -> None:
    sheet.section("On the road", paragraph(" ".join(wording.CAUTIONS), WIDTH, size=SMALL, after=1))


def _end_mark(facts: Facts) -> Strip:
    text = f"\N{EM DASH} end of report {facts['report']['number']} \N{EM DASH}"
    return Strip(15, (Text(WIDTH / 2, 12, text, "soft", SMALL, anchor="middle"),))
