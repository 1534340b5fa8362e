"""The words of findings: each has its sentence and its short line, and nobody says it again."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from judging import healthy, judge
from shelves import oyster, refused

from jarvision.records import Finding
from jarvision.records.flags import FINDINGS, FLAGS
from jarvision.records.wording import PLAIN, Fact
from jarvision.report.words import PAGE
from jarvision.run.packing import pack_record, unpack_record

PACKAGE = Path(__file__).parents[2] / "jarvision"
MOST_LETTERS = 64  # two lines on a narrow phone
NOTES = (
    "unregistered", "shared_parent", "photo_refused", "file_date", "stain",
    "unproven_stain", "wide_interval", "low_fill", "jar_shape", "turned", "patches_elsewhere",
    "changed_mind", "opened", "temperature", "unnamed_stain", "spot_gone", "found_fine",
    "kin_found_fine", "kin_stayed_clean", "kin_turned_late", "fruiting_temperature",
)  # fmt: skip
SAID_ONCE = 6  # words in a row
NAMES = {
    "kind", "patch", "species", "text", "jar", "jars", "parent", "photo", "reason", "detail",
    "conflict", "was", "was_why", "now", "now_why", "what", "note",
    "moisture",
}  # fmt: skip


def facts_for(word: str) -> dict[str, Fact]:
    """Other facts for each name, as large as they get."""
    facts: dict[str, Fact] = {}
    for number, (name, spec) in enumerate(
        sorted(fields(FINDINGS[word].sentence + FINDINGS[word].short))
    ):
        if name == "place":
            facts |= {"angle_deg": 31.0, "height_mm": 32.0}
        elif name in NAMES:
            facts[name] = {"kind": "yellow", "patch": "yellow-12"}.get(name, f"the {name}.")
        elif spec in ("", "weekday"):
            facts[name] = date(2026, 9, 10) + timedelta(days=number)
        else:
            facts[name] = 11.0 + number
    return facts


def fields(template: str) -> set[tuple[str, str]]:
    """Names of the facts that a template tells, and how."""
    parsed = string.Formatter().parse(re.sub(r"[\[\]]", "", template))
    return {(name.partition("|")[0], spec or "") for _, name, spec, _ in parsed if name}


def told(fact: Fact) -> str:
    """What is to be found of a fact in a sentence of the plain voice."""
    if isinstance(fact, float):
        return f"{fact:.0f}"
    return fact.isoformat() if isinstance(fact, date) else fact.removeprefix("y").rstrip(".")


@pytest.mark.parametrize("word", FINDINGS)
def test_every_finding_has_a_sentence_with_all_numbers_and_a_short_line(word: str) -> None:
    facts, wording = facts_for(word), FINDINGS[word]
    finding = Finding.of(word, "check", **facts)
    sentence = finding.sentence
    assert sentence.endswith(".")
    assert sentence == finding.tell(PLAIN)
    for name, _ in fields(wording.sentence) - {("place", "")}:
        assert told(facts[name]) in sentence, (name, sentence)
    assert ("31 degrees to the right, 32 mm up" in sentence) == ("{place" in wording.sentence)
    assert bool(wording.short) == (word not in (*NOTES, "told"))
    for text in (sentence, finding.tell(PAGE), finding.tell_short(PAGE)):
        assert text
        assert not re.search(r"[{}\[\]]", text)
    assert "cm2" not in finding.tell(PAGE) + finding.tell_short(PAGE)
    if wording.short:
        assert len(finding.tell_short(PAGE)) <= MOST_LETTERS + 2
        assert not finding.tell_short(PAGE).endswith(".")


def test_flags_and_findings_know_each_other() -> None:
    raised = {wording.flag for wording in FINDINGS.values()} - {""}
    assert raised == set(FLAGS)
    assert {FLAGS[FINDINGS[word].flag].severity for word in NOTES} <= {"note", "look"}


def test_a_word_that_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="'slime' is not known"):
        Finding.of("slime", "check")


@pytest.mark.parametrize("word", FINDINGS)
def test_a_finding_says_the_same_in_files_and_on_the_page(word: str) -> None:
    finding = Finding.of(word, "check", **facts_for(word))

    def bare(text: str) -> str:
        return re.sub(r"\d{4}-\d\d-\d\d|\d+ Sep", "DAY", text).replace("cm²", "cm2")

    assert bare(finding.sentence) == bare(finding.tell(PAGE))


def test_reasons_are_told_as_a_grower_says_them() -> None:
    place = {"angle_deg": -14.0, "height_mm": 40.0}
    mould = Finding.of(
        "mould", kind="green", patch="green-1", area_cm2=14.1, seen_on=date(2026, 3, 9), photos=4,
        out_cm2=0.3, **place,
    )  # fmt: skip
    assert mould.sentence == (
        "Green growth green-1 of 14.1 cm2 on 2026-03-09 (14 degrees to the left, 40 mm up), on 4 "
        "photos; a jar is out from 0.3 cm2."
    )
    flat = Finding.of("stall", days=5, percent=71.0, percent_per_day=-0.04,
                      expected_percent_per_day=4.1, chance=1 / 806, slow_share=0.35)  # fmt: skip
    assert flat.sentence == (
        "Coverage has stood still for 5 days at 71 %: +0.0 points a day, where 4.1 are expected of "
        "its own past."
    )


@pytest.mark.parametrize("word", FINDINGS)
def test_findings_come_back_from_the_store_as_they_went(word: str) -> None:
    finding = Finding.of(word, "check", day=date(2026, 3, 9), **facts_for(word))
    back = unpack_record(Finding, pack_record(finding))
    assert back == finding
    assert back.sentence == finding.sentence


def test_verdicts_and_flags_come_back_from_the_store_with_their_words() -> None:
    readings = [replace(r, time_source="file") for r in healthy(17).readings()]
    verdict, flags = judge([*readings, refused(17)], oyster(parent="S1"), siblings=("J2",))
    assert unpack_record(type(verdict), pack_record(verdict)) == verdict
    assert [unpack_record(type(flag), pack_record(flag)).message for flag in flags] == [
        f.message for f in flags
    ]


def test_a_finding_sorts_its_facts_and_leaves_out_what_is_not_known() -> None:
    finding = Finding.of("told", text="a", area_cm2=1, seen_on=date(2026, 3, 9), earlier=None)
    assert (finding.numbers, finding.names) == ({"area_cm2": 1.0}, {"text": "a"})
    assert finding.dates == {"seen_on": date(2026, 3, 9)}


# --------------------------------------------------------------------------- said once
def literals(path: Path) -> Iterator[str]:
    """Texts of a module that are no docstrings, f-strings as one."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    parts = {id(part) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for part in n.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(
                str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values
            )
        elif isinstance(node, ast.Constant) and id(node) not in docs | parts:
            yield str(node.value)


