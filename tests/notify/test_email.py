"""Mail against a real SMTP server (aiosmtpd) with real TLS (certificates of trustme) on the loopback address."""

from __future__ import annotations

import email
import email.policy
import socket
import ssl
from datetime import date

import pytest

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify import Message, deliver_due
from advisor.notify.channels.email import EmailChannel, from_settings
from advisor.store import outbox
from advisor.store.masking import Secret

aiosmtpd_controller = pytest.importorskip("aiosmtpd.controller")
trustme = pytest.importorskip("trustme")

from aiosmtpd.smtp import SMTP, AuthResult  # noqa: E402

PASSWORD = "correct-horse-battery"


@pytest.fixture(scope="session")
def authority():
    return trustme.CA()


@pytest.fixture(scope="session")
def server_tls(authority):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost", "127.0.0.1").configure_cert(context)
    return context


@pytest.fixture(scope="session")
def trusting(authority):
    context = ssl.create_default_context()
    authority.configure_trust(context)
    return context


@pytest.fixture
def message(now):
    return Message(
        "n-0123456789abcdef",
        "Tomorrow, Fri 25 Sep: go for front lawn – start at 12:00",
        "Go on Friday: 72 °F, wind 5 mph.\n.\n.a line that begins with a dot\n\nBefore you start: the label.\n",
        "<!doctype html><html><body><p>Go on Friday &amp; not on Saturday.</p></body></html>",
        created_at=now,
        kind="evening",
        local_date=date(2026, 9, 20),
    )


class Sink:
    """Keeps what arrives. `answers` maps a step to what the server says there."""

    def __init__(self, **answers):
        self.answers, self.mails, self.secured = answers, [], []

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if "rcpt" in self.answers:
            return self.answers["rcpt"]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        if self.answers.get("data") == "break":
            server.transport.abort()
            return "250 never seen"
        if "data" in self.answers:
            return self.answers["data"]
        self.mails.append(envelope.content)
        self.secured.append(session.ssl is not None)
        return "250 taken"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class _Controller(aiosmtpd_controller.Controller):
    def __init__(self, sink, server_context=None, **options):
        self.options, self.server_context = options, server_context
        super().__init__(sink, hostname="127.0.0.1", port=free_port(), ssl_context=server_context)

    def factory(self):
        return SMTP(self.handler, hostname="localhost", **self.options)

    def _trigger_server(self):
        """Wait for the port alone: the probe of the library does not trust the certificate of these tests."""
        socket.create_connection(("127.0.0.1", self.port), timeout=5).close()


@pytest.fixture
def serve(request):
    def start(sink, **options):
        controller = _Controller(sink, **options)
        controller.start()
        request.addfinalizer(controller.stop)
        return controller.port

    return start


def login(server, session, envelope, mechanism, data):
    right = (data.login, data.password) == (b"advisor", PASSWORD.encode())
    return AuthResult(success=right, handled=right)


def channel(port, trusting, **changes):
    given = {"security": "starttls", "port": port, "context": trusting, "timeout": 5.0, **changes}
    return EmailChannel("127.0.0.1", "advisor@example.org", "you@example.org", "mail", **given)


def parsed(mail: bytes):
    return email.message_from_bytes(mail, policy=email.policy.default)


def test_a_notice_arrives_whole_over_starttls(serve, server_tls, trusting, message):
    sink = Sink()
    channel(serve(sink, tls_context=server_tls, require_starttls=True), trusting).send(message)
    (mail,) = map(parsed, sink.mails)
    assert sink.secured == [True]
    assert mail["Subject"] == message.subject
    assert (mail["From"], mail["To"]) == ("advisor@example.org", "you@example.org")
    assert mail["Date"].datetime == message.created_at
    assert mail.get_body(("plain",)).get_content().replace("\r\n", "\n") == message.text
    assert "Go on Friday &amp; not on Saturday." in mail.get_body(("html",)).get_content()
    assert message.id in mail["Message-ID"] and mail["Message-ID"].endswith("@example.org>")
    # RFC 3834: an automatic message says so, and no other machine answers it
    assert mail["Auto-Submitted"] == "auto-generated"
    # RFC 5321, 4.5.3.1.6: no line is longer than 998 octets
    assert max(map(len, sink.mails[0].splitlines())) <= 998


def test_and_over_tls_from_the_first_byte(serve, server_tls, trusting, message):
    sink = Sink()
    channel(serve(sink, server_context=server_tls), trusting, security="tls").send(message)
    assert len(sink.mails) == 1


def test_the_same_bytes_at_every_attempt(trusting, message):
    one = channel(25, trusting)
    assert one.written(message).as_bytes() == one.written(message).as_bytes()
    other = EmailChannel("127.0.0.1", "advisor@example.org", "else@example.org", "other")
    assert one.written(message)["Message-ID"] != other.written(message)["Message-ID"]


def test_it_logs_in_only_under_tls(serve, server_tls, trusting, message):
    sink = Sink()
    port = serve(sink, tls_context=server_tls, authenticator=login, auth_required=True)
    channel(port, trusting, user="advisor", password=Secret(PASSWORD)).send(message)
    assert len(sink.mails) == 1


