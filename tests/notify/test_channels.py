"""Terminal and file, and how a household's settings become channels."""

import errno
import io
import os
from dataclasses import FrozenInstanceError
from datetime import date
from pathlib import Path

import pytest

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify import Channel, Message, build_channels, kinds
from advisor.notify.channels.file import FileChannel
from advisor.notify.channels.terminal import RULE, TerminalChannel


@pytest.fixture
def message(now):
    return Message(
        "n-0123",
        "Go, front",
        "Go on Monday.\nWind 4 mph.\n\n",
        created_at=now,
        kind="evening",
        local_date=date(2026, 9, 20),
    )


def test_a_message_does_not_change(message):
    with pytest.raises(FrozenInstanceError):
        message.text = "No."


@pytest.mark.parametrize("channel", [TerminalChannel(), FileChannel("x")])
def test_channels_keep_to_the_protocol(channel):
    assert isinstance(channel, Channel)


def test_the_terminal_shows_the_text_under_a_rule(message):
    stream = io.StringIO()
    TerminalChannel(stream=stream).send(message)
    assert stream.getvalue() == f"{RULE}\nGo on Monday.\nWind 4 mph.\n"


def test_the_terminal_channel_uses_the_standard_output_of_the_moment(message, capsys):
    TerminalChannel().send(message)
    assert "Go on Monday." in capsys.readouterr().out


def test_control_characters_do_not_reach_the_terminal(now):
    """A name from a user's file must not clear the screen or set the window's title."""
    stream = io.StringIO()
    text = "front\x1b[2J\x1b]0;x\x07 lawn\r\x9b31m\u202e 12\u202f°F\tok"
    TerminalChannel(stream=stream).send(Message("n", "s", text, created_at=now))
    assert stream.getvalue().splitlines()[1] == "front[2J]0;x lawn31m 12\u202f°F\tok"


def test_a_terminal_that_cannot_show_a_character_shows_another(now):
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    TerminalChannel(stream=stream).send(Message("n", "s", "5 °C", created_at=now))
    assert raw.getvalue().decode().splitlines()[1] == "5 ?C"


def test_a_closed_terminal_is_a_permanent_failure(message):
    stream = io.StringIO()
    stream.close()
    with pytest.raises(NotDelivered) as caught:
        TerminalChannel(stream=stream).send(message)
    assert caught.value.permanent


def test_a_terminal_that_nobody_reads_is_a_permanent_failure(message):
    reading, writing = os.pipe()
    os.close(reading)
    stream = os.fdopen(writing, "w")
    with pytest.raises(NotDelivered) as caught:
        TerminalChannel(stream=stream).send(message)
    assert caught.value.permanent
    with pytest.raises(BrokenPipeError):
        stream.close()


def test_a_file_is_named_by_date_kind_and_id_and_holds_the_text(message, tmp_path):
    FileChannel(tmp_path / "sub" / "notices").send(message)
    path = tmp_path / "sub" / "notices" / "2026-09-20-evening-n-0123.txt"
    assert path.read_bytes() == b"Go on Monday.\nWind 4 mph.\n"
    assert list(path.parent.iterdir()) == [path]


def test_a_file_written_again_is_the_same_file(message, tmp_path):
    channel = FileChannel(tmp_path)
    (tmp_path / ".2026-09-20-evening-n-0123.txt.unfinished").write_text("left by a process that died")
    channel.send(message)
    channel.send(message)
    assert [path.name for path in tmp_path.iterdir()] == ["2026-09-20-evening-n-0123.txt"]


def test_a_name_cannot_leave_the_folder(now, tmp_path):
    channel = FileChannel(tmp_path / "in")
    channel.send(Message("../../x/y", "s", "t", created_at=now, kind="../up"))
    (found,) = (tmp_path / "in").iterdir()
    assert found.name == "2026-09-20-up-x-y.txt"


def test_without_a_local_date_the_utc_date_is_taken(now, tmp_path):
    FileChannel(tmp_path).send(Message("n", "s", "t", created_at=now))
    assert [path.name for path in tmp_path.iterdir()] == ["2026-09-20-message-n.txt"]


def test_a_file_in_place_of_the_folder_fails_for_good(message, tmp_path):
    (tmp_path / "notices").write_text("")
    with pytest.raises(NotDelivered) as caught:
        FileChannel(tmp_path / "notices" / "sub").send(message)
    assert caught.value.permanent and caught.value.hint


def test_a_full_disk_may_pass_and_leaves_no_half_file(message, tmp_path, monkeypatch):
    def full(descriptor):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("advisor.notify.channels.file.os.fsync", full)
    with pytest.raises(NotDelivered) as caught:
        FileChannel(tmp_path).send(message)
    assert not caught.value.permanent
    assert not list(tmp_path.glob("*.txt"))


def test_settings_become_channels_by_name(tmp_path):
    built = build_channels(
        [{"kind": "terminal"}, {"kind": "file", "path": "notices"}, {"kind": "file", "path": "/srv/more"}],
        tmp_path,
    )
    assert list(built) == ["terminal", "file", "file-2"]
    assert built["file"].folder == tmp_path / "notices"
    assert built["file-2"].folder == Path("/srv/more")
    assert [channel.name for channel in built.values()] == list(built)


@pytest.mark.parametrize(
    ("plans", "says"),
    [
        ([{"kind": "termnal"}], 'did you mean "terminal"'),
        ([{}], "known: apprise, email, file, terminal, webhook"),
        ([{"kind": "file"}], "names no folder"),
        ([{"kind": "terminal", "name": "a"}, {"kind": "terminal", "name": "a"}], "two channels"),
    ],
)
def test_wrong_settings_are_named_with_what_to_do(plans, says):
    with pytest.raises(InvalidFile) as caught:
        build_channels(plans)
    assert says in str(caught.value)


def test_every_kind_can_be_built_from_settings():
    import importlib

    for kind in kinds():
        assert callable(importlib.import_module(f"advisor.notify.channels.{kind}").from_settings)
