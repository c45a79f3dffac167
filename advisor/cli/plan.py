import click


@click.command()
def plan():
    """(being written)"""
