from __future__ import annotations

import shutil
import subprocess

import pytest

from necrostats.cli import parser
from necrostats.completion import SHELLS, script

WORDS = {"report": ["quarterly_review", "registry_check"], "completion": SHELLS}
COMMANDS = {"check", "tidy", "report", "start", "draft-layout", "layout-guide", "lock", "completion"}


def lacking(shell):
    return shutil.which(shell) is None


def completed(*words, folder):
    """What bash offers for the last of some words."""
    line = " ".join(f"'{word}'" for word in words)
    ask = f"COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _necrostats; printf '%s\\n' \"${{COMPREPLY[@]}}\""
    text = f"{script('bash', parser(), WORDS)}\n{ask}"
    ran = subprocess.run(["bash", "-c", text], capture_output=True, text=True, check=True, cwd=folder)
    return set(ran.stdout.split())


@pytest.mark.skipif(lacking("bash"), reason="there is no bash here")
@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("necrostats", ""), COMMANDS),
        (("necrostats", "t"), {"tidy"}),
        (("necrostats", "--v"), {"--version", "--verbose"}),
        (("necrostats", "report", "q"), {"quarterly_review"}),
        (("necrostats", "report", "x", "--per"), {"--period"}),
        (("necrostats", "check", "my"), {"my.xlsx"}),
        (("necrostats", "completion", "z"), {"zsh"}),
    ],
)
def test_bash_offers_commands_options_templates_and_files(words, offered, tmp_path):
    (tmp_path / "my.xlsx").touch()
    assert completed(*words, folder=tmp_path) == offered


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_every_long_option_is_in_the_script(shell):
    text = script(shell, parser(), WORDS)
    (commands,) = (action for action in parser()._actions if action.dest == "command")
    assert set(commands.choices) == COMMANDS
    for name, command in commands.choices.items():
        assert name in text
        for action in command._actions:
            for option in action.option_strings:
                if option.startswith("--"):
                    assert option.removeprefix("--") in text, f"{name} {option}"


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_is_sound_in_its_shell(shell, tmp_path):
    if lacking(shell):
        pytest.skip(f"there is no {shell} here")
    path = tmp_path / "script"
    path.write_text(script(shell, parser(), WORDS), encoding="utf-8")
    subprocess.run([shell, "-n", str(path)], check=True, capture_output=True)


def test_zsh_finds_its_mark_in_the_first_line():
    assert script("zsh", parser(), WORDS).startswith("#compdef necrostats\n")
