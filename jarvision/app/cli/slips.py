"""Slips of the pen on the command line, told in the same words as all else that goes wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any


def tell_slip(error: Any, command: Any, args: Iterable[str]) -> tuple[str, str]:
    """Return a sentence, without its full stop, and an example, for a library's usage error.

    The library tells them in words of its own, which differ from release to release; here only
    what it found is taken from it. ``command`` is the whole command line, ``args`` what was typed.
    """
    for word in args:
        command = getattr(command, "commands", {}).get(word, command)
    return _sentence(error).rstrip("."), command.epilog or "See jarvision --help."


def _sentence(error: Any) -> str:
    message, option = str(error.message), getattr(error, "option_name", "")
    param = getattr(error, "param", None)
    match type(error).__name__:
        case "MissingParameter" if param is not None:
            named = param.opts[0] if param.opts[0].startswith("-") else param.metavar
            return f"{named or param.name} is missing"
        case "NoSuchOption":
            near = " or ".join(getattr(error, "possibilities", None) or ())
            return f"There is no option {option}" + (f". Did you mean {near}?" if near else "")
        case "BadOptionUsage":
            return f"{option} needs a value"
    if extra := re.search(r"extra argument.*\((.*)\)", message):
        return f"More was given than is asked for: {extra[1]}"
    return message.removeprefix("Value error, ").replace("No such command", "There is no command")
