"""`vibsim completion`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from vibsim.commands.common import DONE, print_json

HELP = "script that lets a shell complete commands, options and file names"
DETAIL = """
bash: vibsim completion bash > ~/.local/share/bash-completion/completions/vibsim
zsh:  vibsim completion zsh > ~/.zsh/completions/_vibsim   (a folder of fpath)
tcsh: vibsim completion tcsh >> ~/.cshrc
The script is static: the shell never starts vibsim to complete a word. Make it anew after an update.
"""


def add_options(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = DETAIL
    parser.add_argument("shell", choices=("bash", "zsh", "tcsh"))


def act(options: argparse.Namespace) -> int:
    from vibsim.inputs.errors import VibsimError

    try:
        import shtab
    except ImportError:
        raise VibsimError("completion needs the library shtab: pip install 'vibsim[completion]'") from None
    _complete_files(options.parser, shtab.FILE)
    script = shtab.complete(options.parser, shell=options.shell)
    if options.json:
        print_json({"shell": options.shell, "script": script})
    else:
        print(script)
    return DONE


def _complete_files(parser: argparse.ArgumentParser, files: dict[str, Any]) -> None:
    """Whatever takes a path completes to one."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                _complete_files(command, files)
        elif action.type is Path:
            action.complete = files  # type: ignore[attr-defined]
