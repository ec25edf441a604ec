#!/usr/bin/env python3
"""Score half-cycles.ndjson against a truth file.

  score_half_cycles.py TRUTH.json HALF-CYCLES.ndjson [--worst N] [--station NAME]

TRUTH.json: {"stations":[{"site","station","sample_interval_s","style":{"pump":bool,...},"half_cycles":{"columns":[...],"rows":[...]}}]}.
Columns used: line, start_ms, stop_ms, outcome, time_to_pressure_s, peak_bar, residual_bar, vent_s, seen, expected,
delivery, near_clock_step, sensor_dead. Times are milliseconds in the station's own clock.

A told turn belongs to the true one of its line with which it overlaps most (or whose start is nearest, within a tenth of
a minute). A turn counts as seen when at least 9 in 10 of its samples came, its sensor lived and no clock step was near.
invented: told, overlapping no true turn. split: a second telling of a true turn. unclear ones are told apart.
"""
import json
import sys
from collections import defaultdict
from datetime import datetime


def ms(text):
    return round(datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() * 1000)


def quantile(values, q):
    if not values:
        return float("nan")
    values = sorted(values)
    at = q * (len(values) - 1)
    low = int(at)
    high = min(low + 1, len(values) - 1)
    return values[low] + (values[high] - values[low]) * (at - low)


def rate_class(interval_s):
    if interval_s <= 0.25:
        return "5-10 Hz"
    if interval_s <= 1.5:
        return "1 Hz"
    if interval_s < 3.5:
        return "0.3-0.5 Hz"
    return "0.2 Hz"


def match(truths, told):
    """Pairs (truth index, told index); a told turn to at most one truth."""
    by_line = defaultdict(list)
    for i, t in enumerate(truths):
        by_line[t["line"]].append(i)
    pairs = defaultdict(list)
    strangers = []
    for j, h in enumerate(told):
        best, best_score = None, 0
        for line, indices in by_line.items():
            # binary search by start
            lo, hi = 0, len(indices)
            while lo < hi:
                mid = (lo + hi) // 2
                if truths[indices[mid]]["start_ms"] < h["start"] - 3_600_000:
                    lo = mid + 1
                else:
                    hi = mid
            for i in indices[lo:]:
                t = truths[i]
                if t["start_ms"] > h["stop"] + 60_000:
                    break
                overlap = min(t["stop_ms"], h["stop"]) - max(t["start_ms"], h["start"])
                score = overlap + 6_000
                if score > 0 and line != h["line"]:
                    score *= 0.01
                if score > best_score:
                    best, best_score = i, score
        if best is None:
            strangers.append(j)
        else:
            pairs[best].append(j)
    return pairs, strangers


