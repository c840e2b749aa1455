"""The runs figure: dots where their values say, told apart by shape, safe as markup, its numbers in words."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest

from reports.figures import COVERAGE, runs_figure
from reports.shapes import ROLES, Circle, Figure, Line, Path, Polygon, Text
from reports.svg import write_svg
from tests.reports import stored

SVG = "{http://www.w3.org/2000/svg}"


def centre(shape):
    if isinstance(shape, Circle):
        return shape.cx, shape.cy
    xs, ys = zip(*shape.points, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def dots(figure, count):
    """The runs' signs, in riding order: after the key, the means and their numbers."""
    signs = [s for s in figure.shapes if isinstance(s, Circle | Polygon)]
    return sorted(signs[-count:], key=lambda s: centre(s)[0])


def scale(figure):
    """Value at a height, from two lines of the grid and their numbers."""
    texts = {
        round(t.y - 2.6, 2): float(t.text)
        for t in figure.shapes
        if isinstance(t, Text) and t.anchor == "end" and "." in t.text
    }
    grid = [round(line.y1, 2) for line in figure.shapes if isinstance(line, Line) and line.role == "grid"]
    low, high = grid[0], grid[-1]
    return lambda y: texts[low] + (y - low) / (high - low) * (texts[high] - texts[low])


def test_a_dots_height_is_linear_in_its_value():
    result = stored.result("faster")
    figure = runs_figure(result)
    value = scale(figure)
    for run, dot in zip(result["runs"], dots(figure, 8), strict=True):
        assert value(centre(dot)[1]) == pytest.approx(run["cda_m2"], abs=1e-5)


def test_a_bar_reaches_two_standard_uncertainties_to_each_side():
    result = stored.result("faster")
    figure = runs_figure(result)
    value = scale(figure)
    bars = [s for s in figure.shapes if isinstance(s, Path) and s.role.endswith("-bar")][-8:]
    for run, bar in zip(result["runs"], bars, strict=True):
        (_, bottom), (_, top) = bar.strokes[0]
        assert value(bottom) == pytest.approx(run["cda_m2"] - COVERAGE * run["u_m2"], abs=1e-5)
        assert value(top) == pytest.approx(run["cda_m2"] + COVERAGE * run["u_m2"], abs=1e-5)


def test_means_lie_at_their_values():
    result = stored.result("slower")
    figure = runs_figure(result)
    lines = [s for s in figure.shapes if isinstance(s, Line) and s.role.endswith("-mean")]
    for setup, line in zip(result["setups"], lines, strict=True):
        assert scale(figure)(line.y1) == pytest.approx(setup["cda_m2"], abs=1e-5)


def test_runs_stand_in_riding_order_at_equal_distances():
    places = [centre(dot)[0] for dot in dots(runs_figure(stored.result()), 8)]
    steps = [b - a for a, b in pairwise(places)]
    assert max(steps) - min(steps) < 0.3


def test_setups_are_told_apart_by_shape():
    figure = runs_figure(stored.three_setups())
    signs = dots(figure, 12)
    kinds = {
        label: {
            (type(s), len(getattr(s, "points", ()))) for s, c in zip(signs, "ABCCBAABCCBA", strict=True) if c == label
        }
        for label in "ABC"
    }
    assert all(len(kind) == 1 for kind in kinds.values())
    assert len(set.union(*kinds.values())) == 3


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_every_ink_stands_out_on_white_paper():
    """WCAG 2.2, 1.4.3 and 1.4.11: 4.5 to 1 for text, 3 to 1 for graphics."""
    for name, role in ROLES.items():
        if name not in {"wash", "grid"}:
            contrast = 1.05 / (luminance(role.fill or role.stroke) + 0.05)
            assert contrast >= 4.5, name


def test_a_left_out_run_is_a_cross_in_its_place():
    runs = [stored.run(i + 1, "AB"[i % 2], None if i == 2 else 0.24) for i in range(4)]
    figure = runs_figure(stored.result(runs=runs))
    crosses = [s for s in figure.shapes if isinstance(s, Path) and s.role == "cross"]
    assert len(crosses) == 2  # one in the key
    assert "Run 3, setup A: left out." in figure.description


def test_all_shapes_lie_inside_the_figure():
    for result in (stored.result(), stored.three_setups(), stored.result("invalid")):
        figure = runs_figure(result)
        for shape in figure.shapes:
            x, y = (shape.x, shape.y) if isinstance(shape, Text) else (0, 0)
            assert 0 <= x <= figure.width
            assert 0 <= y <= figure.height


def test_means_that_lie_close_keep_their_numbers_apart():
    setups = [stored.setup(label, 0.24 + 0.00001 * i) for i, label in enumerate("ABCDE")]
    figure = runs_figure(stored.result(setups=setups))
    heights = [s.y for s in figure.shapes if isinstance(s, Text) and s.x > 420 and s.text.startswith("0.24")]
    assert len(heights) == 5
    assert min(b - a for a, b in pairwise(heights)) >= 10


@pytest.mark.parametrize("count", [1, 2, 60])
def test_any_number_of_runs_is_drawn(count):
    runs = [stored.run(i + 1, "A", 0.24 + 0.0001 * (i % 7)) for i in range(count)]
    figure = runs_figure(stored.result(runs=runs, setups=[stored.setup("A", 0.24)]))
    assert f"{count} runs in riding order" in figure.description


def test_svg_is_xml_without_style_or_script():
    labels = ['"><script>alert(1)</script>', "B' onload='x"]
    result = stored.result(
        setups=[stored.setup(label, 0.24) for label in labels],
        runs=[stored.run(i + 1, label) for i, label in enumerate(labels * 2)],
    )
    root = ET.fromstring(write_svg(runs_figure(result)))
    names = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert names <= {"svg", "title", "desc", "line", "circle", "polygon", "path", "text"}
    given = {key for element in root.iter() for key in element.attrib}
    assert not [key for key in given if key == "style" or key.startswith("on") or "href" in key]


def test_svg_says_its_numbers_in_words():
    root = ET.fromstring(write_svg(runs_figure(stored.result())))
    assert root.attrib["role"] == "img"
    assert root.find(f"{SVG}title").text == "Drag area of every run, in riding order"
    assert "Run 1, setup A: 0.2401 square metres" in root.find(f"{SVG}desc").text


def test_svg_has_a_class_for_every_colour():
    """A dark screen overrides them; a colour without a class would stay dark on dark."""
    root = ET.fromstring(write_svg(runs_figure(stored.result())))
    drawn = [e for e in root.iter() if "fill" in e.attrib]
    assert drawn
    assert all(e.attrib["class"].removeprefix("f-") in ROLES for e in drawn)


def test_svg_positions_are_those_of_the_figure():
    figure = Figure(10, 10, "t", "d", (Circle(1.5, 2, 3, "ink"), Path((((0, 0), (1, 2)), ((3, 4), (5, 6))), "axis")))
    root = ET.fromstring(write_svg(figure))
    assert root.find(f"{SVG}circle").attrib["cx"] == "1.5"
    assert root.find(f"{SVG}path").attrib["d"] == "M0,0 L1,2 M3,4 L5,6"
