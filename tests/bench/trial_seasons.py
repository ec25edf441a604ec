#!/usr/bin/env python3
"""What a trial predicts against what then came, and suggested thresholds against the usual ones, on seasons kept aside.

  trial_seasons.py DRIFTLINE [--work DIR] [--stations 20] [--days 200] [--seasons 2] [--fault-seasons 2] [--seed 41] [--part budgets|suggestions]

One invented plant; each season has weather, noise, people and links of its own (the seeds of plant and stations are others).
budgets      price of the budgets 0.1, 0.5, 2 and 10 a year on one healthy season, then the warnings of the same stations over other
             healthy seasons. As the price counts: conditions with a chart, what they say of a station within 4 days once.
suggestions  `trial --suggest` on that one season, written as the stations' own thresholds; then seasons with a gradual fault on
             every second station, which neither has seen, replayed with the usual thresholds and with the suggested ones, and
             held against their truth by score_warnings.
What is there already in DIR is used again.
"""
import argparse
import json
import math
import random
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
from score_trial import events, moment  # noqa: E402

BUDGETS = [0.1, 0.5, 2, 10]
GRADUAL = ["slow-leak", "pump-worn", "vent-restricted", "line-restricted", "metering-stuck", "changeover-leaking", "relief-leaking", "slow-leak"]
LEARNT_DAYS = 30  # a year's false warnings are those of a line that has been learnt


def call(command, out=None):
    done = subprocess.run([str(c) for c in command], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))}\n{done.stdout[-1500:]}{done.stderr[-1500:]}")
    if out:
        out.write_text(done.stdout)
    return done.stdout


