"""``jarvision explain``: the story of one jar in plain sentences."""

from __future__ import annotations

import json
import textwrap
from dataclasses import asdict
from typing import Annotated

import typer

from jarvision.app.cli.console import TABLE_WIDTH
from jarvision.app.cli.options import AsJson
from jarvision.app.cli.places import REPORT, OutOption, RegisterOption, find_story, open_shelf
from jarvision.base.text import printable

INDENT = "  "
EXAMPLE = "Example: jarvision explain K07 --out report --register photos/jars.csv"


def explain(
    jar: Annotated[str, typer.Argument(metavar="JAR", help="The jar to tell about.")],
    out: OutOption = REPORT,
    register: RegisterOption = None,
    as_json: AsJson = False,
) -> None:
    """Tell the story of JAR: its growth, what was seen, why.

    Exit codes: 0 done, 2 the jar was not scored, or bad usage.
    """
    from jarvision.report.read_back import read_result
    from jarvision.report.story import tell_story
    from jarvision.settings.toml import find_settings

    shelf = open_shelf(register, needed=False)
    result = read_result(out, shelf.register, species=shelf.species)
    story = find_story(result, jar)
    chapters = tell_story(
        story,
        scored_on=result.scored_on,
        register=shelf.register,
        outcome=shelf.outcomes.get(jar),
        settings=find_settings(shelf.folder).growth,
    )
    if as_json:
        document = {"jar": jar, "chapters": [asdict(chapter) for chapter in chapters]}
        typer.echo(json.dumps(document, indent=2))
        return
    for number, chapter in enumerate(chapters):
        if number:
            typer.echo()
        typer.echo(chapter.heading)
        for sentence in chapter.sentences:
            told = printable(sentence)
            typer.echo(
                textwrap.fill(told, TABLE_WIDTH, initial_indent="  ", subsequent_indent="  ")
            )
