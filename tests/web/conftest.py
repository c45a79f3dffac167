"""One demonstration household behind its pages, for the tests that only read; a fresh one for those that write."""

from __future__ import annotations

import pytest

from tests.demo_page import demo_client, demo_home


@pytest.fixture(scope="session")
def reading(tmp_path_factory):
    """(client, desk), not to be written to."""
    return demo_client(demo_home(tmp_path_factory.mktemp("reading")))


@pytest.fixture(scope="session")
def client(reading):
    return reading[0]


@pytest.fixture
def writing(tmp_path):
    """(client, desk, home) of a household of its own, with a single run: members cost time and change no form."""
    home = demo_home(tmp_path, members=0)
    client, desk = demo_client(home)
    yield client, desk, home
    desk.close()
