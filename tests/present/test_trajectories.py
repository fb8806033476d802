from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import matplotlib
import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import many_courses
from necrostats.measures import collection_volumes
from necrostats.present import chart, table, words
from necrostats.present.style import STYLES
from necrostats.present.trajectories import Grid, Median, Panel, draw


def _six(**more):
    courses = [Course(scans=[(20, 60.0 + place), (50, 10.0 + place)], **more) for place in range(6)]
    return collection_volumes(registry_of(*courses), size="long_mm")


def _texts(figure) -> list[str]:
    return [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in figure.fig.texts]


def test_the_figure_holds_every_value_and_every_median_that_is_drawn():
    result = _six()
    data = chart(result).data
    medians = data[data["what"].str.startswith("median")]
    assert medians["what"].tolist() == ["median, days 15–28", "median, days 29–60"]
    assert medians["value"].tolist() == [62.5, 12.5]
    assert medians["n"].tolist() == [6, 6]
    values = data.loc[~data["what"].str.startswith("median"), "value"]
    pd.testing.assert_series_equal(values.reset_index(drop=True), result.series["value"], check_names=False)


def test_a_line_stops_at_the_last_scan():
    thin = [line for line in chart(_six()).fig.axes[0].lines if line.get_linewidth() < 0.5]
    assert [list(line.get_xdata()) for line in thin] == [[20, 50]] * 6


def test_a_median_of_fewer_than_five_is_not_drawn_and_breaks_the_line():
    courses = [Course(scans=[(5, 90.0), *([(20, 70.0)] if place < 2 else []), (50, 30.0)]) for place in range(6)]
    figure = chart(collection_volumes(registry_of(*courses), size="long_mm"))
    medians = [each for each in figure.data["what"] if each.startswith("median")]
    assert medians == ["median, days 1–14", "median, days 29–60"]
    thick = [line for line in figure.fig.axes[0].lines if line.get_linewidth() > 2]
    assert [list(line.get_xdata()) for line in thick] == [[5.0], [50.0]]
    assert "No median of fewer than 5 collections" in figure.caption


def test_the_number_that_contributed_stands_under_each_window():
    texts = _texts(chart(_six()))
    assert "Collections, n = 6" in texts
    assert texts.count("6") == 2
    assert texts.count("0") == 4


def test_a_volume_of_zero_has_a_line_of_its_own_below_one():
    courses = [Course(scans=[(20, 40.0), (50, 0.0)]) for _ in range(5)]
    figure = chart(collection_volumes(registry_of(*courses)))
    ticks = [label.get_text() for label in figure.fig.axes[0].get_yticklabels()]
    assert ticks[:3] == ["0", "1", "10"]
    assert figure.fig.axes[0].get_yticks()[0] < figure.fig.axes[0].get_yticks()[1] == 0


def test_groups_stand_in_panels_of_their_own():
    figure = chart(collection_volumes(many_courses(30), by="infection", size="long_mm"))
    assert len(figure.fig.axes) == 3
    assert "Suspected, n = 4" in _texts(figure)


def test_the_table_gives_those_scanned_of_all_and_the_median_with_quartiles():
    frame = table(_six()).frame
    assert frame.loc[2].tolist() == ["Days 15–28", "6 / 6", "6", "62.5 (61.3–63.8)"]
    assert frame.loc[5].tolist()[-1] == "no values"


def test_the_words_name_the_window_and_who_was_scanned():
    said = words(_six())
    assert said.startswith("Longest axis, mm, median (quartiles): days 15–28 62.5 (61.3–63.8), 6 of 6 collections;")
    assert "late medians do not speak for all" in said
    assert "too few, 1 of 1 collection" in words(collection_volumes(registry_of(Course(scans=[(5, 0.0)]))))


