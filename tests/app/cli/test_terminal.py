"""What a person at a terminal meets: help, table, progress, completion; and scripts in a pipe."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import typer.main
from fake_shelf import cover, fake_shelf, fake_story
from rich.console import Console

from jarvision.app.cli.main import app
from jarvision.app.cli.summary import NARROW, print_summary

RUN = "from jarvision.app.cli.main import run; run()"
HEAVY = {"cv2", "pandas", "scipy", "matplotlib", "skimage", "PIL", "numpy", "reportlab", "rich"}
LONG = "a bare area of 6.2 cm² at 22°, 40 mm up, stands still for four days while all is covered"


def leaves(group: Any, before: str = "") -> dict[str, Any]:
    """All commands by what is typed for them, those of groups too: ``jars add``."""
    found: dict[str, Any] = {}
    for name, command in group.commands.items():
        inner = hasattr(command, "commands")
        found |= leaves(command, f"{name} ") if inner else {f"{before}{name}": command}
    return found


COMMANDS = leaves(typer.main.get_command(app))


def jarvision(*args: str, code: str = RUN, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *args],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80", **env},
        timeout=60,
        check=False,
    )


# --------------------------------------------------------------------------- help
def test_the_list_of_commands_is_cut_nowhere() -> None:
    for group in ((), ("jars",), ("count",)):
        listed = jarvision(*group, "--help").stdout.split("Commands:")[1]
        names = [name.split() for name in COMMANDS]
        assert all(f"\n  {name[-1]} " in listed for name in names if name[:-1] == [*group])
        assert "..." not in listed


@pytest.mark.parametrize("command", COMMANDS)
def test_every_help_fits_has_an_example_and_says_the_exit_codes(command: str) -> None:
    text = jarvision(*command.split(), "--help").stdout
    assert max(map(len, text.splitlines())) <= 80
    assert f"Example: jarvision {command}" in " ".join(text.split())
    assert "Exit codes: 0 " in text


def test_help_loads_no_heavy_library() -> None:
    """They are what makes help slow: numpy and rich alone take a tenth of a second each."""
    code = f"{RUN.split(';')[0]}; import atexit, sys; atexit.register(lambda: print("
    code += f"sorted({HEAVY!r} & set(sys.modules)), file=sys.stderr)); run()"
    for args in (("--help",), *((*name.split(), "--help") for name in COMMANDS)):
        assert jarvision(*args, code=code).stderr == "[]\n"


def test_options_of_one_name_are_alike_on_all_commands() -> None:
    """One option has one short form, and is a switch everywhere or nowhere."""
    forms: dict[str, set[tuple[tuple[str, ...], bool]]] = {}
    for command in COMMANDS.values():
        for param in command.params:
            if param.opts[0].startswith("-"):
                name = max(param.opts, key=len)
                forms.setdefault(name, set()).add((tuple(sorted(param.opts)), param.is_flag))
    assert {name: found for name, found in forms.items() if len(found) > 1} == {}
    assert {"--out", "--json", "--quiet", "--settings"} <= set(forms)


def test_a_slip_of_the_pen_is_answered_with_the_nearest_word() -> None:
    assert "'score'" in jarvision("scor").stderr
    assert "--out" in jarvision("score", "x", "--outt").stderr


# --------------------------------------------------------------------------- the verdict table
def shown(width: int) -> list[str]:
    console = Console(width=width, highlight=False, markup=False, emoji=False, color_system=None)
    with console.capture() as captured:
        print_summary(console, fake_shelf(fake_story("Kitchen-shelf-07b", "check", (LONG,))))
    return captured.get().splitlines()


@pytest.mark.parametrize("width", [80, NARROW, 60, 40])
def test_the_table_fits_its_screen_and_tells_the_whole_reason(width: int) -> None:
    lines = shown(width)
    assert max(map(len, lines)) <= width
    words = " ".join(" ".join(lines).split())
    assert all(word in words for word in LONG.split())
    assert "(92-96)" in words  # no coverage without its interval


def test_a_jar_without_coverage_shows_a_dash_without_a_unit() -> None:
    story = fake_story("J9", "check", ("no photo",))
    bare = replace(story, verdict=replace(story.verdict, coverage=None))
    for width in (80, 60):
        console = Console(width=width, color_system=None)
        with console.capture() as captured:
            print_summary(console, replace(fake_shelf(), stories=(bare,)))
        (line,) = (line for line in captured.get().splitlines() if line.startswith("J9"))
        assert " - " in line
        assert "%" not in line


@pytest.mark.parametrize("width", [80, 60])
def test_an_interval_of_half_the_scale_stands_there_without_a_number(width: int) -> None:
    story = fake_story("J9", "check", (LONG,))
    vague = replace(cover(56.0), low=27.0, high=85.0)
    console = Console(width=width)
    with console.capture() as captured:
        told = replace(story, verdict=replace(story.verdict, coverage=vague))
        print_summary(console, replace(fake_shelf(), stories=(told,)))
    (line,) = (line for line in captured.get().splitlines() if line.startswith("J9"))
    assert " 27-85 " in line
    assert "56" not in line


def test_on_a_narrow_screen_reasons_keep_a_readable_width() -> None:
    """Beside the numbers there would be room for a word or two; below them there is a line."""
    at = next(i for i, line in enumerate(shown(60)) if "Kitchen" in line)
    first = shown(60)[at + 1]
    assert first.startswith("    a bare area of 6.2 cm²")
    assert len(first.strip()) > 40


# --------------------------------------------------------------------------- progress
PROGRESS = """
from jarvision.app.cli.running import progress_bar
with progress_bar(shown=True) as (progress, tell):
    tell("a sentence")
    if progress:
        for done in range(1, 65):
            progress(done, 64, None)
