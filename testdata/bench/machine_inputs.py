#!/usr/bin/env python3
"""Studies for machine.sh from a cohort of gen.py.
usage: machine_inputs.py binary COHORT STUDY edf|wfdb    the same waves in a binary format
       machine_inputs.py many STUDY OUT N                N people whose files are hard links to those of STUDY"""
import csv, os, shutil, sys
import numpy as np

def edf(path, x, fs):
    seconds = len(x)//fs
    low, high = int(np.floor(x.min()))-1, int(np.ceil(x.max()))+1
    f = lambda s, n: str(s).ljust(n)[:n].encode("ascii")
    h = f("0", 8)+f("X X X X", 80)+f("Startdate 01-JAN-2026 X X X", 80)+f("01.01.26", 8)+f("10.00.00", 8)+f(512, 8)+f("", 44)+f(seconds, 8)+f(1, 8)+f(1, 4)
    h += f("p_raw", 16)+f("", 80)+f("", 8)+f(low, 8)+f(high, 8)+f(-32768, 8)+f(32767, 8)+f("", 80)+f(fs, 8)+f("", 32)
    digital = np.round((x[:seconds*fs]-low)/(high-low)*65535-32768).astype("<i2")
    with open(path+".edf", "wb") as out: out.write(h+digital.tobytes())

def wfdb(path, x, fs):
    gain = float(np.floor(30000/np.abs(x).max())); d = np.round(x*gain).astype("<i2"); name = os.path.basename(path)
    check = (int(d.astype(np.int64).sum())+32768) % 65536-32768
    with open(path+".dat", "wb") as out: out.write(d.tobytes())
    with open(path+".hea", "w") as out: out.write(f"{name} 1 {fs} {len(d)}\n{name}.dat 16 {gain:g}(0)/mmHg 16 0 {d[0]} {check} 0 p_raw\n")

def binary(cohort, study, form):
    """study has its tables from make_study.sh; the waves are replaced."""
    shutil.rmtree(study+"/waves"); os.mkdir(study+"/waves")
    with open(study+"/recordings.csv", newline="") as f: rows = list(csv.DictReader(f))
    for r in rows:
        x = np.load(f"{cohort}/npy/{r['recording_id']}.npy").astype(float)
        globals()[form](f"{study}/waves/{r['recording_id']}", x, int(r["sampling_hz"]))
        r.update(file=f"waves/{r['recording_id']}.{'hea' if form == 'wfdb' else form}", format=form, sampling_hz="", unit="au" if form == "edf" else "")
    write(study+"/recordings.csv", rows)

def many(study, out, n):
    os.makedirs(out+"/waves")
    shutil.copy(study+"/study.yaml", out)
    tables = {t: list(csv.DictReader(open(f"{study}/{t}.csv", newline=""))) for t in ("subjects", "visits", "cuff", "recordings")}
    base = len(tables["subjects"])
    name = lambda i: f"S{i:07d}"
    for t, rows in tables.items():
        made = []
        for i in range(n):
            r = dict(rows[i % base], subject_id=name(i))
            if t == "recordings":
                old = f"{study}/{r['file']}"
                r.update(recording_id=name(i), file=f"waves/{name(i)}{os.path.splitext(old)[1]}")
                link(old, f"{out}/{r['file']}")
            made.append(r)
        write(f"{out}/{t}.csv", made)

def link(old, new):
    try: os.link(old, new)
    except OSError: shutil.copyfile(old, new)              # a file has a largest number of links

def write(path, rows):
    with open(path, "w", newline="") as f:
        w = csv.DictWriter(f, rows[0].keys(), lineterminator="\n"); w.writeheader(); w.writerows(rows)

if __name__ == "__main__":
    if sys.argv[1] == "binary": binary(*sys.argv[2:5])
    else: many(sys.argv[2], sys.argv[3], int(sys.argv[4]))
