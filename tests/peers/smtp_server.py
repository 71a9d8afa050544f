"""A mail server for the tests: aiosmtpd on a loopback port, told what to refuse.

Prints one JSON object per line to standard output:

* ``{"event": "ready", "port": N}`` once it listens;
* ``{"event": "auth", "user": ..., "accepted": ...}`` for each attempt to sign in;
* ``{"event": "message", ...}`` for each accepted message: ``mail_from``, ``rcpt_to``, ``content``
  (as received, dots unstuffed), ``headers`` (pairs) and ``text``. The last two are decoded by
  Python's own email package. ``tls`` says whether it came encrypted, ``user`` who had signed in.

With a certificate it wants TLS before anything else: by STARTTLS, or from the first byte with
--implicit-tls. It stops when standard input closes.
"""

import argparse
import asyncio
import email
import email.policy
import json
import logging
import ssl
import sys
import threading
import warnings

from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword, TLSSetupException


def report(event, **fields):
    print(json.dumps({"event": event, **fields}), flush=True)


def is_news(record):
    """Clients that turn away from a certificate are part of the tests."""
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, (TLSSetupException, ssl.SSLError))


def quieten():
    """Leaves errors on standard error, without those the tests cause on purpose."""
    warnings.filterwarnings("ignore", message="Requiring AUTH while not requiring TLS")
    handler = logging.StreamHandler()
    handler.addFilter(is_news)
    logging.basicConfig(level=logging.ERROR, handlers=[handler])


class Sink:
    """Refuses recipients as told, and reports what it accepts."""

    def __init__(self, rcpt_answer, close_after):
        self.rcpt_answer = rcpt_answer
        self.close_after = close_after

    async def handle_MAIL(self, server, session, envelope, address, mail_options):
        taken = getattr(session, "taken", 0)
        if self.close_after and taken >= self.close_after:
            return "421 4.7.0 too many messages over one connection"
        session.taken = taken + 1
        envelope.mail_from = address
        envelope.mail_options.extend(mail_options)
        return "250 2.1.0 sender ok"

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):
        if self.rcpt_answer:
            return self.rcpt_answer
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 recipient ok"

    async def handle_DATA(self, server, session, envelope):
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        report(
            "message",
            mail_from=envelope.mail_from,
            rcpt_to=envelope.rcpt_tos,
            content=envelope.content.decode("utf-8", "backslashreplace"),
            headers=[[name, str(value)] for name, value in message.items()],
            text=message.get_body(("plain",)).get_content(),
            tls=server.transport.get_extra_info("sslcontext") is not None,
            user=session.auth_data,
        )
        return "250 2.0.0 accepted"


def authenticator(user, password):
    """Accepts exactly this user and password. What others tried as a password is not reported."""

    def check(server, session, envelope, mechanism, offered):
        accepted = (
            isinstance(offered, LoginPassword)
            and offered.login == user.encode()
            and offered.password == password.encode()
        )
        name = offered.login.decode("utf-8", "backslashreplace")
        report("auth", user=name, accepted=accepted)
        return AuthResult(success=accepted, handled=False, auth_data=name if accepted else None)

    return check


def rcpt_answer(options):
    if options.reject_rcpt:
        return f"{options.reject_rcpt} 5.1.1 no such mailbox"
    if options.defer_rcpt:
        return f"{options.defer_rcpt} 4.2.1 mailbox busy, try later"
    return None


def reply_code(first_digit):
    """A reply code that starts with this digit."""

    def parse(text):
        if len(text) == 3 and text.isascii() and text.isdigit() and text[0] == first_digit:
            return text
        raise argparse.ArgumentTypeError(f"{text!r} is not a {first_digit}xx reply code")

    return parse


def parse_options():
    parser = argparse.ArgumentParser(description="A mail server for the tests.")
    parser.add_argument("--tls-cert", help="certificate chain, PEM file")
    parser.add_argument("--tls-key", help="its private key, PEM file")
    parser.add_argument("--implicit-tls", action="store_true", help="TLS from the first byte")
    parser.add_argument("--auth", metavar="USER:PASSWORD", help="require signing in")
    parser.add_argument("--close-after", type=int, help="messages that a connection takes")
    refusal = parser.add_mutually_exclusive_group()
    refusal.add_argument("--reject-rcpt", type=reply_code("5"), help="5xx for every recipient")
    refusal.add_argument("--defer-rcpt", type=reply_code("4"), help="4xx for every recipient")
    options = parser.parse_args()
    if bool(options.tls_cert) != bool(options.tls_key):
        parser.error("--tls-cert and --tls-key go together")
    if options.implicit_tls and not options.tls_cert:
        parser.error("--implicit-tls needs --tls-cert and --tls-key")
    if options.auth and ":" not in options.auth:
        parser.error("--auth wants USER:PASSWORD")
    return options


def tls_context(options):
    if not options.tls_cert:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(options.tls_cert, options.tls_key)
    return context


def session_arguments(options, context):
    """What each session of aiosmtpd is made with."""
    arguments = {"hostname": "localhost", "ident": "test peer"}
    if context and not options.implicit_tls:
        arguments |= {"tls_context": context, "require_starttls": True}
    if options.auth:
        arguments |= {
            "auth_required": True,
            # aiosmtpd only counts STARTTLS as TLS. Without a certificate, signing in is offered in
            # the clear, as bait.
            "auth_require_tls": "tls_context" in arguments,
            "authenticator": authenticator(*options.auth.split(":", 1)),
        }
    return arguments


async def serve(options):
    loop = asyncio.get_running_loop()
    context = tls_context(options)
    arguments = session_arguments(options, context)
    sink = Sink(rcpt_answer(options), options.close_after)
    server = await loop.create_server(
        lambda: SMTP(sink, loop=loop, **arguments),
        host="127.0.0.1",
        port=0,
        ssl=context if options.implicit_tls else None,
    )
    report("ready", port=server.sockets[0].getsockname()[1])
    closed = asyncio.Event()

    def wait_for_end_of_input():
        sys.stdin.buffer.read()
        loop.call_soon_threadsafe(closed.set)

    threading.Thread(target=wait_for_end_of_input, daemon=True).start()
    await closed.wait()
    server.close()


if __name__ == "__main__":
    quieten()
    asyncio.run(serve(parse_options()))