def phrases(text: str) -> set[tuple[str, ...]]:
    """Runs of words in a text; what stands in braces parts them."""
    runs = (re.findall(r"[a-z']+", part) for part in re.split(r"\{[^}]*\}", text.lower()))
    return {
        tuple(run[at : at + SAID_ONCE]) for run in runs for at in range(len(run) - SAID_ONCE + 1)
    }


def test_no_other_module_has_words_of_a_finding() -> None:
    own = [text for wording in FINDINGS.values() for text in (wording.sentence, wording.short)]
    said = set().union(*map(phrases, own))
    files = ("flags.py", "note_words.py", "fruiting_words.py")
    tables = [PACKAGE / "records" / name for name in files]
    others = [path for path in PACKAGE.rglob("*.py") if path not in tables]
    again = {
        (path.name, " ".join(phrase))
        for path in others
        for text in literals(path)
        for phrase in phrases(text) & said
    }
    assert again == set()


def test_every_word_is_found_somewhere_and_every_one_found_has_its_wording() -> None:
    rooms = [*(PACKAGE / "verdict").glob("*.py"), *(PACKAGE / "growth").glob("*.py")]
    used = {text for p in (*rooms, PACKAGE / "report" / "read_back.py") for text in literals(p)}
    assert set(FINDINGS) <= used


def test_a_sentence_tells_no_number_where_its_interval_is_too_wide_for_one() -> None:
    facts: dict[str, Fact] = {"percent": 47.0, "ready_percent": 97.0}
    close = Finding.of("growing_undated", "wait", **facts, low=44.0, high=51.0)
    vague = Finding.of("growing_undated", "wait", **facts, least=8.0, most=86.0)
    assert close.sentence == "Coverage 47 % (95 % interval 44 to 51 %), ready from 97 %."
    assert vague.sentence == (
        "Coverage 8 to 86 % (95 % interval; too wide for one number), ready from 97 %."
    )
