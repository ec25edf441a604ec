#!/usr/bin/env python3
"""Predicted against realised false warnings of healthy stations.

  driftline simulate --scene healthy --stations 24 --days 365 --seed 29 --out year.ndjson.gz
  driftline trial year.ndjson.gz --config year.plant.json --until 2026-07-05 --candidate b0.5.json ... --json > predicted.json
  driftline trial year.ndjson.gz --config year.plant.json --from 2026-07-05 --no-price --candidate b0.5.json ... --json > realised.json
  score_trial.py predicted.json realised.json

The price comes from the first half, the warnings from the second. Only conditions with a chart count; what several of
them say of a station within 4 days counts once, as in the price.
"""
import datetime
import json
import math
import sys

CHARTED = {"slow-to-pressure", "quick-to-pressure", "residual-pressure", "slow-vent", "peak-shift"}


def moment(text):
    return datetime.datetime.fromisoformat(text[:19])


def events(warnings):
    last, count = None, 0
    for raised in sorted(moment(w["raised"]) for w in warnings if w["condition"] in CHARTED):
        if last is None or (raised - last).total_seconds() > 4 * 86400:
            count += 1
        last = raised
    return count


def main():
    predicted, realised = (json.load(open(name)) for name in sys.argv[1:3])
    begin = moment(sys.argv[3]) if len(sys.argv) > 3 else moment(predicted["until"])
    until = moment(realised["until"])
    years = (until - begin).days / 365.25
    print(f"{len(realised['stations'])} stations, {years:.2f} years each\n")
    print(f"{'thresholds':14}{'predicted':>10}{'realised':>10}{'events':>8}   95 % of what chance allows")
    for c, name in enumerate(predicted["names"]):
        costs = [s["candidates"][c]["false_a_year"] for s in predicted["stations"] if s["candidates"][c]["false_a_year"] is not None]
        count = sum(events([w for w in s["candidates"][c]["warnings"] if moment(w["raised"]) >= begin]) for s in realised["stations"])
        exposure = len(realised["stations"]) * years
        cost = sum(costs) / len(costs)
        # Poisson, normal approximation on the square root (variance stabilised)
        low = max(0.0, math.sqrt(count + 0.375) - 0.98) ** 2 / exposure
        high = (math.sqrt(count + 0.375) + 0.98) ** 2 / exposure
        print(f"{name:14}{cost:10.2f}{count / exposure:10.2f}{count:8d}   {low:.2f} to {high:.2f}")


if __name__ == "__main__":
    main()