def test_a_wrong_password_is_final_and_shown_nowhere(serve, server_tls, trusting, message):
    sink = Sink()
    port = serve(sink, tls_context=server_tls, authenticator=login, auth_required=True)
    bad = channel(port, trusting, user="advisor", password=Secret("not-the-password"))
    with pytest.raises(NotDelivered) as caught:
        bad.send(message)
    assert caught.value.permanent and "user and password" in caught.value.hint
    assert "not-the-password" not in f"{caught.value}{bad!r}"
    assert sink.mails == []


def test_a_server_without_tls_gets_nothing(serve, trusting, message):
    sink = Sink()
    with pytest.raises(NotDelivered, match="STARTTLS") as caught:
        channel(serve(sink), trusting).send(message)
    assert not caught.value.permanent and sink.mails == []


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_that_nobody_vouches_for_gets_nothing(serve, server_tls, message, security):
    sink = Sink()
    options = {"tls_context": server_tls} if security == "starttls" else {"server_context": server_tls}
    stranger = channel(serve(sink, **options), ssl.create_default_context(), security=security)
    with pytest.raises(NotDelivered, match="CERTIFICATE_VERIFY_FAILED|certificate verify failed") as caught:
        stranger.send(message)
    assert not caught.value.permanent and sink.mails == []


def test_nobody_listens(trusting, message):
    with pytest.raises(NotDelivered) as caught:
        channel(free_port(), trusting).send(message)
    assert not caught.value.permanent


# RFC 5321, 4.2.1: 4yz may pass, 5yz is for good
@pytest.mark.parametrize(
    ("step", "answer", "permanent"),
    [
        ("rcpt", "450 mailbox busy", False),
        ("rcpt", "550 no such mailbox", True),
        ("data", "451 try later", False),
        ("data", "554 refused", True),
    ],
)
def test_refusals_pass_or_are_for_good(serve, server_tls, trusting, message, step, answer, permanent):
    sink = Sink(**{step: answer})
    with pytest.raises(NotDelivered, match=answer.split(" ", 1)[1]) as caught:
        channel(serve(sink, tls_context=server_tls), trusting).send(message)
    assert caught.value.permanent is permanent and sink.mails == []


def test_a_connection_that_breaks_after_the_text_is_unknown_and_not_tried_again(
    serve, server_tls, trusting, store, put, now
):
    sink = Sink(data="break")
    mail = channel(serve(sink, tls_context=server_tls), trusting)
    put("front", "mail")
    assert deliver_due(store, [mail], now).uncertain == 1
    sink.answers.clear()
    assert deliver_due(store, [mail], now).sent == 0 and sink.mails == []
    assert [row.state for row in outbox.listing(store)] == ["uncertain"]


def test_a_server_that_was_down_gets_it_once_when_it_is_back(serve, server_tls, trusting, store, put, now):
    sink = Sink(rcpt="450 not now")
    mail = channel(serve(sink, tls_context=server_tls), trusting)
    put("front", "mail")
    assert deliver_due(store, [mail], now).postponed == 1
    sink.answers.clear()
    later = outbox.listing(store)[0].next_try_at
    assert deliver_due(store, [mail], later).sent == 1
    assert deliver_due(store, [mail], later).sent == 0
    assert len(sink.mails) == 1


def test_a_subject_cannot_add_headers(serve, server_tls, trusting, now):
    sink = Sink()
    evil = Message("n-1", "Go\r\nBcc: all@example.org", "Go.", created_at=now)
    channel(serve(sink, tls_context=server_tls), trusting).send(evil)
    (mail,) = map(parsed, sink.mails)
    assert mail["Bcc"] is None and mail["Subject"] == "Go Bcc: all@example.org"


GOOD = {"kind": "email", "host": "mail.example.org", "sender": "advisor@example.org", "to": "you@example.org"}


def test_settings_with_a_password_in_a_file(tmp_path):
    (tmp_path / "password").write_text(PASSWORD + "\n")
    (tmp_path / "password").chmod(0o600)
    made = from_settings({**GOOD, "user": "advisor", "password_file": "password"}, "mail", tmp_path)
    assert (made.security, made.port) == ("starttls", 587)
    assert [secret.reveal() for secret in made.secrets] == [PASSWORD]
    assert PASSWORD not in repr(made) and PASSWORD not in repr(made.secrets)


def test_a_password_that_others_can_read_is_refused(tmp_path):
    (tmp_path / "password").write_text(PASSWORD)
    (tmp_path / "password").chmod(0o640)
    with pytest.raises(InvalidFile, match="other users can read") as caught:
        from_settings({**GOOD, "user": "advisor", "password_file": "password"}, "mail", tmp_path)
    assert "chmod 600" in caught.value.hint and PASSWORD not in str(caught.value)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"host": "https://mail.example.org"}, "not the name of a mail server"),
        ({"to": "you@example.org, me@example.org"}, "not one mail address"),
        ({"to": "you@example.org\nBcc: x@example.org"}, "not one mail address"),
        ({"sender": "advisor"}, "not one mail address"),
        ({"security": "none"}, "without TLS is only for"),
        ({"user": "advisor"}, "go together"),
    ],
)
def test_settings_that_cannot_be_used(tmp_path, change, says):
    with pytest.raises(InvalidFile, match=says):
        from_settings({**GOOD, **change}, "mail", tmp_path)
