"""Scripts that let a shell complete the commands, options and templates; made from the parser, so none is missed."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Mapping, Sequence

SHELLS = ("bash", "zsh", "fish")
HOW = {
    "bash": "necrostats completion bash > ~/.local/share/bash-completion/completions/necrostats",
    "zsh": "necrostats completion zsh > ~/.zfunc/_necrostats   (with fpath+=~/.zfunc before compinit in ~/.zshrc)",
    "fish": "necrostats completion fish > ~/.config/fish/completions/necrostats.fish",
}


def script(shell: str, parser: argparse.ArgumentParser, words: Mapping[str, Sequence[str]]) -> str:
    """The completion script of a shell; `words` are what a command may be given first, by its name."""
    made = {"bash": _bash, "zsh": _zsh, "fish": _fish}[shell](_commands(parser), words)
    first = "#compdef necrostats\n" if shell == "zsh" else ""
    return f"{first}# Completion of necrostats for {shell}. To keep it:\n#   {HOW[shell]}\n{made}"


Option = tuple[str, str, bool]
"""A long option, its help, and whether a value follows."""


def _commands(parser: argparse.ArgumentParser) -> dict[str, tuple[str, list[Option]]]:
    """Each command with its help and its options."""
    (group,) = (action for action in parser._actions if isinstance(action, argparse._SubParsersAction))
    helps = {action.dest: action.help or "" for action in group._choices_actions}
    return {name: (helps[name], list(_options(each))) for name, each in group.choices.items()}


def _options(parser: argparse.ArgumentParser) -> Iterator[Option]:
    for action in parser._actions:
        for name in action.option_strings:
            if name.startswith("--"):
                yield name, action.help or "", action.nargs != 0


def _bash(commands, words) -> str:
    cases = "\n".join(
        f'    {name}) options="{" ".join(each[0] for each in options)}"; words="{" ".join(words.get(name, ()))}" ;;'
        for name, (_, options) in commands.items()
    )
    return f"""_necrostats() {{
  local current="${{COMP_WORDS[COMP_CWORD]}}" command="" options="" words="" word
  for word in "${{COMP_WORDS[@]:1:COMP_CWORD-1}}"; do
    case "$word" in -*) ;; *) command="$word"; break ;; esac
  done
  case "$command" in
    "") options="--help --version --verbose"; words="{" ".join(commands)}" ;;
{cases}
  esac
  case "$current" in
    -*) COMPREPLY=($(compgen -W "$options" -- "$current")) ;;
    *) COMPREPLY=($(compgen -W "$words" -- "$current"))
       if [ -n "$command" ]; then local IFS=$'\\n'; COMPREPLY+=($(compgen -f -- "$current")); fi ;;
  esac
}}
complete -o filenames -F _necrostats necrostats
"""


def _zsh(commands, words) -> str:
    listed = "\n".join(f"    {_quoted(f'{name}:{_plain(told)}')}" for name, (told, _) in commands.items())
    cases = "\n".join(
        f"    {name}) _arguments {' '.join(_zsh_option(each) for each in options)} {_zsh_words(words.get(name, ()))} ;;"
        for name, (_, options) in commands.items()
    )
    return f"""_necrostats() {{
  local -a commands=(
{listed}
  )
  if (( CURRENT == 2 )); then
    _describe command commands
    return
  fi
  local command=$words[2]
  shift words
  (( CURRENT-- ))
  case $command in
{cases}
  esac
}}
if [ "$funcstack[1]" = "_necrostats" ]; then _necrostats "$@"; else compdef _necrostats necrostats; fi
"""


def _zsh_option(option: Option) -> str:
    name, told, value = option
    return _quoted(f"*{name}[{_plain(told)}]{':value:_files' if value else ''}")


def _zsh_words(words: Sequence[str]) -> str:
    return f"{_quoted(f'1:first:({chr(32).join(words)})')} '*:file:_files'" if words else "'*:file:_files'"


def _fish(commands, words) -> str:
    lines = []
    for name, (told, options) in commands.items():
        seen = _quoted(f"__fish_seen_subcommand_from {name}")
        lines.append(f"complete -c necrostats -f -n __fish_use_subcommand -a {name} -d {_quoted(_plain(told))}")
        lines += [f"complete -c necrostats -n {seen} -a {_quoted(' '.join(words[name]))}"] if name in words else []
        lines += [f"complete -c necrostats -n {seen} {_fish_option(each)}" for each in options]
    return "\n".join(lines) + "\n"


def _fish_option(option: Option) -> str:
    name, told, value = option
    return f"-l {name.removeprefix('--')} {'-r ' if value else ''}-d {_quoted(_plain(told))}"


def _plain(text: str) -> str:
    """A help text without what a shell would read as its own."""
    return " ".join(re.sub(r"[^\w .,()=/-]", " ", text).split())


def _quoted(text: str) -> str:
    return f"'{text}'"
