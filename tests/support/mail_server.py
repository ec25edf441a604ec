#!/usr/bin/python3
"""A mail server of a test's own: STARTTLS and sign-in are asked for, mails are kept as files. aiosmtpd, Debian's package.

    mail_server.py PORT CERTIFICATE KEY FOLDER

User "driftline", password "an invented password". Each mail that is taken lies in FOLDER as NNNN.eml (the bytes of DATA) beside
NNNN.json (envelope). What it does is read from FOLDER/mode for each connection and each command:

    well            takes everything                       (also when there is no such file)
    busy            421 to each connection
    later ADDRESS   450 to that recipient
    full            452 to each mail's data
    never ADDRESS   550 to that recipient
    spam            554 to each mail's data
    shut            takes the mail, keeps it, and closes without a word
    slow SECONDS    waits so long before it answers the data
    rubbish         speaks something else
    plain           offers no STARTTLS
    silent          takes the connection and says nothing
"""
import asyncio, json, os, ssl, sys

from aiosmtpd.smtp import SMTP, AuthResult

port, certificate, key, folder = int(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4]


def mode():
    try:
        with open(os.path.join(folder, "mode")) as file:
            words = file.read().split()
    except FileNotFoundError:
        words = []
    return (words[0] if words else "well"), (words[1] if len(words) > 1 else "")


def keep(envelope):
    number = sum(name.endswith(".eml") for name in os.listdir(folder)) + 1
    path = os.path.join(folder, "%04d" % number)
    with open(path + ".json", "w") as file:
        json.dump({"from": envelope.mail_from, "to": envelope.rcpt_tos}, file)
    with open(path + ".part", "wb") as file:
        file.write(envelope.original_content)
    os.rename(path + ".part", path + ".eml")


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        word, whom = mode()
        if word == "later" and address == whom:
            return "450 4.2.2 the mailbox is full"
        if word == "never" and address == whom:
            return "550 5.1.1 nobody of that name"
        envelope.rcpt_tos.append(address)
        return "250 yes"

    async def handle_DATA(self, server, session, envelope):
        word, seconds = mode()
        if word == "full":
            return "452 4.3.1 no room"
        if word == "spam":
            return "554 5.7.1 not wanted"
        keep(envelope)
        if word == "shut":
            server.transport.abort()
        if word == "slow":
            await asyncio.sleep(float(seconds))
        return "250 taken"


def signed_in(server, session, envelope, mechanism, data):
    good = data.login == b"driftline" and data.password == b"an invented password"
    return AuthResult(success=good, handled=good)


class Other(asyncio.Protocol):
    def __init__(self, words):
        self.words = words

    def connection_made(self, transport):
        if self.words is None:
            return
        transport.write(self.words)
        transport.close()


context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(certificate, key)


def connection():
    word, _ = mode()
    if word == "busy":
        return Other(b"421 4.3.2 come again later\r\n")
    if word == "rubbish":
        return Other(b"\x00\xff<html>HTTP/1.1 200 fine\r\n\r\n" * 50)
    if word == "silent":
        return Other(None)
    if word == "plain":
        return SMTP(Handler(), hostname="mail.plant.example")
    return SMTP(Handler(), hostname="mail.plant.example", tls_context=context, require_starttls=True, auth_required=True, authenticator=signed_in)


async def serve():
    server = await asyncio.get_running_loop().create_server(connection, "127.0.0.1", port)
    await server.serve_forever()


asyncio.run(serve())
