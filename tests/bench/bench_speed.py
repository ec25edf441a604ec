#!/usr/bin/env python3
"""How long the Trial bench takes over HTTP, as the page asks while a threshold is moved.

  bench_speed.py PORT SITE/STATION [--moves 30]

A gateway runs on 127.0.0.1:PORT with its page and a history of the station (`trial_history` makes one of a year). The first
question reads the station's tape; each further one moves the smallest shift and asks for one candidate with its curve, then for
two side by side. Aim: 200 ms for a station's year.
"""
import argparse
import json
import statistics
import time
import urllib.request


def ask(port, path, body=None, token=None):
    request = urllib.request.Request(f"http://127.0.0.1:{port}/api/v1{path}", data=None if body is None else json.dumps(body).encode(),
                                     headers={"Content-Type": "application/json", **({"X-Driftline-Token": token} if token else {})})
    began = time.monotonic()
    with urllib.request.urlopen(request, timeout=60) as answer:
        text = answer.read()
    return json.loads(text), (time.monotonic() - began) * 1000, len(text)


def question(condition, shifts):
    return {"condition": condition, "vary": f"{condition}/smallest_shift_pct=0.5..12:9",
            "candidates": [{"name": f"c{i}", "thresholds": {"conditions": {condition: {"smallest_shift_pct": s}}}} for i, s in enumerate(shifts)]}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("port", type=int)
    parser.add_argument("station")
    parser.add_argument("--moves", type=int, default=30)
    options = parser.parse_args()
    token = ask(options.port, "/session")[0]["token"]
    path = f"/stations/{options.station}/trial"
    first, took, size = ask(options.port, path, question("slow-to-pressure", [2.5]), token)
    print(f"{options.station}: {first['turns']} turns, noise of {first['noise_days']:.0f} days; first question {took:.0f} ms, {size / 1000:.0f} kB")
    for condition in ("slow-to-pressure", "slow-vent"):
        for name, count in (("one candidate", 1), ("two side by side", 2)):
            times = []
            for i in range(options.moves):
                shifts = [round(1 + 8 * ((i * 7 + 3 * c) % options.moves) / options.moves, 2) for c in range(count)]
                times.append(ask(options.port, path, question(condition, shifts), token)[1])
            times.sort()
            print(f"{condition:18} {name:18} median {statistics.median(times):5.0f} ms, worst of {len(times)} {times[-1]:5.0f} ms")


if __name__ == "__main__":
    main()
