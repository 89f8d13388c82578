"""``conegap completion``: a script with which a shell completes commands, options and names."""

from __future__ import annotations

import argparse
import sys

__all__ = ["EXAMPLES", "SUMMARY", "add_arguments"]

SUMMARY = "print a script that lets the shell complete commands, options and names"
EXAMPLES = """\
examples:
  eval "$(conegap completion bash)"                           for this bash session
  conegap completion bash > ~/.local/share/bash-completion/completions/conegap
  conegap completion zsh > ~/.zfunc/_conegap                  with ~/.zfunc in fpath
"""

_FILES = ("file", "write", "to", "notebook", "page")
_DESIGNS = {"bash": "_conegap_designs", "zsh": "_conegap_designs"}
_PREAMBLE = {
    "bash": '_conegap_designs() { compgen -W "NAMES" -- "$1"; compgen -f -- "$1"; }',
    "zsh": "_conegap_designs() { _alternative 'examples:example:(NAMES)' 'files:file:_files' }",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("shell", metavar="SHELL", choices=("bash", "zsh"), help="bash or zsh")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    import shtab

    from conegap.geometries.design.design import example_names
    from conegap.solver.commands.parser import command_parser

    parser = command_parser()
    for command in _commands(parser):
        _name_the_values(command)
    preamble = _PREAMBLE[arguments.shell].replace("NAMES", " ".join(example_names()))
    script = shtab.complete(parser, shell=arguments.shell, preamble=preamble)
    sys.stdout.write(script.rstrip() + "\n")
    return 0


def _commands(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    return [
        command
        for action in parser._actions
        if isinstance(action, argparse._SubParsersAction)
        for command in action.choices.values()
    ]


def _name_the_values(command: argparse.ArgumentParser) -> None:
    """Files where files belong, and the names that a word may take."""
    import shtab

    from conegap.geometries.design.starters import starter_kinds
    from conegap.geometries.metals.metal import metal, metal_names
    from conegap.validation.lessons.course import chapters

    for action in command._actions:
        if action.dest == "design":
            action.complete = _DESIGNS  # type: ignore[attr-defined]
        elif action.dest in _FILES:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
        elif action.dest == "kind":
            action.choices = starter_kinds()
        elif action.dest == "name":
            names = [one.name for one in chapters()]
            if command.prog.endswith(" metals"):
                names = [metal(symbol).name for symbol in metal_names()]
            action.choices = [name for name in names if " " not in name]
            action.nargs = None
