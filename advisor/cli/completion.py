"""`advisor completion SHELL`: what makes the shell complete commands and options."""

from __future__ import annotations

import click


@click.command(epilog="Example: advisor completion bash > ~/.local/share/bash-completion/completions/advisor")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell):
    """Print the script that lets SHELL complete commands and options; nothing is asked of the network."""
    from click.shell_completion import get_completion_class

    from advisor.cli import cli

    click.echo(get_completion_class(shell)(cli, {}, "advisor", "_ADVISOR_COMPLETE").source())
