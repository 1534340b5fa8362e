"""``jarvision explain``: the story of one jar in plain sentences."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Annotated

import typer

from jarvision.app.cli.console import TABLE_WIDTH
from jarvision.app.cli.options import AsJson
from jarvision.app.cli.places import (
    REPORT,
    OutOption,
    RegisterOption,
    find_story,
    needed_scoring,
    open_paperwork,
)
from jarvision.app.cli.plain import echo_json
from jarvision.base.text import printable

INDENT = "  "
EXPLAIN_EXAMPLE = "Example: jarvision explain K07 --out report --register photos/jars.csv"


def explain(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar to tell about.")],
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
) -> None:
    """Tell the story of JAR: its growth, what was seen, why.

    Exit codes: 0 done, 2 the jar was not scored, or bad usage.
    """
    from jarvision.report.story import tell_story

    shelf = open_paperwork(register, needed=False)
    result = needed_scoring(out, shelf)
    jar = shelf.past.now(jar)
    story = find_story(result, jar)
    ending = next((done.ending for done in result.finished if done.jar == jar), None)
    chapters = tell_story(
        story,
        scored_on=result.scored_on,
        register=shelf.register,
        outcome=shelf.outcomes.get(jar),
        ending=ending,
        diary=shelf.diary.get(jar, ()),
        settings=shelf.settings.growth,
    )
    if as_json:
        document = {"jar": jar, "chapters": [asdict(chapter) for chapter in chapters]}
        echo_json(document)
        return
    for number, chapter in enumerate(chapters):
        if number:
            typer.echo()
        typer.echo(chapter.heading)
        for sentence in chapter.sentences:
            told = printable(sentence)
            typer.echo(
                textwrap.fill(told, TABLE_WIDTH, initial_indent=INDENT, subsequent_indent=INDENT)
            )
