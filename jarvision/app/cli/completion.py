"""``jarvision completion``: the script that lets a shell complete commands and options."""

from __future__ import annotations

import os
from enum import StrEnum
from typing import Annotated

import typer

COMPLETION_EXAMPLE = "Example: jarvision completion bash >> ~/.bashrc"
VARIABLE = "_JARVISION_COMPLETE"


class Shell(StrEnum):
    """Shells that typer writes a script for."""

    BASH = "bash"
    ZSH = "zsh"
    FISH = "fish"
    POWERSHELL = "powershell"


def completion(
    shell: Annotated[Shell, typer.Argument(metavar="SHELL", help="bash, zsh, fish or powershell.")],
) -> None:
    """Let your shell complete commands and options.

    Prints a script. Add it to your shell's start-up file: ~/.bashrc, ~/.zshrc,
    ~/.config/fish/config.fish or, in PowerShell, the file that $PROFILE names.

    Exit codes: 0 done, 2 bad usage.
    """
    from typer._completion_shared import get_completion_script

    typer.echo(
        get_completion_script(prog_name="jarvision", complete_var=VARIABLE, shell=shell.value)
    )


def enable_completion() -> None:
    """Answer the shell when it asks; without this typer knows none unless help is cluttered."""
    if os.environ.get(VARIABLE):
        from typer._completion_classes import completion_init

        completion_init()
