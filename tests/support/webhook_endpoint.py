#!/usr/bin/python3
"""An endpoint of a test's own: requests are kept as files, with what Python's hmac makes of their signature.

    webhook_endpoint.py PORT FOLDER KEY

FOLDER/NNNN.json holds headers, body, and whether the signature is right. FOLDER/mode, read for each request:

    200, 404, 500 …      that status (also "429 3": with Retry-After 3)
    rubbish              something that is no HTTP
    close                keeps the request and closes without a word
    slow SECONDS         waits so long before it answers 200
"""
import hashlib, hmac, json, os, sys, threading, time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

port, folder, key = int(sys.argv[1]), sys.argv[2], sys.argv[3].encode()
lock = threading.Lock()


def mode():
    try:
        with open(os.path.join(folder, "mode")) as file:
            return file.read().split()
    except FileNotFoundError:
        return ["200"]


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *_):
        pass

    def do_POST(self):
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        want = "sha256=" + hmac.new(key, body, hashlib.sha256).hexdigest()
        words = mode()
        kept = {"path": self.path, "headers": dict(self.headers), "body": json.loads(body), "mode": words,
                "signed": hmac.compare_digest(want, self.headers.get("Driftline-Signature", ""))}
        with lock:
            path = os.path.join(folder, "%04d" % (sum(name.endswith(".json") for name in os.listdir(folder)) + 1))
            with open(path + ".part", "w") as file:
                json.dump(kept, file)
            os.rename(path + ".part", path + ".json")
        if words[0] == "rubbish":
            self.wfile.write(b"\x16\x03\x01 no such thing\r\n\r\n")
            self.close_connection = True
            return
        if words[0] == "close":
            self.close_connection = True
            return
        if words[0] == "slow":
            time.sleep(float(words[1]))
            words = ["200"]
        self.send_response(int(words[0]))
        if len(words) > 1:
            self.send_header("Retry-After", words[1])
        self.send_header("Content-Length", "0")
        self.end_headers()


ThreadingHTTPServer(("127.0.0.1", port), Handler).serve_forever()