def main():
    arguments = [a for a in sys.argv[1:] if not a.startswith("--")]
    worst = 0
    only = None
    for k, a in enumerate(sys.argv):
        if a == "--worst":
            worst = int(sys.argv[k + 1])
            arguments.remove(sys.argv[k + 1])
        if a == "--station":
            only = sys.argv[k + 1]
            arguments.remove(sys.argv[k + 1])
    truth = json.load(open(arguments[0]))
    told = defaultdict(list)
    for path in arguments[1:]:
        for row in open(path):
            h = json.loads(row)
            h["start"], h["stop"] = ms(h["pump_start"]), ms(h["pump_stop"])
            told[(h["site"], h["station"])].append(h)
    figures = [("ttp", "time_to_pressure_s"), ("peak", "peak_bar"), ("resid", "residual_bar"), ("vent", "vent_s")]
    print(f"{'station':12} {'class':10} {'pump':4} {'turns':>5} {'seen':>5} {'found':>6} {'unclr':>5} {'invent':>6} {'split':>5} "
          f"{'out%':>6} {'line!':>5} | " + " | ".join(f"{n:>5} n, p50 p95 max" for n, _ in figures) + " | start p50 p95 | told err ratio")
    classes = defaultdict(lambda: defaultdict(list))
    totals = defaultdict(int)
    for s in truth["stations"]:
        if only and s["station"] != only:
            continue
        columns = s["half_cycles"]["columns"]
        truths = [dict(zip(columns, r)) for r in s["half_cycles"]["rows"]]
        mine = sorted(told.get((s["site"], s["station"]), []), key=lambda h: h["start"])
        pairs, strangers = match(truths, mine)
        style = s.get("style", {})
        pump = bool(style.get("pump", True))
        group = (rate_class(s["sample_interval_s"]), "pump" if pump else "none")
        seen = found = right = split = unclear = wrong_line = 0
        errors = defaultdict(list)
        starts, ratio, notes = [], [], []
        for i, t in enumerate(truths):
            counted = t["seen"] >= 0.9 * t["expected"] and not t["sensor_dead"] and not t["near_clock_step"]
            mates = pairs.get(i, [])
            split += max(0, len(mates) - 1)
            if len(mates) > 1:
                notes.append((1e9, t, [mine[j] for j in mates], "split"))
            if not counted:
                continue
            seen += 1
            if not mates:
                notes.append((1e9, t, None, "not found"))
                continue
            found += 1
            h = mine[mates[0]]
            unclear += h["outcome"] == "unclear"
            wrong_line += h["line"] != t["line"]
            if h["outcome"] == t["outcome"]:
                right += 1
            else:
                notes.append((1e8, t, h, "outcome"))
            if h["line"] != t["line"]:
                notes.append((1e8, t, h, "line"))
            starts.append(abs(h["start"] - t["start_ms"]) / 1000)
            for name, key in figures:
                if t[key] is None or (name == "ttp" and h["outcome"] != "reached"):
                    continue
                if h[key] is None:
                    errors[name + "!"].append(1)
                    continue
                error = h[key] - t[key]
                errors[name].append(abs(error))
                if name == "ttp":
                    notes.append((abs(error), t, h, f"ttp {error:+.2f}"))
                    if h.get("error_s"):
                        ratio.append(abs(error) / h["error_s"])
        for j in strangers:
            notes.append((1e9, None, mine[j], "invented"))
        for key in ("ttp", "vent", "peak", "resid"):
            classes[group][key] += errors[key]
        classes[group]["ttp/interval"] += [e / s["sample_interval_s"] for e in errors["ttp"]]
        for key, value in (("seen", seen), ("found", found), ("right", right), ("split", split), ("invented", len(strangers)), ("unclear", unclear)):
            totals[key] += value
            classes[group][key].append(value)
        print(f"{s['station']:12} {rate_class(s['sample_interval_s']):10} {'yes' if pump else 'no':4} {len(truths):5} {seen:5} {found:6} {unclear:5} "
              f"{len(strangers):6} {split:5} {100 * right / max(1, found):6.2f} {wrong_line:5} | " +
              " | ".join(f"{len(errors[n]):4}-{len(errors[n + '!']):<3} {quantile(errors[n], .5):5.2f} {quantile(errors[n], .95):5.2f} {max(errors[n], default=0):6.2f}"
                         for n, _ in figures) +
              f" | {quantile(starts, .5):.2f} {quantile(starts, .95):.2f} | {quantile(ratio, .68):.2f} {quantile(ratio, .95):.2f}")
        if worst:
            for _, t, h, why in sorted(notes, key=lambda n: -n[0])[:worst]:
                print("   ", why, "| truth", t and {k: t[k] for k in ("line", "start_ms", "stop_ms", "outcome", "time_to_pressure_s", "peak_bar", "seen", "expected", "delivery", "why", "largest_gap_s")},
                      "| told", h if isinstance(h, list) or h is None else {k: h.get(k) for k in ("line", "pump_start", "pump_stop", "outcome", "time_to_pressure_s", "peak_bar", "samples", "error_s", "arrival")})
    print("\nclass            seen  found unclear invented split outcome% | ttp p50   p95   | in intervals p95 | vent p50 p95 | peak p50 p95 | residual p50 p95")
    for group, c in sorted(classes.items()):
        print(f"{group[0]:10} {group[1]:4} {sum(c['seen']):6} {sum(c['found']):6} {sum(c['unclear']):6} {sum(c['invented']):6} {sum(c['split']):6} "
              f"{100 * sum(c['right']) / max(1, sum(c['found'])):8.3f} | {quantile(c['ttp'], .5):6.3f} {quantile(c['ttp'], .95):6.3f} | {quantile(c['ttp/interval'], .95):6.3f} | "
              f"{quantile(c['vent'], .5):6.2f} {quantile(c['vent'], .95):6.2f} | {quantile(c['peak'], .5):5.2f} {quantile(c['peak'], .95):5.2f} | "
              f"{quantile(c['resid'], .5):5.2f} {quantile(c['resid'], .95):5.2f}")


main()
