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

SCENARIO, STRATEGY, TRAIN, DRIVER, ROUTE = "scenario", "strategy", "train", "driver", "route"
EXPERIMENT, LESSON, TOPIC, PART = "experiment", "lesson", "topic", "part"
FILES, FOLDERS = "files", "folders"
WITHOUT_FILES = (EXPERIMENT, TOPIC, PART)
"""Kinds of which a file is no value; wherever else a name may stand, a file may as well."""

SEVERAL = (STRATEGY, TRAIN, DRIVER)
"""Kinds of which several may be given, separated by commas."""

_KINDS = {
    "SCENARIO": SCENARIO,
    "STRATEGY": STRATEGY,
    "A": STRATEGY,
    "A[,B]": STRATEGY,
    "UNIT": TRAIN,
    "TRAIN[,TRAIN]": TRAIN,
    "ROUTE": ROUTE,
    "LESSON": LESSON,
    "TOPIC": TOPIC,
    "KIND": PART,
    "experiment NAME": EXPERIMENT,
    "--train FILE|NAME": TRAIN,
    "--rail FILE|NAME": SCENARIO,
    "--driver FILE|NAME": DRIVER,
    "--driver A[,B]": DRIVER,
    "CAMPAIGN": FILES,
    "LOG": FILES,
    "DIR": FOLDERS,
}
"""What stands for the value of an argument: by its metavar, as all commands use them, or where that
is not enough by option, or command, and metavar. A metavar `FILE` or `X.suffix` is a file."""


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
    from slipbench.commands.own_files import KINDS
    from slipbench.guidance.route import shipped_routes
    from slipbench.guide.pages import topics
    from slipbench.practice.lessons import lesson_names
    from slipbench.scenario import driver_names, scenario_names, train_names
    from slipbench.strategies.registry import known_controllers

    names = {
        SCENARIO: tuple(scenario_names()),
        STRATEGY: tuple(known_controllers()),
        TRAIN: train_names(),
        DRIVER: driver_names(),
        ROUTE: shipped_routes(),
        EXPERIMENT: tuple(known_experiments()),
        LESSON: tuple(lesson_names()),
        TOPIC: tuple(topics()),
        PART: KINDS,
    }
    write = {"bash": bash_script, "zsh": zsh_script, "fish": fish_script}[arguments.shell]
    print(write(commands.all, names), end="")
    return 0


def words_of(command: Command) -> list[Word]:
    """Return the options and arguments of a command."""
    return [
        Word(
            options=tuple(action.option_strings),
            kind=_kind(command, action),
            choices=tuple(map(str, action.choices or ())),
            takes_value=action.nargs != 0,
            repeats=action.nargs in ("*", "+", argparse.REMAINDER),
            help=_plain(action.help or ""),
        )
        for action in command.parser._actions
    ]


def _kind(command: Command, action: argparse.Action) -> str:
    """Return what a value of an argument is; empty where nothing can be offered for it."""
    metavar = action.metavar if isinstance(action.metavar, str) else ""
    for name in (*action.option_strings, command.name):
        if f"{name} {metavar}" in _KINDS:
            return _KINDS[f"{name} {metavar}"]
    is_file = metavar == "FILE" or re.fullmatch(r"[A-Z]+\.[a-z]+", metavar) is not None
    return _KINDS.get(metavar, FILES if is_file else "")


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
        given = [word for word in words if not word.options and _bash_words(word)]
        named = f'COMPREPLY=($(compgen -W "{options}" -- "$cur"))'
        if given:
            named = f'case "$cur" in -*) {named};; *) {_bash_value(*given)};; esac'
        lines.append(f"    {command.name}) {named};;")
    return "\n".join([*lines, "  esac", "}", "complete -o filenames -F _slipbench slipbench", ""])


def _bash_value(*words: Word) -> str:
    """Return what completes a value that may be of any of the words."""
    found = " ".join(filter(None, map(_bash_words, words)))
    return f"COMPREPLY=({found})" if found else ":"


def _bash_words(word: Word) -> str:
    if word.choices:
        return f'$(compgen -W "{" ".join(word.choices)}" -- "$cur")'
    if word.kind in (FILES, FOLDERS):
        return f'$(compgen -{"f" if word.kind == FILES else "d"} -- "$cur")'
    if word.kind in WITHOUT_FILES:
        return f'$(compgen -W "${word.kind}" -- "$cur")'
    if word.kind:
        return (
            f'$(compgen -P "$first" -W "${word.kind}" -- "$last") '
            '$(compgen -P "$first" -f -- "$last")'
        )
    return ""


def zsh_script(commands: Sequence[Command], names: dict[str, tuple[str, ...]]) -> str:
    """Return the script for zsh."""
    lines = [
        "#compdef slipbench",
        "# zsh completion of slipbench; in ~/.zshrc, after compinit:",
        '#   eval "$(slipbench completion zsh)"',
    ]
    for kind, values in names.items():
        files = "" if kind in WITHOUT_FILES else "; _files"
        several = "compset -P '*,'; " if kind in SEVERAL else ""
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
            takes_files = bool(word.kind) and word.kind not in WITHOUT_FILES
            if word.takes_value and (flags or given):
                needs = " -r" if flags else ""
                files = " -F" if takes_files else ""
                lines.append(f"{here} {flags}{needs}{files}{given} -d '{word.help}'")
            elif flags:
                lines.append(f"{here} {flags} -d '{word.help}'")
    return "\n".join([*lines, ""])
