#!/usr/bin/env python3
"""Measures what machine.sh has made. usage: machine.py WORK RECORDINGS REPEATS [SIZE ...]"""
import math, os, re, statistics, subprocess, sys

work, n, repeats, sizes = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), [int(s) for s in sys.argv[4:]]
here = os.path.dirname(os.path.abspath(__file__))

def run(argv):
    """CPU seconds, peak of resident memory in MB, and what the command said."""
    with open(work+"/said", "w+") as said:
        p = subprocess.Popen(argv, stdout=said, stderr=said)
        _, status, used = os.wait4(p.pid, 0)
        p.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0); text = said.read()
    if p.returncode not in (0, 3):                         # 3: some recording could not be used, as in any cohort
        sys.exit(f"{' '.join(argv)}: exit status {p.returncode}\n{text[-2000:]}")
    return used.ru_utime+used.ru_stime, used.ru_maxrss/1024, text

def ours(study, jobs=1, *more):
    return [work+"/tonocohort", "run", f"{work}/{study}", "--out", f"{work}/results", "--replace", "--jobs", str(jobs), *more]

def peer(*more): return ["/usr/bin/python3", here+"/../golden/peer.py", work+"/cohort", *more]

def recording_stage(text):
    found = re.search(STAGE, text, re.M)
    if not found: sys.exit("no seconds of the recording stage in what --verbose says:\n"+text[:2000])
    return float(found.group(1))

STAGE = r"^computing the recordings: ([0-9.]+) s"

def row(what, value, target, met): print(f"{what:58} {value:>12}   {target:>10}   {'met' if met else 'missed'}", flush=True)

commands = {
    "ours": ours("csv", 1, "--quiet"), "floor": [work+"/floor", "comp", work+"/cohort/csv", work+"/cohort/cohort.csv"],
    "peer": peer("--reader", "pandas"), "boot": peer("--reader", "pandas", "--boot", "vec"),
    "edf": ours("edf", 1, "--quiet"), "wfdb": ours("wfdb", 1, "--quiet"), "npy": peer("--fmt", "npy")}
print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; {n} recordings, {repeats} rounds; ratios are medians over rounds")
cpu, peak, wall = {k: [] for k in commands}, [], {1: [], 2: []}
for _ in range(repeats):
    for k, argv in commands.items():
        seconds, mb, _ = run(argv)
        cpu[k].append(seconds)
        if k == "ours": peak.append(mb)
    for jobs in wall: wall[jobs].append(recording_stage(run(ours("csv", jobs, "--verbose"))[2]))
for k, seconds in cpu.items(): print(f"  {k:6} {1000*statistics.median(seconds)/n:8.3f} ms of CPU a recording")
ratio = lambda a, b: statistics.median(x/y for x, y in zip(a, b))
print(f"\n{'':58} {'measured':>12}   {'target':>10}")
for what, a, b, target in [("peer / ours, csv, jackknife", "peer", "ours", 5), ("peer with bootstrap / ours, csv", "boot", "ours", 6),
                           ("peer from .npy / ours from EDF", "npy", "edf", 3), ("peer from .npy / ours from WFDB", "npy", "wfdb", 3)]:
    r = ratio(cpu[a], cpu[b]); row(what, f"{r:.2f}", f">= {target}", r >= target)
r = ratio(cpu["ours"], cpu["floor"]); row("ours / floor, csv", f"{r:.2f}", "<= 2", r <= 2)
r = ratio(wall[1], wall[2]); row("wall of the recording stage, one worker / two", f"{r:.2f}", ">= 1.7", r >= 1.7)
print(f"peak of resident memory, {n} recordings: {statistics.median(peak):.0f} MB")
if sizes:
    used = []
    for size in sizes:
        times = min(repeats, max(1, 100000//size))         # the largest once
        runs = [run(ours(f"many{size}", 1, "--quiet")) for _ in range(times)]
        used.append((size, statistics.median(r[0] for r in runs), statistics.median(r[1] for r in runs)))
        print(f"  {size} recordings: {used[-1][1]:.1f} s of CPU, {1000*used[-1][1]/size:.3f} ms each, peak {used[-1][2]:.0f} MB ({times} runs)", flush=True)
    x, y = [math.log(u[0]) for u in used], [math.log(u[1]) for u in used]
    slope = statistics.linear_regression(x, y).slope
    row("exponent of CPU over the number of recordings", f"{slope:.3f}", "0.97-1.03", 0.97 <= slope <= 1.03)
    # Of a cost f + a·n^p at three sizes, each so many times the one before, f falls out.
    steps = [b[1]-a[1] for a, b in zip(used, used[1:])]
    if len(steps) == 2 and min(steps) > 0:
        own = math.log(steps[1]/steps[0])/math.log(sizes[1]/sizes[0])
        row("the same less what every run costs once", f"{own:.3f}", "0.97-1.03", 0.97 <= own <= 1.03)
    big = used[-1][2]; r = big/statistics.median(peak)
    row(f"peak, {sizes[-1]} / {n} recordings", f"{r:.2f}", "<= 1.2", r <= 1.2)
    row(f"peak, {sizes[-1]} recordings, MB", f"{big:.0f}", "< 300", big < 300)
