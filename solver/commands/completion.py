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
  conegap completion keys needle           the keys of a design, which --over and others take

With the script, the tab key behind --over, --normal and --hidden offers the keys of the design that
stands on the line.
"""

_FILES = ("file", "write", "to", "notebook", "page", "sheet", "articles")
_KEYS = ("over", "normal", "hidden", "free")
_DESIGNS = {"bash": "_conegap_designs", "zsh": "_conegap_designs"}
_OF_DESIGN = {"bash": "_conegap_keys", "zsh": "_conegap_keys"}
# The keys are asked of the program itself, for the first word on the line that is no option.
_PREAMBLE = {
    "bash": """\
_conegap_designs() { compgen -W "NAMES" -- "$1"; compgen -f -- "$1"; }
_conegap_keys() {
  local word
  for word in "${COMP_WORDS[@]:2}"; do
    case "$word" in
      -*) ;;
      *) compgen -W "$("${COMP_WORDS[0]}" completion keys "$word" 2>/dev/null)" -- "$1"; return ;;
    esac
  done
}""",
    "zsh": """\
_conegap_designs() { _alternative 'examples:example:(NAMES)' 'files:file:_files' }
_conegap_keys() {
  local word
  for word in ${words[2,-1]}; do
    [[ $word == -* ]] && continue
    compadd -S '=' -- ${(f)"$(conegap completion keys $word 2>/dev/null)"}
    return
  done
}""",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "shell", metavar="SHELL", choices=("bash", "zsh", "keys"), help="bash or zsh, or keys"
    )
    parser.add_argument("design", metavar="DESIGN", nargs="?", help="whose keys are asked for")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    import shtab

    from conegap.geometries.design.design import Design, example_names
    from conegap.geometries.quantities.errors import DesignError
    from conegap.solver.commands.parser import command_parser

    if (arguments.shell == "keys") != (arguments.design is not None):
        raise DesignError("completion: give a design with keys, and none with bash or zsh")
    if arguments.design is not None:
        for dimension in Design.read(arguments.design).dimensions():
            print(dimension.key)
        return 0
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
        if action.dest in ("design", "designs"):
            action.complete = _DESIGNS  # type: ignore[attr-defined]
        elif action.dest in _KEYS:
            action.complete = _OF_DESIGN  # type: ignore[attr-defined]
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
