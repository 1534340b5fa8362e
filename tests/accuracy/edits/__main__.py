"""Edit good photos, read them, count silent errors: ``python -m tests.accuracy.edits``.

Photos come from the sample shelf, from folders of rendered photos with their truth beside them
(``--unseen`` on which no limit was chosen, ``--scenes`` the rest), from a set of the third look
(``--third``, none chosen) and from another renderer's set (``--foreign``). Answers are kept in
``--cache``: a photo is not edited and read twice by the same code.
``--page`` writes the tables into docs/edits.md, ``--shelf`` edits the sample shelf's last
days and tells its verdicts.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tests.accuracy.benchmark import ROOT, commit, section

from . import sheet, shelf, sources, tables
from .reading import Answer, code_digest, read_source
from .sources import Source
from .table import EDITS

PAGE = ROOT / "docs" / "edits.md"
SHEET = ROOT / "docs" / "pictures" / "worst-edits.jpg"
SAMPLES = ROOT / "sample_images"
COMMAND = "make edits"

Found = Sequence[tuple[Source, Sequence[Answer]]]


def chosen(args: argparse.Namespace) -> list[Source]:
    """The sources that were named, thinned out as wanted."""
    found = []
    if args.unseen:
        found.append(sources.scenes(args.unseen, word="unseen", blind=True,
                                    meaning="own renderer, never seen"))  # fmt: skip
    if args.third:
        found.append(sources.singles(args.third, word="third", blind=True,
                                     meaning="the third look, never seen"))  # fmt: skip
    if args.foreign:
        found.append(sources.foreign(args.foreign))
    if args.samples:
        found.append(sources.samples(args.samples))
    if args.scenes:
        found.append(sources.scenes(args.scenes, word="scenes", blind=False,
                                    meaning="own renderer, limits were chosen here"))  # fmt: skip
    steps = dict(pair.split("=") for pair in args.every)
    return [source.every(int(steps.get(source.word, 1))) for source in found]


def parts_of(found: Found) -> dict[str, str]:
    """The measured parts of the page, by name."""
    blind = [a for source, answers in found if source.blind for a in answers]
    known = [a for source, answers in found if not source.blind for a in answers]
    stamp = f"Measured on {datetime.now(UTC).date():%d %B %Y} at commit {commit()}."
    parts = {"photos": f"{stamp}\n\n{tables.source_table(found)}"}
    for name, answers in (("blind", blind), ("known", known)):
        if answers:
            parts[f"kinds, {name}"] = tables.kind_table(answers)
            parts[f"edits, {name}"] = tables.edit_table(answers)
    return parts


def main() -> None:
    """Edit, read, count, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--foreign", type=Path, help="another renderer's set")
    parser.add_argument("--third", type=Path, help="a set of the third look, never seen")
    parser.add_argument("--unseen", type=Path, nargs="*", default=[], help="folders of photos")
    parser.add_argument("--scenes", type=Path, nargs="*", default=[], help="folders of photos")
    parser.add_argument("--samples", type=Path, default=SAMPLES, help="the sample shelf")
    parser.add_argument("--no-samples", dest="samples", action="store_const", const=None)
    parser.add_argument("--every", action="append", default=[], metavar="SOURCE=N",
                        help="one in N of unseen, third, foreign, samples, scenes")  # fmt: skip
    parser.add_argument("--edit", action="append", choices=list(EDITS), help="these alone")
    parser.add_argument("--cache", type=Path, default=ROOT / "build" / "edits")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--shelf", nargs="*", choices=list(EDITS), metavar="WORD",
                        help="verdicts of the shelf edited: the worst ways or these")  # fmt: skip
    parser.add_argument("--page", action="store_true", help="write docs/edits.md")
    parser.add_argument("--out", type=Path, help="write the tables to a file of their own")
    parser.add_argument("--sheet", type=Path, help="contact sheet of the worst (JPEG)")
    args = parser.parse_args()
    words = args.edit or list(EDITS)
    print(f"code {code_digest()}", flush=True)
    found = [(source, read_source(source, words=words, cache_folder=args.cache, jobs=args.jobs))
             for source in chosen(args)]  # fmt: skip
    parts = parts_of(found)
    if args.shelf is not None:
        put = args.shelf or shelf.WORDS
        parts["verdicts"] = shelf.report(
            args.samples or SAMPLES, args.cache, words=put, jobs=args.jobs
        )
    text = "\n\n".join(f"**{name}**\n\n{content}" for name, content in parts.items())
    print(text)
    if args.out:
        args.out.write_text(text + "\n", "utf-8")
    if args.page:
        page = PAGE.read_text("utf-8")
        for name, content in parts.items():
            page = section(page, name, content, command=COMMAND)
        PAGE.write_text(page, "utf-8")
    if args.sheet or args.page:
        sheet.write(found, args.sheet or SHEET)


if __name__ == "__main__":
    main()