@pytest.mark.parametrize("width", ["page", "column"])
@pytest.mark.parametrize("size", ["volume_ml", "long_mm"])
@pytest.mark.parametrize(
    "registry",
    [registry_of(), registry_of(Course()), registry_of(Course(scans=[(5, 0.0)])), many_courses(150)],
    ids=["nobody", "no scans", "one scan", "150 patients"],
)
def test_every_size_gives_a_figure_with_no_text_off_the_sheet(registry, size, width):
    figure = chart(collection_volumes(registry, size=size), width=width)
    assert figure.alt
    frame = figure.fig.bbox
    for text in figure.fig.texts:
        box = text.get_window_extent(figure.fig.canvas.get_renderer())
        assert frame.x0 - 1 <= box.x0 and box.x1 <= frame.x1 + 1, text.get_text()
        assert frame.y0 - 1 <= box.y0 and box.y1 <= frame.y1 + 1, text.get_text()


def test_nothing_measured_is_said():
    figure = chart(collection_volumes(registry_of(Course())))
    assert "Nothing measured" in _texts(figure)
    assert "No collection was measured." in figure.alt


def test_labels_with_markup_are_escaped():
    result = collection_volumes(many_courses(9), by="infection", size="long_mm")
    nasty = {"confirmed": "<script>x</script> & $y$"}
    renamed = {
        name: getattr(result, name).assign(group=getattr(result, name)["group"].cat.rename_categories(nasty))
        for name in ("frame", "series")
    }
    page = chart(replace(result, **renamed))._repr_html_()
    assert "<script" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.slow
def test_the_same_sizes_give_the_same_bytes_and_leave_the_settings_alone():
    before = dict(matplotlib.rcParams)
    result = _six()
    assert chart(result)._repr_html_() == chart(result)._repr_html_()
    assert chart(result).image("png", dpi=40) == chart(result).image("png", dpi=40)
    assert dict(matplotlib.rcParams) == before


def _median(day: float, count: int) -> Median:
    return Median(day=day, centre=day, estimate=50.0, low=20.0, high=90.0, count=count, shown=count >= 5)


def _grid(log: bool, panels: int = 1, counts=(150, 140, 130)) -> Grid:
    medians = tuple(_median(day, count) for day, count in zip((-7.0, 7.0, 21.0), counts, strict=True))
    panel = Panel(title="A", lines=(((0.0, 20.0), (400.0, 0.0)),), medians=medians, style=STYLES[0])
    return Grid(
        panels=(panel,) * panels,
        first_day=-14.0,
        ticks=(0, 14, 28, 180),
        most=400.0,
        log=log,
        y_label="Volume, ml",
        remarks=(),
    )


def test_a_logarithmic_place_is_a_power_of_ten_and_zero_lies_below_one():
    places = _grid(True).place([0, 0.5, 1, 10, 1000])
    assert places[0] < 0
    np.testing.assert_allclose(places[1:], [0, 0, 1, 3])
    np.testing.assert_array_equal(_grid(False).place([0, 40]), [0, 40])


def test_counts_under_narrow_windows_do_not_touch():
    sheet = draw(_grid(True), 3.35)
    counts = [text for text in sheet.texts if text.get_text() in ("150", "140", "130")]
    boxes = sorted((text.get_window_extent(sheet.canvas.get_renderer()) for text in counts), key=lambda box: box.x0)
    assert len(boxes) == 3
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))


def test_panels_stand_side_by_side_on_a_page_and_below_each_other_in_a_column():
    assert len({axes.get_position().y0 for axes in draw(_grid(False, 2), 7.0).axes}) == 1
    assert len({axes.get_position().y0 for axes in draw(_grid(False, 2), 3.35).axes}) == 2


def test_a_window_with_too_few_parts_the_median():
    thick = [line for line in draw(_grid(False, counts=(9, 2, 9)), 7.0).axes[0].lines if line.get_linewidth() > 2]
    assert [list(line.get_xdata()) for line in thick] == [[-7.0], [21.0]]
