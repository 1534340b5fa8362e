"""Names of a chart's lines: apart from one another, and without leaders that look like data."""

from __future__ import annotations

import itertools
from dataclasses import replace
from xml.etree import ElementTree as ET

from fake_shelf import TODAY, fake_shelf
from hypothesis import given
from hypothesis import strategies as st

from jarvision.report import svg
from jarvision.report.charts import draw_shelf
from jarvision.report.line_names import LineEnd, Place, column_places, places_at_ends

STEP, TOP = 6.0, 104.0
percents = st.lists(st.floats(0, 100), min_size=1, max_size=12)


@given(percents)
def test_a_column_holds_every_name_apart_and_in_order(levels: list[float]) -> None:
    ends = [LineEnd(f"J{n}", 7.0, level, 1.0) for n, level in enumerate(levels)]
    places = column_places(ends, day=7.5, step=STEP, top=TOP)
    ranked = [places[end.name] for end in sorted(ends, key=lambda end: end.percent)]
    assert all(place.day == 7.5 for place in ranked)
    assert all(b.percent - a.percent > STEP - 1e-6 for a, b in itertools.pairwise(ranked))
    assert all(-1e-6 <= place.percent <= TOP - STEP + 1e-6 for place in ranked)


def test_a_name_beside_its_lines_end_needs_no_leader() -> None:
    alone = column_places([LineEnd("J1", 7.0, 50.0, 1.0)], day=7.5, step=STEP, top=TOP)
    assert not alone["J1"].leader
    crowd = [LineEnd(f"J{n}", 7.0, 100.0, 1.0) for n in range(3)]
    leaders = [p.leader for p in column_places(crowd, day=7.5, step=STEP, top=TOP).values()]
    assert leaders == [True, True, False]


@given(st.lists(st.tuples(st.floats(0, 6), st.floats(0, 100)), min_size=1, max_size=7))
def test_names_at_ends_stand_on_the_chart_and_not_over_one_another(
    ends: list[tuple[float, float]],
) -> None:
    lines = [LineEnd(f"J{n}", day, percent, 1.0) for n, (day, percent) in enumerate(ends)]
    places = list(places_at_ends(lines, step=STEP, top=TOP).values())
    assert all(p.day >= 0 and 0 <= p.percent <= TOP and not p.leader for p in places)

    def overlap(a: Place, b: Place) -> bool:
        return abs(a.day - b.day) < 1.0 and abs(a.percent - b.percent) < STEP

    assert not any(overlap(a, b) for a, b in itertools.combinations(places, 2))


def test_no_leader_runs_across_the_plot_or_in_a_jars_colour() -> None:
    """A jar whose last photo is older is named at its point; leaders are grey and dotted."""
    stories = list(fake_shelf().stories)
    short = stories[1].history.days[:4]
    stories[1] = replace(stories[1], history=replace(stories[1].history, days=short))
    crowd = stories[4]
    twin = replace(crowd, verdict=replace(crowd.verdict, jar="J06"))
    stories.append(twin)
    drawn = ET.fromstring(draw_shelf(stories, key="s", today=TODAY))
    at = {e.text: float(e.get("x", "nan")) for e in drawn.iter() if e.tag.endswith("}text")}
    column = {name: x for name, x in at.items() if name in ("J01", "J03", "J04", "J05", "J06")}
    assert len(set(column.values())) == 1
    assert at["J02"] < min(column.values()) - 50
    lines = [e.get("style", "") for e in drawn.iter() if e.tag.endswith("}path")]
    outside = [s for s in lines if "stroke-dasharray: 1,2" in s]
    assert len(outside) == 1, lines
    assert all(svg.QUIET in style for style in outside)
