"""Help: every command has an example that its own options bear; the shell completes names."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from foamwright.cli import main

README = (Path(__file__).parent.parent / "README.md").read_text("utf-8")


def commands(
    command: click.Command = main, words: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    yield words, command
    if isinstance(command, click.Group):
        for name, inner in command.commands.items():
            yield from commands(inner, (*words, name))


ALL = list(commands())


@pytest.mark.parametrize("words", [w for w, _ in ALL], ids=" ".join)
def test_every_help_has_an_example_that_would_run(words: tuple[str, ...]) -> None:
    ran = CliRunner().invoke(main, [*words, "--help"], prog_name="foamwright")
    assert ran.exit_code == 0
    assert max(map(len, ran.stdout.splitlines())) <= 80
    about, _, options = ran.stdout.partition("Options:")
    assert "..." not in options.partition("Commands:")[2], "a short_help is too long"
    body = about.partition("\n\n")[2]
    examples = re.findall(r"\bfoamwright [a-z][^\n]*", re.sub(r"\n {8,}--", " --", body))
    assert examples
    for line in examples:
        told = shlex.split(line)[1:]
        command: click.Command = main
        with click.Context(main) as context:
            while isinstance(command, click.Group):
                command = command.commands[told.pop(0)]
            command.make_context("foamwright", told, parent=context)  # raises what it can't bear


def completed(*typed: str, shell: str = "bash") -> list[str]:
    """What the shell is offered for the last word."""
    environment = {
        **os.environ,
        "_FOAMWRIGHT_COMPLETE": f"{shell}_complete",
        "COMP_WORDS": " ".join(("foamwright", *typed)),
        "COMP_CWORD": str(len(typed)),
    }
    ran = subprocess.run(
        [sys.executable, "-m", "foamwright"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    return [line.partition(",")[2] for line in ran.stdout.splitlines()]


def test_the_shell_completes_commands_and_options() -> None:
    assert completed("pa") == ["paper"]
    assert completed("cut", "--pre") == ["--preview"]
    assert completed("paper", "--page", "a") == ["a4", "a3"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_readme_s_lines_give_the_shell_its_completion(shell: str) -> None:
    assert f"_FOAMWRIGHT_COMPLETE={shell}_source foamwright" in README
    if shell == "bash" and os.name == "nt":
        pytest.skip("no bash")
    ran = subprocess.run(
        [sys.executable, "-m", "foamwright"],
        env={**os.environ, "_FOAMWRIGHT_COMPLETE": f"{shell}_source"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert "foamwright" in ran.stdout
    assert f"_FOAMWRIGHT_COMPLETE={shell}_complete" in ran.stdout


def test_heavy_libraries_are_not_loaded_for_help() -> None:
    program = "import sys; from foamwright.cli import main\ntry: main(['--help'])\n"
    program += "except SystemExit: pass\nprint(sorted(sys.modules))"
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    for heavy in ("reportlab", "resvg_py", "shapely", "ezdxf", "rich", "jinja2", "numpy"):
        assert f"'{heavy}'" not in ran.stdout
