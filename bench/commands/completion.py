"""The command `completion`: a script that completes the line in a shell, made from the parser.

Names of scenarios, strategies and experiments stand in the script as they are when it is made, so
load it in the shell's start file, as the script itself says, rather than keeping a copy.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import NamedTuple

from slipbench.commands.parser import LEARN, Command, Commands

SHELLS = ("bash", "zsh", "fish")

SCENARIO, STRATEGY, EXPERIMENT, FILES, FOLDERS = (
    "scenario", "strategy", "experiment", "files", "folders",
)  # fmt: skip
_KINDS = {
    "SCENARIO": SCENARIO,
    "STRATEGY": STRATEGY,
    "A": STRATEGY,
    "A[,B]": STRATEGY,
    "NAME": EXPERIMENT,
    "FILE": FILES,
    "FILE.toml": FILES,
    "DIR": FOLDERS,
}
"""What stands for the value of an argument, by its metavar, as all commands use them."""


class Word(NamedTuple):
    """An option or argument of a command, as completion needs it."""

    options: tuple[str, ...]
    kind: str
    choices: tuple[str, ...]
    takes_value: bool
    repeats: bool
    help: str


def add_parsers(commands: Commands) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "completion", group=LEARN, help="print a script that completes the line in your shell"
    )
    parser.add_argument("shell", choices=SHELLS)
    parser.set_defaults(act=lambda arguments: completion_command(arguments, commands))


def completion_command(arguments: argparse.Namespace, commands: Commands) -> int:
    """Print the script for one shell."""
    from slipbench.commands.experiment import known_experiments
    from slipbench.scenario import scenario_names
    from slipbench.strategies.registry import known_controllers

    names = {
        SCENARIO: tuple(scenario_names()),
        STRATEGY: tuple(known_controllers()),
        EXPERIMENT: tuple(known_experiments()),
    }
    write = {"bash": bash_script, "zsh": zsh_script, "fish": fish_script}[arguments.shell]
    print(write(commands.all, names), end="")
    return 0


def words_of(command: Command) -> list[Word]:
    """Return the options and arguments of a command."""
    found = []
    for action in command.parser._actions:
        metavar = action.metavar if isinstance(action.metavar, str) else ""
        kind = _KINDS.get(metavar, "")
        if kind == EXPERIMENT and command.name != "experiment":
            kind = ""
        found.append(
            Word(
                options=tuple(action.option_strings),
                kind=kind,
                choices=tuple(map(str, action.choices or ())),
                takes_value=action.nargs != 0,
                repeats=action.nargs in ("*", "+", argparse.REMAINDER),
                help=_plain(action.help or ""),
            )
        )
    return found


def _plain(text: str) -> str:
    """Return a help text without what a shell would read as its own."""
    return " ".join(re.sub(r"[\"'`\\$\[\]:]", " ", text).split())


def bash_script(commands: Sequence[Command], names: dict[str, tuple[str, ...]]) -> str:
    """Return the script for bash."""
    all_names = " ".join(command.name for command in commands)
    lines = [
        '# bash completion of slipbench; in ~/.bashrc:  eval "$(slipbench completion bash)"',
        "_slipbench() {",
        "  local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]}",
        '  local last=${cur##*,}; local first=${cur%"$last"}',
        *(f'  local {kind}="{" ".join(values)}"' for kind, values in names.items()),
        "  COMPREPLY=()",
        '  if [ "$COMP_CWORD" -eq 1 ]; then',
        f'    COMPREPLY=($(compgen -W "{all_names}" -- "$cur")); return',
        "  fi",
        '  case "${COMP_WORDS[1]} $prev" in',
    ]
    for command in commands:
        for word in words_of(command):
            if word.options and word.takes_value:
                cases = "|".join(f'"{command.name} {option}"' for option in word.options)
                lines.append(f"    {cases}) {_bash_value(word)}; return;;")
    lines += ["  esac", '  case "${COMP_WORDS[1]}" in']
    for command in commands:
        words = words_of(command)
        options = " ".join(option for word in words for option in word.options)
        values = [_bash_value(word) for word in words if not word.options and _has_values(word)]
        other = f"{values[0]}; " if values else ""
        lines.append(
            f'    {command.name}) case "$cur" in -*) '
            f'COMPREPLY=($(compgen -W "{options}" -- "$cur"));; *) {other};; esac;;'
            if other
            else f'    {command.name}) COMPREPLY=($(compgen -W "{options}" -- "$cur"));;'
        )
    return "\n".join([*lines, "  esac", "}", "complete -o filenames -F _slipbench slipbench", ""])


def _has_values(word: Word) -> bool:
    return bool(word.kind or word.choices)


def _bash_value(word: Word) -> str:
    if word.choices:
        return f'COMPREPLY=($(compgen -W "{" ".join(word.choices)}" -- "$cur"))'
    if word.kind == FOLDERS:
        return 'COMPREPLY=($(compgen -d -- "$cur"))'
    if word.kind == FILES:
        return 'COMPREPLY=($(compgen -f -- "$cur"))'
    if word.kind == EXPERIMENT:
        return 'COMPREPLY=($(compgen -W "$experiment" -- "$cur"))'
    if word.kind:
        return (
            f'COMPREPLY=($(compgen -P "$first" -W "${word.kind}" -- "$last") '
            '$(compgen -P "$first" -f -- "$last"))'
        )
    return ":"


def zsh_script(commands: Sequence[Command], names: dict[str, tuple[str, ...]]) -> str:
    """Return the script for zsh."""
    lines = [
        "#compdef slipbench",
        "# zsh completion of slipbench; in ~/.zshrc, after compinit:",
        '#   eval "$(slipbench completion zsh)"',
    ]
    for kind, values in names.items():
        files = "" if kind == EXPERIMENT else "; _files"
        several = "compset -P '*,'; " if kind == STRATEGY else ""
        lines.append(f"_slipbench_{kind}() {{ {several}compadd -- {' '.join(values)}{files} }}")
    lines += ["_slipbench() {", "  local -a commands", "  commands=("]
    lines += [f"    '{command.name}:{_plain(command.help)}'" for command in commands]
    lines += [
        "  )",
        "  if (( CURRENT == 2 )); then _describe command commands; return; fi",
        "  shift words; (( CURRENT-- ))",
        "  case $words[1] in",
    ]
    for command in commands:
        specs = " ".join(_zsh_spec(word) for word in words_of(command))
        lines.append(f"    {command.name}) _arguments {specs};;")
    return "\n".join(
        [
            *lines,
            "  esac",
            "}",
            'if [ "$funcstack[1]" = "_slipbench" ]; then _slipbench "$@"; '
            "else compdef _slipbench slipbench; fi",
            "",
        ]
    )


def _zsh_spec(word: Word) -> str:
    value = {FILES: "_files", FOLDERS: "_files -/", "": " "}.get(word.kind)
    value = value or f"_slipbench_{word.kind}"
    if word.choices:
        value = f"({' '.join(word.choices)})"
    if not word.options:
        return f"'{'*' if word.repeats else ''}:{word.kind or 'value'}:{value}'"
    tail = f":value:{value}" if word.takes_value else ""
    return " ".join(f"'*{option}[{word.help}]{tail}'" for option in word.options)


def fish_script(commands: Sequence[Command], names: dict[str, tuple[str, ...]]) -> str:
    """Return the script for fish."""
    lines = [
        "# fish completion of slipbench; in ~/.config/fish/config.fish:",
        "#   slipbench completion fish | source",
        "complete -c slipbench -f",
    ]
    for command in commands:
        lines.append(
            f"complete -c slipbench -n __fish_use_subcommand -a {command.name} "
            f"-d '{_plain(command.help)}'"
        )
    for command in commands:
        here = f"complete -c slipbench -n '__fish_seen_subcommand_from {command.name}'"
        for word in words_of(command):
            flags = " ".join(
                f"-l {o[2:]}" if o.startswith("--") else f"-s {o[1:]}" for o in word.options
            )
            values = word.choices or names.get(word.kind, ())
            given = f" -a '{' '.join(values)}'" if values else ""
            files = {FILES: " -F", SCENARIO: " -F", STRATEGY: " -F", FOLDERS: " -F"}
            if word.takes_value and (flags or given):
                needs = " -r" if flags else ""
                lines.append(
                    f"{here} {flags}{needs}{files.get(word.kind, '')}{given} -d '{word.help}'"
                )
            elif flags:
                lines.append(f"{here} {flags} -d '{word.help}'")
    return "\n".join([*lines, ""])