print("bar" if progress else "no bar")
"""


def in_terminal(code: str, *, columns: int, **env: str) -> tuple[str, str]:
    """What a program writes to stdout, and to a terminal as its stderr."""
    ours, theirs = pty.openpty()
    settings = {**os.environ, "TERM": "xterm", "COLUMNS": str(columns), **env}
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=theirs, text=True, env=settings
    ) as child:
        os.close(theirs)
        assert child.stdout is not None
        text, talk = child.stdout.read(), b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # how Linux tells that the other end is closed
                break
            if not piece:
                break
            talk += piece
    os.close(ours)
    return text, talk.decode()


@pytest.mark.parametrize("columns", [80, 60])
def test_on_a_terminal_progress_tells_photos_pace_and_time_left(columns: int) -> None:
    text, talk = in_terminal(PROGRESS, columns=columns)
    assert text == "bar\n"
    for part in ("64 of 64", "a second", "left", "a sentence"):
        assert part in talk


def test_in_a_pipe_there_is_no_bar_and_no_colour() -> None:
    done = jarvision(code=PROGRESS)
    assert (done.stdout, done.stderr) == ("no bar\n", "a sentence\n")


def test_no_color_is_honoured_on_a_terminal() -> None:
    code = "from jarvision.app.cli.console import tell_error; tell_error('Wrong', 'Do this')"
    assert "\x1b[1m" in in_terminal(code, columns=80)[1]
    plain = (
        "from jarvision.app.cli.console import stderr; "
        "stderr().print('x', style='bold red')"  # 31: red
    )
    assert "31m" in in_terminal(plain, columns=80)[1]
    assert "31m" not in in_terminal(plain, columns=80, NO_COLOR="1")[1]


# --------------------------------------------------------------------------- scripts
def test_quiet_leaves_results_alone_and_says_nothing_else(tmp_path: Path) -> None:
    for command in ("card", "tags"):
        done = jarvision(command, "--out", str(tmp_path / command), "--quiet")
        assert done.stderr == ""
        assert all(Path(line).is_file() for line in done.stdout.splitlines())


def test_letters_that_a_terminal_does_not_have_do_not_end_the_run(tmp_path: Path) -> None:
    done = jarvision("score", str(tmp_path / "nörgel"), "--out", "x", PYTHONIOENCODING="ascii")
    assert done.returncode == 2
    assert "is no folder" in done.stderr


def test_json_of_settings_is_all_that_is_on_stdout() -> None:
    assert json.loads(jarvision("settings", "--json").stdout)["settings"]


# --------------------------------------------------------------------------- completion
@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_a_completion_script_is_printed_for_every_shell(shell: str) -> None:
    text = jarvision("completion", shell).stdout
    assert "_JARVISION_COMPLETE" in text
    assert "jarvision" in text


def test_the_shell_is_answered_with_commands_and_options() -> None:
    env = {"_JARVISION_COMPLETE": "complete_bash", "COMP_WORDS": "jarvision sc", "COMP_CWORD": "1"}
    assert jarvision(**env).stdout.split() == ["score"]
    env |= {"COMP_WORDS": "jarvision score --sett", "COMP_CWORD": "2"}
    assert jarvision(**env).stdout.split() == ["--settings"]


def test_the_completion_script_works_in_bash(tmp_path: Path) -> None:
    script = tmp_path / "complete.sh"
    script.write_text(jarvision("completion", "bash").stdout)
    command = tmp_path / "jarvision"
    command.write_text(f'#!/bin/sh\nexec {sys.executable} -c "{RUN}" "$@"\n')
    command.chmod(0o755)
    ask = (
        f"source {script}; COMP_WORDS=(jarvision cal); COMP_CWORD=1; "
        f'_jarvision_completion {command}; echo "${{COMPREPLY[@]}}"'
    )
    done = subprocess.run(
        ["bash", "-c", ask], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.split() == ["calibrate"]


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ("raise StoppedError('Stopped', 'What was read is kept.')", "What was read is kept."),
        ("return 130", "Photos are never changed."),
    ],
)
def test_a_run_that_was_stopped_says_so_once(ends: str, said: str) -> None:
    code = "\n".join(
        [
            "from jarvision.app.cli import main",
            "from jarvision.base.errors import StoppedError",
            f"def app(**_): {ends}",
            "main.app = app",
            "main.run()",
        ]
    )
    done = jarvision(code=code)
    assert done.returncode == 130
    assert done.stderr.count("Stopped.") == 1 and said in done.stderr
