#!/usr/bin/python3
"""Compares files of numbers that were made again with those that are checked in.

    compare.py CHECKED_IN MADE_AGAIN FILE…

JSON, or CSV with a header. Numbers agree to 1e-9 of their size, or to 1e-10 where
they are rounding errors about 0, unless LOOSE allows more; everything else is equal.
`_meta`, the versions of the programs, is left out. Prints the largest difference of
each file; exit status 1 where something is off."""
import csv, json, math, os, re, sys

RELATIVE, ABOUT_ZERO = 1e-9, 1e-10
# Where in which file more is allowed: an absolute difference, and why.
LOOSE = [
    # the digits that a decomposition leaves of an ill-conditioned set turn on the
    # rounding of the processor's linear algebra
    ("out/r01_traps.json", r"LRE", 1.0),
    ("out/r01_traps.json", r"kappa_raw", 1e10),  # of 1.8e15
    # where a search by golden section stops
    ("out/r07_lms_boot.json", r"lambda_mle", 1e-7),
    # where the search for the largest restricted likelihood stops: two processors
    # came 2e-8 apart
    ("out/r05_agreement.json", r"reml_lme", 1e-6),
]


def number(v):
    if isinstance(v, bool) or v is None:
        return None
    if isinstance(v, (int, float)):
        return float(v)
    try:
        return float(v)
    except (TypeError, ValueError):
        return None


def load(path):
    with open(path) as f:
        return json.load(f) if path.endswith(".json") else list(csv.DictReader(f))


def walk(old, new, where, found):
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(set(old) | set(new)):
            if key != "_meta":
                walk(old.get(key), new.get(key), f"{where}.{key}", found)
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for i, pair in enumerate(zip(old, new)):
            walk(*pair, f"{where}[{i}]", found)
    else:
        a, b = number(old), number(new)
        if a is None or b is None:
            found.append((0.0 if old == new else math.inf, where, old, new))
        elif a == b or (math.isnan(a) and math.isnan(b)) or abs(a - b) <= ABOUT_ZERO:
            found.append((0.0, where, a, b))
        else:
            found.append((abs(a - b) / max(abs(a), abs(b)), where, a, b))


def allowed(name, where, old, new):
    return any(name == file and re.search(part, where) and abs(old - new) <= room for file, part, room in LOOSE)


def main(old, new, names):
    bad = 0
    for name in names:
        found, loose = [], 0
        walk(load(os.path.join(old, name)), load(os.path.join(new, name)), "", found)
        wrong = sorted((f for f in found if not f[0] <= RELATIVE), reverse=True, key=lambda f: f[0])
        kept = [f for f in wrong if math.isinf(f[0]) or not allowed(name, *f[1:])]
        loose = len(wrong) - len(kept)
        worst = max((f[0] for f in found if f[0] <= RELATIVE), default=0.0)
        print(f"{'differs' if kept else 'agrees':8} {name:24} {len(found):5} values to {worst:.1e}" + (f"; {loose} within the wider limit" if loose else ""))
        for off, where, a, b in kept[:10]:
            print(f"         {where}: {a!r} is checked in, {b!r} was made again")
        bad += bool(kept)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], sys.argv[3:]))
