"""Commands start quickly: what is not needed is not loaded."""

import subprocess
import sys

import click

from advisor import cli


def test_help_loads_no_command_and_no_library():
    code = (
        "import sys\n"
        "from advisor.cli import cli\n"
        "cli.main(['--help'], standalone_mode=False)\n"
        "own = sorted(name for name in sys.modules if name.startswith('advisor'))\n"
        "assert own == ['advisor', 'advisor.cli', 'advisor.errors'], own\n"
        "assert not {'numpy', 'pandas', 'pint', 'pydantic', 'requests', 'flask', 'rich'} & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_help_says_of_each_command_what_its_own_help_begins_with():
    context = click.Context(cli.cli)
    assert set(cli._SAYS) == set(cli._COMMANDS)
    for name, says in cli._SAYS.items():
        assert cli.cli.get_command(context, name).get_short_help_str(1000) == says, name


def test_an_outlook_on_a_stored_answer_loads_no_pandas_pint_or_requests(tmp_path):
    code = (
        "import sys\n"
        "from advisor.cli import cli\n"
        "cli.main(['outlook', '--home', 'fixtures/prairie-lawn', '--now', '2026-09-21T12:00Z',\n"
        "          '--weather', 'fixtures/weather/prairie-open-meteo.json'], standalone_mode=False)\n"
        "loaded = {'pandas', 'pint', 'requests', 'flask', 'rich', 'apscheduler', 'tzfpy'} & set(sys.modules)\n"
        "assert not loaded, loaded\n"
    )
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
