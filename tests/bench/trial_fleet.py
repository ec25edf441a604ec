#!/usr/bin/env python3
"""How long `driftline trial` takes over a history of many stations, and how that grows.

  trial_fleet.py BUILD [--work DIR] [--stations 25] [--days 365] [--copies 8] [--seed 31]

BUILD is an optimised build with driftline and tests/trial_history. A healthy plant is simulated into a recording; the
gateway's own plant judges it once and its history keeps what came, for COPIES plants at sites of their own (a station's tape is
its own row for row; only what lies in it is alike), so that 25 stations stand for 200. Then `driftline trial --data` runs over
all of it, over a half and a quarter of the stations, and with one, four and eight candidates. Aim: 200 stations and a year with
one candidate in under 60 s on two cores. What is there already in DIR is used again.
"""
import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path


def timed(command, **more):
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.monotonic()
    done = subprocess.run([str(c) for c in command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, check=False, **more)
    wall = time.monotonic() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))}\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, done.stdout


def history(options, work):
    data = work / "data"
    if (data / "history.db").exists():
        return data
    recording = work / "plant.ndjson.gz"
    if not recording.exists():
        part = work / "part.ndjson.gz"
        wall, cpu, _ = timed([options.build / "driftline", "simulate", "--scene", "healthy", "--stations", options.stations, "--days", options.days, "--seed", options.seed,
                              "--out", part])
        os.rename(work / "part.plant.json", work / "plant.plant.json")
        os.rename(part, recording)
        print(f"simulated {options.stations} stations, {options.days} days: {wall:.0f} s, {cpu:.0f} s CPU", flush=True)
    part = work / "part"
    part.mkdir(exist_ok=True)
    wall, cpu, _ = timed([options.build / "tests/trial_history", recording, work / "plant.plant.json", options.copies, part / "history.db"])
    os.rename(part, data)
    print(f"judged once, stored {options.copies} times: {wall:.0f} s, {cpu:.0f} s CPU, {(data / 'history.db').stat().st_size / 1e9:.2f} GB", flush=True)
    return data


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("build", type=Path)
    parser.add_argument("--work", type=Path)
    parser.add_argument("--stations", type=int, default=25)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--copies", type=int, default=8)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--threads", type=int, default=2)
    options = parser.parse_args()
    work = options.work or Path(tempfile.mkdtemp(prefix="driftline-trial-"))
    work.mkdir(parents=True, exist_ok=True)
    data = history(options, work)
    config = work / "config"
    config.mkdir(exist_ok=True)
    candidates = []
    for i in range(8):
        candidates.append(work / f"c{i}.json")
        candidates[-1].write_text(json.dumps({"conditions": {"slow-to-pressure": {"smallest_shift_pct": 1.5 + 0.5 * i}, "slow-vent": {"smallest_shift_pct": 15 + 3 * i}}}))

    def trial(count, stations=(), *more):
        return timed([options.build / "driftline", "trial", "--data", data, "--config", config, "--json", "--threads", options.threads,
                      *[x for c in candidates[:count] for x in ("--candidate", c)], *[x for s in stations for x in ("--station", s)], *more])

    wall, cpu, out = trial(1)
    report = json.loads(out)
    names = [f"{s['site']}/{s['station']}" for s in report["stations"]]
    turns = sum(s["turns"] for s in report["stations"])
    load = os.getloadavg()[0]
    print(f"{len(names)} stations, {turns} turns, {options.threads} threads; load of the machine {load:.1f}\n")
    print(f"{'stations':>9}{'candidates':>12}{'prices':>8}{'wall s':>9}{'CPU s':>8}")

    def row(stations, count, prices, wall, cpu):
        print(f"{stations:9d}{count:12d}{prices:>8}{wall:9.1f}{cpu:8.1f}", flush=True)

    row(len(names), 1, "yes", wall, cpu)
    row(len(names), 1, "no", *trial(1, (), "--no-price")[:2])
    for share in (2, 4):
        some = names[::share]
        row(len(some), 1, "yes", *trial(1, some)[:2])
    quarter = names[::4]
    for count in (4, 8):
        row(len(quarter), count, "yes", *trial(count, quarter)[:2])


if __name__ == "__main__":
    main()
