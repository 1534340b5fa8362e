from __future__ import annotations

import pytest

from jarvision.base.errors import UsageError
from jarvision.records import JarEntry
from jarvision.register.jars import Register
from jarvision.register.lineage import JarState, Trace, near_kin, trace

#            M
#       A         B
#    A1  A2      B1
#   A11  A21
PARENTS = {
    "M": "",
    "B": "M",
    "A": "M",
    "A2": "A",
    "A1": "A",
    "B1": "B",
    "A11": "A1",
    "A21": "A2",
    "Z": "",
}
FAMILY = {jar: JarEntry(jar, parent=parent) for jar, parent in PARENTS.items()}


def order(found: Trace) -> list[str]:
    return [relative.jar for relative in found.relatives]


def test_the_nearest_come_first() -> None:
    """Itself, what it fed, its siblings and what they fed, its parent, the parent's siblings."""
    found = trace(FAMILY, "A1")
    assert order(found) == ["A1", "A11", "A2", "A21", "A", "B", "B1", "M"]
    assert [r.relation for r in found.relatives] == [
        "the jar itself",
        "child",
        "sibling",
        "sibling's child",
        "parent",
        "parent's sibling",
        "parent's sibling's child",
        "grandparent",
    ]


def test_every_relative_is_named_once_and_strangers_never() -> None:
    for jar in FAMILY:
        names = order(trace(FAMILY, jar))
        assert len(names) == len(set(names))
        assert set(names) == ({"Z"} if jar == "Z" else set(FAMILY) - {"Z"})


def test_what_it_fed_is_isolated_and_what_shares_its_spawn_inspected() -> None:
    actions = {r.jar: r.action for r in trace(FAMILY, "A").relatives}
    assert {jar for jar, action in actions.items() if action == "isolate"} == {
        "A", "A1", "A2", "A11", "A21"
    }  # fmt: skip
    assert actions["B"] == actions["M"] == "inspect"


def test_a_bad_relative_is_isolated_however_far() -> None:
    found = trace(FAMILY, "A11", states={"B1": JarState("no-go")})
    assert {r.jar: r.action for r in found.relatives}["B1"] == "isolate"


def test_within_a_step_the_worst_comes_first_and_go_before_wait() -> None:
    register = {"P": JarEntry("P")} | {j: JarEntry(j, parent="P") for j in "abcde"}
    states = {
        "a": JarState("wait"),
        "b": JarState("go"),
        "c": JarState("check"),
        "d": JarState("no-go"),
    }
    found = trace(register, "P", states=states)
    assert order(found) == ["P", "d", "c", "b", "a", "e"]
    assert [r.state for r in found.relatives][-1] == "not scored"
    assert [r.step for r in found.relatives] == [1, 2, 2, 2, 2, 2]


def test_a_jar_whose_story_is_over_needs_nothing_more() -> None:
    found = trace(FAMILY, "A", states={"A1": JarState("go", "contaminated")})
    ended = next(r for r in found.relatives if r.jar == "A1")
    assert (ended.action, ended.outcome) == ("none", "contaminated")


@pytest.mark.parametrize(
    ("state", "suspect"),
    [
        (JarState("no-go"), True),
        (JarState("check"), True),
        (JarState("wait", "contaminated"), True),
        (JarState("go"), False),
        (JarState(), False),
    ],
)
def test_a_jar_is_suspect_by_its_verdict_or_its_outcome(state: JarState, suspect: bool) -> None:
    assert trace(FAMILY, "A", states={"A": state}).suspect is suspect


def test_an_unknown_jar_is_told_with_the_nearest_names() -> None:
    with pytest.raises(UsageError, match=r"'A12' is not in the register. Did you mean .*A1"):
        trace(FAMILY, "A12")


# --------------------------------------------------------------------------- kin, good and bad
@pytest.mark.parametrize(
    ("jar", "kin"),
    [
        ("M", {"B": "child", "A": "child"}),
        ("A1", {"A": "parent", "M": "ancestor", "A2": "sibling", "A11": "child"}),
        ("A11", {"A1": "parent", "A": "ancestor", "M": "ancestor"}),
        ("Z", {}),
        ("nobody", {}),
    ],
)
def test_near_kin_share_spawn_with_the_jar_or_stand_in_its_line(
    jar: str, kin: dict[str, str]
) -> None:
    assert near_kin(Register(FAMILY), jar) == kin


@pytest.mark.parametrize(
    ("state", "bad", "over"),
    [
        (JarState("no-go"), True, False),
        (JarState("check"), False, False),
        (JarState("no-go", "clean"), False, True),
        (JarState("no-go", "harvested"), False, True),
        (JarState("no-go", "discarded"), True, True),
        (JarState("wait", "discarded"), False, True),
        (JarState("go", "contaminated"), True, True),
        (JarState("go", "used up"), False, True),
        (JarState("no-go", "used up"), True, False),
    ],
)
def test_what_was_found_in_a_jar_decides_whether_it_is_bad_and_over(
    state: JarState, bad: bool, over: bool
) -> None:
    assert (state.bad, state.over) == (bad, over)


def test_a_jar_that_was_used_up_is_not_to_be_looked_for_unless_it_is_bad() -> None:
    for verdict, action in (("go", "none"), ("no-go", "isolate")):
        found = trace(FAMILY, "A1", states={"A": JarState(verdict, "used up")})  # type: ignore[arg-type]
        assert next(r.action for r in found.relatives if r.jar == "A") == action


def test_trace_keeps_from_use_those_that_no_verdict_lets_go() -> None:
    """It says so of no other jar: the table may call those ``go`` at the same time."""
    found = trace(FAMILY, "A1", states=dict.fromkeys(FAMILY, JarState("go")))
    kept = {r.jar for r in found.relatives if "not to be used" in r.why}
    doubted = {jar for jar in FAMILY if "A1" in near_kin(Register(FAMILY), jar)}
    assert kept == (doubted | {"A"}) - {"M"} == {"A", "A2", "A11"}


def test_names_for_kin_end_where_words_do_and_never_fail() -> None:
    """A line of seven generations, with an aunt and her offspring at every step."""
    line = {"G0": ""} | {f"G{n}": f"G{n - 1}" for n in range(1, 7)}
    aside = {f"{jar}a": parent for jar, parent in line.items() if parent}
    below = {f"{jar}b": jar for jar in aside} | {f"{jar}c": f"{jar}b" for jar in aside}
    below |= {f"{jar}d": f"{jar}c" for jar in aside}
    family = {jar: JarEntry(jar, parent=up) for jar, up in (line | aside | below).items()}

    def relations(jar: str) -> dict[str, str]:
        return {r.jar: r.relation for r in trace(family, jar).relatives}

    down, up = relations("G0"), relations("G6")
    assert [down[f"G{n}"] for n in range(7)] == [
        "the jar itself", "child", "grandchild", *["descendant"] * 4
    ]  # fmt: skip
    assert [up[f"G{n}"] for n in range(6, -1, -1)] == [
        "the jar itself", "parent", "grandparent", *["ancestor"] * 4
    ]  # fmt: skip
    assert up["G6a"] == "sibling"
    assert [up[f"G{n}a"] for n in range(5, 0, -1)] == [
        "parent's sibling", "grandparent's sibling", *["ancestor's sibling"] * 3
    ]  # fmt: skip
    assert [up[f"G6a{d}"] for d in "bcd"] == [
        "sibling's child", *["sibling's descendant"] * 2
    ]  # fmt: skip