class Plant:
    def __init__(self, options, work):
        self.options, self.work = options, work
        self.base = work / "base.json"
        if not self.base.exists():
            call([options.driftline, "simulate", "--scene", "healthy", "--stations", options.stations, "--days", options.days, "--seed", options.seed,
                  "--write-plan", self.base])

    def season(self, number, faults=False):
        """Recording of a season: the same stations, everything else drawn anew."""
        name = f"{'fault' if faults else 'healthy'}-{number}"
        recording = self.work / f"{name}.ndjson.gz"
        if recording.exists():
            return recording
        plan = json.loads(self.base.read_text())
        drawn = random.Random(self.options.seed * 1000 + number + (500 if faults else 0))
        plan["seed"] = drawn.getrandbits(48)
        for station in plan["stations"]:
            station["seed"] = drawn.getrandbits(63)
        more = []
        if faults:
            for i in range(0, len(plan["stations"]), 2):
                kind = GRADUAL[(i // 2 + number) % len(GRADUAL)]
                onset = drawn.uniform(60, self.options.days - 50)
                more += ["--fault", f"{i + 1}:{kind}@1:{drawn.choice(['linear', 'accelerating'])}:{onset:.1f}:{drawn.uniform(15, 40):.1f}"]
        file = self.work / f"{name}.plan.json"
        file.write_text(json.dumps(plan))
        part = self.work / f"part-{name}.ndjson.gz"
        call([self.options.driftline, "simulate", "--plan", file, *more, "--out", part])
        for ending in ("truth.json", "plant.json"):
            (self.work / f"part-{name}.{ending}").rename(self.work / f"{name}.{ending}")
        part.rename(recording)
        return recording

    def trial(self, recording, *more, out):
        config = recording.with_name(recording.name.replace(".ndjson.gz", ".plant.json"))
        if not out.exists():
            call([self.options.driftline, "trial", recording, "--config", config, "--json", *more], out)
        return json.loads(out.read_text())


def budget_files(work):
    files = []
    for budget in BUDGETS:
        files.append(work / f"budget-{budget:g}.json")
        files[-1].write_text(json.dumps({"false_warnings_per_year": budget}))
    return [x for f in files for x in ("--candidate", f)]


def budgets(plant, options, work):
    candidates = budget_files(work)
    predicted = plant.trial(plant.season(0), *candidates, out=work / "predicted.json")
    found = {name: 0 for name in predicted["names"]}
    exposure = 0.0
    for number in range(1, options.seasons + 1):
        realised = plant.trial(plant.season(number), "--no-price", *candidates, out=work / f"realised-{number}.json")
        until = moment(realised["until"])
        for station in realised["stations"]:
            begin = moment(station["from"])
            exposure += max(0.0, (until - begin).days - LEARNT_DAYS) / 365.25
            for c, name in enumerate(realised["names"]):
                found[name] += events([w for w in station["candidates"][c]["warnings"] if (moment(w["raised"]) - begin).days >= LEARNT_DAYS])
    print(f"{options.stations} stations, one season of {options.days:g} days priced; {options.seasons} other seasons, {exposure:.1f} station-years, lived\n")
    print(f"{'budget':14}{'predicted':>10}{'realised':>10}{'events':>8}   95 % of what chance allows   within a factor of two")
    for c, name in enumerate(predicted["names"]):
        costs = [s["candidates"][c]["false_a_year"] for s in predicted["stations"] if s["candidates"][c]["false_a_year"] is not None]
        cost = sum(costs) / len(costs)
        count = found[name]
        low = max(0.0, math.sqrt(count + 0.375) - 0.98) ** 2 / exposure  # Poisson, variance stabilised
        high = (math.sqrt(count + 0.375) + 0.98) ** 2 / exposure
        rate = count / exposure
        verdict = "yes" if rate > 0 and 0.5 <= cost / rate <= 2 else "as far as chance tells" if low / 2 <= cost <= high * 2 else "no"
        print(f"{name:14}{cost:10.3f}{rate:10.3f}{count:8d}   {low:.2f} to {high:.2f}{'':14}{verdict}")


def suggestions(plant, options, work):
    report = plant.trial(plant.season(0), "--suggest", "--budget", "0.5", out=work / "suggested.json")
    patches = {}
    for suggestion in report["suggestions"]:
        for station in suggestion["stations"]:
            patches[station if isinstance(station, str) else f"{station['site']}/{station['station']}"] = suggestion.get("thresholds") or {}
    changed = sum(1 for p in patches.values() if p)
    print(f"\nsuggested from one season, budget 0.5: {changed} of {len(patches)} stations get other thresholds than the usual ones\n")
    scored = {"usual": [], "suggested": []}
    for number in range(1, options.fault_seasons + 1):
        recording = plant.season(number, faults=True)
        stem = recording.name.replace(".ndjson.gz", "")
        own = json.loads((work / f"{stem}.plant.json").read_text())
        for station in own["stations"]:
            station["thresholds"] = patches.get(f"{station['site']}/{station['station']}", {})
        (work / f"{stem}.suggested.json").write_text(json.dumps(own))
        for name, config in (("usual", work / f"{stem}.plant.json"), ("suggested", work / f"{stem}.suggested.json")):
            rows = work / f"{stem}-{name}"
            if not rows.exists():
                call([options.driftline, "replay", recording, "--config", config, "--out", rows])
            scored[name] += [rows, work / f"{stem}.truth.json"]
    score = Path(__file__).resolve().parent / "score_warnings"
    for name, pairs in scored.items():
        print(f"--- {name} thresholds\n" + call([sys.executable, score, *pairs]), flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("driftline", type=Path)
    parser.add_argument("--work", type=Path)
    parser.add_argument("--stations", type=int, default=20)
    parser.add_argument("--days", type=float, default=200)
    parser.add_argument("--seasons", type=int, default=2)
    parser.add_argument("--fault-seasons", type=int, default=2)
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--part", choices=["budgets", "suggestions"])
    options = parser.parse_args()
    work = options.work or Path(tempfile.mkdtemp(prefix="driftline-seasons-"))
    work.mkdir(parents=True, exist_ok=True)
    plant = Plant(options, work)
    if options.part != "suggestions":
        budgets(plant, options, work)
    if options.part != "budgets":
        suggestions(plant, options, work)


if __name__ == "__main__":
    main()
