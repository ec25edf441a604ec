#!/usr/bin/python3
"""Mails of a folder as Python's email package reads them (RFC 5322, 2045, 2047; policy "default"): one JSON object a line.

    read_mails.py FOLDER
"""
import email, email.policy, json, os, sys

folder = sys.argv[1]
for name in sorted(n for n in os.listdir(folder) if n.endswith(".eml")):
    with open(os.path.join(folder, name), "rb") as file:
        raw = file.read()
    with open(os.path.join(folder, name[:-4] + ".json")) as file:
        envelope = json.load(file)
    mail = email.message_from_bytes(raw, policy=email.policy.default)
    parts = list(mail.walk())
    text, html = mail.get_body(("plain",)), mail.get_body(("html",))
    print(json.dumps({
        "envelope": envelope,
        "fields": [field for field, _ in mail.items()],
        "defects": [str(d) for part in parts for d in part.defects] + [str(d) for _, v in mail.items() for d in getattr(v, "defects", [])],
        "subject": mail["subject"], "from": mail["from"], "to": mail["to"], "date": mail["date"].datetime.isoformat(),
        "message_id": mail["message-id"], "references": mail["references"], "in_reply_to": mail["in-reply-to"],
        "types": [part.get_content_type() for part in parts],
        "images": [{"id": part["content-id"], "bytes": len(part.get_content()), "first": part.get_content()[:8].hex()} for part in parts if part.get_content_maintype() == "image"],
        "text": text.get_content().replace("\r", ""), "html": html.get_content().replace("\r", ""),
        "longest_line": max(len(line) for line in raw.split(b"\n")), "bare_line_feeds": raw.replace(b"\r\n", b"").count(b"\n") + raw.replace(b"\r\n", b"").count(b"\r"),
    }))
