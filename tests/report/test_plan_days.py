"""The next days: a task of many jars is one line, and nothing of it is lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import html5lib
from fake_shelf import TODAY, fake_shelf

from jarvision.report.page import render_page
from jarvision.report.plan_days import FEW_NAMES, Fold, TaskLine, grouped, next_days
from jarvision.verdict.plan import Plan, PlanItem, Task

MANY = tuple(f"K{n}" for n in range(FEW_NAMES + 1))


def items(task: Task, jars: tuple[str, ...], text: str, *, after: int = 1) -> list[PlanItem]:
    return [PlanItem(TODAY + timedelta(days=after), task, (jar,), text) for jar in jars]


def plan_of(*due: PlanItem) -> Plan:
    return Plan(TODAY, TODAY + timedelta(days=13), due)


def test_tasks_that_differ_in_their_jars_alone_are_one() -> None:
    use = TaskLine("Use as spawn", ("K1",), ("Look it over.",), "1 Mar to 3 Mar")
    tasks = [
        use,
        replace(use, jars=("K2",)),
        replace(use, jars=("K3",), span=""),
        replace(use, heading="Heat", jars=("K4",), texts=("Drain.",)),
        replace(use, heading="Heat", jars=("K5",), texts=("Drain more.",)),
    ]
    told = [(t.heading, t.told, t.text) for t in grouped(tasks) if isinstance(t, TaskLine)]
    assert told == [
        ("Use as spawn", "K1, K2", "Look it over."),
        ("Use as spawn", "K3", "Look it over."),
        ("Heat", "K4, K5", "Drain. Drain more."),
    ]


def test_a_task_of_many_jars_is_one_line_with_every_jar_in_its_fold() -> None:
    (few,) = next_days(plan_of(*items("use", MANY[:-1], "Look it over."))).days
    assert [type(line) for line in few.tasks] == [TaskLine]
    (day,) = next_days(plan_of(*items("use", MANY, "Look it over."))).days
    (fold,) = day.tasks
    assert isinstance(fold, Fold)
    assert (fold.title, fold.number, fold.text) == ("Use as spawn", len(MANY), "Look it over.")
    assert [jar for part in fold.parts for jar in part.jars] == list(MANY)
    assert not any(part.texts for part in fold.parts)


def test_the_intervals_and_words_of_jars_in_a_fold_stay_their_own() -> None:
    due = [
        replace(item, low=TODAY, high=TODAY + timedelta(days=n % 2), text=f"Of its kin, G{n % 2}.")
        for n, item in enumerate(items("look", MANY, ""))
    ]
    (day,) = next_days(plan_of(*due)).days
    (fold,) = day.tasks
    assert isinstance(fold, Fold) and not fold.texts
    assert [(part.jars, part.text) for part in fold.parts] == [
        (MANY[0::2], "Of its kin, G0."),
        (MANY[1::2], "Of its kin, G1."),
    ]
    assert fold.parts[0].span == "10 Mar" and fold.parts[1].span == "10 Mar to 11 Mar"


def test_amounts_are_never_put_together_nor_left_out() -> None:
    one = PlanItem(TODAY + timedelta(days=1), "soak", ("K1",), "Soak 100 g.")
    due = [one, replace(one, jars=("K2",)), replace(one, day=TODAY + timedelta(days=2))]
    first, second = next_days(plan_of(*due)).days
    assert [(line.told, line.text) for line in first.tasks if isinstance(line, TaskLine)] == [
        ("K1", "Soak 100 g."),
        ("K2", "Soak 100 g."),
    ]
    assert [line.text for line in second.tasks] == ["Soak 100 g."]
    both = [replace(one, jars=MANY), replace(one, jars=("L1",))]
    (day,) = next_days(plan_of(*both)).days
    (fold,) = day.tasks
    assert isinstance(fold, Fold)
    assert [(part.jars, part.text) for part in fold.parts] == [
        (MANY, "Soak 100 g."),
        (("L1",), "Soak 100 g."),
    ]


def test_the_same_words_are_told_at_their_first_day_alone() -> None:
    due = [*items("use", MANY, "Look it over."), *items("use", ("L1",), "Look it over.", after=2)]
    first, second = next_days(plan_of(*due)).days
    assert [line.text for line in (*first.tasks, *second.tasks)] == ["Look it over.", ""]


def test_the_page_shows_folds_and_jars_that_have_no_day(tmp_path: Path) -> None:
    plan = replace(plan_of(*items("use", MANY, "Look it over.")), later=MANY, undated=("U1",))
    page = render_page(fake_shelf(), tmp_path, plan=plan)
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    (section,) = [e for e in tree.iter("section") if e.get("id") == "next"]
    folds = [" ".join("".join(e.itertext()).split()) for e in section.iter("details")]
    names = ", ".join(MANY)
    assert folds == [
        f"Use as spawn: {len(MANY)} jars{names}",
        f"Later than that: {len(MANY)} jars{names}",
    ]
    assert "without a date yet: U1." in " ".join("".join(section.itertext()).split())
